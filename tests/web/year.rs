//! A year at a small dealership, week after week as a careful office and its technicians would: planned on Friday, issued, driven,
//! tested, dosed. What the water does in between is worked out here, by nothing of the program's.

use super::support::{Session, TestApp, dealership};
use embertide::store::{due, sessions::Role, week};
use std::collections::HashMap;
use time::{Date, Duration, OffsetDateTime, Time, macros::date};
use uuid::Uuid;

/// The water of one unit.
struct Water {
    litres: f64,
    /// mg/L as nitrite.
    level: f64,
    on: Date,
    /// Share lost a day.
    loss: f64,
}

/// Nitrite in one mL of the shipped product, mg: 20 % sodium nitrite by mass at 1.15 g/mL; molar masses 46.006 and 68.995 g/mol.
const NITRITE_MG: f64 = 0.20 * 1150.0 * 46.006 / 68.995;
const LITRES_A_GALLON: f64 = 3.785_411_784;

impl Water {
    fn at(&mut self, day: Date) -> f64 {
        let days = f64::from(i32::try_from((day - self.on).whole_days()).unwrap());
        self.level *= (-self.loss * days).exp();
        self.on = day;
        self.level
    }
}

struct Year {
    t: TestApp,
    office: Uuid,
    waters: HashMap<Uuid, Water>,
    /// What was found at each test, and what it came to after the dose, if any.
    found: Vec<(Uuid, Date, f64, Option<f64>)>,
}

/// In summer time at the dealership.
fn at(day: Date, minute: i32) -> OffsetDateTime {
    day.with_time(Time::MIDNIGHT).assume_utc() + Duration::hours(4) + Duration::minutes(minute.into())
}

async fn begin() -> Year {
    let mut t = TestApp::start().await;
    let d = dealership::open(&t).await;
    let mut units: Vec<(Uuid, i64)> = d.units.into_iter().zip([400, 300, 200]).collect();
    for (n, lat, lon) in [(4, 44.55, -74.8), (5, 44.7, -74.85), (6, 44.5, -75.0), (7, 44.66, -75.1), (8, 44.58, -74.7)] {
        let (customer, place) = dealership::customer(&t, &format!("C{n}"), &format!("Customer {n}"), "Cedar Flat", (lat, lon)).await;
        let unit = dealership::unit(&t, &format!("U{n}"), "House heater", customer, place, 150 + 50 * n).await;
        dealership::test(&t, unit, date!(2026 - 04 - 20), 20).await;
        units.push((unit, 150 + 50 * n));
    }
    let water = |(n, (unit, gallons)): (usize, (Uuid, i64))| {
        #[expect(clippy::cast_precision_loss, reason = "some hundred gallons, eight units")]
        let (litres, loss) = (gallons as f64 * LITRES_A_GALLON, 0.0003 + 0.00015 * n as f64);
        (unit, Water { litres, level: 1000.0, on: date!(2026 - 04 - 20), loss })
    };
    let waters = units.into_iter().enumerate().map(water).collect();
    t.on(at(date!(2026 - 10 - 02), 600));
    Year { t, office: d.office.staff_id, waters, found: Vec::new() }
}

impl Year {
    /// The Friday before: the week is planned if anything is due in it, and issued.
    async fn plan(&mut self, monday: Date) {
        self.t.on(at(monday - Duration::days(3), 600));
        self.t.work().await;
        let office = self.t.session(self.office, Role::Office).await;
        let page = format!("/week/{}", week::week_name(monday));
        assert_eq!(self.t.post(&office, &format!("{page}/plan"), &[]).await.status, 303);
        self.t.work().await;
        let version = self.t.get(Some(&office), &page).await.attrs("form[action$='/issue'] input[name=row_version]", "value");
        if let Some(version) = version.first() {
            assert_eq!(self.t.post(&office, &format!("{page}/issue"), &[("row_version", version)]).await.status, 303);
        }
    }

    async fn drive(&mut self, monday: Date) {
        let stops: Vec<(Uuid, Uuid, Uuid, Date, i32)> = sqlx::query_as(
            "SELECT id, unit_id, staff_id, day, starts FROM visits WHERE day BETWEEN $1 AND $1 + 6 AND status = 'planned' ORDER BY day, starts",
        )
        .bind(monday)
        .fetch_all(self.t.pool())
        .await
        .unwrap();
        for (visit, unit, staff, day, starts) in stops {
            self.t.on(at(day, starts + 25));
            let technician = self.t.session(staff, Role::Technician).await;
            self.stop(&technician, visit, unit, day).await;
        }
    }

    /// Everything that is planned is done; where the water is tested, what the sheet says is put in.
    async fn stop(&mut self, who: &Session, visit: Uuid, unit: Uuid, day: Date) {
        let sheet = self.t.get(Some(who), &format!("/stop/{visit}")).await;
        let jobs = sheet.attrs("#sheet input[name=job][checked]", "value");
        let mut form: Vec<(&str, String)> = jobs.into_iter().map(|job| ("job", job)).collect();
        if !sheet.attrs("#sheet input[name=job][checked][data-tests]", "value").is_empty() {
            let water = self.waters.get_mut(&unit).unwrap();
            let level = water.at(day);
            let drops = format!("{:.0}", level / 50.0);
            let ml = sheet.attrs(&format!("#doses tr[data-drops='{drops}']"), "data-ml").remove(0);
            form.extend([("drops", drops), ("ph", "9.0".to_owned())]);
            let dosed = ml.parse::<f64>().ok().filter(|ml| *ml > 0.0).map(|ml| {
                water.level += ml * NITRITE_MG / water.litres;
                form.push(("put_in", ml.to_string()));
                water.level
            });
            self.found.push((unit, day, level, dosed));
        }
        let pairs: Vec<(&str, &str)> = form.iter().map(|(name, value)| (*name, value.as_str())).collect();
        let kept = self.t.post(who, &format!("/stop/{visit}"), &pairs).await;
        assert_eq!(kept.status, 303, "{day}: {}", kept.text("#wrong"));
    }

    async fn done(&self, job: &str, from: Date, to: Date) -> HashMap<Uuid, i64> {
        let rows: Vec<(Uuid, i64)> = sqlx::query_as(
            "SELECT r.unit_id, count(*) FROM visit_reports r JOIN report_jobs j ON j.report_id = r.report_id AND j.version = r.version
             WHERE j.job_code = $1 AND r.visited_on BETWEEN $2 AND $3 GROUP BY r.unit_id",
        )
        .bind(job)
        .bind(from)
        .bind(to)
        .fetch_all(self.t.pool())
        .await
        .unwrap();
        rows.into_iter().collect()
    }
}

#[tokio::test]
async fn in_a_year_each_unit_gets_what_each_season_asks_for_once_and_its_water_stays_in_band() {
    let mut y = begin().await;
    for week in 0..57 {
        let monday = date!(2026 - 10 - 05) + Duration::weeks(week);
        y.plan(monday).await;
        y.drive(monday).await;
        assert_eq!(y.t.broken_promises().await, Vec::<String>::new(), "{monday}");
    }
    let (winter, summer, end) = (date!(2027 - 02 - 01), date!(2027 - 07 - 01), date!(2027 - 11 - 07));
    let once = |done: HashMap<Uuid, i64>| done.len() == 8 && done.values().all(|times| *times == 1);
    for (job, from, to) in [
        ("fall-start-up", date!(2026 - 10 - 05), winter),
        ("spring-shut-down", winter, summer),
        ("yearly-clean", winter, summer),
        ("fall-start-up", summer, end),
    ] {
        let done = y.done(job, from, to).await;
        assert!(once(done.clone()), "{job} from {from} to {to}: {done:?}");
    }
    for (unit, day, found, after) in &y.found {
        assert!((600.0..=1500.0).contains(found), "{unit} on {day}: {found:.0} mg/L, wanted 600 to 1,500");
        assert!(after.is_none_or(|after| (950.0..1080.0).contains(&after)), "{unit} on {day}: {after:?} mg/L after the dose, target 1,000");
    }
    assert!(y.found.iter().filter(|f| f.3.is_some()).count() >= 16, "each unit was topped up in most seasons");
    let counts = due::counts(y.t.pool(), end).await.unwrap();
    assert_eq!(counts.past, 0, "nothing is left over");
}
