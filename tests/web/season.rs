//! The plan of the whole season.

use super::support::{TestApp, dealership};
use time::{Date, macros::date};
use uuid::Uuid;

async fn planned(t: &TestApp, d: &dealership::Dealership) {
    t.post(&d.office, "/season/plan", &[]).await;
    t.work().await;
}

async fn meant(t: &TestApp) -> Vec<(Uuid, Option<Date>, Option<Date>)> {
    sqlx::query_as("SELECT unit_id, monday, day FROM season_visits ORDER BY unit_id, n").fetch_all(t.pool()).await.unwrap()
}

#[tokio::test]
async fn every_due_visit_of_the_season_is_meant_for_a_week_and_the_page_says_which() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    planned(&t, &d).await;
    let meant = meant(&t).await;
    let due: Vec<Uuid> = sqlx::query_scalar("SELECT DISTINCT unit_id FROM due_items ORDER BY 1").fetch_all(t.pool()).await.unwrap();
    let mut units: Vec<Uuid> = meant.iter().map(|m| m.0).collect();
    units.dedup();
    assert_eq!(units, due, "whoever is due has a place in the season or a reason");
    assert!(meant.iter().filter_map(|m| m.2).all(|day| day > date!(2026 - 10 - 05)), "today is under way");
    let page = t.get(Some(&d.office), "/season").await;
    assert_eq!(page.status, 200);
    assert!(page.text("main").contains("visits over"), "{}", page.text("main"));
    assert!(page.text("main").contains("fall, "), "{}", page.text("main"));
}

#[tokio::test]
async fn a_unit_of_an_issued_week_is_not_planned_twice() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    super::path::issued_week(&t, &d).await;
    let standing: Vec<Uuid> = sqlx::query_scalar("SELECT unit_id FROM visits WHERE status = 'planned' AND day >= '2026-10-05'")
        .fetch_all(t.pool())
        .await
        .unwrap();
    assert!(!standing.is_empty());
    planned(&t, &d).await;
    let meant = meant(&t).await;
    assert!(meant.iter().all(|m| !standing.contains(&m.0)), "an issued visit stays where it is");
    assert!(meant.iter().all(|m| m.1 != Some(date!(2026 - 10 - 05))), "nothing more goes into an issued week");
}

#[tokio::test]
async fn planning_again_replaces_the_plan_and_the_same_facts_give_the_same() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    planned(&t, &d).await;
    let first = meant(&t).await;
    planned(&t, &d).await;
    assert_eq!(meant(&t).await, first);
    let plans: i64 = sqlx::query_scalar("SELECT count(*) FROM season_plans").fetch_one(t.pool()).await.unwrap();
    assert_eq!(plans, 1);
}

#[tokio::test]
async fn the_week_prefers_what_the_season_means_for_it() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    planned(&t, &d).await;
    // One visit alone fits into the only working day.
    sqlx::query("DELETE FROM working_hours WHERE NOT (weekday = 5 AND staff_id = $1)")
        .bind(d.wick.staff_id)
        .execute(t.pool())
        .await
        .unwrap();
    sqlx::query("UPDATE working_hours SET starts = 480, ends = 660").execute(t.pool()).await.unwrap();
    sqlx::query("UPDATE technicians SET lunch_minutes = 0, skills = '{repair}'").execute(t.pool()).await.unwrap();
    let units: Vec<Uuid> = sqlx::query_scalar("SELECT DISTINCT unit_id FROM season_visits WHERE opens_on <= '2026-10-11' ORDER BY 1")
        .fetch_all(t.pool())
        .await
        .unwrap();
    let mut planned_now = Vec::new();
    for wanted in &units {
        sqlx::query("UPDATE season_visits SET monday = CASE WHEN unit_id = $1 THEN date '2026-10-05' ELSE date '2026-10-26' END WHERE monday IS NOT NULL")
            .bind(wanted)
            .execute(t.pool())
            .await
            .unwrap();
        t.post(&d.office, "/week/2026-W41/plan", &[]).await;
        t.work().await;
        let placed: Vec<Uuid> =
            sqlx::query_scalar("SELECT unit_id FROM visits WHERE status = 'planned'").fetch_all(t.pool()).await.unwrap();
        assert_eq!(placed.len(), 1, "one fits: {placed:?}");
        planned_now.push(placed.contains(wanted));
    }
    assert!(planned_now.iter().filter(|p| **p).count() * 2 > units.len(), "most units come when they are meant to: {planned_now:?}");
}

#[tokio::test]
async fn work_begins_at_the_times_that_suit() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    let (place, unit): (Uuid, Uuid) =
        sqlx::query_as("SELECT place_id, id FROM units WHERE id = $1").bind(d.units[0]).fetch_one(t.pool()).await.unwrap();
    let page = t.get(Some(&d.office), &format!("/customers/{}", d.alder)).await;
    assert!(page.text("main").contains("Times that suit"));
    let (name, pin): (String, String) =
        sqlx::query_as("SELECT name, lat || ', ' || lon FROM places WHERE id = $1").bind(place).fetch_one(t.pool()).await.unwrap();
    let form = |suits: &'static str| {
        vec![("name", name.clone()), ("pin", pin.clone()), ("row_version", "1".to_owned()), ("suits", suits.to_owned())]
    };
    let post = |form: Vec<(&'static str, String)>| {
        let (t, d) = (&t, &d);
        async move {
            let form: Vec<(&str, &str)> = form.iter().map(|(k, v)| (*k, v.as_str())).collect();
            t.post(&d.office, &format!("/places/{place}"), &form).await
        }
    };
    let refused = post(form("whenever")).await;
    assert_eq!(refused.status, 422, "{}", refused.text("main"));
    assert!(refused.text("main").contains("whenever"));
    assert_eq!(post(form("Thu 1:00 pm to 3:00 pm")).await.status, 303);
    t.post(&d.office, "/week/2026-W41/plan", &[]).await;
    t.work().await;
    let (day, starts): (Date, i32) = sqlx::query_as("SELECT day, starts FROM visits WHERE unit_id = $1 AND status = 'planned'")
        .bind(unit)
        .fetch_one(t.pool())
        .await
        .unwrap();
    assert_eq!(day, date!(2026 - 10 - 08), "a Thursday");
    assert!((780..900).contains(&starts), "from 1 to 3 in the afternoon: {starts}");
}

#[tokio::test]
async fn a_van_that_carries_little_of_a_product_serves_fewer_of_its_units_a_day() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    let placed = |t: &TestApp| {
        let pool = t.pool().clone();
        async move {
            let loads: Vec<(Date, Uuid, i64)> =
                sqlx::query_as("SELECT day, staff_id, coalesce(expected_dose_ml, 0) FROM visits WHERE status = 'planned'")
                    .fetch_all(&pool)
                    .await
                    .unwrap();
            loads
        }
    };
    t.post(&d.office, "/week/2026-W41/plan", &[]).await;
    t.work().await;
    let before = placed(&t).await;
    let most = before.iter().map(|v| v.2).max().unwrap();
    assert!(most > 0 && before.len() == 3, "{before:?}");
    let product: Uuid = sqlx::query_scalar(
        "SELECT x.id FROM products x JOIN units u ON x.programme_code = u.programme_code AND x.active WHERE u.id = $1 ORDER BY x.name, x.id LIMIT 1",
    )
    .bind(d.units[0])
    .fetch_one(t.pool())
    .await
    .unwrap();
    // As much as the largest dose: two doses do not go into one van.
    for staff in [d.wick.staff_id, d.juno.staff_id] {
        sqlx::query("INSERT INTO van_loads (staff_id, product_id, ml) VALUES ($1, $2, $3)")
            .bind(staff)
            .bind(product)
            .bind(most)
            .execute(t.pool())
            .await
            .unwrap();
    }
    t.post(&d.office, "/week/2026-W41/plan", &[]).await;
    t.work().await;
    let after = placed(&t).await;
    assert_eq!(after.len(), 3, "{after:?}");
    let heaviest = |all: &[(Date, Uuid, i64)]| -> i64 {
        let of_day = |a: &(Date, Uuid, i64)| all.iter().filter(|b| (b.0, b.1) == (a.0, a.1)).map(|b| b.2).sum();
        all.iter().map(of_day).max().unwrap_or(0)
    };
    assert!(heaviest(&before) > most, "else the test would say nothing: {before:?}");
    assert!(heaviest(&after) <= most, "{after:?}");
    let page = t.get(Some(&d.owner), "/settings").await;
    assert!(page.text("main").contains("Less of one product"));
}
