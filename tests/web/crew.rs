//! Who works here and where days begin: what the owner types wrong once can be put right.

use super::support::{Page, TestApp, dealership};
use uuid::Uuid;

async fn number(t: &TestApp, sql: &'static str) -> i64 {
    sqlx::query_scalar(sql).fetch_one(t.pool()).await.unwrap()
}

async fn depot(t: &TestApp) -> Uuid {
    sqlx::query_scalar("SELECT id FROM depots WHERE NOT retired ORDER BY name LIMIT 1").fetch_one(t.pool()).await.unwrap()
}

#[tokio::test]
async fn a_depot_is_moved_and_left_out_only_when_nobody_starts_there() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    let shop = depot(&t).await;
    let east = [("name", "the shop"), ("pin", "44.6, 74.9"), ("row_version", "1")];
    assert_eq!(t.post(&d.owner, &format!("/settings/depots/{shop}"), &east).await.status, 303);
    let page = t.get(Some(&d.office), &format!("/customers/{}", d.alder)).await;
    assert!(page.text("main").contains("Far from every depot"), "a minus is missing: {}", page.text("main"));
    let west = [("name", "Our shop"), ("pin", "44.6, -74.9"), ("row_version", "2")];
    let stale = t.post(&d.owner, &format!("/settings/depots/{shop}"), &east).await;
    assert_eq!(stale.status, 409, "two owners at once");
    assert_eq!(t.post(&d.owner, &format!("/settings/depots/{shop}"), &west).await.status, 303);
    let page = t.get(Some(&d.office), &format!("/customers/{}", d.alder)).await;
    assert!(!page.text("main").contains("Far from every depot"));
    assert!(t.get(Some(&d.owner), "/settings").await.text("main").contains("Our shop at 44.60000, -74.90000"));
    let refused = t.post(&d.owner, &format!("/settings/depots/{shop}/leave-out"), &[]).await;
    assert!(refused.status == 422 && refused.text("main").contains("Choose another depot"), "{}", refused.text("main"));

    let added = t.post(&d.owner, "/settings/depots", &[("name", "Barn"), ("pin", "44.7 -75.0")]).await;
    assert_eq!(added.status, 303, "{}", added.text("main"));
    assert!(!t.get(Some(&d.owner), "/settings").await.text("main").contains("Is a minus missing"));
    sqlx::query("UPDATE depots SET lon = -lon WHERE name = 'Barn'").execute(t.pool()).await.unwrap();
    assert!(t.get(Some(&d.owner), "/settings").await.text("main").contains("far from all others. Is a minus missing?"));
    let barn: Uuid = sqlx::query_scalar("SELECT id FROM depots WHERE name = 'Barn'").fetch_one(t.pool()).await.unwrap();
    assert_eq!(t.post(&d.owner, &format!("/settings/depots/{barn}/leave-out"), &[]).await.status, 303);
    assert!(!t.get(Some(&d.owner), "/settings").await.text("main").contains("Barn"));
    assert_eq!(number(&t, "SELECT count(*) FROM depots").await, 2, "the row stays");
}

const WORKS: [(&str, &str); 9] = [
    ("starts", "8:00 am"),
    ("ends", "4:30 pm"),
    ("weekday", "1"),
    ("weekday", "2"),
    ("lunch_from", "12:00 pm"),
    ("lunch_to", "1:00 pm"),
    ("lunch_minutes", "45"),
    ("skills", "repair"),
    ("litres", "60"),
];

async fn works(t: &TestApp, d: &dealership::Dealership, who: Uuid, more: &[(&str, &str)]) -> Page {
    let depot = depot(t).await.to_string();
    let kept = WORKS.iter().filter(|w| !more.iter().any(|m| m.0 == w.0));
    let form: Vec<(&str, &str)> = kept.chain(more).copied().chain([("depot", depot.as_str())]).collect();
    t.post(&d.owner, &format!("/settings/technicians/{who}"), &form).await
}

#[tokio::test]
async fn days_off_are_a_stretch_and_can_be_taken_back() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    let juno = d.juno.staff_id;
    let off = works(&t, &d, juno, &[("day_off", "Dec 21, 2026"), ("day_off_to", "Jan 3, 2027")]).await;
    assert_eq!(off.status, 303, "{}", off.text("main"));
    assert_eq!(number(&t, "SELECT count(*) FROM days_off").await, 14, "both ends and the new year are in it");
    let back = [("works_after_all", "2026-12-28"), ("works_after_all", "2026-12-29")];
    assert_eq!(works(&t, &d, juno, &back).await.status, 303);
    assert_eq!(number(&t, "SELECT count(*) FROM days_off").await, 12);
    assert_eq!(
        number(&t, "SELECT count(*) FROM technicians WHERE lunch_from = 720 AND lunch_to = 780 AND lunch_minutes = 45").await,
        1,
        "lunch as typed, and nobody else's"
    );
    for wrong in [
        &[("day_off", "Dec 21, 2026"), ("day_off_to", "Dec 20, 2026")][..],
        &[("day_off", "Dec 21, 2026"), ("day_off_to", "Dec 21, 2027")],
        &[("day_off_to", "Dec 21, 2026")],
        &[("day_off", "12/4/26")],
        &[("lunch_from", "2:00 pm")],
        &[("lunch_minutes", "200")],
        &[("lunch_minutes", "long")],
    ] {
        assert_eq!(works(&t, &d, juno, wrong).await.status, 422, "{wrong:?}");
    }
    assert_eq!(number(&t, "SELECT count(*) FROM days_off").await, 12, "nothing half-kept");
}

#[tokio::test]
async fn an_owner_may_drive_routes_too() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    let depot = depot(&t).await.to_string();
    let drives = |who: Uuid| format!("/settings/staff/{who}/drives");
    assert!(t.get(Some(&d.owner), "/settings").await.text("main").contains("Orla Pennifold drives routes too"));
    assert_eq!(t.post(&d.owner, &drives(d.office.staff_id), &[("depot", &depot)]).await.status, 409, "the office sits at a desk");
    assert_eq!(t.post(&d.owner, &drives(d.owner.staff_id), &[]).await.status, 422, "a day starts somewhere");
    assert_eq!(t.post(&d.owner, &drives(d.owner.staff_id), &[("depot", &depot)]).await.status, 303);
    assert_eq!(t.post(&d.owner, &drives(d.owner.staff_id), &[("depot", &depot)]).await.status, 409, "once");
    // The other two are away: the owner's is the only route.
    for who in [d.wick.staff_id, d.juno.staff_id] {
        assert_eq!(works(&t, &d, who, &[("day_off", "Oct 5, 2026"), ("day_off_to", "Oct 11, 2026")]).await.status, 303);
    }
    assert_eq!(t.post(&d.office, "/week/2026-W41/plan", &[]).await.status, 303);
    t.work().await;
    let on_the_road: Vec<Uuid> =
        sqlx::query_scalar("SELECT DISTINCT staff_id FROM visits WHERE status = 'planned'").fetch_all(t.pool()).await.unwrap();
    assert_eq!(on_the_road, [d.owner.staff_id]);
    sqlx::query("UPDATE week_plans SET status = 'issued', issued_at = now()").execute(t.pool()).await.unwrap();
    let visit: Uuid = sqlx::query_scalar("SELECT id FROM visits WHERE status = 'planned' LIMIT 1").fetch_one(t.pool()).await.unwrap();
    assert_eq!(t.get(Some(&d.owner), &format!("/stop/{visit}")).await.status, 200, "and reports there");
}

#[tokio::test]
async fn somebody_is_renamed_and_goes_on_with_the_same_password() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    let path = format!("/settings/staff/{}", d.juno.staff_id);
    let names = [("name", "Juno Marsh"), ("sign_in", "Juno.Marsh"), ("row_version", "1")];
    assert_eq!(t.post(&d.owner, &path, &names).await.status, 303);
    assert_eq!(t.post(&d.owner, &path, &names).await.status, 409, "two owners at once");
    let signed =
        t.post_raw(None, "/sign-in", &super::support::encode(&[("sign_in", "juno.marsh"), ("password", dealership::PASSWORD)])).await;
    assert_eq!(signed.status, 303, "{}", signed.text("main"));
    let taken = [("name", "Juno Marsh"), ("sign_in", "wick"), ("row_version", "2")];
    let refused = t.post(&d.owner, &path, &taken).await;
    assert!(refused.status == 422 && refused.text("main").contains("signs in with this name already"), "{}", refused.text("main"));
    assert_eq!(t.post(&d.office, &path, &names).await.status, 403, "the owner's to do");
}

#[tokio::test]
async fn a_route_whose_technician_is_off_or_gone_says_so() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    super::path::issued_week(&t, &d).await;
    let (who, day): (Uuid, time::Date) =
        sqlx::query_as("SELECT staff_id, day FROM visits WHERE status = 'planned' ORDER BY day LIMIT 1").fetch_one(t.pool()).await.unwrap();
    let says = async || t.get(Some(&d.office), "/week/2026-W41").await.text("main").contains("does not work on this day");
    assert!(!says().await);
    // Everything that the technician's form needs, with a day off.
    let all_days: Vec<(&str, &str)> = ["1", "2", "3", "4", "5"].iter().map(|n| ("weekday", *n)).collect();
    let day_text = day.to_string();
    let off: Vec<(&str, &str)> = all_days.iter().copied().chain([("day_off", day_text.as_str())]).collect();
    assert_eq!(works(&t, &d, who, &off).await.status, 303);
    assert!(says().await);
    let back: Vec<(&str, &str)> = all_days.iter().copied().chain([("works_after_all", day_text.as_str())]).collect();
    assert_eq!(works(&t, &d, who, &back).await.status, 303);
    assert!(!says().await);
    assert_eq!(t.post(&d.owner, &format!("/settings/staff/{who}/active"), &[("active", "no")]).await.status, 303);
    assert!(says().await, "shut out, and still on the route");
    let mend = t.get(Some(&d.office), &format!("/week/2026-W41/mend?staff={who}&day={day}")).await;
    assert_eq!(mend.status, 200, "{}", mend.text("main"));
    let name = if who == d.wick.staff_id { "Wick Garrowby" } else { "Juno Haddlesey" };
    assert!(mend.text("h1").contains(name), "{}", mend.text("h1"));
    let fields = ["staff", "day", "row_version", "seen"].map(|n| (n, mend.attrs(&format!("main form input[name={n}]"), "value").remove(0)));
    let form: Vec<(&str, &str)> = fields.iter().map(|(n, v)| (*n, v.as_str())).collect();
    let kept = t.post(&d.office, "/week/2026-W41/mend", &form).await;
    assert_eq!(kept.status, 303, "{}", kept.text("main"));
    assert!(!says().await);
    let left: i64 = sqlx::query_scalar("SELECT (SELECT count(*) FROM visits WHERE staff_id = $1 AND status = 'planned') + (SELECT count(*) FROM routes WHERE staff_id = $1)")
        .bind(who)
        .fetch_one(t.pool())
        .await
        .unwrap();
    assert_eq!(left, 0, "nothing is left with somebody who is gone");
    let placed: i64 = sqlx::query_scalar("SELECT count(*) FROM visits WHERE status = 'planned'").fetch_one(t.pool()).await.unwrap();
    assert_eq!(placed, 3, "the other one drives there");
    assert_eq!(t.broken_promises().await, Vec::<String>::new());
}
