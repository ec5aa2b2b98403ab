//! The technicians: where a day begins, its hours, what the van carries.

use super::{
    super::{
        app::App,
        error::{Error, Result},
        form::Posted,
        guard::{Owner, see_other},
    },
    units::date,
};
use crate::{
    store::{
        self, catalogue,
        staff::{self, Hours, Technician, TechnicianChange},
    },
    units::{day_with_year, parse_time_of_day, time_of_day},
};
use axum::extract::Path;
use serde::Deserialize;
use time::Date;
use uuid::Uuid;

/// A technician, ready for the page.
pub(super) struct TechnicianView {
    pub(super) t: Technician,
    pub(super) starts: String,
    pub(super) ends: String,
    pub(super) weekdays: Vec<(u8, &'static str, bool)>,
    pub(super) lunch_from: String,
    pub(super) lunch_to: String,
    pub(super) litres: i64,
    pub(super) most_hours: String,
    pub(super) full_day_hours: String,
    /// Product, its name, litres as typed.
    pub(super) loads: Vec<(Uuid, String, String)>,
    /// As the form sends them back, and in words.
    pub(super) days_off: Vec<(Date, String)>,
}

/// Minutes as hours for a field: "9", "8.5"; empty where there are none.
fn in_hours(minutes: Option<i32>) -> String {
    minutes.map_or_else(String::new, |m| format!("{:.2}", f64::from(m) / 60.0).trim_end_matches('0').trim_end_matches('.').to_owned())
}

const WEEKDAYS: [&str; 7] = ["Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"];

/// Every technician, ready for the page.
pub(super) async fn views(app: &App, today: Date) -> store::Result<Vec<TechnicianView>> {
    let hours = staff::hours(&app.pool).await?;
    let van_loads = staff::van_loads(&app.pool).await?;
    let products = {
        let mut c = app.pool.acquire().await?;
        let mut products = catalogue::treatments(&mut c).await?.products;
        products.retain(|p| p.active);
        products
    };
    let off = staff::days_off(&app.pool, today).await?;
    let technicians = staff::technicians(&app.pool).await?.into_iter().map(|t| {
        let own: Vec<&Hours> = hours.iter().filter(|h| h.staff_id == t.id).collect();
        let weekdays = (1_u8..).zip(WEEKDAYS).map(|(n, name)| (n, name, own.iter().any(|h| h.weekday == i16::from(n)))).collect();
        let (starts, ends) = own.first().map_or((450, 960), |h| (h.starts, h.ends));
        let days_off = off.iter().filter(|o| o.0 == t.id).map(|o| (o.1, day_with_year(o.1))).collect();
        TechnicianView {
            starts: time_of_day(starts),
            ends: time_of_day(ends),
            weekdays,
            lunch_from: time_of_day(t.lunch_from),
            lunch_to: time_of_day(t.lunch_to),
            litres: t.van_capacity_ml / 1000,
            most_hours: in_hours(t.most_minutes),
            full_day_hours: in_hours(t.full_day_minutes),
            loads: products
                .iter()
                .map(|p| {
                    let load = van_loads.iter().find(|l| l.staff_id == t.id && l.product_id == p.id);
                    (p.id, p.product.name.clone(), load.map(|l| (l.ml / 1000).to_string()).unwrap_or_default())
                })
                .collect(),
            days_off,
            t,
        }
    });
    Ok(technicians.collect())
}

#[derive(Debug, Deserialize)]
pub(super) struct TechnicianForm {
    depot: Uuid,
    starts: String,
    ends: String,
    #[serde(default)]
    weekday: Vec<u8>,
    #[serde(default)]
    skills: String,
    litres: String,
    #[serde(default)]
    most_hours: String,
    #[serde(default)]
    full_day_hours: String,
    /// Products and, in the same order, what the van carries of each.
    #[serde(default)]
    product: Vec<Uuid>,
    #[serde(default)]
    product_litres: Vec<String>,
    lunch_from: String,
    lunch_to: String,
    lunch_minutes: String,
    #[serde(default)]
    day_off: String,
    #[serde(default)]
    day_off_to: String,
    /// Days off that are taken back, as 2026-10-05.
    #[serde(default)]
    works_after_all: Vec<String>,
}

/// What the van carries of each product, where something is typed.
fn loads(form: &TechnicianForm) -> Result<Vec<(Uuid, i64)>> {
    let typed = form.product.iter().zip(&form.product_litres).filter(|(_, litres)| !litres.trim().is_empty());
    let bad = || Error::Bad("Give what the van carries of a product in whole litres, 2,000 at most, or leave it empty.".to_owned());
    let one = |(product, litres): (&Uuid, &String)| {
        let litres: i64 = litres.trim().parse().ok().filter(|l| (0..=2000).contains(l)).ok_or_else(bad)?;
        Ok((*product, litres * 1000))
    };
    typed.map(one).collect()
}

/// "7:30", "7:30 am", "16:00", "4:00 pm" as minutes after midnight.
fn clock(text: &str) -> Result<i32> {
    parse_time_of_day(text).ok_or_else(|| {
        Error::Bad(format!("“{}” is no time of day. Write it as 7:30 am or 16:00.", text.chars().take(20).collect::<String>()))
    })
}

/// Hours of a day, as "9" or "8.5", in minutes; nothing typed is no bound.
fn hours(text: &str, what: &str) -> Result<Option<i32>> {
    if text.trim().is_empty() {
        return Ok(None);
    }
    let bad = || Error::Bad(format!("Give {what} in hours from 1 to 24, as 9 or 8.5, or leave it empty."));
    let hours: f64 = text.trim().trim_end_matches('h').trim().parse().map_err(|_| bad())?;
    if !(1.0..=24.0).contains(&hours) {
        return Err(bad());
    }
    #[expect(clippy::cast_possible_truncation, reason = "24 hours at most")]
    Ok(Some((hours * 60.0).round() as i32))
}

/// The first and the last day of an absence; one day where no last one is typed.
fn absence(form: &TechnicianForm) -> Result<Option<(Date, Date)>> {
    let Some(first) = date(&form.day_off)? else {
        let alone = !form.day_off_to.trim().is_empty();
        return if alone { Err(Error::Bad("Say from which day on they are off.".to_owned())) } else { Ok(None) };
    };
    let last = date(&form.day_off_to)?.unwrap_or(first);
    if !(0..=MOST_DAYS_OFF).contains(&(last - first).whole_days()) {
        return Err(Error::Bad(format!("The last day off comes after the first, {MOST_DAYS_OFF} days later at most.")));
    }
    Ok(Some((first, last)))
}

/// In one go.
const MOST_DAYS_OFF: i64 = 92;

/// From when to when lunch may begin, and how long it is.
fn lunch(form: &TechnicianForm) -> Result<((i32, i32), i32)> {
    let (from, to) = (clock(&form.lunch_from)?, clock(&form.lunch_to)?);
    if from > to {
        return Err(Error::Bad("Lunch begins between an earlier and a later time.".to_owned()));
    }
    let minutes = form.lunch_minutes.trim().trim_end_matches("min").trim().parse().ok().filter(|m| (0..=180).contains(m));
    let minutes = minutes.ok_or_else(|| Error::Bad("Give the minutes of lunch, 0 to 180.".to_owned()))?;
    Ok(((from, to), minutes))
}

pub(super) async fn change(who: Owner, app: App, (Path(id), posted): (Path<Uuid>, Posted<TechnicianForm>)) -> Result {
    let form = &posted.form;
    let (starts, ends) = (clock(&form.starts)?, clock(&form.ends)?);
    if starts >= ends {
        return Err(Error::Bad("The day has to end after it starts.".to_owned()));
    }
    let litres: i64 = form
        .litres
        .trim()
        .parse()
        .ok()
        .filter(|l| (0..=2000).contains(l))
        .ok_or_else(|| Error::Bad("Give what the van carries in whole litres, 2,000 at most.".to_owned()))?;
    let skills: Vec<String> =
        form.skills.split(',').map(|s| s.trim().to_lowercase()).filter(|s| !s.is_empty() && s.len() <= 40).take(20).collect();
    let off = absence(form)?;
    let ((lunch_from, lunch_to), lunch_minutes) = lunch(form)?;
    let works = form.works_after_all.iter().map(|day| date(day)).collect::<Result<Vec<_>>>()?.into_iter().flatten().collect::<Vec<_>>();
    let bounds = (hours(&form.most_hours, "the longest day")?, hours(&form.full_day_hours, "a full day's work")?);
    let loads = loads(form)?;
    let mut tx = app.pool.begin().await?;
    if posted.first_time(&mut tx, &who, "technician", app.clock.now()).await? {
        staff::set_van_loads(&mut tx, id, &loads).await?;
        let change = TechnicianChange {
            id,
            depot: form.depot,
            skills: &skills,
            capacity_ml: litres * 1000,
            weekdays: &form.weekday,
            hours: (starts, ends),
            lunch: (lunch_from, lunch_to),
            lunch_minutes,
            most_minutes: bounds.0,
            full_day_minutes: bounds.1,
        };
        staff::change_technician(&mut tx, &change).await?;
        staff::take_back_days_off(&mut *tx, id, &works).await?;
        if let Some((first, last)) = off {
            staff::add_days_off(&mut *tx, id, first, last).await?;
        }
    }
    tx.commit().await?;
    Ok(see_other("/settings#technicians"))
}
