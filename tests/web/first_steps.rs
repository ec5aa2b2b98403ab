//! What a new installation is told to do first.

use super::{
    path,
    support::{Session, TestApp, dealership},
};
use embertide::store::{due, sessions::Role, staff};

/// How many steps are done, and how many are listed.
async fn done(t: &TestApp, who: &Session) -> (usize, usize) {
    let page = t.get(Some(who), "/due").await;
    let marks = page.texts("section[aria-labelledby=steps] .st");
    (marks.iter().filter(|m| m.contains("Done")).count(), marks.len())
}

#[tokio::test]
async fn a_new_owner_is_led_to_the_first_week() {
    let t = TestApp::start().await;
    let owner = dealership::person(&t, "Orla Pennifold", "owner", Role::Owner).await;
    let office = dealership::person(&t, "Tamsin Vey", "office", Role::Office).await;
    assert_eq!(done(&t, &owner).await, (0, 7));
    let week = t.get(Some(&owner), "/week/2026-W41").await;
    assert!(week.text("main").contains("Nobody works in this week"), "{}", week.text("main"));
    assert!(week.attrs("form[action$='/plan']", "action").is_empty(), "nothing to press");
    assert!(t.get(Some(&office), "/customers").await.text("main").contains("No customer is kept yet"));
    assert!(t.get(Some(&office), "/due").await.attrs("section[aria-labelledby=steps] a[href='/settings']", "href").is_empty());

    let named = [("name", "Hollowpine Heat"), ("zone", "America/New_York"), ("units", "us"), ("row_version", "1")];
    assert_eq!(t.post(&owner, "/settings", &named).await.status, 303);
    assert_eq!(t.post(&owner, "/settings/depots", &[("name", "the shop"), ("pin", "44.6, -74.9")]).await.status, 303);
    assert_eq!(done(&t, &owner).await, (2, 7));
    let depot = staff::depots(t.pool()).await.unwrap().remove(0).id.to_string();
    assert_eq!(t.post(&owner, &format!("/settings/staff/{}/drives", owner.staff_id), &[("depot", &depot)]).await.status, 303);
    assert_eq!(t.post(&office, "/treatments/compared", &[]).await.status, 403, "the owner's word");
    assert_eq!(t.post(&owner, "/treatments/compared", &[]).await.status, 303);
    assert!(t.get(Some(&owner), "/treatments").await.text("main").contains("Compared with the labels on"));
    assert_eq!(done(&t, &owner).await, (4, 7));

    let (alder, place) = dealership::customer(&t, "C1", "Alda Thistlewick", "Alder Hollow", (44.63, 74.93)).await;
    dealership::unit(&t, "U1", "House heater", alder, place, 400).await;
    let page = t.get(Some(&office), "/due").await;
    assert!(page.text("main").contains("Look at these pins"), "east instead of west: {}", page.text("main"));
    assert!(page.attrs("main a", "href").contains(&format!("/customers/{alder}")));
    assert_eq!(t.post(&office, "/week/2026-W41/plan", &[]).await.status, 303);
    t.work().await;
    assert_eq!(done(&t, &owner).await, (0, 0), "all is done, and the list is gone");
}

#[tokio::test]
async fn who_is_at_the_unit_is_warned_of_figures_that_nobody_compared() {
    let stop = path::at_a_stop().await;
    let (t, d) = (&stop.t, &stop.d);
    let sheet = format!("/stop/{}", stop.visit);
    let says = "Nobody here has compared these figures";
    assert!(t.get(Some(&stop.tech), &sheet).await.text("main").contains(says));
    assert_eq!(t.post(&d.owner, "/treatments/compared", &[]).await.status, 303);
    assert!(!t.get(Some(&stop.tech), &sheet).await.text("main").contains(says));
}

#[tokio::test]
async fn a_day_that_is_over_before_noon_tells_no_time_for_lunch() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    // One unit is left: a morning's work.
    sqlx::query("UPDATE units SET status = 'retired' WHERE id <> $1").bind(d.units[2]).execute(t.pool()).await.unwrap();
    let mut c = t.pool().acquire().await.unwrap();
    due::refresh(&mut c, None, t.app.clock.now().date()).await.unwrap();
    drop(c);
    path::issued_week(&t, &d).await;
    let day: (i32, Option<i32>) = sqlx::query_as("SELECT returns, lunch_at FROM routes").fetch_one(t.pool()).await.unwrap();
    assert!(day.0 < 810 && day.1.is_none(), "back before the latest time for lunch, 1:30 pm: {day:?}");
    // All three take until the afternoon.
    sqlx::query("UPDATE units SET status = 'in service'").execute(t.pool()).await.unwrap();
    sqlx::query("UPDATE week_plans SET status = 'draft', issued_at = NULL").execute(t.pool()).await.unwrap();
    let mut c = t.pool().acquire().await.unwrap();
    due::refresh(&mut c, None, t.app.clock.now().date()).await.unwrap();
    drop(c);
    path::issued_week(&t, &d).await;
    let day: (i32, Option<i32>) = sqlx::query_as("SELECT returns, lunch_at FROM routes").fetch_one(t.pool()).await.unwrap();
    assert!(day.0 > 810 && day.1.is_some_and(|l| (660..=810).contains(&l)), "lunch begins from 11:00 am to 1:30 pm: {day:?}");
}
