//! Changing a week by hand, and two people at once.

use super::{
    path::issued_week,
    support::{TestApp, dealership},
};
use embertide::{
    jobs::{Search, plan_week::plan_week},
    store::{catalogue, due},
};
use time::macros::date;
use uuid::Uuid;

async fn row(t: &TestApp, visit: Uuid) -> (Option<Uuid>, Option<time::Date>, Option<i16>, String, i32) {
    sqlx::query_as("SELECT staff_id, day, position, status, row_version FROM visits WHERE id = $1")
        .bind(visit)
        .fetch_one(t.pool())
        .await
        .unwrap()
}

/// Moves a visit to a technician's day, at its end or before the stop of that number.
async fn put_on(t: &TestApp, d: &dealership::Dealership, visit: Uuid, target: &str, position: &str) {
    let version = row(t, visit).await.4.to_string();
    let form = [("week", "2026-W41"), ("row_version", &version as &str), ("how", "to"), ("target", target), ("position", position)];
    let moved = t.post(&d.office, &format!("/visits/{visit}/move"), &form).await;
    assert_eq!(moved.status, 303, "{}", moved.text("main"));
}

async fn planned(t: &TestApp, d: &dealership::Dealership) -> Vec<Uuid> {
    t.post(&d.office, "/week/2026-W41/plan", &[]).await;
    t.work().await;
    sqlx::query_scalar("SELECT id FROM visits ORDER BY day, staff_id, position").fetch_all(t.pool()).await.unwrap()
}

#[tokio::test]
async fn a_visit_moves_to_another_technician_and_day_and_its_times_follow() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    let visit = planned(&t, &d).await[0];
    put_on(&t, &d, visit, &format!("{}/2026-10-08", d.juno.staff_id), "").await;
    let (staff, day, position, ..) = row(&t, visit).await;
    assert_eq!((staff, day.map(|d| d.to_string()), position), (Some(d.juno.staff_id), Some("2026-10-08".to_owned()), Some(1)));
    let starts: i32 = sqlx::query_scalar("SELECT starts FROM visits WHERE id = $1").bind(visit).fetch_one(t.pool()).await.unwrap();
    assert!(starts > 450, "after leaving at 7:30 and driving there");
}

#[tokio::test]
async fn a_week_issued_before_it_was_planned_again_stays_as_it_was_issued() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    planned(&t, &d).await;
    let page = t.get(Some(&d.office), "/week/2026-W41").await;
    let version = page.attrs("form[action$='/issue'] input[name=row_version]", "value").remove(0);
    assert_eq!(t.post(&d.office, "/week/2026-W41/plan", &[]).await.status, 303);
    assert_eq!(t.post(&d.office, "/week/2026-W41/issue", &[("row_version", &version)]).await.status, 303);
    let before = t.get(Some(&d.office), "/week/2026-W41/print").await.text("main");
    t.work().await;
    let said = t.get(Some(&d.office), "/week/2026-W41").await.text("main");
    assert!(said.contains("Issued") && !said.contains("Working out") && !said.contains("failed"), "{said}");
    assert_eq!(t.get(Some(&d.office), "/week/2026-W41/print").await.text("main"), before);
}

/// Both technicians work from Monday to Friday. What opens on the Saturday has found no room in this week: it was not due in it.
#[tokio::test]
async fn what_opens_when_nobody_works_any_more_is_left_to_the_next_week() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    sqlx::query("DELETE FROM requests").execute(t.pool()).await.unwrap();
    catalogue::change_season(t.pool(), "fall", date!(2026 - 10 - 10), date!(2026 - 11 - 20)).await.unwrap();
    catalogue::change_season(t.pool(), "spring", date!(2026 - 03 - 10), date!(2026 - 04 - 20)).await.unwrap();
    sqlx::query("UPDATE dealer SET records_since = '2026-09-01'").execute(t.pool()).await.unwrap();
    due::refresh(&mut t.pool().acquire().await.unwrap(), None, date!(2026 - 10 - 05)).await.unwrap();
    let due: i64 = sqlx::query_scalar("SELECT count(*) FROM due_items WHERE opens_on = '2026-10-10'").fetch_one(t.pool()).await.unwrap();
    assert!(due >= 3, "a start-up of each unit");
    assert_eq!(planned(&t, &d).await, Vec::<Uuid>::new());
    t.post(&d.office, "/week/2026-W42/plan", &[]).await;
    t.work().await;
    let placed: i64 = sqlx::query_scalar("SELECT count(*) FROM visits WHERE day >= '2026-10-12'").fetch_one(t.pool()).await.unwrap();
    assert_eq!(placed, 3);
}

#[tokio::test]
async fn the_pages_of_a_unit_and_its_customer_tell_the_caller_when_somebody_comes() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    let visit = planned(&t, &d).await[0];
    let (unit, customer, starts): (Uuid, Uuid, i32) =
        sqlx::query_as("SELECT unit_id, customer_id, starts FROM visits WHERE id = $1").bind(visit).fetch_one(t.pool()).await.unwrap();
    let (page, customer) = (format!("/units/{unit}"), format!("/customers/{customer}"));
    let at = embertide::units::time_of_day(starts);
    let draft = t.get(Some(&d.office), &page).await;
    let said = draft.text("main");
    assert!(said.contains(&at) && said.contains("Planned") && said.contains("The week is a draft still."), "{at}: {said}");
    assert!(draft.attrs("li a", "href").contains(&format!("/week/2026-W41#v-{visit}")));
    let customers = t.get(Some(&d.office), &customer).await;
    let said = customers.text("main");
    assert!(said.contains(&at) && said.contains("Window open") && said.contains("Fall start-up"), "{at}: {said}");
    let links = customers.attrs("li a", "href");
    assert!(links.contains(&format!("/week/2026-W41#v-{visit}")) && links.contains(&format!("/units/{unit}/when")), "{links:?}");
    tell(&t, &d, visit).await;
    assert!(t.get(Some(&d.office), &page).await.text("main").contains("Confirmed"));
    let (.., version) = row(&t, visit).await;
    let off = [("week", "2026-W41"), ("row_version", &version.to_string() as &str)];
    assert_eq!(t.post(&d.office, &format!("/visits/{visit}/take-off"), &off).await.status, 303);
    for page in [page, customer] {
        let page = t.get(Some(&d.office), &page).await;
        assert!(!page.attrs("li a", "href").contains(&format!("/week/2026-W41#v-{visit}")), "nobody comes: {}", page.text("main"));
    }
}

/// Whoever types a stop's number means the day on which it stands, also where that is nobody's working day.
#[tokio::test]
async fn a_stop_is_put_on_its_own_day_unless_another_is_chosen() {
    let mut t = TestApp::start().await;
    let d = dealership::open(&t).await;
    let visit = planned(&t, &d).await[0];
    for day in ["2026-10-08", "2026-10-11"] {
        let target = format!("{}/{day}", d.juno.staff_id);
        put_on(&t, &d, visit, &target, "").await;
        let page = t.get(Some(&d.office), "/week/2026-W41").await;
        assert_eq!(page.attrs(&format!("[id='t-{visit}'] option[selected]"), "value"), [target]);
    }
    t.on(time::macros::datetime!(2026-10-07 14:00 UTC));
    let office = t.session(d.office.staff_id, embertide::store::sessions::Role::Office).await;
    let days = t.get(Some(&office), "/week/2026-W41").await.attrs(&format!("[id='t-{visit}'] option"), "value");
    assert!(!days.is_empty() && days.iter().all(|d| d[37..] >= *"2026-10-07"), "nothing is put on days that are over: {days:?}");
}

#[tokio::test]
async fn the_week_that_is_driven_is_shown_until_its_last_route() {
    let mut t = TestApp::start().await;
    let d = dealership::open(&t).await;
    let shown = async |t: &TestApp| {
        let signed_in = t.session(d.office.staff_id, embertide::store::sessions::Role::Office).await;
        t.get(Some(&signed_in), "/week").await.location
    };
    assert_eq!(shown(&t).await, "/week/2026-W41", "Monday: this week is to be planned");
    t.on(time::macros::datetime!(2026-10-07 14:00 UTC));
    assert_eq!(shown(&t).await, "/week/2026-W42", "nobody drives in the rest of this one");
    t.on(time::macros::datetime!(2026-10-05 14:00 UTC));
    let visit = planned(&t, &d).await[0];
    put_on(&t, &d, visit, &format!("{}/2026-10-08", d.juno.staff_id), "").await;
    for (day, week) in [(7, "/week/2026-W41"), (8, "/week/2026-W41"), (9, "/week/2026-W42")] {
        t.on(time::macros::datetime!(2026-10-05 14:00 UTC) + time::Duration::days(day - 5));
        assert_eq!(shown(&t).await, week, "October {day}");
    }
}

#[tokio::test]
async fn the_week_stands_day_by_day_and_leads_to_each() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    let visit = planned(&t, &d).await[0];
    put_on(&t, &d, visit, &format!("{}/2026-10-08", d.juno.staff_id), "").await;
    let page = t.get(Some(&d.office), "/week/2026-W41").await;
    let days: Vec<String> = sqlx::query_scalar("SELECT DISTINCT day::text FROM routes ORDER BY 1").fetch_all(t.pool()).await.unwrap();
    assert!(days.len() > 1, "{days:?}");
    let anchors: Vec<String> = days.iter().map(|day| format!("d-{day}")).collect();
    assert_eq!(page.attrs(".days", "id"), anchors);
    let links: Vec<String> = page.attrs("nav[aria-label='On this page'] a", "href");
    assert_eq!(links[..days.len()], anchors.iter().map(|a| format!("#{a}")).collect::<Vec<_>>());
    let routes: i64 =
        sqlx::query_scalar("SELECT count(*) FROM routes WHERE day::text = $1").bind(&days[0]).fetch_one(t.pool()).await.unwrap();
    let sections = page.texts(&format!("[id='d-{}'] section", days[0]));
    assert_eq!(i64::try_from(sections.len()).unwrap(), routes, "all technicians of a day stand together");
}

/// Status, day's number, start and end of each visit of the technician with most stops, in order.
async fn longest_day(t: &TestApp) -> Vec<(Uuid, i16, i32, i32)> {
    sqlx::query_as(
        "SELECT id, position, starts, ends FROM visits WHERE staff_id = (SELECT staff_id FROM visits WHERE staff_id IS NOT NULL GROUP BY staff_id ORDER BY count(*) DESC LIMIT 1)
         ORDER BY day, starts",
    )
    .fetch_all(t.pool())
    .await
    .unwrap()
}

/// A week that was planned at six; it is ten o'clock now. And the stops of its longest day.
async fn under_way() -> (TestApp, dealership::Dealership, Vec<(Uuid, i16, i32, i32)>) {
    let mut t = TestApp::start().await;
    let d = dealership::open(&t).await;
    t.on(time::macros::datetime!(2026-10-05 10:00 UTC));
    issued_week(&t, &d).await;
    t.on(time::macros::datetime!(2026-10-05 14:00 UTC));
    let stops = longest_day(&t).await;
    assert!(stops.len() >= 3, "{stops:?}");
    (t, d, stops)
}

/// A visit is over, as its report says from when to when, in UTC; without one, as it was planned.
async fn over(t: &TestApp, visit: Uuid, report: Option<(time::OffsetDateTime, time::OffsetDateTime)>) {
    sqlx::query("UPDATE visits SET status = 'done' WHERE id = $1").bind(visit).execute(t.pool()).await.unwrap();
    let Some((arrived, kept)) = report else { return };
    sqlx::query(
        "INSERT INTO visit_reports (report_id, version, visit_id, unit_id, customer_id, staff_id, visited_on, outcome, arrived_at, kept_at, received_at)
         SELECT gen_random_uuid(), 1, id, unit_id, customer_id, staff_id, day, 'done', $2, $3, $3 FROM visits WHERE id = $1",
    )
    .bind(visit)
    .bind(arrived)
    .bind(kept)
    .execute(t.pool())
    .await
    .unwrap();
}

#[tokio::test]
async fn what_is_left_of_a_day_does_not_begin_anew_in_the_morning() {
    let (t, d, before) = under_way().await;
    over(&t, before[0].0, None).await;
    // The next customer calls: not today.
    let (.., version) = row(&t, before[1].0).await;
    let version = version.to_string();
    let form = [("week", "2026-W41"), ("row_version", version.as_str()), ("why", "not today")];
    assert_eq!(t.post(&d.office, &format!("/visits/{}/take-off", before[1].0), &form).await.status, 303);
    let after = longest_day(&t).await;
    assert_eq!(after[0], before[0], "what is over stays as it was");
    let ids: Vec<Uuid> = after.iter().map(|v| v.0).collect();
    assert_eq!(ids[1..], before[2..].iter().map(|v| v.0).collect::<Vec<_>>());
    for (n, pair) in (1..).zip(after.windows(2)) {
        assert!(pair[1].2 >= pair[0].3 && pair[0].1 == n, "one after the other, numbered through: {after:?}");
    }
    assert!(after[1].2 <= before[2].2, "with one stop fewer nobody waits longer: {before:?} {after:?}");
    assert!(after[1].2 >= 600, "it is ten o'clock: {after:?}");
    // Moved before the first stop of the day as it is shown: it still comes after what is over.
    let last = after[after.len() - 1].0;
    let (staff, day, ..) = row(&t, last).await;
    put_on(&t, &d, last, &format!("{}/{}", staff.unwrap(), day.unwrap()), "1").await;
    assert_eq!((row(&t, last).await.2, longest_day(&t).await[0] == before[0]), (Some(2), true));
    assert_eq!(t.broken_promises().await, Vec::<String>::new());
}

/// Drives off, comes back, has lunch at (minutes after midnight), drives (seconds).
async fn route_of(t: &TestApp, visit: Uuid) -> (i32, i32, Option<i32>, i32) {
    sqlx::query_as(
        "SELECT r.leaves, r.returns, r.lunch_at, r.drive_s FROM routes r JOIN visits v ON v.staff_id = r.staff_id AND v.day = r.day WHERE v.id = $1",
    )
    .bind(visit)
    .fetch_one(t.pool())
    .await
    .unwrap()
}

/// The office has told the customer the time at which the visit stands.
async fn tell(t: &TestApp, d: &dealership::Dealership, visit: Uuid) {
    let (.., version) = row(t, visit).await;
    let form = [("week", "2026-W41"), ("row_version", &version.to_string() as &str)];
    assert_eq!(t.post(&d.office, &format!("/visits/{visit}/confirm"), &form).await.status, 303);
}

async fn call_off(t: &TestApp, d: &dealership::Dealership, visit: Uuid) {
    let (.., version) = row(t, visit).await;
    let version = version.to_string();
    let form = [("week", "2026-W41"), ("row_version", version.as_str()), ("why", "not today")];
    assert_eq!(t.post(&d.office, &format!("/visits/{visit}/take-off"), &form).await.status, 303);
}

/// Working hours end at half past four. The technician is late, and comes to the third stop at ten past five only: the office, in the
/// evening, still gets an answer for the days to come, and what it puts onto this day stands there with what is wrong about it.
#[tokio::test]
async fn a_stop_begun_after_working_hours_is_part_of_a_long_day() {
    let (mut t, mut d, before) = under_way().await;
    let at = |hour, minute| date!(2026 - 10 - 05).with_hms(hour, minute, 0).unwrap().assume_utc();
    // Four hours behind UTC.
    over(&t, before[0].0, Some((at(21, 10), at(21, 50)))).await;
    t.on(at(22, 0));
    d.office = t.session(d.office.staff_id, embertide::store::sessions::Role::Office).await;
    let page = t.get(Some(&d.office), &format!("/units/{}/when", d.units[2])).await;
    assert_eq!(page.status, 200, "{}", page.text("main"));
    let days = page.attrs("li form input[name=day]", "value");
    assert!(!days.is_empty() && days.iter().all(|day| day.as_str() > "2026-10-05"), "{days:?}");
    call_off(&t, &d, before[2].0).await;
    let trouble: String =
        sqlx::query_scalar("SELECT r.trouble FROM routes r JOIN visits v ON v.staff_id = r.staff_id AND v.day = r.day WHERE v.id = $1")
            .bind(before[0].0)
            .fetch_one(t.pool())
            .await
            .unwrap();
    assert!(trouble.contains("working hours at 4:30 pm"), "{trouble}");
    assert_eq!(longest_day(&t).await[0], before[0], "what is over stays as it was");
    assert_eq!(t.broken_promises().await, Vec::<String>::new());
}

/// The technician began with the second stop and was there until a quarter to ten, longer than planned. The last customer calls off:
/// the rest follows on where the technician is, by the clock, and the day is still one route.
#[tokio::test]
async fn the_rest_of_a_day_follows_on_the_stop_that_was_made_last() {
    use time::macros::datetime;
    let (t, d, before) = under_way().await;
    let planned = route_of(&t, before[0].0).await;
    over(&t, before[1].0, Some((datetime!(2026-10-05 12:05 UTC), datetime!(2026-10-05 13:45 UTC)))).await;
    call_off(&t, &d, before[2].0).await;
    let after = longest_day(&t).await;
    assert_eq!(after.iter().map(|v| (v.0, v.1)).min_by_key(|v| v.1), Some((before[1].0, 1)), "what is over comes first: {after:?}");
    let (.., starts, _) = *after.iter().find(|v| v.0 == before[0].0).unwrap();
    let drive: i32 = sqlx::query_scalar("SELECT drive_s FROM visits WHERE id = $1").bind(before[0].0).fetch_one(t.pool()).await.unwrap();
    assert!((starts - 585 - drive / 60).abs() <= 1, "straight from there: {starts}, {drive} s");
    let route = route_of(&t, before[0].0).await;
    assert_eq!(route.0, planned.0, "it left in the morning");
    let legs: i64 = sqlx::query_scalar(
        "SELECT sum(drive_s) FROM visits WHERE day = '2026-10-05' AND staff_id = (SELECT staff_id FROM visits WHERE id = $1)",
    )
    .bind(before[0].0)
    .fetch_one(t.pool())
    .await
    .unwrap();
    assert!(i64::from(route.3) >= legs && route.3 <= planned.3 + drive, "the drives of the whole day: {route:?} {legs} {planned:?}");
    assert_eq!(t.broken_promises().await, Vec::<String>::new());
}

/// Made on the day before: the day does not drive there, nor wait for it.
#[tokio::test]
async fn a_stop_that_was_made_before_its_day_is_no_stop_of_it() {
    use time::macros::datetime;
    let (mut t, d, before) = under_way().await;
    let kept = datetime!(2026-10-04 19:00 UTC);
    over(&t, before[0].0, Some((kept, kept))).await;
    t.on(datetime!(2026-10-05 10:00 UTC));
    call_off(&t, &d, before[2].0).await;
    let after = longest_day(&t).await;
    let next = after.iter().find(|v| v.0 == before[1].0).unwrap();
    assert!(next.2 < before[1].2 && next.2 < before[0].3, "the day begins with it: {before:?} {after:?}");
}

/// A draft is planned again on Tuesday: what was made on Monday stays on its route.
#[tokio::test]
async fn planning_again_leaves_the_routes_of_days_that_are_over() {
    let mut t = TestApp::start().await;
    let d = dealership::open(&t).await;
    planned(&t, &d).await;
    let made: Uuid =
        sqlx::query_scalar("SELECT id FROM visits WHERE day = '2026-10-05' ORDER BY position LIMIT 1").fetch_one(t.pool()).await.unwrap();
    over(&t, made, None).await;
    t.on(time::macros::datetime!(2026-10-06 10:00 UTC));
    let office = t.session(d.office.staff_id, embertide::store::sessions::Role::Office).await;
    assert_eq!(t.post(&office, "/week/2026-W41/plan", &[]).await.status, 303);
    t.work().await;
    let routes: i64 =
        sqlx::query_scalar("SELECT count(*) FROM routes r JOIN visits v ON v.staff_id = r.staff_id AND v.day = r.day WHERE v.id = $1")
            .bind(made)
            .fetch_one(t.pool())
            .await
            .unwrap();
    assert_eq!(routes, 1);
    assert_eq!(t.get(Some(&office), "/week/2026-W41").await.attrs(&format!("[id='v-{made}']"), "id").len(), 1, "and the week shows it");
}

#[tokio::test]
async fn a_week_planned_in_the_morning_begins_then() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    planned(&t, &d).await;
    let starts: Vec<i32> = sqlx::query_scalar("SELECT starts FROM visits WHERE day = '2026-10-05'").fetch_all(t.pool()).await.unwrap();
    assert!(!starts.is_empty() && starts.iter().all(|s| *s >= 600), "it is ten o'clock: {starts:?}");
    let leaves: Vec<i32> = sqlx::query_scalar("SELECT leaves FROM routes WHERE day = '2026-10-05'").fetch_all(t.pool()).await.unwrap();
    assert!(leaves.iter().all(|l| *l >= 600), "{leaves:?}");
}

#[tokio::test]
async fn the_second_of_two_office_people_is_told_and_nothing_is_lost() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    let visit = planned(&t, &d).await[0];
    let (.., version) = row(&t, visit).await;
    let version = version.to_string();
    let form = [("week", "2026-W41"), ("row_version", version.as_str())];
    assert_eq!(t.post(&d.office, &format!("/visits/{visit}/confirm"), &form).await.status, 303);
    let second = t.post(&d.owner, &format!("/visits/{visit}/take-off"), &form).await;
    assert_eq!(second.status, 409);
    assert_eq!(row(&t, visit).await.3, "confirmed");
}

#[tokio::test]
async fn planning_again_keeps_what_a_customer_was_told() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    let visits = planned(&t, &d).await;
    let (.., version) = row(&t, visits[1]).await;
    t.post(&d.office, &format!("/visits/{}/confirm", visits[1]), &[("week", "2026-W41"), ("row_version", &version.to_string())]).await;
    let told: (Uuid, time::Date, i32) =
        sqlx::query_as("SELECT staff_id, day, starts FROM visits WHERE id = $1").bind(visits[1]).fetch_one(t.pool()).await.unwrap();
    planned(&t, &d).await;
    let after: (Uuid, time::Date, i32) =
        sqlx::query_as("SELECT staff_id, day, starts FROM visits WHERE id = $1").bind(visits[1]).fetch_one(t.pool()).await.unwrap();
    assert_eq!((told.0, told.1), (after.0, after.1));
    assert!((told.2 - after.2).abs() <= 15, "{} and {}", told.2, after.2);
    assert_eq!(t.broken_promises().await, Vec::<String>::new());
}

#[tokio::test]
async fn an_issued_week_is_not_planned_over() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    issued_week(&t, &d).await;
    let refused = t.post(&d.office, "/week/2026-W41/plan", &[]).await;
    assert_eq!(refused.status, 422);
    assert!(refused.text("main").contains("issued"), "{}", refused.text("main"));
}

#[tokio::test]
async fn one_technician_is_never_in_two_yards_at_once() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    let visits = planned(&t, &d).await;
    let refused = sqlx::query("UPDATE visits SET (staff_id, day, position, starts, ends) = (SELECT staff_id, day, 1::smallint, starts, ends FROM visits WHERE id = $1) WHERE id = $2")
        .bind(visits[0])
        .bind(visits[1])
        .execute(t.pool())
        .await
        .unwrap_err();
    assert!(refused.to_string().contains("visits_no_overlap"), "{refused}");
}

#[tokio::test]
async fn the_office_may_overload_a_day_and_sees_what_is_wrong_with_it() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    let visits = planned(&t, &d).await;
    // Sunday is nobody's working day.
    let (.., version) = row(&t, visits[0]).await;
    let target = format!("{}/2026-10-11", d.wick.staff_id);
    let moved = t
        .post(
            &d.office,
            &format!("/visits/{}/move", visits[0]),
            &[("week", "2026-W41"), ("row_version", &version.to_string()), ("how", "to"), ("target", &target)],
        )
        .await;
    assert_eq!(moved.status, 303, "{}", moved.text("main"));
    let page = t.get(Some(&d.office), "/week/2026-W41").await;
    assert!(page.text(".day .care").contains("no working day"), "{}", page.text(".day .care"));
    // A customer who was told goes to another day all the same, and the page says whom to call.
    assert_eq!(call_list(&t).await, Vec::<String>::new());
    let (staff, day, ..) = row(&t, visits[1]).await;
    tell(&t, &d, visits[1]).await;
    let other = if staff == Some(d.wick.staff_id) { d.juno.staff_id } else { d.wick.staff_id };
    put_on(&t, &d, visits[1], &format!("{other}/2026-10-09"), "").await;
    assert_ne!(day.map(|d| d.to_string()).as_deref(), Some("2026-10-09"));
    let calls = call_list(&t).await;
    assert!(calls.len() == 1 && calls[0].contains("Fri Oct 9"), "{calls:?}");
}

/// Who has to be called, as the week says.
async fn call_list(t: &TestApp) -> Vec<String> {
    let office = t
        .session(
            sqlx::query_scalar("SELECT id FROM staff WHERE role = 'office' LIMIT 1").fetch_one(t.pool()).await.unwrap(),
            embertide::store::sessions::Role::Office,
        )
        .await;
    t.get(Some(&office), "/week/2026-W41").await.texts("section[aria-labelledby=calls] tbody tr")
}

/// What a customer was told is kept beside what stands: through a change of the day, planning again and the loss of its place,
/// until somebody says that they know.
#[tokio::test]
async fn whoever_was_told_another_time_is_to_be_called_until_they_know() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    planned(&t, &d).await;
    let stops = longest_day(&t).await;
    let (first, last) = (stops[0], stops[stops.len() - 1]);
    let confirm = async |visit: Uuid, told: &str| {
        let (.., version) = row(&t, visit).await;
        let form = [("week", "2026-W41"), ("row_version", &version.to_string() as &str), ("told", told)];
        assert_eq!(t.post(&d.office, &format!("/visits/{visit}/confirm"), &form).await.status, 303);
    };
    confirm(first.0, "yes").await;
    assert_eq!(call_list(&t).await, Vec::<String>::new());
    // Put at the end of its day: too late for what was told, and that is not forgotten with the next change.
    let (staff, day, ..) = row(&t, first.0).await;
    let at = format!("{}/{}", staff.unwrap(), day.unwrap());
    for _ in 0..2 {
        put_on(&t, &d, first.0, &at, "9").await;
        let calls = call_list(&t).await;
        assert!(calls.len() == 1 && calls[0].contains(&embertide::units::time_of_day(first.2)), "{calls:?}");
    }
    // Back before the others it stands as told again, and nobody has to be called.
    put_on(&t, &d, first.0, &at, "1").await;
    assert_eq!(call_list(&t).await, Vec::<String>::new());
    assert!(longest_day(&t).await[0].2.abs_diff(first.2) <= 15);
    // Late again, but now they are told so.
    put_on(&t, &d, first.0, &at, "9").await;
    confirm(first.0, "yes").await;
    assert_eq!(call_list(&t).await, Vec::<String>::new());
    // Without a place: they count on it still, until they know.
    confirm(last.0, "yes").await;
    let (.., version) = row(&t, last.0).await;
    let off = [("week", "2026-W41"), ("row_version", &version.to_string() as &str)];
    assert_eq!(t.post(&d.office, &format!("/visits/{}/take-off", last.0), &off).await.status, 303);
    let calls = call_list(&t).await;
    assert!(calls.len() == 1 && calls[0].contains("without a place"), "{calls:?}");
    confirm(last.0, "no").await;
    assert_eq!(call_list(&t).await, Vec::<String>::new());
    assert_eq!(t.broken_promises().await, Vec::<String>::new());
}

#[tokio::test]
async fn a_told_visit_whose_day_nobody_works_any_more_waits_and_its_customer_is_to_be_called() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    let visit = planned(&t, &d).await[0];
    tell(&t, &d, visit).await;
    sqlx::query("DELETE FROM working_hours WHERE weekday = (SELECT extract(isodow FROM day) FROM visits WHERE id = $1)")
        .bind(visit)
        .execute(t.pool())
        .await
        .unwrap();
    planned(&t, &d).await;
    assert_eq!(row(&t, visit).await.3, "unplaced");
    let calls = call_list(&t).await;
    assert!(calls.len() == 1 && calls[0].contains("without a place"), "{calls:?}");
    assert_eq!(t.broken_promises().await, Vec::<String>::new());
}

/// Planning a draft again and again does not shift what was told by a quarter of an hour each time.
#[tokio::test]
async fn planning_again_goes_by_what_was_told_not_by_what_stood_last() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    let visits = planned(&t, &d).await;
    tell(&t, &d, visits[2]).await;
    let starts =
        async || sqlx::query_scalar::<_, i32>("SELECT starts FROM visits WHERE id = $1").bind(visits[2]).fetch_one(t.pool()).await.unwrap();
    let before = starts().await;
    for _ in 0..3 {
        sqlx::query("UPDATE visits SET starts = starts + 14, ends = ends + 14 WHERE id = $1")
            .bind(visits[2])
            .execute(t.pool())
            .await
            .unwrap();
        planned(&t, &d).await;
        assert!((starts().await - before).abs() <= 15, "{before} {}", starts().await);
    }
}

/// Half an hour is no day's work: the times go past it, but from its beginning, and nobody is met before the time that he was told.
#[tokio::test]
async fn an_overloaded_day_begins_with_its_work_and_keeps_told_times() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    planned(&t, &d).await;
    let stops = longest_day(&t).await;
    let (first, last) = (stops[0].0, stops[stops.len() - 1].0);
    tell(&t, &d, last).await;
    sqlx::query("UPDATE visits SET starts = 900, ends = 1000 WHERE id = $1").bind(last).execute(t.pool()).await.unwrap();
    sqlx::query("UPDATE week_told SET starts = 900").execute(t.pool()).await.unwrap();
    sqlx::query("UPDATE working_hours SET starts = 630, ends = 660").execute(t.pool()).await.unwrap();
    let (staff, day, ..) = row(&t, first).await;
    put_on(&t, &d, first, &format!("{}/{}", staff.unwrap(), day.unwrap()), "1").await;
    let after = longest_day(&t).await;
    assert!(after[0].2 >= 630 && after[0].2 < 660, "{after:?}");
    assert!(after[after.len() - 1].0 == last && (900..=915).contains(&after[after.len() - 1].2), "{after:?}");
    let page = t.get(Some(&d.office), "/week/2026-W41").await;
    let trouble = page.texts(".day .care");
    assert!(trouble.iter().any(|c| c.contains("11:00 am")), "{trouble:?}");
    assert!(route_of(&t, last).await.2.is_some(), "people eat on such a day too");
}

#[tokio::test]
async fn a_place_without_a_pin_is_not_routed_and_says_so() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    sqlx::query("UPDATE places SET lat = NULL, lon = NULL, pin_origin = 'none' WHERE customer_id = $1")
        .bind(d.birch)
        .execute(t.pool())
        .await
        .unwrap();
    planned(&t, &d).await;
    let page = t.get(Some(&d.office), "/week/2026-W41").await;
    assert!(page.text("#unplaced ~ .scroll").contains("has no pin on the map"), "{}", page.text("main"));
}

#[tokio::test]
async fn a_visit_called_off_stays_due_and_out_of_this_week() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    let visit = planned(&t, &d).await[0];
    let (.., version) = row(&t, visit).await;
    let off = t.post(&d.office, &format!("/visits/{visit}/cancel"), &[("week", "2026-W41"), ("row_version", &version.to_string())]).await;
    assert_eq!(off.status, 303, "{}", off.text("main"));
    planned(&t, &d).await;
    let open: i64 = sqlx::query_scalar("SELECT count(*) FROM visits WHERE status = 'planned'").fetch_one(t.pool()).await.unwrap();
    assert_eq!(open, 2);
    let due: i64 = sqlx::query_scalar("SELECT count(DISTINCT unit_id) FROM due_items").fetch_one(t.pool()).await.unwrap();
    assert_eq!(due, 3);
}

#[tokio::test]
async fn a_visit_that_nobody_reported_does_not_keep_a_unit_from_being_planned_again() {
    let mut t = TestApp::start().await;
    let d = dealership::open(&t).await;
    issued_week(&t, &d).await;
    t.on(super::support::NOW + time::Duration::days(7));
    let office = t.session(d.office.staff_id, embertide::store::sessions::Role::Office).await;
    t.post(&office, "/week/2026-W42/plan", &[]).await;
    t.work().await;
    let again: i64 = sqlx::query_scalar(
        "SELECT count(*) FROM visits v JOIN week_plans w ON w.id = v.week_plan_id WHERE w.monday = '2026-10-12' AND v.status = 'planned'",
    )
    .fetch_one(t.pool())
    .await
    .unwrap();
    assert_eq!(again, 3);
}

#[tokio::test]
async fn eight_people_moving_visits_at_once_never_double_book() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    let visits = planned(&t, &d).await;
    let mut moved = 0;
    for round in 0..6 {
        let day = format!("2026-10-0{}", 5 + round % 5);
        let tries = (0..8).map(|i| {
            let (t, d, visit, day) = (&t, &d, visits[i % visits.len()], day.clone());
            async move {
                let (.., version) = row(t, visit).await;
                let target = format!("{}/{day}", if i % 2 == 0 { d.wick.staff_id } else { d.juno.staff_id });
                t.post(
                    &d.office,
                    &format!("/visits/{visit}/move"),
                    &[("week", "2026-W41"), ("row_version", &version.to_string()), ("how", "to"), ("target", &target)],
                )
                .await
                .status
            }
        });
        for status in super::reports::futures(tries).await {
            assert!([303, 409, 503].contains(&status), "{status}");
            moved += i32::from(status == 303);
        }
        assert_eq!(t.broken_promises().await, Vec::<String>::new());
    }
    assert!(moved >= 6, "{moved}");
}

/// A technician takes his own sheets: each carries its cautions, and a unit where nothing may go in says so.
#[tokio::test]
async fn every_printed_sheet_carries_its_cautions_and_a_held_dose_its_reason() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    let mixed = embertide::store::units::Fill {
        id: Uuid::now_v7(),
        unit_id: d.units[2],
        filled_on: time::macros::date!(2026 - 09 - 01),
        drained_on: None,
        source_water: "well".to_owned(),
        softened: Some(true),
        fluid: "propylene glycol".to_owned(),
        glycol_percent: 40,
        amount_ml: None,
        note: String::new(),
        fill_device: "not_known".to_owned(),
        answer: String::new(),
    };
    embertide::store::units::add_fill(t.pool(), &mixed, None, super::support::NOW).await.unwrap();
    planned(&t, &d).await;
    let page = t.get(Some(&d.office), "/week/2026-W41/print").await;
    let days = page.texts(".day");
    assert!(!days.is_empty());
    assert!(days.iter().all(|day| day.contains("safety data sheet") && day.contains("Open no cap")), "{days:?}");
    let held: Vec<String> = page.texts(".stops>li").into_iter().filter(|stop| stop.contains("Put nothing in yet.")).collect();
    assert!(held.len() == 1 && held[0].contains("Shop heater"), "{held:?}");
}

#[tokio::test]
async fn what_must_be_made_this_week_goes_in_before_any_other() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    // One technician, one day of three hours: not room for all.
    sqlx::query("DELETE FROM working_hours WHERE weekday <> 3 OR staff_id <> $1").bind(d.wick.staff_id).execute(t.pool()).await.unwrap();
    sqlx::query("UPDATE working_hours SET starts = 480, ends = 660").execute(t.pool()).await.unwrap();
    planned(&t, &d).await;
    let left_out = |t: TestApp| async move {
        let left: Vec<(Uuid, Uuid, i32)> =
            sqlx::query_as("SELECT id, unit_id, row_version FROM visits WHERE status = 'unplaced' ORDER BY id")
                .fetch_all(t.pool())
                .await
                .unwrap();
        (t, left)
    };
    let (t, before) = left_out(t).await;
    assert!(!before.is_empty() && before.len() < d.units.len(), "{before:?}");
    let (visit, unit, version) = before[0];
    let version = version.to_string();
    let said = [("week", "2026-W41"), ("row_version", version.as_str()), ("must", "yes")];
    let answer = t.post(&d.office, &format!("/visits/{visit}/must"), &said).await;
    assert_eq!(answer.location, format!("/week/2026-W41?said=must#v-{visit}"));
    let page = t.get(Some(&d.office), "/week/2026-W41").await;
    assert!(page.text("main").contains("Must be made this week, and without a place: 1"), "{}", page.text("main"));
    assert_eq!(t.post(&d.juno, &format!("/visits/{visit}/must"), &said).await.status, 403, "the office says so, not a technician");
    planned(&t, &d).await;
    let (t, after) = left_out(t).await;
    assert!(after.iter().all(|v| v.1 != unit), "it has a place now");
    assert!(!after.is_empty(), "another waits instead");
    let page = t.get(Some(&d.office), "/week/2026-W41").await;
    assert!(page.texts(".stops .st").contains(&"Must be made this week".to_owned()), "{:?}", page.texts(".stops .st"));
    // Taken back, it is weighed like any other.
    let (visit, version): (Uuid, i32) =
        sqlx::query_as("SELECT id, row_version FROM visits WHERE unit_id = $1").bind(unit).fetch_one(t.pool()).await.unwrap();
    let version = version.to_string();
    let back = [("week", "2026-W41"), ("row_version", version.as_str()), ("must", "no")];
    assert_eq!(t.post(&d.office, &format!("/visits/{visit}/must"), &back).await.status, 303);
    assert!(!t.get(Some(&d.office), "/week/2026-W41").await.text("main").contains("Must be made this week, "));
}

#[tokio::test]
async fn a_second_unit_at_one_place_is_no_drive() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    let visits = planned(&t, &d).await;
    let way = |metres: i32| sqlx::query("UPDATE visits SET drive_s = $2, drive_m = $2 WHERE id = $1").bind(visits[0]).bind(metres);
    let week = async || t.get(Some(&d.office), "/week/2026-W41").await.text("main");
    way(0).execute(t.pool()).await.unwrap();
    let page = week().await;
    assert!(page.contains("Same place, no drive.") && !page.contains("Drive 0 min"), "{page}");
    way(1609).execute(t.pool()).await.unwrap();
    assert!(week().await.contains("Drive 27 min, 1 mi (2 km)."));
}

/// What the database says while it ends, resets itself or starts, and when two people got in each other's way.
#[tokio::test]
async fn what_passes_by_itself_is_no_fault_of_ours_and_nothing_is_changed() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    issued_week(&t, &d).await;
    let (visit, version): (Uuid, i32) =
        sqlx::query_as("SELECT id, row_version FROM visits WHERE unit_id = $1").bind(d.units[2]).fetch_one(t.pool()).await.unwrap();
    let told = [("week", "2026-W41"), ("row_version", &version.to_string() as &str), ("told", "yes")];
    let confirm = async || t.post(&d.office, &format!("/visits/{visit}/confirm"), &told).await;
    for (code, status) in [("57P01", 503), ("57P02", 503), ("57P03", 503), ("40001", 503), ("XX000", 500)] {
        let raise = format!(
            "CREATE OR REPLACE FUNCTION raise() RETURNS trigger LANGUAGE plpgsql AS $$BEGIN RAISE 'not now' USING ERRCODE = '{code}'; END$$;
             CREATE OR REPLACE TRIGGER raise BEFORE UPDATE ON visits FOR EACH ROW EXECUTE FUNCTION raise()"
        );
        sqlx::raw_sql(sqlx::AssertSqlSafe(raise)).execute(t.pool()).await.unwrap();
        assert_eq!(confirm().await.status, status, "{code}");
    }
    sqlx::raw_sql("DROP TRIGGER raise ON visits").execute(t.pool()).await.unwrap();
    assert_eq!(confirm().await.status, 303, "the same version: nothing was changed");
}

#[tokio::test]
async fn a_search_that_is_ended_before_leaves_the_plan_that_stands() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    let stood = planned(&t, &d).await;
    let search = Search::of(3_000);
    search.cancel.store(true, std::sync::atomic::Ordering::Relaxed);
    let ended = plan_week(t.pool(), t.app.clock, &t.app.sources, time::macros::date!(2026 - 10 - 05), search).await;
    assert!(matches!(ended, Err(embertide::jobs::Error::Stopped)), "{ended:?}");
    let now: Vec<Uuid> = sqlx::query_scalar("SELECT id FROM visits ORDER BY day, staff_id, position").fetch_all(t.pool()).await.unwrap();
    assert_eq!(now, stood);
}
