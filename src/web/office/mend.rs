//! A technician cannot work a day: what would change, in words, and only then kept.

use super::super::{
    app::App,
    error::{Error, Result},
    form::Posted,
    guard::{Office, see_other},
    html::{Frame, html},
};
use crate::{
    store::{
        dealer::Dealer,
        events::{self, Actor},
        staff,
        week::{self, At, MendedWeek, Moved, Stop},
    },
    units::{day_long, day_short, time_of_day},
};
use askama::Template;
use axum::extract::{Path, Query};
use serde::Deserialize;
use time::{Date, Duration};
use uuid::Uuid;

struct LineView {
    what: String,
    phone: String,
    told: bool,
    says: String,
}

#[derive(Template)]
#[template(path = "office/mend.html")]
struct MendPage {
    f: Frame,
    week: String,
    staff: Uuid,
    technician: String,
    day: Date,
    day_words: String,
    row_version: i32,
    lines: Vec<LineView>,
    without: usize,
}

#[derive(Debug, Deserialize)]
pub(super) struct Asked {
    staff: Uuid,
    day: String,
}

/// Until this hour today's routes can still be changed; then the technicians are on the road.
const UNDER_WAY: u8 = 6;

async fn mended(app: &App, monday: Date, lost: (Uuid, Date), dealer: &Dealer) -> Result<(MendedWeek, i32)> {
    let today = dealer.today;
    if lost.1 < today {
        return Err(Error::Bad("That day is over.".to_owned()));
    }
    let open = if dealer.local.hour() < UNDER_WAY { today } else { today + Duration::days(1) };
    let mut c = app.pool.acquire().await?;
    let torn = week::torn(&mut c, &app.drives(), monday, open.max(monday), lost).await.map_err(words)?;
    drop(c);
    let row_version = torn.row_version;
    let week = tokio::task::spawn_blocking(move || torn.mend()).await.map_err(|e| Error::Inside(e.into()))?;
    Ok((week, row_version))
}

fn words(e: crate::store::Error) -> Error {
    match e {
        crate::store::Error::Rule(rule) if rule == "week_is_odd" => Error::Bad(
            "A day of this week breaks a rule already (see “Look at this” on the week), so the rest cannot be mended by itself. Mend that day first, \
             or move the visits by hand."
                .to_owned(),
        ),
        other => other.into(),
    }
}

fn at(at: &At) -> String {
    format!("{}, {} with {}", day_short(at.day), time_of_day(at.starts), at.technician)
}

fn line(m: &Moved, stops: &[Stop]) -> Option<LineView> {
    let stop = stops.iter().find(|s| s.visit_id == m.visit_id)?;
    let says = match &m.now {
        Some(now) if now.day != m.before.day => format!("from {} to {}", at(&m.before), at(now)),
        Some(now) if now.technician != m.before.technician => {
            format!("{}: {} comes instead of {}, at {}", day_short(now.day), now.technician, m.before.technician, time_of_day(now.starts))
        }
        Some(now) => format!("{}: at {} instead of {}", day_short(now.day), time_of_day(now.starts), time_of_day(m.before.starts)),
        None => format!("no room any more this week (was {})", at(&m.before)),
    };
    Some(LineView {
        what: format!("{}: {}", stop.place_name, stop.unit_name),
        phone: stop.customer_phone.clone(),
        told: stop.status == "confirmed",
        says,
    })
}

pub(super) async fn page(who: Office, app: App, (Path(name), Query(asked)): (Path<String>, Query<Asked>)) -> Result {
    let monday = super::week::monday(&name)?;
    let day = crate::units::parse_date(&asked.day).map_err(|_| Error::NotFound)?;
    let technicians = staff::technicians(&app.pool).await?;
    let technician = technicians.iter().find(|t| t.id == asked.staff).map(|t| t.name.clone()).ok_or(Error::NotFound)?;
    let (week, row_version) = mended(&app, monday, (asked.staff, day), &who.dealer).await?;
    let stops = week::stops(&app.pool, monday, None).await?;
    html(&MendPage {
        f: Frame::of(&who, "week"),
        week: name,
        staff: asked.staff,
        technician,
        day,
        day_words: day_long(day),
        row_version,
        without: week.moved.iter().filter(|m| m.now.is_none()).count(),
        lines: week.moved.iter().filter_map(|m| line(m, &stops)).collect(),
    })
}

#[derive(Debug, Deserialize)]
pub(super) struct Kept {
    staff: Uuid,
    day: String,
    row_version: i32,
}

pub(super) async fn keep(who: Office, app: App, (Path(name), posted): (Path<String>, Posted<Kept>)) -> Result {
    let monday = super::week::monday(&name)?;
    let day = crate::units::parse_date(&posted.form.day).map_err(|e| Error::Bad(e.to_string()))?;
    let now = app.clock.now();
    let (week, _) = mended(&app, monday, (posted.form.staff, day), &who.dealer).await?;
    let mut tx = app.pool.begin().await?;
    if posted.first_time(&mut tx, &who, "mend week", now).await? {
        let why = format!("No room after {} fell out", day_short(day));
        week::keep_mended(&mut tx, &week, posted.form.row_version, &why).await?;
        let actor = Actor { id: Some(who.staff_id), words: who.name.clone() };
        events::note(&mut *tx, now, &actor, "mended a week", &name).await?;
    }
    tx.commit().await.map_err(|e| super::visits::words(e.into()))?;
    Ok(see_other(&format!("/week/{name}?said=mended")))
}
