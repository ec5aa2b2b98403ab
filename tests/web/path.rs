//! The main path: what is due, a week planned and issued, a report kept, the customer's record.

use super::support::{Session, TestApp, dealership};
use embertide::store::links;
use uuid::Uuid;

/// Plans the coming week and issues it; returns the visit ids of one technician in order.
pub(crate) async fn issued_week(t: &TestApp, d: &dealership::Dealership) -> Vec<(Uuid, Uuid, Uuid)> {
    assert_eq!(t.post(&d.office, "/week/2026-W41/plan", &[]).await.status, 303);
    assert_eq!(t.work().await, 1);
    let page = t.get(Some(&d.office), "/week/2026-W41").await;
    let version = page.attrs("form[action$='/issue'] input[name=row_version]", "value").remove(0);
    let issued = t.post(&d.office, "/week/2026-W41/issue", &[("row_version", &version)]).await;
    assert_eq!(issued.status, 303, "{}", issued.body);
    let rows: Vec<(Uuid, Uuid, Uuid)> =
        sqlx::query_as("SELECT id, unit_id, staff_id FROM visits WHERE status = 'planned' ORDER BY day, staff_id, position")
            .fetch_all(t.pool())
            .await
            .unwrap();
    rows
}

/// A technician at the first stop of an issued week.
pub(crate) struct Stop {
    pub(crate) t: TestApp,
    pub(crate) d: dealership::Dealership,
    pub(crate) visit: Uuid,
    pub(crate) unit: Uuid,
    pub(crate) tech: Session,
}

pub(crate) async fn at_a_stop() -> Stop {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    let (visit, unit, staff) = issued_week(&t, &d).await[0];
    let tech = d.technician(staff).clone();
    Stop { t, d, visit, unit, tech }
}

#[tokio::test]
async fn the_fall_lists_every_unit_with_its_reason() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    let page = t.get(Some(&d.office), "/due").await;
    assert_eq!(page.status, 200);
    let rows = page.texts("tbody tr");
    // Three units, each with a fall start-up and a water test; nobody re-checks anything.
    assert_eq!(rows.iter().filter(|r| r.contains("Fall start-up")).count(), 3, "{rows:?}");
    assert!(rows.iter().any(|r| r.contains("No water test since Apr 20, 2026")), "{rows:?}");
}

#[tokio::test]
async fn office_plans_and_issues_technician_reports_customer_sees_it() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    let visits = issued_week(&t, &d).await;
    let why: Vec<String> = sqlx::query_scalar("SELECT why FROM visits WHERE status = 'unplaced'").fetch_all(t.pool()).await.unwrap();
    assert_eq!(visits.len(), 3, "{why:?}");
    let (visit, unit, staff) = visits[0];
    let tech = d.technician(staff);
    let sheet = t.get(Some(tech), &format!("/stop/{visit}")).await;
    assert_eq!(sheet.status, 200);
    assert!(sheet.body.contains("gate code of"), "access comes with the stop");
    // 8 drops of 50 mg/L are 400 mg/L: low. The row of the table says what to put in.
    let row = sheet.texts("#doses tr[data-drops='8']").remove(0);
    assert!(row.contains("Low") && row.contains("mL"), "{row}");
    let ml = sheet.attrs("#doses tr[data-drops='8']", "data-ml").remove(0);
    let form = [
        ("job", "fall-start-up"),
        ("job", "water-test"),
        ("drops", "8 drops"),
        ("ph", "8.9"),
        ("put_in", ml.as_str()),
        ("done", "start-level"),
        ("who_was_there", "nobody"),
        ("note", "all fine"),
    ];
    let id = Uuid::now_v7();
    let kept = t.post_as(tech, &format!("/stop/{visit}"), id, &form).await;
    assert_eq!((kept.status, kept.location.as_str()), (303, format!("/kept/{id}?new=1").as_str()), "{}", kept.body);
    let page = t.get(Some(tech), &kept.location).await;
    assert!(
        page.body.contains("400 mg/L") && page.body.contains("Re-check after a dose"),
        "a low reading asks for a re-check: {}",
        page.text("main")
    );
    let token = links::make(t.pool(), unit, "test", None, t.app.clock.now()).await.unwrap();
    let record = t.get(None, &format!("/w/{token}")).await;
    assert_eq!(record.status, 200);
    let text = record.text("main");
    assert!(text.contains("Monday, October 5, 2026") && text.contains("400 mg/L") && text.contains("pH was 8.9"), "{text}");
    assert!(text.contains("Fall start-up, Water test"), "what was done: {text}");
    assert!(
        !text.contains("gate code") && !text.contains("secret note") && !text.contains("555-0111") && !text.contains("12 Alder"),
        "nothing but the water record: {text}"
    );
    assert_eq!(t.broken_promises().await, Vec::<String>::new());
}

#[tokio::test]
async fn a_draft_is_hidden_from_the_technician() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    t.post(&d.office, "/week/2026-W41/plan", &[]).await;
    t.work().await;
    for tech in [&d.wick, &d.juno] {
        let route = t.get(Some(tech), "/route/2026-10-05").await;
        assert!(route.text("main").contains("No stops are issued"), "{}", route.text("main"));
    }
}
