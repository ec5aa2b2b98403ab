//! A technician cannot work a day, a customer says no, a repair cannot wait: what would change, in words, and only then kept.

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
        staff::{self, Technician},
        week::{self, At, Happened, MendedWeek, Moved, Stop},
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
    heading: String,
    /// What happened, as the form says it again.
    fields: Vec<(&'static str, String)>,
    row_version: i32,
    lines: Vec<LineView>,
    without: usize,
}

/// What happened: a technician's day, or a visit that is refused, or one that is urgent.
#[derive(Debug, Deserialize)]
pub(super) struct Asked {
    staff: Option<Uuid>,
    day: Option<String>,
    refused: Option<Uuid>,
    urgent: Option<Uuid>,
    /// Version of the week that was looked at, when it is to be kept.
    #[serde(default)]
    row_version: i32,
}

impl Asked {
    fn happened(&self) -> Result<Happened> {
        let day = self.day.as_deref().and_then(|day| crate::units::parse_date(day).ok());
        match (self.staff.zip(day), self.refused, self.urgent) {
            (Some((staff_id, day)), None, None) => Ok(Happened::Lost { staff_id, day }),
            (None, Some(visit), None) => Ok(Happened::Refused(visit)),
            (None, None, Some(visit)) => Ok(Happened::Urgent(visit)),
            _ => Err(Error::NotFound),
        }
    }
}

fn fields(happened: Happened) -> Vec<(&'static str, String)> {
    match happened {
        Happened::Lost { staff_id, day } => vec![("staff", staff_id.to_string()), ("day", day.to_string())],
        Happened::Refused(visit) => vec![("refused", visit.to_string())],
        Happened::Urgent(visit) => vec![("urgent", visit.to_string())],
    }
}

/// Until this hour today's routes can still be changed; then the technicians are on the road.
const UNDER_WAY: u8 = 6;

async fn mended(app: &App, monday: Date, happened: Happened, dealer: &Dealer) -> Result<(MendedWeek, i32)> {
    let today = dealer.today;
    let over = match happened {
        Happened::Lost { day, .. } => day < today,
        Happened::Refused(_) | Happened::Urgent(_) => monday + Duration::days(6) < today,
    };
    if over {
        return Err(Error::Bad("That day is over.".to_owned()));
    }
    let open = if dealer.local.hour() < UNDER_WAY { today } else { today + Duration::days(1) };
    let drives = app.drives(monday, monday, happened.visit()).await?;
    let mut c = app.pool.acquire().await?;
    let torn = week::torn(&mut c, &drives, monday, open.max(monday), happened).await.map_err(words)?;
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

fn line(m: &Moved, stops: &[Stop], refused: Option<Uuid>) -> Option<LineView> {
    let stop = stops.iter().find(|s| s.visit_id == m.visit_id)?;
    let says = match (&m.before, &m.now) {
        (Some(before), Some(now)) if now.day != before.day => format!("from {} to {}", at(before), at(now)),
        (Some(before), Some(now)) if now.technician != before.technician => {
            format!("{}: {} comes instead of {}, at {}", day_short(now.day), now.technician, before.technician, time_of_day(now.starts))
        }
        (Some(before), Some(now)) => {
            format!("{}: at {} instead of {}", day_short(now.day), time_of_day(now.starts), time_of_day(before.starts))
        }
        (None, Some(now)) => format!("gets a place: {}", at(now)),
        (Some(before), None) if refused == Some(m.visit_id) => format!("called off (was {})", at(before)),
        (Some(before), None) => format!("no room any more this week (was {})", at(before)),
        (None, None) => "finds no room this week even so".to_owned(),
    };
    Some(LineView {
        what: format!("{}: {}", stop.place_name, stop.unit_name),
        phone: stop.customer_phone.clone(),
        told: stop.status == "confirmed",
        says,
    })
}

/// What happened, as a heading.
fn heading(happened: Happened, technicians: &[Technician], stops: &[Stop]) -> Result<String> {
    let what = |visit: Uuid| stops.iter().find(|s| s.visit_id == visit).map(|s| format!("{}: {}", s.place_name, s.unit_name));
    let says = match happened {
        Happened::Lost { staff_id, day } => {
            technicians.iter().find(|t| t.id == staff_id).map(|t| format!("{} cannot work on {}", t.name, day_long(day)))
        }
        Happened::Refused(visit) => what(visit).map(|what| format!("{what} is not wanted this week")),
        Happened::Urgent(visit) => what(visit).map(|what| format!("{what} cannot wait")),
    };
    says.ok_or(Error::NotFound)
}

pub(super) async fn page(who: Office, app: App, (Path(name), Query(asked)): (Path<String>, Query<Asked>)) -> Result {
    let monday = super::week::monday(&name)?;
    let happened = asked.happened()?;
    let technicians = staff::technicians(&app.pool).await?;
    let mut stops = week::stops(&app.pool, monday, None).await?;
    stops.extend(week::unplaced(&app.pool, monday, 1000).await?);
    let heading = heading(happened, &technicians, &stops)?;
    let (week, row_version) = mended(&app, monday, happened, &who.dealer).await?;
    let refused = if let Happened::Refused(visit) = happened { Some(visit) } else { None };
    html(&MendPage {
        f: Frame::of(&who, "week"),
        week: name,
        heading,
        fields: fields(happened),
        row_version,
        without: week.moved.iter().filter(|m| m.now.is_none() && Some(m.visit_id) != refused).count(),
        lines: week.moved.iter().filter_map(|m| line(m, &stops, refused)).collect(),
    })
}

pub(super) async fn keep(who: Office, app: App, (Path(name), posted): (Path<String>, Posted<Asked>)) -> Result {
    let monday = super::week::monday(&name)?;
    let happened = posted.form.happened()?;
    let now = app.clock.now();
    let (week, _) = mended(&app, monday, happened, &who.dealer).await?;
    let mut tx = app.pool.begin().await?;
    if posted.first_time(&mut tx, &who, "mend week", now).await? {
        let why = match happened {
            Happened::Lost { day, .. } => format!("No room after {} fell out", day_short(day)),
            Happened::Refused(_) => "The customer does not want it this week".to_owned(),
            Happened::Urgent(_) => "No room after something that could not wait".to_owned(),
        };
        week::keep_mended(&mut tx, &week, posted.form.row_version, &why).await?;
        let actor = Actor { id: Some(who.staff_id), words: who.name.clone() };
        events::note(&mut *tx, now, &actor, "mended a week", &name).await?;
    }
    tx.commit().await.map_err(|e| super::visits::words(e.into()))?;
    Ok(see_other(&format!("/week/{name}?said=mended")))
}
