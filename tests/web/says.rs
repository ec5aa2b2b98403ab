//! What customers say on their own page, and what the office makes of it.

use super::{
    path,
    support::{Page, TestApp, dealership, encode},
};
use embertide::store::{links, week};
use time::macros::date;
use uuid::Uuid;

/// An issued week, a unit with a visit in it, and its customer's link.
async fn with_a_link() -> (TestApp, dealership::Dealership, Uuid, String) {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    let (_, unit, _) = path::issued_week(&t, &d).await[0];
    let token = links::make(t.pool(), unit, "mail", None, t.app.clock.now()).await.unwrap();
    (t, d, unit, token)
}

/// Sends a form of the customer's page under an id, with these fields changed.
async fn send(t: &TestApp, token: &str, what: &str, id: Uuid, fields: &[(&str, &str)]) -> Page {
    let id = id.to_string();
    let pairs: Vec<(&str, &str)> = fields.iter().copied().chain([("id", id.as_str())]).collect();
    t.post_raw(None, &format!("/w/{token}/{what}"), &encode(&pairs)).await
}

async fn stands(t: &TestApp, unit: Uuid) -> (String, String, i32) {
    sqlx::query_as("SELECT status, day::text, starts FROM visits WHERE unit_id = $1").bind(unit).fetch_one(t.pool()).await.unwrap()
}

async fn number(t: &TestApp, sql: &'static str) -> i64 {
    sqlx::query_scalar(sql).fetch_one(t.pool()).await.unwrap()
}

#[tokio::test]
async fn a_time_that_suits_the_customer_counts_as_told_and_one_that_moved_does_not() {
    let (t, d, unit, token) = with_a_link().await;
    let (_, day, starts) = stands(&t, unit).await;
    let page = t.get(None, &format!("/w/{token}")).await;
    assert_eq!(page.attrs("form[action$='/suits'] input[name=day]", "value"), std::slice::from_ref(&day));
    let starts_text = starts.to_string();
    let fields = [("day", day.as_str()), ("starts", starts_text.as_str())];
    let late = (starts + 1).to_string();
    let moved = send(&t, &token, "suits", Uuid::now_v7(), &[("day", day.as_str()), ("starts", late.as_str())]).await;
    assert_eq!((moved.status, moved.location.as_str()), (303, format!("/w/{token}?said=moved").as_str()), "another time than stands");
    assert!(t.get(None, &moved.location).await.text(".wrong").contains("has moved meanwhile"));
    assert_eq!(stands(&t, unit).await.0, "planned");
    let id = Uuid::now_v7();
    for _ in 0..2 {
        let sent = send(&t, &token, "suits", id, &fields).await;
        assert_eq!((sent.status, sent.location.as_str()), (303, format!("/w/{token}?said=suits").as_str()));
    }
    assert_eq!(stands(&t, unit).await.0, "confirmed");
    assert_eq!(number(&t, "SELECT count(*) FROM customer_words").await, 1, "sent twice, said once");
    let page = t.get(None, &format!("/w/{token}")).await;
    assert!(page.text("main").contains("We come on") && page.attrs("form[action$='/suits']", "action").is_empty());
    // The office moves it: the customer reads both, and is on the list of those to call.
    let visit: (Uuid, i32) =
        sqlx::query_as("SELECT id, row_version FROM visits WHERE unit_id = $1").bind(unit).fetch_one(t.pool()).await.unwrap();
    let target = format!("{}/2026-10-09", d.juno.staff_id);
    let form = [("week", "2026-W41"), ("row_version", &visit.1.to_string()), ("how", "to"), ("target", target.as_str())];
    assert_eq!(t.post(&d.office, &format!("/visits/{}/move", visit.0), &form).await.status, 303);
    let page = t.get(None, &format!("/w/{token}")).await;
    assert!(page.text("main").contains("That has changed: you were told"), "{}", page.text("main"));
    assert_eq!(page.attrs("form[action$='/suits']", "action").len(), 1, "the new time can be agreed to");
    assert!(t.get(Some(&d.office), "/week/2026-W41").await.text("main").contains("To call: 1"));
    let (_, day, starts) = stands(&t, unit).await;
    let starts = starts.to_string();
    assert_eq!(send(&t, &token, "suits", Uuid::now_v7(), &[("day", &day), ("starts", &starts)]).await.status, 303);
    assert!(!t.get(Some(&d.office), "/week/2026-W41").await.text("main").contains("To call"));
    assert_eq!(t.broken_promises().await, Vec::<String>::new());
}

#[tokio::test]
async fn a_time_that_has_passed_is_nothing_to_agree_to() {
    let (mut t, _, unit, token) = with_a_link().await;
    let record = format!("/w/{token}");
    let ends = "SELECT (day + make_interval(mins => ends)) AT TIME ZONE (SELECT zone FROM dealer) FROM visits WHERE unit_id = $1";
    let ends: time::OffsetDateTime = sqlx::query_scalar(ends).bind(unit).fetch_one(t.pool()).await.unwrap();
    t.on(ends - time::Duration::minutes(1));
    let page = t.get(None, &record).await;
    assert!(page.text("main").contains("We plan to come on") && page.attrs("form[action$='/suits']", "action").len() == 1);
    t.on(ends + time::Duration::minutes(1));
    let page = t.get(None, &record).await;
    assert!(
        page.text("main").contains("We were to come on") && page.attrs("form[action$='/suits']", "action").is_empty(),
        "{}",
        page.text("main")
    );
}

#[tokio::test]
async fn a_draft_is_nothing_to_agree_to() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    t.post(&d.office, "/week/2026-W41/plan", &[]).await;
    t.work().await;
    let stop = week::stops(t.pool(), date!(2026 - 10 - 05), None).await.unwrap().remove(0);
    let token = links::make(t.pool(), stop.unit_id, "mail", None, t.app.clock.now()).await.unwrap();
    assert!(t.get(None, &format!("/w/{token}")).await.attrs("form[action$='/suits']", "action").is_empty());
    let (day, starts) = (stop.day.unwrap().to_string(), stop.starts.unwrap().to_string());
    let late = send(&t, &token, "suits", Uuid::now_v7(), &[("day", &day), ("starts", &starts)]).await;
    assert_eq!((late.status, late.location.as_str()), (303, format!("/w/{token}?said=moved").as_str()));
}

#[tokio::test]
async fn a_wish_for_another_time_waits_for_the_office_until_it_is_settled() {
    let (t, d, unit, token) = with_a_link().await;
    let (_, day, starts) = stands(&t, unit).await;
    let starts = starts.to_string();
    let fields = |says: &'static str| [("day", day.clone()), ("starts", starts.clone()), ("says", says.to_owned())];
    for says in ["", "  "] {
        let own = fields(says);
        let own: Vec<(&str, &str)> = own.iter().map(|(k, v)| (*k, v.as_str())).collect();
        assert_eq!(send(&t, &token, "another-time", Uuid::now_v7(), &own).await.status, 422);
    }
    let own = fields("Mornings <b>only</b>, we are away on Thursday");
    let own: Vec<(&str, &str)> = own.iter().map(|(k, v)| (*k, v.as_str())).collect();
    assert_eq!(send(&t, &token, "another-time", Uuid::now_v7(), &own).await.status, 303);
    let page = t.get(None, &format!("/w/{token}")).await;
    assert!(page.text("main").contains("You asked for another time: “Mornings <b>only</b>"), "{}", page.text("main"));
    let due = t.get(Some(&d.office), "/due").await;
    let said = due.text("section[aria-labelledby=say] tbody");
    assert!(said.contains("away on Thursday") && said.contains("Another time than"), "{said}");
    assert!(due.attrs("section[aria-labelledby=say] a", "href").contains(&format!("/units/{unit}/when")));
    let action = due.attrs("section[aria-labelledby=say] form", "action").remove(0);
    assert_eq!(t.post(&d.office, &action, &[]).await.status, 303);
    assert!(t.get(Some(&d.office), "/due").await.texts("section[aria-labelledby=say]").is_empty());
    assert!(!t.get(None, &format!("/w/{token}")).await.text("main").contains("You asked"));
    assert_eq!(stands(&t, unit).await.0, "planned", "the office settles it, nobody else");
}

#[tokio::test]
async fn a_customers_own_test_counts_until_the_office_says_otherwise() {
    let (t, d, unit, token) = with_a_link().await;
    let id = Uuid::now_v7();
    let good = [("taken_on", "Oct 4, 2026"), ("reading", "18 drops"), ("ph", "8.7")];
    for _ in 0..2 {
        let sent = send(&t, &token, "test", id, &good).await;
        assert_eq!(sent.status, 303, "{}", sent.text("main"));
    }
    assert_eq!(number(&t, "SELECT count(*) FROM water_tests WHERE made_by = 'customer'").await, 1);
    assert!(t.get(None, &format!("/w/{token}")).await.text("table").contains("your own test"));
    for wrong in [
        [("taken_on", "Oct 6, 2026"), ("reading", "18"), ("ph", "")],
        [("taken_on", "Jul 1, 2026"), ("reading", "18"), ("ph", "")],
        [("taken_on", "Oct 4, 2026"), ("reading", "many"), ("ph", "")],
        [("taken_on", "Oct 4, 2026"), ("reading", "18"), ("ph", "15")],
        [("taken_on", "10/4/26"), ("reading", "18"), ("ph", "")],
    ] {
        let refused = send(&t, &token, "test", Uuid::now_v7(), &wrong).await;
        assert!(refused.status == 422 && !refused.text("details[open] .wrong").is_empty(), "{wrong:?}: {}", refused.text("main"));
        for (name, typed) in wrong {
            assert_eq!(refused.attrs(&format!("input[name={name}]"), "value"), [typed], "what was typed stands there");
        }
    }
    let due = t.get(Some(&d.office), "/due").await;
    assert!(due.text("section[aria-labelledby=say]").contains("18 drops, pH 8.7"), "{}", due.text("section[aria-labelledby=say]"));
    assert_eq!(t.post(&d.office, &format!("/customers-say/{id}"), &[("counts", "no")]).await.status, 303);
    assert_eq!(number(&t, "SELECT count(*) FROM water_tests WHERE made_by = 'customer' AND superseded_at IS NULL").await, 0);
    assert!(!t.get(None, &format!("/w/{token}")).await.text("main").contains("your own test"));
    assert_eq!(t.post(&d.office, &format!("/customers-say/{id}"), &[]).await.status, 409, "settled once");
    assert!(t.get(Some(&d.office), &format!("/units/{unit}")).await.status == 200);
    assert_eq!(t.broken_promises().await, Vec::<String>::new());
}

#[tokio::test]
async fn a_figure_that_is_likelier_a_slip_is_asked_about_and_kept_when_the_customer_is_sure() {
    let (t, _, _, token) = with_a_link().await;
    let kept = || number(&t, "SELECT count(*) FROM water_tests WHERE made_by = 'customer'");
    // 35 drops of 50 mg/L are 1,750: above the programme's maximum of 1,500 by more than a tenth. And vinegar has a pH of 3.
    for slip in
        [[("taken_on", "Oct 4, 2026"), ("reading", "35"), ("ph", "")], [("taken_on", "Oct 4, 2026"), ("reading", "18"), ("ph", "3")]]
    {
        let asked = send(&t, &token, "test", Uuid::now_v7(), &slip).await;
        assert!(asked.status == 422 && asked.text("details[open] .wrong").contains("Did you really read that?"), "{}", asked.text("main"));
        assert_eq!(asked.attrs("input[name=reading]", "value"), [slip[1].1], "what was typed stands there");
    }
    assert_eq!(kept().await, 0);
    let sure = [("taken_on", "Oct 4, 2026"), ("reading", "35"), ("ph", ""), ("sure", "yes")];
    assert_eq!(send(&t, &token, "test", Uuid::now_v7(), &sure).await.status, 303);
    assert_eq!(kept().await, 1);
}

#[tokio::test]
async fn nobody_writes_into_a_record_without_its_living_link_or_without_end() {
    let (t, d, unit, token) = with_a_link().await;
    let good = [("taken_on", "Oct 4, 2026"), ("reading", "18"), ("ph", "")];
    let unknown = "0123456789ABCDEFGHJKMNPQRSTVWXYZ";
    let shut = links::make(t.pool(), unit, "old", None, t.app.clock.now()).await.unwrap();
    let id = links::of_unit(t.pool(), unit).await.unwrap().into_iter().find(|l| l.label == "old").unwrap().id;
    links::revoke(t.pool(), unit, id, t.app.clock.now()).await.unwrap();
    for token in [unknown, shut.as_str()] {
        for what in ["suits", "another-time", "test"] {
            assert_eq!(send(&t, token, what, Uuid::now_v7(), &good).await.status, 404, "{what}");
        }
    }
    let mut kept = 0;
    for n in 0..20 {
        let reading = format!("{}", 10 + n);
        let form = [("taken_on", "Oct 4, 2026"), ("reading", reading.as_str()), ("ph", "")];
        kept += i32::from(send(&t, &token, "test", Uuid::now_v7(), &form).await.status == 303);
    }
    assert_eq!(kept, 12, "a dozen a day at most");
    // Sold: the link of the one before opens nothing.
    let other: Uuid = sqlx::query_scalar("SELECT id FROM customers WHERE id <> (SELECT customer_id FROM units WHERE id = $1) LIMIT 1")
        .bind(unit)
        .fetch_one(t.pool())
        .await
        .unwrap();
    let place: Uuid =
        sqlx::query_scalar("SELECT id FROM places WHERE customer_id = $1 LIMIT 1").bind(other).fetch_one(t.pool()).await.unwrap();
    sqlx::query("UPDATE units SET customer_id = $1, place_id = $2 WHERE id = $3")
        .bind(other)
        .bind(place)
        .bind(unit)
        .execute(t.pool())
        .await
        .unwrap();
    assert_eq!(send(&t, &token, "test", Uuid::now_v7(), &good).await.status, 404);
    assert_eq!(t.get(Some(&d.office), "/due").await.status, 200);
}

/// 3 drops of 50 mg/L are 150: far below the minimum of 600. Nobody doses by a customer's test; somebody comes and tests anew.
#[tokio::test]
async fn a_low_test_that_counts_makes_one_due() {
    let (t, d, unit, token) = with_a_link().await;
    let asked = async || t.get(Some(&d.office), &format!("/units/{unit}")).await.text("main").contains("their own test read 150 mg/L");
    for (counts, due) in [("no", false), ("", true)] {
        let id = Uuid::now_v7();
        let low = [("taken_on", "Oct 4, 2026"), ("reading", "3"), ("ph", "8.7")];
        assert_eq!(send(&t, &token, "test", id, &low).await.status, 303);
        assert!(!asked().await);
        assert_eq!(t.post(&d.office, &format!("/customers-say/{id}"), &[("counts", counts)]).await.status, 303);
        assert_eq!(asked().await, due, "{counts}");
    }
}
