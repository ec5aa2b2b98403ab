//! What is wrong with a day that the office ordered by hand, in words with names.

use super::{
    super::{Result, dealer::units_first, staff::WorkingDay},
    lay::{Candidate, Held},
};
use crate::{
    route::Violation,
    units::{Millilitres, UnitsFirst, time_of_day},
};
use sqlx::PgConnection;
use std::collections::HashMap;
use uuid::Uuid;

/// What the checker says against a technician's day, as the office reads it; `days` holds its working hours, nothing where it is no
/// working day.
pub(super) async fn words(db: &mut PgConnection, against: &[Violation], candidates: &[Candidate], days: &[WorkingDay]) -> Result<String> {
    let Some(day) = days.first().filter(|_| !against.is_empty()) else {
        return Ok("That is no working day of this technician.".to_owned());
    };
    let visits: Vec<Uuid> = candidates.iter().map(|c| c.visit_id).collect();
    let units = sqlx::query_scalar!("SELECT units_first FROM dealer").fetch_one(&mut *db).await?;
    let units = units_first(&units);
    let rows = sqlx::query!(
        "SELECT v.id, u.name AS unit, c.name AS customer FROM visits v JOIN units u ON u.id = v.unit_id JOIN customers c ON c.id = v.customer_id WHERE v.id = ANY($1)",
        &visits
    )
    .fetch_all(db)
    .await?;
    let names: HashMap<Uuid, String> = rows.into_iter().map(|r| (r.id, format!("{} ({})", r.customer, r.unit))).collect();
    let name = |visit: usize| candidates.get(visit).and_then(|c| names.get(&c.visit_id)).map_or("a stop", String::as_str);
    let said: Vec<String> = against.iter().map(|v| sentence(v, candidates, day, units, &name)).collect();
    Ok(said.join(" ").chars().take(1000).collect())
}

fn sentence<'a>(
    against: &Violation,
    candidates: &[Candidate],
    day: &WorkingDay,
    units: UnitsFirst,
    name: &impl Fn(usize) -> &'a str,
) -> String {
    let time = |seconds: i32| {
        let minutes = seconds.div_euclid(60);
        format!("{}{}", time_of_day(minutes), if minutes < 1440 { "" } else { " the day after" })
    };
    match *against {
        Violation::Skill { visit, .. } => format!("{} needs a skill that this technician does not have.", name(visit)),
        Violation::Lock { visit, .. } => format!("{} was told another day or technician: call them.", name(visit)),
        Violation::Window { visit, arrive, .. } => match candidates.get(visit).map(|c| c.held) {
            Some(Held::At { starts, .. }) => {
                format!("{} was told {}, and cannot be begun before {}.", name(visit), time_of_day(starts), time(arrive))
            }
            _ => format!("{} is reached at {}, when nobody can be met there or its work is not yet due.", name(visit), time(arrive)),
        },
        Violation::Load { load_ml, capacity_ml, .. } => {
            let amount = |ml| Millilitres::new(ml).map(|ml| ml.both(units)).unwrap_or_default();
            format!("The day takes {} of treatment, the van carries {}.", amount(load_ml), amount(capacity_ml))
        }
        Violation::Road { .. } => "No road leads to one of its places.".to_owned(),
        Violation::Late { returns, .. } => format!("It ends at {}, working hours at {}.", time(returns), time_of_day(day.ends)),
        Violation::Long { takes_s, most_s, .. } => {
            format!("It takes {}, a day may take {}.", hours(takes_s), hours(most_s))
        }
        Violation::Lunch { .. } => "It leaves no time for lunch.".to_owned(),
        Violation::Shape { .. } | Violation::UnknownVisit { .. } | Violation::Twice { .. } => "Its stops do not fit together.".to_owned(),
    }
}

/// "9 h 20 min".
fn hours(seconds: i32) -> String {
    let minutes = seconds.div_euclid(60);
    format!("{} h {} min", minutes / 60, minutes % 60)
}
