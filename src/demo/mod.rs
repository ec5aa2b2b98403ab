//! An invented dealership to look round in: the same on every run, its dates counted back from today.
//!
//! No person, place or figure in here is real. Telephone numbers are from the range kept for fiction (555-0100 to 555-0199).

mod chance;
pub mod county;
mod names;
mod people;
mod years;

use crate::{
    roads::Network,
    season::SeasonName,
    secrets::{self, Effort},
    store::{
        Result, catalogue, closures, dealer, due, links, lists,
        sessions::Role,
        shelf,
        staff::{self, Depot, Person},
        water::{self, Event, NewEvent},
    },
};
use chance::Chance;
use sqlx::{PgConnection, PgPool};
use time::{Date, Duration, OffsetDateTime};
use uuid::Uuid;

/// The demo's sign-ins share one password. They open nothing but invented data.
pub const PASSWORD: &str = "look around in here";
/// Who can sign in: name, sign-in, role.
const STAFF: [(&str, &str, Role); 5] = [
    ("Orla Pennifold", "owner", Role::Owner),
    ("Tamsin Vey", "office", Role::Office),
    ("Wick Garrowby", "wick", Role::Technician),
    ("Juno Haddlesey", "juno", Role::Technician),
    ("Perrin Ashlock", "perrin", Role::Technician),
];
/// The record link that the demo prints.
const LINK: &str = "EMBERT1DEDEM0RECC0RD1NVENTED2345";
/// The middle of the invented county.
const MIDDLE: (f64, f64) = (44.62, -74.95);

/// Whether nobody lives in this database yet.
pub async fn is_empty(pool: &PgPool) -> Result<bool> {
    Ok(!staff::any_owner(pool).await?)
}

/// Fills an empty database. All of it or nothing. With roads, everybody lives at one.
pub async fn fill(pool: &PgPool, roads: Option<&Network>, now: OffsetDateTime) -> Result<()> {
    let mut tx = pool.begin().await?;
    dealer::mark_invented(&mut *tx, "Quillfern Heater Service", "555-0100").await?;
    let today = dealer::get(&mut *tx, now).await?.today;
    let seasons = Seasons::round(today);
    for (name, (opens, closes)) in [(SeasonName::Spring, seasons.spring), (SeasonName::Fall, seasons.fall)] {
        catalogue::change_season(&mut *tx, &name.to_string(), opens, closes).await?;
    }
    let technicians = add_staff(&mut tx, now).await?;
    let treatments = catalogue::treatments(&mut tx).await?;
    let lots = add_lots(&mut tx, &treatments, today, now).await?;
    let mut chance = Chance::new(2024);
    let mut people = people::invent(&mut chance, today, &treatments);
    if let Some(network) = roads {
        county::settle(&mut people, network);
    }
    lists::add_customers(&mut tx, &people.customers, now).await?;
    lists::add_places(&mut tx, &people.places).await?;
    lists::add_units(&mut tx, &people.units).await?;
    lists::add_volumes(&mut tx, &people.volumes, now).await?;
    lists::add_fills(&mut tx, &people.fills, now).await?;
    let years = years::live(&mut chance, &people, &treatments, &seasons, today, &technicians, &lots);
    lists::add_reports(&mut tx, &years.reports, now).await?;
    lists::add_tests(&mut tx, &years.tests, now).await?;
    lists::add_doses(&mut tx, &years.doses, now).await?;
    for (unit_id, day, ml) in &years.meters {
        let event = NewEvent {
            unit_id: *unit_id,
            happened_on: *day,
            what: Event::Meter,
            amount_ml: *ml,
            where_to: "",
            staff_id: None,
            report: None,
        };
        water::add_event(&mut *tx, &event, now).await?;
    }
    add_requests(&mut tx, &people, today).await?;
    for closure in roads.map(|network| county::closures(network, today)).unwrap_or_default() {
        closures::add(&mut tx, &closure, chance::id(2, 1), today, now).await?;
    }
    links::keep(&mut *tx, people.units[3].id, "printed by the demo", None, now, LINK).await?;
    due::refresh(&mut tx, None, today).await?;
    tx.commit().await?;
    Ok(())
}

/// The words printed when the demo serves.
pub fn sign_ins(address: &str) -> String {
    let staff: Vec<String> = STAFF.iter().map(|(name, sign_in, role)| format!("    {sign_in:<8} {name}, {}", role.as_str())).collect();
    let staff = staff.join("\n");
    format!(
        "\nLook round at {address}\n  Sign in with one of these names; the password of all is: {PASSWORD}\n{staff}\n  A customer's water record: {address}/w/{LINK}\nCtrl-C ends it. The data stay for the next time."
    )
}

/// Spring and fall, moved so that today always falls inside one of them.
pub(crate) struct Seasons {
    pub(crate) spring: (Date, Date),
    pub(crate) fall: (Date, Date),
}

/// Half the length of a season of the demo, in days.
const HALF: i64 = 24;

impl Seasons {
    fn round(today: Date) -> Self {
        let first = Date::from_ordinal_date(today.year(), 1).unwrap_or(today);
        let day = i64::from(today.ordinal());
        let (spring, fall) = if day <= 182 { (day, day + 183) } else { (day - 183, day) };
        let window = |middle: i64| {
            let middle = middle.clamp(HALF + 1, 364 - HALF);
            let at = |d: i64| every_year(first + Duration::days(d - 1));
            // The day itself stays inside, whatever the turn of the year cut off.
            let (from, to) =
                ((middle - HALF).min(day.max(1)), (middle + HALF).max(if (middle - day).abs() <= 2 * HALF { day.min(365) } else { 0 }));
            (at(from.clamp(1, 364)), at(to.clamp(2, 365)))
        };
        Self { spring: window(spring), fall: window(fall) }
    }

    /// The seasons of the last `n` half years before today's, oldest first, as name and window.
    pub(crate) fn before(&self, today: Date, n: usize) -> Vec<(SeasonName, (Date, Date))> {
        let mut all: Vec<(SeasonName, (Date, Date))> = Vec::new();
        for back in 0..=(i32::try_from(n).unwrap_or(8) / 2 + 2) {
            for (name, window) in [(SeasonName::Spring, self.spring), (SeasonName::Fall, self.fall)] {
                let year = |d: Date| d.replace_year(d.year() - back).unwrap_or(d);
                all.push((name, (year(window.0), year(window.1))));
            }
        }
        all.sort_by_key(|s| s.1.0);
        all.retain(|s| s.1.1 < today);
        let from = all.len().saturating_sub(n);
        all.split_off(from)
    }

    /// The season that today lies in.
    pub(crate) fn now(&self, today: Date) -> Option<(SeasonName, (Date, Date))> {
        let holds = |w: (Date, Date)| (w.0..=w.1).contains(&today);
        if holds(self.fall) { Some((SeasonName::Fall, self.fall)) } else { holds(self.spring).then_some((SeasonName::Spring, self.spring)) }
    }
}

/// Feb 29 does not come every year.
fn every_year(d: Date) -> Date {
    if d.month() == time::Month::February && d.day() == 29 { d - Duration::days(1) } else { d }
}

async fn add_staff(db: &mut PgConnection, now: OffsetDateTime) -> Result<Vec<Uuid>> {
    let (shop, home) = (chance::id(1, 1), chance::id(1, 2));
    staff::add_depot(&mut *db, &Depot { id: shop, name: "the shop".to_owned(), lat: MIDDLE.0, lon: MIDDLE.1, row_version: 1 }).await?;
    staff::add_depot(
        &mut *db,
        &Depot { id: home, name: "home, Tarnwater".to_owned(), lat: MIDDLE.0 + 0.19, lon: MIDDLE.1 + 0.24, row_version: 1 },
    )
    .await?;
    let hash = secrets::hash_password(PASSWORD, Effort::Invented).unwrap_or_default();
    let mut technicians = Vec::new();
    for (i, (name, sign_in, role)) in (0_u64..).zip(STAFF) {
        let id = chance::id(2, i);
        let person = Person { id, name: name.to_owned(), sign_in: sign_in.to_owned(), role, active: true, row_version: 1 };
        staff::add(&mut *db, &person, &hash, now).await?;
        if role == Role::Technician {
            let depot = if sign_in == "perrin" { home } else { shop };
            let skills: &[String] = if sign_in == "juno" { &[] } else { &["repair".to_owned()] };
            staff::add_technician(&mut *db, id, depot, skills, 450, 990).await?;
            technicians.push(id);
        }
    }
    Ok(technicians)
}

async fn add_lots(db: &mut PgConnection, known: &catalogue::Treatments, today: Date, now: OffsetDateTime) -> Result<Vec<(Uuid, Uuid)>> {
    let mut lots = Vec::new();
    for (i, p) in (1..).zip(&known.products) {
        let made = today - Duration::days(70);
        let lot =
            shelf::add_lot(&mut *db, p.id, &format!("Q{i}-{}", made.year()), made, Some(made + Duration::days(900)), 220_000, now).await?;
        lots.push((p.id, lot));
    }
    Ok(lots)
}

async fn add_requests(db: &mut PgConnection, people: &people::People, today: Date) -> Result<()> {
    let wishes = [
        (11, "Fan hums but does not turn", 4),
        (57, "Door will not latch since the weekend", 11),
        (203, "Water level drops about an inch a week", 6),
    ];
    for (i, (unit, note, days)) in (0_u64..).zip(wishes) {
        let by = chance::id(2, 1);
        due::ask(
            &mut *db,
            chance::id(9, i),
            people.units[unit].id,
            "repair",
            today - Duration::days(3),
            today + Duration::days(days),
            note,
            by,
        )
        .await?;
    }
    Ok(())
}
