//! The week on paper or in a terminal: each technician's days, what to load, what did not fit and why.

use super::say;
use anyhow::Result;
use embertide::{
    clock::Clock,
    store::{
        dealer,
        week::{self, RouteRow, Stop},
    },
    units::{UnitsFirst, amount, day_short, distance, month_day, span, time_of_day},
};
use sqlx::PgPool;
use time::{Date, Duration};

/// How many of the visits that did not fit are printed one by one.
const SHOWN: i64 = 12;

pub(crate) async fn print(pool: &PgPool, monday: Date) -> Result<()> {
    let dealer = dealer::get(pool, Clock::System.now()).await?;
    let plan = week::header(pool, monday).await?;
    let routes = week::routes(pool, monday, None).await?;
    let stops = week::stops(pool, monday, None).await?;
    say(&format!(
        "\n{}: week {}, {} to {}",
        dealer.name,
        week::week_name(monday),
        month_day(monday),
        month_day(monday + Duration::days(6))
    ));
    if let Some(plan) = &plan {
        let state = if plan.issued_at.is_some() { "issued" } else { "a draft" };
        say(&format!("The plan is {state}; driving times are {}.", plan.drive_source));
    }
    for route in &routes {
        let own: Vec<&Stop> = stops.iter().filter(|s| s.staff_id == Some(route.staff_id) && s.day == Some(route.day)).collect();
        print_route(route, &own, dealer.units);
    }
    print_unplaced(pool, monday).await?;
    let hours: i32 = stops.iter().map(|s| s.minutes).sum::<i32>() / 60;
    let drive: i32 = routes.iter().map(|r| r.drive_s).sum::<i32>() / 3600;
    say(&format!(
        "\nIn all: {} visits, {hours} h at the units, {drive} h of driving, {}.",
        stops.len(),
        distance(routes.iter().map(|r| r.drive_m).sum())
    ));
    Ok(())
}

fn print_route(route: &RouteRow, stops: &[&Stop], units: UnitsFirst) {
    let hours = format!("leaves {} {}, back {}", route.depot_name, time_of_day(route.leaves), time_of_day(route.returns));
    say(&format!(
        "\n{}  {}  ({hours}; {} of driving, {})",
        day_short(route.day),
        route.technician,
        span(route.drive_s),
        distance(route.drive_m)
    ));
    for s in stops {
        let (Some(n), Some(from), Some(to)) = (s.position, s.starts, s.ends) else { continue };
        let dose = s.expected_dose_ml.filter(|ml| *ml > 0).map(|ml| format!("; about {}", amount(ml, units))).unwrap_or_default();
        let told = match s.to_call() {
            Some(told) => format!(" (told {} {})", day_short(told.day), time_of_day(told.starts)),
            None if s.status == "confirmed" => " (told)".to_owned(),
            None => String::new(),
        };
        let drive = span(s.drive_s);
        say(&format!(
            "  {n:>2}. {}-{}{told}  {}, {}: {}  [{}; drive {drive}{dose}]",
            time_of_day(from),
            time_of_day(to),
            s.place_name,
            s.town,
            s.unit_name,
            s.job_names.join(", ")
        ));
    }
    if let Some(at) = route.lunch_at {
        say(&format!("      lunch about {}", time_of_day(at)));
    }
    let load: Vec<String> =
        week::load(stops.iter().copied()).into_iter().map(|(product, ml)| format!("{product} {}", amount(ml, units))).collect();
    if !load.is_empty() {
        say(&format!("      load: {}", load.join("; ")));
    }
    if !route.trouble.is_empty() {
        say(&format!("      look at this: {}", route.trouble));
    }
}

async fn print_unplaced(pool: &PgPool, monday: Date) -> Result<()> {
    let week::UnplacedCounts { all, pressing, musts } = week::unplaced_counts(pool, monday).await?;
    if all == 0 {
        say("\nEverything that is due found room.");
        return Ok(());
    }
    say(&format!(
        "\nDid not find room: {all} visits, of which {pressing} close before the week is over{}.",
        if musts > 0 { format!(" and {musts} must be made in it") } else { String::new() }
    ));
    for s in week::unplaced(pool, monday, SHOWN).await? {
        let must = if s.must { "must be made this week: " } else { "" };
        say(&format!("  - {must}{}, {}: {} ({}). {}", s.place_name, s.town, s.unit_name, s.job_names.join(", "), s.why));
    }
    if all > SHOWN {
        say(&format!("  … and {} more, less pressing.", all - SHOWN));
    }
    Ok(())
}
