//! Entries that were a slip, and customers who are gone.

use super::{
    path,
    support::{Session, TestApp, dealership},
};
use embertide::store::{due, links};
use time::macros::date;
use uuid::Uuid;

async fn version(t: &TestApp, sql: &'static str, id: Uuid) -> String {
    sqlx::query_scalar::<_, i32>(sql).bind(id).fetch_one(t.pool()).await.unwrap().to_string()
}

const CUSTOMER: &str = "SELECT row_version FROM customers WHERE id = $1";
const PLACE: &str = "SELECT row_version FROM places WHERE id = $1";

async fn forget(t: &TestApp, who: &Session, id: Uuid) -> (u16, String) {
    let version = version(t, CUSTOMER, id).await;
    let page = t.post(who, &format!("/customers/{id}/forget"), &[("row_version", &version), ("sure", "yes")]).await;
    (page.status, page.text("main"))
}

async fn count(t: &TestApp, sql: &'static str) -> i64 {
    sqlx::query_scalar(sql).fetch_one(t.pool()).await.unwrap()
}

#[tokio::test]
async fn an_entry_that_was_a_slip_is_gone_with_its_place() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    let id = Uuid::now_v7();
    assert_eq!(t.post_as(&d.office, "/customers", id, &[("name", "Zinia Sliverlea"), ("reference", "C-900")]).await.status, 303);
    for name in ["Home", "The barn"] {
        let form = [("name", name), ("suits", "Mon-Fri 8:00 am to 12:00 pm")];
        assert_eq!(t.post(&d.office, &format!("/customers/{id}/places"), &form).await.status, 303);
    }
    let barn: Uuid = sqlx::query_scalar("SELECT id FROM places WHERE name = 'The barn'").fetch_one(t.pool()).await.unwrap();
    let number = version(&t, PLACE, barn).await;
    let remove = format!("/places/{barn}/remove");
    assert_eq!(t.post(&d.office, &remove, &[("row_version", &number)]).await.status, 422, "nobody said that they are sure");
    assert_eq!(t.post(&d.office, &remove, &[("row_version", "77"), ("sure", "yes")]).await.status, 409);
    assert_eq!(t.post(&d.office, &remove, &[("row_version", &number), ("sure", "yes")]).await.status, 303);
    assert_eq!(count(&t, "SELECT count(*) FROM places WHERE name IN ('Home', 'The barn')").await, 1);
    let page = t.get(Some(&d.office), &format!("/customers/{id}")).await;
    assert!(page.text("main").contains("Remove this customer"), "{}", page.text("main"));
    assert_eq!(forget(&t, &d.office, id).await.0, 303);
    assert_eq!(count(&t, "SELECT count(*) FROM customers WHERE ref = 'C-900' OR name LIKE 'Zinia%'").await, 0);
    assert_eq!(t.get(Some(&d.office), &format!("/customers/{id}")).await.status, 404);
    assert_eq!(t.broken_promises().await, Vec::<String>::new());
}

#[tokio::test]
async fn nobody_who_has_a_unit_in_use_can_be_forgotten_nor_its_place_removed() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    let (customer, place): (Uuid, Uuid) =
        sqlx::query_as("SELECT customer_id, place_id FROM units WHERE id = $1").bind(d.units[0]).fetch_one(t.pool()).await.unwrap();
    let (status, says) = forget(&t, &d.owner, customer).await;
    assert!(status == 422 && says.contains("not retired yet"), "{says}");
    let number = version(&t, PLACE, place).await;
    let refused = t.post(&d.office, &format!("/places/{place}/remove"), &[("row_version", &number), ("sure", "yes")]).await;
    assert!(refused.status == 422 && refused.text("main").contains("A unit stands or stood at this place"), "{}", refused.text("main"));
    assert!(!t.get(Some(&d.owner), &format!("/customers/{customer}")).await.text("main").contains("Forget this customer"));
}

#[tokio::test]
async fn a_forgotten_customer_is_nowhere_and_the_water_record_stays() {
    let path::Stop { t, d, visit, unit, tech } = path::at_a_stop().await;
    let form = [("job", "water-test"), ("drops", "20"), ("ph", "8.9"), ("put_in", "0"), ("who_was_there", "nobody")];
    assert_eq!(t.post(&tech, &format!("/stop/{visit}"), &form).await.status, 303);
    let (customer, name): (Uuid, String) =
        sqlx::query_as("SELECT c.id, c.name FROM customers c JOIN units u ON u.customer_id = c.id WHERE u.id = $1")
            .bind(unit)
            .fetch_one(t.pool())
            .await
            .unwrap();
    let token = links::make(t.pool(), unit, "mail", None, t.app.clock.now()).await.unwrap();
    sqlx::query("UPDATE units SET status = 'retired' WHERE customer_id = $1").bind(customer).execute(t.pool()).await.unwrap();
    due::refresh(&mut t.pool().acquire().await.unwrap(), Some(&[unit]), date!(2026 - 10 - 05)).await.unwrap();
    let before = count(&t, "SELECT count(*) FROM water_tests").await;
    let (status, says) = forget(&t, &d.office, customer).await;
    assert!(status == 422 && says.contains("only the owner"), "{says}");
    assert_eq!(forget(&t, &d.owner, customer).await.0, 303);
    assert_eq!(forget(&t, &d.owner, customer).await.0, 409, "once");
    assert_eq!(count(&t, "SELECT count(*) FROM water_tests").await, before);
    let list = t.get(Some(&d.office), "/customers").await.text("main");
    assert!(!list.contains(&name) && !list.contains("Former customer"), "{list}");
    let page = t.get(Some(&d.owner), &format!("/customers/{customer}")).await.text("main");
    assert!(page.contains("Forgotten.") && !page.contains(&name) && !page.contains("Keep the change"), "{page}");
    let unit = t.get(Some(&d.office), &format!("/units/{unit}")).await;
    assert!(unit.status == 200 && unit.text("main").contains("Former customer"), "{}", unit.text("main"));
    assert_eq!(t.get(None, &format!("/w/{token}")).await.status, 404, "the link is shut");
    let left: i64 = sqlx::query_scalar(
        "SELECT (SELECT count(*) FROM customers WHERE id = $1 AND name || phone || email || note <> 'Former customer')
              + (SELECT count(*) FROM places WHERE customer_id = $1 AND (address || town || access_note || hazards <> '' OR lat IS NOT NULL))",
    )
    .bind(customer)
    .fetch_one(t.pool())
    .await
    .unwrap();
    assert_eq!(left, 0);
    assert_eq!(t.broken_promises().await, Vec::<String>::new());
}

#[tokio::test]
async fn a_reference_can_be_given_later_so_that_a_list_knows_who_was_typed() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    let id = Uuid::now_v7();
    t.post_as(&d.office, "/customers", id, &[("name", "Briony Wexcombe")]).await;
    let number = version(&t, CUSTOMER, id).await;
    let form = [("name", "Briony Wexcombe"), ("reference", "C-901"), ("row_version", &number)];
    assert_eq!(t.post(&d.office, &format!("/customers/{id}"), &form).await.status, 303);
    let without = [("name", "Briony Wexcombe"), ("phone", "555-0199"), ("row_version", "2")];
    assert_eq!(t.post(&d.office, &format!("/customers/{id}"), &without).await.status, 303);
    assert_eq!(count(&t, "SELECT count(*) FROM customers WHERE ref = 'C-901'").await, 1, "a form without the field leaves it");
    let other = Uuid::now_v7();
    t.post_as(&d.office, "/customers", other, &[("name", "Ivo Hazelmoor")]).await;
    let twice = [("name", "Ivo Hazelmoor"), ("reference", "C-901"), ("row_version", "1")];
    let refused = t.post(&d.office, &format!("/customers/{other}"), &twice).await;
    assert!(refused.status == 422 && refused.text("main").contains("has this reference already"), "{}", refused.text("main"));
}
