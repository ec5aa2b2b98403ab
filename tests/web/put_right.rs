//! What a correction replaces, what it leaves as it was, and what came in late.

use super::{
    path::{self, Stop},
    support::{NOW, TestApp, dealership},
};
use embertide::{
    store::{catalogue, due, units, water},
    water::{Basis, Method, WaterVolume},
};
use time::{Date, macros::date};
use uuid::Uuid;

async fn volume(t: &TestApp, unit: Uuid) -> i64 {
    units::newest_volume(t.pool(), unit).await.unwrap().unwrap().get()
}

async fn unit_water(t: &TestApp, unit: Uuid) -> water::UnitWater {
    let mut c = t.pool().acquire().await.unwrap();
    let known = catalogue::treatments(&mut c).await.unwrap();
    water::unit_waters(&mut *c, &known, &[unit]).await.unwrap().remove(&unit).unwrap()
}

async fn due_codes(t: &TestApp, unit: Uuid, today: Date) -> Vec<String> {
    let mut c = t.pool().acquire().await.unwrap();
    due::refresh(&mut c, Some(&[unit]), today).await.unwrap();
    due::of_unit(&mut *c, unit).await.unwrap().into_iter().map(|l| l.job_code).collect()
}

/// A heater of Birch's that has had no water yet.
async fn unfilled(t: &TestApp, d: &dealership::Dealership) -> Uuid {
    let place = embertide::store::customers::places(t.pool(), d.birch).await.unwrap().remove(0).id;
    let unit = dealership::unit(t, "U9", "Kiln heater", d.birch, place, 300).await;
    sqlx::query("DELETE FROM fills WHERE unit_id = $1").bind(unit).execute(t.pool()).await.unwrap();
    unit
}

/// 100 US gal are 378,541 mL (NIST SP 811: 3.785412 L).
#[tokio::test]
async fn a_guess_gives_way_to_a_meter_whose_sheet_came_in_after_it() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    let unit = d.units[0];
    let of = |gallons, method| WaterVolume::by(embertide::units::Millilitres::from_us_gallons(gallons).unwrap(), method).unwrap();
    let add = async |gallons, method, on, minute| {
        let now = NOW + time::Duration::minutes(minute);
        units::add_volume(t.pool(), unit, &of(gallons, method), (on, ""), units::From::default(), now).await.unwrap();
        volume(&t, unit).await
    };
    assert_eq!(add(300, Method::Guess, date!(2026 - 10 - 02), 1).await, of(300, Method::Guess).volume().get(), "typed on purpose");
    assert_eq!(add(100, Method::WaterMeter, date!(2026 - 10 - 01), 2).await, 378_541, "the sheet of the day before");
    assert_eq!(add(200, Method::Guess, date!(2026 - 10 - 02), 3).await, of(200, Method::Guess).volume().get(), "they know better now");
}

#[tokio::test]
async fn a_fill_that_never_was_takes_its_volume_along() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    let unit = d.units[0];
    let before = volume(&t, unit).await;
    let id = Uuid::now_v7();
    let fill = [("volume", "90 gal"), ("metered", "yes"), ("hardness", "20"), ("filled_on", "2026-10-02"), ("fluid", "water")];
    assert_eq!(t.post_as(&d.office, &format!("/units/{unit}/fill"), id, &fill).await.status, 303);
    assert_ne!(volume(&t, unit).await, before);
    let out = [("fact", "fill"), ("fact_id", &id.to_string() as &str), ("why", "The wrong unit")];
    assert_eq!(t.post(&d.office, &format!("/units/{unit}/taken-out"), &out).await.status, 303);
    assert_eq!(volume(&t, unit).await, before);
}

#[tokio::test]
async fn a_corrected_first_fill_replaces_its_fill_and_its_volume() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    let unit = unfilled(&t, &d).await;
    sqlx::query("DELETE FROM water_volumes WHERE unit_id = $1").bind(unit).execute(t.pool()).await.unwrap();
    let meter: String = sqlx::query_scalar("SELECT code FROM checklist_items WHERE job_code = 'first-fill' AND asked_unit = 'US gal'")
        .fetch_one(t.pool())
        .await
        .unwrap();
    let figure = format!("figure.{meter}");
    let report = Uuid::now_v7();
    let sheet = |day: &'static str, gallons: &'static str| {
        vec![("job", "first-fill"), ("drops", "20"), ("visited_on", day), (figure.as_str(), gallons)]
    };
    let kept = t.post_as(&d.wick, &format!("/unplanned/{unit}"), report, &sheet("2026-10-02", "180")).await;
    assert_eq!(kept.status, 303, "{}", kept.text("main"));
    // 180 US gal are 681,374 mL.
    assert_eq!(volume(&t, unit).await, 681_374);
    let correct = async |version: &'static str, mut form: Vec<(&str, &str)>| {
        form.extend([("version", version), ("reason", "misread")]);
        let page = t.post(&d.wick, &format!("/kept/{report}/correct"), &form).await;
        assert_eq!(page.status, 303, "{}", page.text("main"));
        let fills: Vec<String> = units::fills(t.pool(), unit).await.unwrap().iter().map(|f| f.filled_on.to_string()).collect();
        (fills, units::newest_volume(t.pool(), unit).await.unwrap().map(embertide::units::Millilitres::get))
    };
    assert_eq!(correct("1", sheet("2026-10-02", "280")).await, (vec!["2026-10-02".to_owned()], Some(1_059_915)));
    assert_eq!(
        correct("2", sheet("2026-10-01", "280")).await,
        (vec!["2026-10-01".to_owned()], Some(1_059_915)),
        "one fill, the day before"
    );
    let none = vec![("job", "repair"), ("visited_on", "2026-10-01")];
    assert_eq!(correct("3", none).await, (vec![], None), "it was no fill at all");
    assert_eq!(t.broken_promises().await, Vec::<String>::new());
}

/// What somebody asked for is met by what was done on that day or later, and open again when that was not done after all.
#[tokio::test]
async fn a_wish_is_met_once_and_comes_back_when_it_was_not() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    let unit = d.units[0];
    let open = async || {
        sqlx::query_scalar::<_, String>("SELECT note FROM requests WHERE unit_id = $1 AND settled_on IS NULL ORDER BY note")
            .bind(unit)
            .fetch_all(t.pool())
            .await
            .unwrap()
    };
    let ask = async |note: &str| {
        let asked = t.post(&d.office, &format!("/units/{unit}/requests"), &[("job", "repair"), ("by_day", ""), ("note", note)]).await;
        assert_eq!(asked.status, 303, "{}", asked.text("main"));
    };
    ask("pump hums").await;
    let today = NOW.date().to_string();
    let repair = |day: &str| vec![("job".to_owned(), "repair".to_owned()), ("visited_on".to_owned(), day.to_owned())];
    let keep = async |path: String, id: Uuid, form: Vec<(String, String)>| {
        let form: Vec<(&str, &str)> = form.iter().map(|(k, v)| (k.as_str(), v.as_str())).collect();
        let page = t.post_as(&d.wick, &path, id, &form).await;
        assert_eq!(page.status, 303, "{}", page.text("main"));
    };
    keep(format!("/unplanned/{unit}"), Uuid::now_v7(), repair("2026-10-01")).await;
    assert_eq!(open().await, ["pump hums"], "made before anybody asked");
    let report = Uuid::now_v7();
    keep(format!("/unplanned/{unit}"), report, repair(&today)).await;
    assert_eq!(open().await, Vec::<String>::new());
    ask("door sticks").await;
    let with = |mut form: Vec<(String, String)>, version: &str| {
        form.extend([("version".to_owned(), version.to_owned()), ("reason".to_owned(), "a word more".to_owned())]);
        form
    };
    keep(format!("/kept/{report}/correct"), Uuid::now_v7(), with(repair(&today), "1")).await;
    assert_eq!(open().await, ["door sticks"], "a word more in an old report meets nothing new");
    let other = vec![("job".to_owned(), "yearly-clean".to_owned()), ("visited_on".to_owned(), today.clone())];
    keep(format!("/kept/{report}/correct"), Uuid::now_v7(), with(other, "2")).await;
    assert_eq!(open().await, ["door sticks", "pump hums"], "it was no repair");
    let done = Uuid::now_v7();
    let elsewhere = [("job", "repair"), ("done_on", &today as &str), ("by_whom", "their plumber")];
    assert_eq!(t.post_as(&d.office, &format!("/units/{unit}/done"), done, &elsewhere).await.status, 303);
    assert_eq!(open().await, Vec::<String>::new());
    assert_eq!(t.post(&d.office, &format!("/units/{unit}/done/{done}/take-back"), &[]).await.status, 303);
    assert_eq!(open().await, ["door sticks", "pump hums"]);
}

#[tokio::test]
async fn the_database_knows_every_basis_by_its_substance() {
    let t = TestApp::start().await;
    for a in Basis::ALL {
        for b in Basis::ALL {
            let same: bool = sqlx::query_scalar("SELECT analyte_of($1) = analyte_of($2)")
                .bind(a.as_str())
                .bind(b.as_str())
                .fetch_one(t.pool())
                .await
                .unwrap();
            assert_eq!(same, a.analyte() == b.analyte(), "{a} and {b}");
            if same {
                let by: f64 = sqlx::query_scalar("SELECT (mass_of($2) / mass_of($1))::float8")
                    .bind(a.as_str())
                    .bind(b.as_str())
                    .fetch_one(t.pool())
                    .await
                    .unwrap();
                let factor = a.ratio_to(b).unwrap().factor();
                assert!((by / factor - 1.0).abs() < 1e-9, "{a} to {b}: {by} {factor}");
            }
        }
    }
}

/// 1,000 mg/L of nitrite is no level of molybdate, and its water is not to be mixed with another programme's.
#[tokio::test]
async fn another_programme_reads_nothing_into_what_was_read_of_the_old_one() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    let unit = d.units[0];
    let product: Uuid =
        sqlx::query_scalar("SELECT id FROM products WHERE programme_code = 'nitrite-borate'").fetch_one(t.pool()).await.unwrap();
    let dose = water::NewDose {
        id: Uuid::now_v7(),
        unit_id: unit,
        given_on: date!(2026 - 04 - 20),
        product_id: product,
        lot_id: None,
        amount_ml: 900,
        staff_id: None,
        report: None,
        note: "",
    };
    water::add_dose(&mut t.pool().acquire().await.unwrap(), &dose, NOW).await.unwrap();
    assert!(unit_water(&t, unit).await.last_test.is_some() && !unit_water(&t, unit).await.facts.mixed_programmes);
    sqlx::query("UPDATE units SET programme_code = 'nitrite-molybdate', kit_code = NULL WHERE id = $1")
        .bind(unit)
        .execute(t.pool())
        .await
        .unwrap();
    let basis: String =
        sqlx::query_scalar("SELECT basis FROM programmes WHERE code = 'nitrite-molybdate'").fetch_one(t.pool()).await.unwrap();
    assert_eq!(basis, "Mo");
    let water = unit_water(&t, unit).await;
    assert!(water.last_test.is_none() && water.facts.mixed_programmes);
    assert!(!water.before_the_test(NOW.date()).held.is_empty(), "nothing is put in before that is settled");
    let page = t.get(Some(&d.office), &format!("/units/{unit}")).await.text("main");
    assert!(page.contains("1,000 mg/L as NO2") && !page.contains("1,000 mg/L as Mo"), "{page}");
}

/// 1,000 mg/L as NO2 are 1,500 as `NaNO2` (68.995 / 46.005, IUPAC 2021).
#[tokio::test]
async fn another_basis_of_the_same_substance_is_counted_over() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    let level = async || unit_water(&t, d.units[0]).await.last_test.unwrap().level.get();
    assert_eq!(level().await, 1_000);
    sqlx::query("UPDATE programmes SET basis = 'NaNO2' WHERE code = 'nitrite-borate'").execute(t.pool()).await.unwrap();
    assert_eq!(level().await, 1_500);
}

/// The spring's clean and shut-down that a unit missed are not made up for by new water.
#[tokio::test]
async fn new_water_makes_no_missed_work_vanish() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    let unit = d.units[0];
    let july = date!(2026 - 07 - 15);
    let before = due_codes(&t, unit, july).await;
    assert!(before.contains(&"yearly-clean".to_owned()), "{before:?}");
    let fill = units::Fill { id: Uuid::now_v7(), filled_on: july, ..units::fills(t.pool(), unit).await.unwrap().remove(0) };
    units::drained_before(t.pool(), unit, july).await.unwrap();
    units::add_fill(t.pool(), &units::Fill { drained_on: None, ..fill }, None, NOW).await.unwrap();
    assert!(due_codes(&t, unit, july).await.contains(&"yearly-clean".to_owned()));
}

/// The programme lets a dose mix for a week before it is checked.
#[tokio::test]
async fn a_test_of_the_next_day_is_no_re_check() {
    let Stop { t, visit, unit, tech, .. } = path::at_a_stop().await;
    t.post(&tech, &format!("/stop/{visit}"), &[("job", "water-test"), ("drops", "8"), ("put_in", "3000")]).await;
    let today = NOW.date();
    dealership::test(&t, unit, today + time::Duration::days(1), 21).await;
    assert!(due_codes(&t, unit, today + time::Duration::days(1)).await.contains(&"re-check".to_owned()));
    dealership::test(&t, unit, today + time::Duration::days(8), 21).await;
    assert!(!due_codes(&t, unit, today + time::Duration::days(8)).await.contains(&"re-check".to_owned()));
}

/// 1,000 mg/L in April; the unit is filled anew with plain water: the whole charge is expected, not a top-up.
#[tokio::test]
async fn plain_water_is_expected_to_take_a_whole_charge() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    let unit = d.units[2];
    let expected = async || {
        let water = unit_water(&t, unit).await;
        let mut c = t.pool().acquire().await.unwrap();
        let known = catalogue::treatments(&mut c).await.unwrap();
        water::expected_doses(&mut *c, &known, &[&water], NOW.date()).await.unwrap().get(&unit).copied().unwrap()
    };
    let top_up = expected().await;
    let day = date!(2026 - 10 - 01);
    let old = units::fills(t.pool(), unit).await.unwrap().remove(0);
    units::drained_before(t.pool(), unit, day).await.unwrap();
    units::add_fill(t.pool(), &units::Fill { id: Uuid::now_v7(), filled_on: day, ..old }, None, NOW).await.unwrap();
    // 200 US gal to 1,000 mg/L are 757 g of nitrite; of the shipped liquid 5 to 6 L (see the dose tables).
    let whole = expected().await;
    assert!(whole > 4 * top_up.max(1) && (4_500..6_500).contains(&whole), "{top_up} {whole}");
}

/// A kit that counts otherwise since, another lot in front on the shelf: a word more in the note changes none of what was read and given.
#[tokio::test]
async fn a_word_more_in_the_note_leaves_reading_lot_and_times() {
    let Stop { t, d, visit, tech, .. } = path::at_a_stop().await;
    let product: Uuid =
        sqlx::query_scalar("SELECT id FROM products WHERE programme_code = 'nitrite-borate'").fetch_one(t.pool()).await.unwrap();
    for lot in ["A1", "Z9"] {
        let received = [("lot", lot), ("amount", "20 L")];
        assert_eq!(t.post(&d.owner, &format!("/treatments/products/{product}/lots"), &received).await.status, 303);
    }
    let lot: Uuid = sqlx::query_scalar("SELECT id FROM lots WHERE lot = 'Z9'").fetch_one(t.pool()).await.unwrap();
    let report = Uuid::now_v7();
    let lot_id = lot.to_string();
    let (arrived, kept) = ((NOW - time::Duration::hours(1)).unix_timestamp().to_string(), NOW.unix_timestamp().to_string());
    let form = [
        ("job", "water-test"),
        ("drops", "10"),
        ("ph", "8.9"),
        ("put_in", "1500"),
        ("lot", lot_id.as_str()),
        ("arrived_at", arrived.as_str()),
        ("made_at", kept.as_str()),
    ];
    assert_eq!(t.post_as(&tech, &format!("/stop/{visit}"), report, &form).await.status, 303);
    sqlx::query("UPDATE test_kits SET per_drop_centi = per_drop_centi / 2 WHERE code = 'nitrite-drops-2'").execute(t.pool()).await.unwrap();
    let sheet = t.get(Some(&tech), &format!("/kept/{report}/correct")).await;
    assert_eq!(sheet.attrs("#lot option[selected]", "value"), std::slice::from_ref(&lot_id), "the lot that was used");
    let again = [&form[..5], &[("version", "1"), ("reason", "a word more"), ("note", "lid is stiff")]].concat();
    let page = t.post(&tech, &format!("/kept/{report}/correct"), &again).await;
    assert_eq!(page.status, 303, "{}", page.text("main"));
    let stands: (i32, Uuid, bool) = sqlx::query_as(
        "SELECT i.programme_mg_l, d.lot_id, r.arrived_at IS NOT DISTINCT FROM b.arrived_at AND r.kept_at IS NOT DISTINCT FROM b.kept_at
         FROM visit_reports r JOIN visit_reports b ON b.report_id = r.report_id AND b.version = 1
         JOIN water_tests w ON w.report_id = r.report_id AND w.version = r.version JOIN readings i ON i.test_id = w.id AND i.what = 'inhibitor'
         JOIN doses d ON d.report_id = r.report_id AND d.version = r.version WHERE r.report_id = $1 AND r.version = 2",
    )
    .bind(report)
    .fetch_one(t.pool())
    .await
    .unwrap();
    // Ten drops were 500 mg/L on that day.
    assert_eq!(stands, (500, lot, true));
}

#[tokio::test]
async fn the_pages_of_the_due_list_hold_each_line_once() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    let place = embertide::store::customers::places(t.pool(), d.birch).await.unwrap().remove(0).id;
    for n in 0..45 {
        dealership::unit(&t, &format!("V{n}"), &format!("Heater {n}"), d.birch, place, 100).await;
    }
    due::refresh(&mut t.pool().acquire().await.unwrap(), None, NOW.date()).await.unwrap();
    let all: i64 = sqlx::query_scalar("SELECT count(*) FROM due_items").fetch_one(t.pool()).await.unwrap();
    let (mut address, mut rows) = ("/due?show=all".to_owned(), Vec::new());
    loop {
        let page = t.get(Some(&d.office), &address).await;
        rows.extend(page.texts("table.due tbody tr"));
        match page.attrs("main p a.big", "href").into_iter().find(|h| h.starts_with("/due?")) {
            Some(next) => address = next,
            None => break,
        }
    }
    assert!(all > 120);
    assert_eq!(i64::try_from(rows.len()).unwrap(), all);
}

#[tokio::test]
async fn a_week_that_was_given_up_is_planned_when_somebody_asks_again() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    sqlx::query("INSERT INTO jobs (id, kind, payload, run_at, attempts, failed) VALUES (gen_random_uuid(), 'plan week', '{\"monday\": \"2026-10-05\"}', $1, 8, 'no')")
        .bind(NOW - time::Duration::hours(1))
        .execute(t.pool())
        .await
        .unwrap();
    let given_up = async || embertide::store::queue::given_up(t.pool()).await.unwrap();
    assert_eq!(given_up().await, 1);
    path::issued_week(&t, &d).await;
    assert_eq!(given_up().await, 0);
}

/// The office takes a "told" back, and retires a heater, while the week's search runs: what comes out is not kept, and is searched again.
#[tokio::test]
async fn a_search_goes_by_what_changed_while_it_ran() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    assert_eq!(t.post(&d.office, "/week/2026-W41/plan", &[]).await.status, 303);
    t.work().await;
    let monday = date!(2026 - 10 - 05);
    let (visit, version): (Uuid, i32) =
        sqlx::query_as("SELECT id, row_version FROM visits WHERE day IS NOT NULL LIMIT 1").fetch_one(t.pool()).await.unwrap();
    let mut c = t.pool().acquire().await.unwrap();
    let plan = week_plan(&mut c, monday, d.units[0]).await;
    embertide::store::week::confirm(&mut c, visit, version, true, d.office.staff_id, NOW).await.unwrap();
    let late = embertide::store::week::save(&mut c, &plan, NOW).await;
    assert!(matches!(late, Err(embertide::store::Error::Clash)), "{late:?}");
    let plan = week_plan(&mut c, monday, d.units[0]).await;
    sqlx::query("UPDATE units SET status = 'retired' WHERE id = $1").bind(d.units[0]).execute(&mut *c).await.unwrap();
    let late = embertide::store::week::save(&mut c, &plan, NOW).await;
    assert!(matches!(late, Err(embertide::store::Error::Clash)), "{late:?}");
}

/// What a search would keep: one visit without a place.
async fn week_plan(c: &mut sqlx::PgConnection, monday: Date, unit: Uuid) -> embertide::store::week::NewPlan {
    let made_from = embertide::store::week::header(&mut *c, monday).await.unwrap().map(|p| p.row_version);
    let u = units::get(&mut *c, unit).await.unwrap();
    let visit = embertide::store::week::NewVisit {
        id: Uuid::now_v7(),
        confirmed: false,
        unit_id: unit,
        customer_id: u.customer_id,
        place_id: u.place_id,
        jobs: vec!["water-test".to_owned()],
        opens_on: monday,
        closes_on: monday,
        minutes: 30,
        reason: "due".to_owned(),
        expected_dose_ml: None,
        placed: None,
        why: "no room".to_owned(),
    };
    embertide::store::week::NewPlan {
        monday,
        seed: 1,
        iterations: 1,
        drive_source: "test".to_owned(),
        closed_roads: Vec::new(),
        made_from,
        first_day: monday,
        routes: Vec::new(),
        visits: vec![visit],
    }
}

/// A repair that is put onto a visit which stands already is part of it: its job, its minutes, its words; until then the list says none.
#[tokio::test]
async fn work_that_is_put_onto_a_visit_is_part_of_it() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    let (visit, unit, _) = path::issued_week(&t, &d).await[0];
    let asked = [("job", "repair"), ("by_day", ""), ("note", "no heat, pump hums")];
    assert_eq!(t.post(&d.office, &format!("/units/{unit}/requests"), &asked).await.status, 303);
    let rows = async || t.get(Some(&d.office), "/due?job=repair").await.texts("table.due tbody tr");
    assert!(rows().await.concat().contains("none yet"), "the visit is for other work: {:?}", rows().await);
    let before: i32 = sqlx::query_scalar("SELECT minutes FROM visits WHERE id = $1").bind(visit).fetch_one(t.pool()).await.unwrap();
    let page = t.get(Some(&d.office), &format!("/units/{unit}/when?job=repair")).await;
    let field = |name: &str| page.attrs(&format!("li form input[name={name}]"), "value").remove(0);
    let (staff, day, position) = (field("staff"), field("day"), field("position"));
    let form = [("week", "2026-W41"), ("job", "repair"), ("staff", &staff as &str), ("day", &day), ("position", &position)];
    assert_eq!(t.post(&d.office, &format!("/units/{unit}/when"), &form).await.status, 303);
    let stands: (i32, bool) = sqlx::query_as(
        "SELECT minutes, EXISTS (SELECT FROM visit_jobs WHERE visit_id = visits.id AND job_code = 'repair') FROM visits WHERE id = $1",
    )
    .bind(visit)
    .fetch_one(t.pool())
    .await
    .unwrap();
    // A repair is 90 minutes, 15 of them the set-up that the visit has already.
    assert_eq!(stands, (before + 75, true));
    assert!(rows().await.concat().contains("Planned for"), "{:?}", rows().await);
}

#[tokio::test]
async fn a_fills_own_sheet_takes_the_place_of_what_a_report_said() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    let unit = unfilled(&t, &d).await;
    let report = [("job", "first-fill"), ("drops", "20"), ("visited_on", "2026-10-04")];
    assert_eq!(t.post(&d.wick, &format!("/unplanned/{unit}"), &report).await.status, 303);
    let sheet = [("volume", "300 gal"), ("hardness", "20"), ("filled_on", "2026-10-03"), ("fluid", "propylene glycol"), ("glycol", "40")];
    let kept = t.post(&d.office, &format!("/units/{unit}/fill"), &sheet).await;
    assert_eq!(kept.status, 303, "{}", kept.text("main"));
    let fills = units::fills(t.pool(), unit).await.unwrap();
    let stands: Vec<(String, &str, i16)> = fills.iter().map(|f| (f.filled_on.to_string(), f.fluid.as_str(), f.glycol_percent)).collect();
    assert_eq!(stands, [("2026-10-03".to_owned(), "propylene glycol", 40)]);
}

/// What another technician made, at whatever hour, says nothing of where this one is.
#[tokio::test]
async fn what_somebody_else_made_times_nobodys_day() {
    let mut t = TestApp::start().await;
    let d = dealership::open(&t).await;
    t.on(time::macros::datetime!(2026-10-05 10:00 UTC));
    path::issued_week(&t, &d).await;
    let (staff, first): (Uuid, Uuid) = sqlx::query_as("SELECT staff_id, id FROM visits WHERE day = '2026-10-05' ORDER BY position LIMIT 1")
        .fetch_one(t.pool())
        .await
        .unwrap();
    let other = if staff == d.wick.staff_id { d.juno.staff_id } else { d.wick.staff_id };
    sqlx::query("UPDATE visits SET status = 'done' WHERE id = $1").bind(first).execute(t.pool()).await.unwrap();
    sqlx::query(
        "INSERT INTO visit_reports (report_id, version, visit_id, unit_id, customer_id, staff_id, visited_on, outcome, arrived_at, kept_at, received_at)
         SELECT gen_random_uuid(), 1, id, unit_id, customer_id, $2, day, 'done', '2026-10-05 05:10Z', '2026-10-05 05:50Z', now() FROM visits WHERE id = $1",
    )
    .bind(first)
    .bind(other)
    .execute(t.pool())
    .await
    .unwrap();
    let starts = async || {
        sqlx::query_scalar::<_, i32>(
            "SELECT starts FROM visits WHERE staff_id = $1 AND day = '2026-10-05' AND status = 'planned' ORDER BY position",
        )
        .bind(staff)
        .fetch_all(t.pool())
        .await
        .unwrap()
    };
    assert!(!starts().await.is_empty());
    let drives = embertide::roads::Drives::of(None);
    let timing = embertide::store::week::Timing { drives: &drives, now: time::macros::datetime!(2026-10-05 06:30) };
    let monday = date!(2026 - 10 - 05);
    embertide::store::week::retime(&mut t.pool().acquire().await.unwrap(), timing, monday, staff, monday).await.unwrap();
    // Work begins at half past seven.
    assert!(starts().await.iter().all(|s| *s >= 450), "{:?}", starts().await);
}

#[tokio::test]
async fn a_second_delivery_goes_to_its_lot() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    let product: Uuid =
        sqlx::query_scalar("SELECT id FROM products WHERE programme_code = 'nitrite-borate'").fetch_one(t.pool()).await.unwrap();
    for _ in 0..2 {
        let received = [("lot", "L9"), ("amount", "4 L")];
        assert_eq!(t.post(&d.owner, &format!("/treatments/products/{product}/lots"), &received).await.status, 303);
    }
    let left: Vec<i64> =
        sqlx::query_scalar("SELECT sum(amount_ml)::bigint FROM shelf_moves GROUP BY lot_id").fetch_all(t.pool()).await.unwrap();
    assert_eq!(left, [8_000]);
}
