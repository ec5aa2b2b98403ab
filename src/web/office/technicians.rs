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
        staff::{self, Hours, Technician},
    },
    units::{parse_time_of_day, time_of_day},
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
    pub(super) litres: i64,
    pub(super) most_hours: String,
    pub(super) full_day_hours: String,
    /// Product, its name, litres as typed.
    pub(super) loads: Vec<(Uuid, String, String)>,
    pub(super) days_off: Vec<Date>,
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
        catalogue::treatments(&mut c).await?.products
    };
    let off = staff::days_off(&app.pool, today).await?;
    let technicians = staff::technicians(&app.pool).await?.into_iter().map(|t| {
        let own: Vec<&Hours> = hours.iter().filter(|h| h.staff_id == t.id).collect();
        let weekdays = (1_u8..).zip(WEEKDAYS).map(|(n, name)| (n, name, own.iter().any(|h| h.weekday == i16::from(n)))).collect();
        let (starts, ends) = own.first().map_or((450, 960), |h| (h.starts, h.ends));
        let days_off = off.iter().filter(|o| o.0 == t.id).map(|o| o.1).collect();
        TechnicianView {
            starts: time_of_day(starts),
            ends: time_of_day(ends),
            weekdays,
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
    #[serde(default)]
    day_off: String,
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
    let day_off = date(&form.day_off)?;
    let bounds = (hours(&form.most_hours, "the longest day")?, hours(&form.full_day_hours, "a full day's work")?);
    let loads = loads(form)?;
    let mut tx = app.pool.begin().await?;
    if posted.first_time(&mut tx, &who, "technician", app.clock.now()).await? {
        staff::set_van_loads(&mut tx, id, &loads).await?;
        staff::change_technician(&mut tx, id, form.depot, &skills, litres * 1000, &form.weekday, (starts, ends), bounds).await?;
        if let Some(day) = day_off {
            staff::add_day_off(&mut *tx, id, day).await?;
        }
    }
    tx.commit().await?;
    Ok(see_other("/settings#technicians"))
}
