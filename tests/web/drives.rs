//! Drives as they were driven, and the times that they correct.

use super::{
    path::issued_week,
    support::{NOW, TestApp, dealership},
};
use embertide::{
    roads::Drives,
    sources::{Client, Engine, Kind, Sources},
    store::drives,
};
use std::sync::Arc;
use uuid::Uuid;

async fn report(t: &TestApp, d: &dealership::Dealership, (visit, staff): (Uuid, Uuid), arrived: &str, kept: &str) {
    let form = [("job", "fall-start-up"), ("job", "water-test"), ("drops", "13"), ("arrived_at", arrived), ("made_at", kept)];
    let kept = t.post(d.technician(staff), &format!("/stop/{visit}"), &form).await;
    assert_eq!(kept.status, 303, "{}", kept.text("main"));
}

#[tokio::test]
async fn a_drive_is_from_one_sheet_kept_to_the_next_arrival() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    // One technician drives to all three.
    sqlx::query("DELETE FROM working_hours WHERE staff_id = $1").bind(d.juno.staff_id).execute(t.pool()).await.unwrap();
    let visits = issued_week(&t, &d).await;
    let at = |i: usize| (visits[i].0, visits[i].2);
    report(&t, &d, at(0), "2026-10-05T12:00:00.000Z", "2026-10-05T12:40:00.000Z").await;
    let none = drives::recorded(t.pool()).await.unwrap();
    assert!(none.is_empty(), "nobody knows where the first drive of a day began");
    report(&t, &d, at(1), "2026-10-05T12:55:30.000Z", "2026-10-05T13:30:00.000Z").await;
    // Four hours: lunch, or another errand.
    report(&t, &d, at(2), "2026-10-05T17:30:00.000Z", "2026-10-05T18:00:00.000Z").await;
    let recorded = drives::recorded(t.pool()).await.unwrap();
    assert_eq!(recorded.iter().map(|(r, _)| r.seconds).collect::<Vec<_>>(), [15 * 60 + 30]);
    let pins: Vec<(f64, f64)> = sqlx::query_as(
        "SELECT p.lat, p.lon FROM units u JOIN places p ON p.id = u.place_id WHERE u.id = ANY($1) ORDER BY array_position($1, u.id)",
    )
    .bind([visits[0].1, visits[1].1])
    .fetch_all(t.pool())
    .await
    .unwrap();
    assert_eq!([recorded[0].0.from, recorded[0].0.to].map(|p| (p.lat(), p.lon())), [pins[0], pins[1]]);
    assert_eq!(t.broken_promises().await, Vec::<String>::new());
}

#[tokio::test]
async fn twenty_drives_a_fifth_longer_make_every_drive_a_fifth_longer_unless_the_owner_says_no() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    let places: Vec<(f64, f64)> = (0..21).map(|i| (44.6 + f64::from(i) * 0.013, -74.9 + f64::from(i % 5) * 0.021)).collect();
    let plain = Drives::of(None);
    for (i, pair) in places.windows(2).enumerate() {
        let stops = [pair[0], pair[1]].map(|p| embertide::roads::Position::new(p.0, p.1).unwrap());
        let reckoned = plain.table(&stops).seconds[1];
        sqlx::query(
            "INSERT INTO recorded_drives (report_id, staff_id, from_lat, from_lon, to_lat, to_lon, left_at, seconds)
             VALUES ($1, $2, $3, $4, $5, $6, now() - make_interval(hours => $7), $8)",
        )
        .bind(Uuid::now_v7())
        .bind(d.wick.staff_id)
        .bind(pair[0].0)
        .bind(pair[0].1)
        .bind(pair[1].0)
        .bind(pair[1].1)
        .bind(i32::try_from(i).unwrap())
        .bind(reckoned * 6 / 5)
        .execute(t.pool())
        .await
        .unwrap();
    }
    // Planning works out anew what the drives say.
    t.post(&d.office, "/week/2026-W41/plan", &[]).await;
    t.work().await;
    let page = t.get(Some(&d.owner), "/settings").await;
    assert!(page.text("main").contains("Times are 20 % longer than reckoned, after 20 recorded drives."), "{}", page.text("main"));
    assert!((drives::of(t.pool(), None).await.unwrap().calibration().factor - 1.2).abs() < 1e-9);
    assert_eq!(t.post(&d.owner, "/settings/drives", &[("correct", "no")]).await.status, 303);
    assert!((drives::of(t.pool(), None).await.unwrap().calibration().factor - 1.0).abs() < 1e-9);
}

#[tokio::test]
async fn what_planning_weighs_is_kept_and_nonsense_is_refused() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    let form = |overtime: &'static str| {
        [("overtime_percent", overtime), ("late_minutes_a_day", "30"), ("uneven_seconds", "90"), ("row_version", "1")]
    };
    assert_eq!(t.post(&d.owner, "/settings/planning", &form("lots")).await.status, 422);
    assert_eq!(t.post(&d.owner, "/settings/planning", &form("200 %")).await.status, 303);
    assert_eq!(t.post(&d.owner, "/settings/planning", &form("100")).await.status, 409, "made from an older page");
    let kept: (i32, i32, i32) = sqlx::query_as("SELECT overtime_percent, late_minutes_a_day, uneven_seconds FROM planning_prices")
        .fetch_one(t.pool())
        .await
        .unwrap();
    assert_eq!(kept, (200, 30, 90));
}

/// Nothing listens on port 1: the plan is made all the same, and week and settings say so.
#[tokio::test]
async fn a_road_engine_that_does_not_answer_is_named_and_the_week_is_planned_without_it() {
    let mut t = TestApp::start().await;
    let engine = Engine::new(Kind::Table, Client::new("http://127.0.0.1:1".parse().unwrap(), false).unwrap());
    t.app.sources = Sources::new(Arc::default(), Some(engine));
    t.on(NOW);
    let d = dealership::open(&t).await;
    let visits = issued_week(&t, &d).await;
    let week = t.get(Some(&d.office), "/week/2026-W41").await.text("main");
    assert!(week.contains("Driving times are estimated, because the road engine did not answer."), "{week}");
    let settings = t.get(Some(&d.owner), "/settings").await.text("main");
    assert!(settings.contains("They come from the road engine at http://127.0.0.1:1, and where it tells nothing from straight lines"));
    assert!(settings.contains("Look at this. The road engine at http://127.0.0.1:1"), "{settings}");
    let version: i32 =
        sqlx::query_scalar("SELECT row_version FROM visits WHERE id = $1").bind(visits[0].0).fetch_one(t.pool()).await.unwrap();
    let form = [("week", "2026-W41"), ("row_version", &version.to_string()), ("how", "later")];
    assert_eq!(t.post(&d.office, &format!("/visits/{}/move", visits[0].0), &form).await.status, 303);
}
