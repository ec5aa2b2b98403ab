//! Facts of a unit's water that were a slip.

use super::{
    path,
    support::{Page, TestApp, dealership},
};
use embertide::store::{links, units};
use time::macros::date;
use uuid::Uuid;

async fn count(t: &TestApp, sql: &'static str) -> i64 {
    sqlx::query_scalar(sql).fetch_one(t.pool()).await.unwrap()
}

async fn take_out(t: &TestApp, d: &dealership::Dealership, unit: Uuid, fact: &str, id: Uuid) -> Page {
    let id = id.to_string();
    t.post(&d.office, &format!("/units/{unit}/taken-out"), &[("fact", fact), ("fact_id", &id), ("why", "Typed at the wrong unit")]).await
}

#[tokio::test]
async fn a_test_typed_at_the_wrong_unit_counts_no_more_and_the_record_says_why() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    let unit = d.units[0];
    let page = format!("/units/{unit}");
    let stands = || async { t.get(Some(&d.office), &page).await.text("#water + *, .card") };
    let before = stands().await;
    let id = Uuid::now_v7();
    let test = [("taken_on", "Oct 4, 2026"), ("maker", "laboratory"), ("kit", "nitrite-drops-2"), ("reading", "4"), ("ph", "7.2")];
    assert_eq!(t.post_as(&d.office, &format!("{page}/tests"), id, &test).await.status, 303);
    // 4 drops of 50 mg/L are 200: far below the minimum of 600.
    assert_ne!(stands().await, before);
    let shown = t.get(Some(&d.office), &format!("{page}/taken-out")).await;
    assert!(shown.text("main").contains("Water test by the laboratory, 200 mg/L, pH 7.2"), "{}", shown.text("main"));
    assert_eq!(take_out(&t, &d, d.units[1], "test", id).await.status, 409, "it is no test of the other unit");
    let refused = t.post(&d.office, &format!("{page}/taken-out"), &[("fact", "test"), ("fact_id", &id.to_string()), ("why", " ")]).await;
    assert!(refused.status == 422 && refused.text("main").contains("Say what was wrong with it"), "{}", refused.text("main"));
    assert_eq!(take_out(&t, &d, unit, "test", id).await.status, 303);
    assert_eq!(stands().await, before, "as if it had never been typed");
    assert_eq!(take_out(&t, &d, unit, "test", id).await.status, 409, "once");
    let shown = t.get(Some(&d.office), &format!("{page}/taken-out")).await;
    let out = shown.text("main h2 + ul");
    assert!(out.contains("200 mg/L") && out.contains("Typed at the wrong unit"), "{out}");
    let token = links::make(t.pool(), unit, "mail", None, t.app.clock.now()).await.unwrap();
    let record = t.get(None, &format!("/w/{token}")).await.text("main");
    assert!(!record.contains("200 mg/L") && !record.contains("wrong unit"), "{record}");
    assert_eq!(t.broken_promises().await, Vec::<String>::new());
}

#[tokio::test]
async fn what_a_visit_report_says_is_corrected_there_and_not_taken_out() {
    let path::Stop { t, d, visit, unit, tech } = path::at_a_stop().await;
    let form = [("job", "water-test"), ("drops", "8"), ("ph", "8.9"), ("put_in", "500 mL"), ("who_was_there", "nobody")];
    let report = Uuid::now_v7();
    assert_eq!(t.post_as(&tech, &format!("/stop/{visit}"), report, &form).await.status, 303);
    for (fact, sql) in
        [("test", "SELECT id FROM water_tests WHERE report_id IS NOT NULL"), ("dose", "SELECT id FROM doses WHERE report_id IS NOT NULL")]
    {
        let id: Uuid = sqlx::query_scalar(sql).fetch_one(t.pool()).await.unwrap();
        assert_eq!(take_out(&t, &d, unit, fact, id).await.status, 409, "{fact}");
    }
    let page = t.get(Some(&d.office), &format!("/units/{unit}/taken-out")).await;
    assert!(page.attrs("main li a", "href").contains(&format!("/reports/{report}")), "the page leads there");
    assert_eq!(count(&t, "SELECT count(*) FROM taken_out").await, 0);
}

#[tokio::test]
async fn a_fill_that_never_was_gives_the_unit_its_water_and_the_shelf_its_charge_back() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    let unit = d.units[0];
    let product: Uuid = sqlx::query_scalar("SELECT id FROM products ORDER BY name LIMIT 1").fetch_one(t.pool()).await.unwrap();
    let product: Uuid = sqlx::query_scalar(
        "SELECT coalesce(p.usual_product_id, $2) FROM programmes p JOIN units u ON u.programme_code = p.code WHERE u.id = $1",
    )
    .bind(unit)
    .bind(product)
    .fetch_one(t.pool())
    .await
    .unwrap();
    let received = [("lot", "L9"), ("amount", "20 L")];
    assert_eq!(t.post(&d.owner, &format!("/treatments/products/{product}/lots"), &received).await.status, 303);
    let lot: Uuid = sqlx::query_scalar("SELECT id FROM lots WHERE lot = 'L9'").fetch_one(t.pool()).await.unwrap();
    let left = "SELECT sum(m.amount_ml)::bigint FROM shelf_moves m JOIN lots l ON l.id = m.lot_id WHERE l.lot = 'L9'";
    let page = format!("/units/{unit}");
    let water = || async { t.get(Some(&d.office), &page).await.text("main dl") };
    let (before, due) = (water().await, t.get(Some(&d.office), "/due").await.texts("tbody tr"));
    let lot = lot.to_string();
    let fill = [
        ("volume", "416 gal"),
        ("ph", "7.3"),
        ("hardness", "20"),
        ("filled_on", "2026-10-02"),
        ("source_water", "well"),
        ("fluid", "water"),
        ("put_in", "9900 mL"),
        ("lot", lot.as_str()),
    ];
    let id = Uuid::now_v7();
    let kept = t.post_as(&d.office, &format!("{page}/fill"), id, &fill).await;
    assert_eq!(kept.status, 303, "{}", kept.text("main"));
    assert_eq!(count(&t, left).await, 20_000 - 9_900);
    assert_ne!(water().await, before);
    assert_eq!(take_out(&t, &d, unit, "fill", id).await.status, 303);
    assert_eq!(count(&t, left).await, 20_000, "its first charge is on the shelf again");
    assert_eq!(water().await, before, "and the water before it is the unit's");
    assert_eq!(t.get(Some(&d.office), "/due").await.texts("tbody tr"), due);
    let stands = units::fills(t.pool(), unit).await.unwrap();
    assert_eq!((stands.len(), stands[0].drained_on), (1, None));
    assert_eq!(
        count(&t, "SELECT count(*) FROM water_tests WHERE of_water = 'fill' AND superseded_at IS NULL AND taken_on = '2026-10-02'").await,
        0
    );
    assert_eq!(t.broken_promises().await, Vec::<String>::new());
}

#[tokio::test]
async fn the_fill_before_one_that_never_was_ends_with_the_one_after_it() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    let unit = d.units[0];
    let fill = |day: &'static str| [("volume", "416 gal"), ("hardness", "20"), ("filled_on", day), ("fluid", "water")];
    let (slip, later) = (Uuid::now_v7(), Uuid::now_v7());
    assert_eq!(t.post_as(&d.office, &format!("/units/{unit}/fill"), slip, &fill("2026-09-02")).await.status, 303);
    assert_eq!(t.post_as(&d.office, &format!("/units/{unit}/fill"), later, &fill("2026-10-02")).await.status, 303);
    assert_eq!(take_out(&t, &d, unit, "fill", slip).await.status, 303);
    let stands = units::fills(t.pool(), unit).await.unwrap();
    let days: Vec<_> = stands.iter().map(|f| f.drained_on).collect();
    assert_eq!(days, [None, Some(date!(2026 - 10 - 02))]);
}

#[tokio::test]
async fn the_whole_record_holds_each_lot_each_answer_and_each_correction() {
    let path::Stop { t, d, visit, unit, tech } = path::at_a_stop().await;
    let product: Uuid =
        sqlx::query_scalar("SELECT id FROM products WHERE programme_code = 'nitrite-borate'").fetch_one(t.pool()).await.unwrap();
    let received = [("lot", "L9"), ("amount", "20 L")];
    assert_eq!(t.post(&d.owner, &format!("/treatments/products/{product}/lots"), &received).await.status, 303);
    let lot: Uuid = sqlx::query_scalar("SELECT id FROM lots WHERE lot = 'L9'").fetch_one(t.pool()).await.unwrap();
    let (lot, report) = (lot.to_string(), Uuid::now_v7());
    let sheet = [
        ("job", "fall-start-up"),
        ("job", "water-test"),
        ("drops", "8"),
        ("ph", "8.9"),
        ("put_in", "500 mL"),
        ("lot", &lot),
        ("done", "start-level"),
        ("who_was_there", "nobody"),
        ("note", "The lid was stiff"),
    ];
    assert_eq!(t.post_as(&tech, &format!("/stop/{visit}"), report, &sheet).await.status, 303);
    let again: Vec<(&str, &str)> = sheet
        .iter()
        .map(|f| if f.0 == "drops" { ("drops", "9") } else { *f })
        .chain([("version", "1"), ("reason", "Counted once more")])
        .collect();
    assert_eq!(t.post(&tech, &format!("/kept/{report}/correct"), &again).await.status, 303);
    let page = t.get(Some(&d.office), &format!("/units/{unit}/whole-record")).await;
    let text = page.text("main");
    assert_eq!(page.status, 200);
    for said in
        ["450 mg/L as NO2, pH 8.9", "9 drops", "lot L9", "The lid was stiff", "because: Counted once more", "corrected since", "Fills"]
    {
        assert!(text.contains(said), "{said}: {text}");
    }
    assert!(!text.contains("400 mg/L"), "a reading that was corrected counts no more: {text}");
    let step: String = sqlx::query_scalar("SELECT says FROM checklist_items WHERE code = 'start-level'").fetch_one(t.pool()).await.unwrap();
    assert!(text.contains(&step), "{step}");
}
