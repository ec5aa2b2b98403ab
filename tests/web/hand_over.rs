//! A house is sold with its heater: the unit keeps its water record, and the old owner sees nothing of what comes after.

use super::{
    path,
    support::{TestApp, dealership},
};
use embertide::store::{links, week};
use time::macros::date;
use uuid::Uuid;

async fn version(t: &TestApp, place: Uuid) -> String {
    let v: i32 = sqlx::query_scalar("SELECT row_version FROM places WHERE id = $1").bind(place).fetch_one(t.pool()).await.unwrap();
    v.to_string()
}

#[tokio::test]
async fn a_place_goes_to_its_new_owner_with_its_units_their_record_and_their_visits() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    path::issued_week(&t, &d).await;
    let unit = d.units[0];
    let place: Uuid = sqlx::query_scalar("SELECT place_id FROM units WHERE id = $1").bind(unit).fetch_one(t.pool()).await.unwrap();
    let old = links::make(t.pool(), unit, "mail", None, t.app.clock.now()).await.unwrap();
    let (visit, row): (Uuid, i32) =
        sqlx::query_as("SELECT id, row_version FROM visits WHERE unit_id = $1").bind(unit).fetch_one(t.pool()).await.unwrap();
    let told = [("week", "2026-W41"), ("row_version", &*row.to_string()), ("told", "yes")];
    assert_eq!(t.post(&d.office, &format!("/visits/{visit}/confirm"), &told).await.status, 303);
    assert!(t.get(None, &format!("/w/{old}")).await.text("main").contains("We come on"));

    let path = format!("/places/{place}/hand-over");
    for wrong in [&[("name", " ")][..], &[("reference", "C9")]] {
        let form: Vec<(&str, &str)> = wrong.iter().copied().chain([("row_version", "1")]).collect();
        assert_eq!(t.post(&d.office, &path, &form).await.status, 422, "{wrong:?}");
    }
    let seen = version(&t, place).await;
    let form = [("name", "Corin Wether"), ("phone", "555-0177"), ("row_version", seen.as_str())];
    let given = t.post(&d.office, &path, &form).await;
    assert_eq!(given.status, 303, "{}", given.text("main"));
    let page = t.get(Some(&d.office), given.location.split('#').next().unwrap()).await;
    assert!(page.text("main").contains("Corin Wether") && page.text("main").contains("House heater"), "{}", page.text("main"));
    assert!(!t.get(Some(&d.office), &format!("/customers/{}", d.alder)).await.text("main").contains("House heater"));
    assert_eq!(t.post(&d.office, &path, &form).await.status, 409, "pressed on a page that is over");

    assert_eq!(t.get(None, &format!("/w/{old}")).await.status, 404, "the old owner's link is shut");
    let new = links::make(t.pool(), unit, "mail", None, t.app.clock.now()).await.unwrap();
    let record = t.get(None, &format!("/w/{new}")).await.text("main");
    assert!(record.contains("Apr 20, 2026") && record.contains("We plan to come on"), "not told yet: {record}");
    let stop = week::stops(t.pool(), date!(2026 - 10 - 05), None).await.unwrap().into_iter().find(|s| s.unit_id == unit).unwrap();
    assert!(stop.to_call().is_none() && stop.status == "planned");
    assert!(t.get(Some(&d.office), "/week/2026-W41").await.text("main").contains("Corin Wether"));

    // To somebody who is a customer already, and to none who has it.
    let birch = [("reference", "C2"), ("row_version", &*version(&t, place).await)];
    assert_eq!(t.post(&d.office, &path, &birch).await.status, 303);
    let again = [("reference", "C2"), ("row_version", &*version(&t, place).await)];
    assert_eq!(t.post(&d.office, &path, &again).await.status, 409);
    assert_eq!(t.broken_promises().await, Vec::<String>::new());
}
