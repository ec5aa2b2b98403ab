//! A technician falls out: the week is mended as little as may be, shown first, kept once.

use super::{
    path,
    support::{Page, TestApp, dealership},
};
use embertide::store::week;
use std::collections::BTreeSet;
use time::{Date, macros::date};
use uuid::Uuid;

const MONDAY: Date = date!(2026 - 10 - 05);

async fn standing(t: &TestApp) -> BTreeSet<(Uuid, String, Option<Date>, Option<Uuid>)> {
    sqlx::query_as("SELECT id, status, day, staff_id FROM visits").fetch_all(t.pool()).await.unwrap().into_iter().collect()
}

#[tokio::test]
async fn a_lost_day_is_mended_after_it_was_shown_and_its_visits_go_to_others() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    path::issued_week(&t, &d).await;
    // A day that lies ahead: whoever drives first after today.
    let today = MONDAY;
    sqlx::query("UPDATE visits SET day = day WHERE day > $1").bind(today).execute(t.pool()).await.unwrap();
    let lost: Option<(Uuid, Date)> = sqlx::query_as("SELECT staff_id, day FROM routes WHERE day >= $1 ORDER BY day LIMIT 1")
        .bind(today)
        .fetch_optional(t.pool())
        .await
        .unwrap();
    let (staff, day) = lost.expect("a route");
    let before = standing(&t).await;
    let own = before.iter().filter(|v| v.2 == Some(day) && v.3 == Some(staff)).count();
    let ask = format!("/week/2026-W41/mend?staff={staff}&day={day}");
    let page = t.get(Some(&d.office), &ask).await;
    assert_eq!(page.status, 200, "{}", page.text("main"));
    assert!(page.text("main").contains("Nothing is kept yet."));
    assert!(page.texts("tbody tr").len() >= own, "every visit of that day changes: {:?}", page.texts("tbody tr"));
    assert_eq!(standing(&t).await, before, "looking changes nothing");
    let [version, seen] = kept_with(&page);
    let form = [("staff", staff.to_string()), ("day", day.to_string()), ("row_version", version), ("seen", seen)];
    let form: Vec<(&str, &str)> = form.iter().map(|(k, v)| (*k, v.as_str())).collect();
    let kept = t.post(&d.office, "/week/2026-W41/mend", &form).await;
    assert_eq!(kept.location, "/week/2026-W41?said=mended", "{}", kept.text("main"));
    let after = standing(&t).await;
    assert_eq!(after.len(), before.len(), "no visit is lost");
    assert!(after.iter().all(|v| (v.2, v.3) != (Some(day), Some(staff))), "nobody stands on the lost day");
    let placed = after.iter().filter(|v| v.1 == "planned").count();
    assert_eq!(placed, before.len(), "two technicians have room for three visits in the rest of the week");
    let routes = week::routes(t.pool(), MONDAY, None).await.unwrap();
    assert!(routes.iter().all(|r| (r.staff_id, r.day) != (staff, day)));
    let stops = week::stops(t.pool(), MONDAY, None).await.unwrap();
    assert!(stops.iter().all(|s| routes.iter().any(|r| Some(r.staff_id) == s.staff_id && Some(r.day) == s.day)), "each has its route");
    let again = t.post(&d.office, "/week/2026-W41/mend", &form).await;
    assert!(again.status == 409 || again.status == 404, "made from an older page: {}", again.status);
    let off: i64 = sqlx::query_scalar("SELECT count(*) FROM days_off WHERE staff_id = $1 AND day = $2")
        .bind(staff)
        .bind(day)
        .fetch_one(t.pool())
        .await
        .unwrap();
    assert_eq!(off, 1, "planning again will not put anything there either");
}

#[tokio::test]
async fn what_was_made_before_a_day_was_lost_stays_on_its_route() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    path::issued_week(&t, &d).await;
    let (made, staff): (Uuid, Uuid) =
        sqlx::query_as("UPDATE visits SET status = 'done' WHERE id = (SELECT id FROM visits WHERE day = $1 ORDER BY starts LIMIT 1) RETURNING id, staff_id")
            .bind(MONDAY)
            .fetch_one(t.pool())
            .await
            .unwrap();
    let page = t.get(Some(&d.office), &format!("/week/2026-W41/mend?staff={staff}&day={MONDAY}")).await;
    let [version, seen] = kept_with(&page);
    let (staff_text, day) = (staff.to_string(), MONDAY.to_string());
    let form = [("staff", staff_text.as_str()), ("day", &day), ("row_version", &version), ("seen", &seen)];
    assert_eq!(t.post(&d.office, "/week/2026-W41/mend", &form).await.location, "/week/2026-W41?said=mended");
    let page = t.get(Some(&d.office), "/week/2026-W41").await;
    let stands = page.texts(&format!("[id='d-{MONDAY}'] [id='v-{made}']"));
    assert!(stands.len() == 1 && stands[0].contains("Done"), "{stands:?}");
    let left: i64 = sqlx::query_scalar("SELECT count(*) FROM visits WHERE staff_id = $1 AND day = $2 AND status = 'planned'")
        .bind(staff)
        .bind(MONDAY)
        .fetch_one(t.pool())
        .await
        .unwrap();
    assert_eq!(left, 0, "the rest is somebody else's, or another day's");
}

/// All of the issued week lies ahead.
async fn on_the_friday_before() -> (TestApp, dealership::Dealership) {
    let mut t = TestApp::start().await;
    t.on(super::support::NOW - time::Duration::days(3));
    let d = dealership::open(&t).await;
    path::issued_week(&t, &d).await;
    (t, d)
}

async fn version(t: &TestApp, visit: Uuid) -> String {
    let version: i32 = sqlx::query_scalar("SELECT row_version FROM visits WHERE id = $1").bind(visit).fetch_one(t.pool()).await.unwrap();
    version.to_string()
}

/// The office puts a unit's visit on the first technician's route of that day.
async fn moved(t: &TestApp, d: &dealership::Dealership, unit: Uuid, day: Date) -> Uuid {
    let visit: Uuid = sqlx::query_scalar("SELECT id FROM visits WHERE unit_id = $1").bind(unit).fetch_one(t.pool()).await.unwrap();
    let target = format!("{}/{day}", d.wick.staff_id);
    let form = [("week", "2026-W41"), ("row_version", &version(t, visit).await as &str), ("how", "to"), ("target", &target)];
    assert_eq!(t.post(&d.office, &format!("/visits/{visit}/move"), &form).await.status, 303);
    visit
}

#[tokio::test]
async fn a_confirmed_visit_keeps_its_day_with_somebody_else() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    path::issued_week(&t, &d).await;
    // Told for Wednesday at ten with the first technician.
    let day = date!(2026 - 10 - 07);
    let visit = moved(&t, &d, d.units[2], day).await;
    let told = [("week", "2026-W41"), ("row_version", &version(&t, visit).await as &str), ("told", "yes")];
    assert_eq!(t.post(&d.office, &format!("/visits/{visit}/confirm"), &told).await.status, 303);
    let page = t.get(Some(&d.office), &format!("/week/2026-W41/mend?staff={}&day={day}", d.wick.staff_id)).await;
    let row = page.texts("tbody tr").into_iter().find(|r| r.contains("Shop heater")).unwrap();
    assert!(row.contains("was told") && row.contains("Juno Haddlesey comes instead of Wick Garrowby"), "{row}");
}

#[tokio::test]
async fn who_was_told_another_time_than_the_planned_one_gets_it_back_where_that_disturbs_nobody() {
    let (t, d) = on_the_friday_before().await;
    let [wednesday, thursday] = [date!(2026 - 10 - 07), date!(2026 - 10 - 08)];
    let visit = moved(&t, &d, d.units[2], wednesday).await;
    let told = [("week", "2026-W41"), ("row_version", &version(&t, visit).await as &str), ("told", "yes")];
    assert_eq!(t.post(&d.office, &format!("/visits/{visit}/confirm"), &told).await.status, 303);
    moved(&t, &d, d.units[2], thursday).await;
    assert!(t.get(Some(&d.office), "/week/2026-W41").await.text("main").contains("To call: 1"));
    let other: Uuid = sqlx::query_scalar("SELECT id FROM visits WHERE id <> $1 AND day IS NOT NULL LIMIT 1")
        .bind(visit)
        .fetch_one(t.pool())
        .await
        .unwrap();
    let page = t.get(Some(&d.office), &format!("/week/2026-W41/mend?refused={other}")).await;
    let row = page.texts("tbody tr").into_iter().find(|r| r.contains("Shop heater")).unwrap_or_else(|| panic!("{}", page.text("main")));
    assert!(row.contains("from Thu Oct 8") && row.contains("to Wed Oct 7") && row.contains("was told Wed Oct 7"), "{row}");
    let [version, seen] = kept_with(&page);
    let form = [("refused", &other.to_string() as &str), ("row_version", &version), ("seen", &seen)];
    assert_eq!(t.post(&d.office, "/week/2026-W41/mend", &form).await.location, "/week/2026-W41?said=mended");
    let week = t.get(Some(&d.office), "/week/2026-W41").await;
    assert!(!week.text("main").contains("To call"), "the customer is told nothing new");
}

/// The office put a visit on a day that is far too short for it: that day stays as it is, and the rest can still be mended.
#[tokio::test]
async fn a_day_that_breaks_a_rule_already_is_left_alone_and_the_rest_is_mended() {
    let (t, d) = on_the_friday_before().await;
    let wednesday = date!(2026 - 10 - 07);
    sqlx::query("UPDATE working_hours SET ends = starts + 30 WHERE staff_id = $1 AND weekday = 3")
        .bind(d.wick.staff_id)
        .execute(t.pool())
        .await
        .unwrap();
    let odd = moved(&t, &d, d.units[2], wednesday).await;
    let (staff, day): (Uuid, Date) =
        sqlx::query_as("SELECT staff_id, day FROM visits WHERE unit_id = $1").bind(d.units[0]).fetch_one(t.pool()).await.unwrap();
    let (says, [version, seen]) = week_page(&t, &d, &format!("staff={staff}&day={day}")).await;
    assert!(says.contains("Left as the office put it: Wed Oct 7, Wick Garrowby"), "{says}");
    assert!(says.contains("House heater") && !says.contains("Shop heater"), "{says}");
    let form = [("staff", &staff.to_string() as &str), ("day", &day.to_string()), ("row_version", &version), ("seen", &seen)];
    assert_eq!(t.post(&d.office, "/week/2026-W41/mend", &form).await.location, "/week/2026-W41?said=mended");
    let days: Vec<(Uuid, Option<Date>)> = sqlx::query_as("SELECT id, day FROM visits").fetch_all(t.pool()).await.unwrap();
    assert!(days.contains(&(odd, Some(wednesday))), "{days:?}");
    let refused = t.get(Some(&d.office), &format!("/week/2026-W41/mend?refused={odd}")).await;
    assert!(refused.status == 422 && refused.text("main").contains("breaks a rule already"), "{}", refused.text("main"));
    let (says, _) = week_page(&t, &d, &format!("staff={}&day={wednesday}", d.wick.staff_id)).await;
    assert!(says.contains("Shop heater") && !says.contains("Left as"), "its own stops find another day: {says}");
}

/// What a page hands back beside what happened.
pub(crate) fn kept_with(page: &Page) -> [String; 2] {
    ["row_version", "seen"].map(|name| page.attrs(&format!("input[name={name}]"), "value").remove(0))
}

async fn week_page(t: &TestApp, d: &dealership::Dealership, what: &str) -> (String, [String; 2]) {
    let page = t.get(Some(&d.office), &format!("/week/2026-W41/mend?{what}")).await;
    assert_eq!(page.status, 200, "{}", page.text("main"));
    (page.text("main"), kept_with(&page))
}

#[tokio::test]
async fn a_customer_who_says_no_is_called_off_and_the_rest_stays_as_told() {
    let (t, d) = on_the_friday_before().await;
    let visit: Uuid =
        sqlx::query_scalar("SELECT id FROM visits WHERE day >= $1 ORDER BY day LIMIT 1").bind(MONDAY).fetch_one(t.pool()).await.unwrap();
    let before = standing(&t).await;
    let (says, [version, seen]) = week_page(&t, &d, &format!("refused={visit}")).await;
    assert!(says.contains("is not wanted this week") && says.contains("called off (was "), "{says}");
    assert_eq!(standing(&t).await, before, "looking changes nothing");
    let kept =
        t.post(&d.office, "/week/2026-W41/mend", &[("refused", &visit.to_string()), ("row_version", &version), ("seen", &seen)]).await;
    assert_eq!(kept.location, "/week/2026-W41?said=mended", "{}", kept.text("main"));
    let after = standing(&t).await;
    assert!(after.iter().any(|v| v.0 == visit && v.1 == "cancelled" && v.2.is_none()));
    let days = |all: &BTreeSet<(Uuid, String, Option<Date>, Option<Uuid>)>| -> Vec<(Uuid, Option<Date>)> {
        all.iter().filter(|v| v.0 != visit).map(|v| (v.0, v.2)).collect()
    };
    assert_eq!(days(&after), days(&before), "nobody else is told another day");
    assert_eq!(t.broken_promises().await, Vec::<String>::new());
}

#[tokio::test]
async fn what_cannot_wait_gets_a_place_as_early_as_may_be() {
    let (t, d) = on_the_friday_before().await;
    let (visit, version): (Uuid, i32) = sqlx::query_as("SELECT id, row_version FROM visits WHERE day >= $1 ORDER BY day DESC LIMIT 1")
        .bind(MONDAY)
        .fetch_one(t.pool())
        .await
        .unwrap();
    let off = [("week", "2026-W41"), ("row_version", &version.to_string())].map(|(k, v)| (k, v.to_owned()));
    let off: Vec<(&str, &str)> = off.iter().map(|(k, v)| (*k, v.as_str())).collect();
    assert_eq!(t.post(&d.office, &format!("/visits/{visit}/take-off"), &off).await.status, 303);
    let (says, [version, seen]) = week_page(&t, &d, &format!("urgent={visit}")).await;
    assert!(says.contains("cannot wait") && says.contains("gets a place: "), "{says}");
    let kept =
        t.post(&d.office, "/week/2026-W41/mend", &[("urgent", &visit.to_string()), ("row_version", &version), ("seen", &seen)]).await;
    assert_eq!(kept.location, "/week/2026-W41?said=mended", "{}", kept.text("main"));
    let (status, day): (String, Option<Date>) =
        sqlx::query_as("SELECT status, day FROM visits WHERE id = $1").bind(visit).fetch_one(t.pool()).await.unwrap();
    assert_eq!((status.as_str(), day), ("planned", Some(MONDAY)), "the first working day ahead");
    assert_eq!(t.broken_promises().await, Vec::<String>::new());
}

#[tokio::test]
async fn a_question_that_names_nothing_or_too_much_is_no_page() {
    let (t, d) = on_the_friday_before().await;
    let nobody = Uuid::now_v7();
    for wrong in
        [String::new(), format!("urgent={nobody}"), format!("refused={nobody}&urgent={nobody}"), format!("staff={nobody}&day=2026-10-06")]
    {
        let page = t.get(Some(&d.office), &format!("/week/2026-W41/mend?{wrong}")).await;
        assert_eq!(page.status, 404, "{wrong}");
    }
}
