//! Finding a customer while the telephone rings.

use super::support::{TestApp, dealership, encode};
use uuid::Uuid;

#[tokio::test]
async fn a_caller_is_found_by_what_they_say_or_what_the_telephone_shows() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    let form = [("name", "Petra van der Quill"), ("phone", "(518) 555-0142"), ("reference", "C-77")];
    let birch = Uuid::now_v7();
    assert_eq!(t.post_as(&d.office, "/customers", birch, &form).await.status, 303);
    let place = [("name", "Home"), ("address", "12b Fern Hollow Lane"), ("town", "Juniper Pass")];
    assert_eq!(t.post(&d.office, &format!("/customers/{birch}/places"), &place).await.status, 303);
    let place: Uuid = sqlx::query_scalar("SELECT id FROM places WHERE customer_id = $1").bind(birch).fetch_one(t.pool()).await.unwrap();
    let unit =
        [("name", "Barn heater"), ("kind", "medium"), ("serial", "hx-4411"), ("reference", "U-901"), ("programme", "nitrite-borate")];
    let kept = t.post(&d.office, &format!("/places/{place}/units"), &unit).await;
    assert_eq!(kept.status, 303, "{}", kept.text("main"));
    // As the telephone shows it, as it is said, and as it stands on the plate.
    for asked in
        ["+15185550142", "555 0142", "518-555-0142", "Petra", "quill", "c-77", "12b fern", "Fern Hollow", "juniper p", "u-901", "HX-4411"]
    {
        let found = t.get(Some(&d.office), &format!("/customers?{}", encode(&[("q", asked)]))).await;
        assert_eq!(
            (found.status, found.location.as_str()),
            (303, format!("/customers/{birch}").as_str()),
            "{asked}: {}",
            found.text("main")
        );
    }
    for asked in ["5550143", "142", "hollow lane fern", "hx-44"] {
        let found = t.get(Some(&d.office), &format!("/customers?{}", encode(&[("q", asked)]))).await;
        assert!(found.status == 200 && found.text("main").contains("Nobody found."), "{asked}: {}", found.text("main"));
    }
    let due = t.get(Some(&d.office), "/due").await;
    assert_eq!(due.attrs("form[action='/customers'] input", "name"), ["q"], "the first page asks who is calling");
    let several = t.get(Some(&d.office), "/customers?q=").await;
    assert!(several.status == 200 && several.texts("tbody tr").len() > 1, "nothing asked, all are shown");
}
