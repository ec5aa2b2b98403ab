//! Kinds of unit as the dealer's own data: what a jacket holds goes into every dose of a unit that has no volume of its own.

use super::support::{Page, TestApp, dealership};

async fn keep(t: &TestApp, d: &dealership::Dealership, path: &str, fields: &[(&str, &str)]) -> Page {
    let form: Vec<(&str, &str)> = [("name", "Two-storey"), ("source", "maker's sheet, 2024")].iter().chain(fields).copied().collect();
    t.post(&d.owner, path, &form).await
}

async fn figures(t: &TestApp, code: &str) -> (Option<i64>, Option<i32>, String) {
    sqlx::query_as("SELECT jacket_ml, output_w, source FROM unit_kinds WHERE code = $1").bind(code).fetch_one(t.pool()).await.unwrap()
}

#[tokio::test]
async fn a_kind_of_the_dealers_own_is_offered_and_its_jacket_counts() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    let kept = keep(&t, &d, "/settings/kinds", &[("jacket", "396 gal"), ("output", "250,000 Btu/h")]).await;
    assert_eq!(kept.status, 303, "{}", kept.text("main"));
    let code = kept.location.rsplit('#').next().unwrap().to_owned();
    // 396 US gal x 3.785411784 L (NIST SP 811, B.8); 250,000 Btu/h x 0.2930711 W.
    assert_eq!(figures(&t, &code).await, (Some(1_499_023), Some(73_268), "maker's sheet, 2024".to_owned()));
    let unit = format!("/units/{}", d.units[0]);
    assert!(t.get(Some(&d.office), &unit).await.text("select[name=kind]").contains("Two-storey"));
    sqlx::query("UPDATE units SET kind_code = $1, jacket_ml = NULL WHERE id = $2")
        .bind(&code)
        .bind(d.units[0])
        .execute(t.pool())
        .await
        .unwrap();
    assert!(t.get(Some(&d.office), &format!("{unit}/volume")).await.text("main").contains("396 gal"));

    // Kept again as it stands in the form, a rounded figure changes nothing.
    let page = t.get(Some(&d.owner), "/settings/kinds").await;
    let own = |name: &str| page.attrs(&format!("#{code} input[name={name}]"), "value").remove(0);
    let (jacket, output) = (own("jacket"), own("output"));
    assert_eq!((jacket.as_str(), output.as_str()), ("396 gal", "250,000 Btu/h"));
    let path = format!("/settings/kinds/{code}");
    assert_eq!(keep(&t, &d, &path, &[("jacket", &jacket), ("output", &output), ("row_version", "1")]).await.status, 303);
    assert_eq!(figures(&t, &code).await.0, Some(1_499_023));
    assert_eq!(keep(&t, &d, &path, &[("row_version", "1")]).await.status, 409, "two owners at once");

    // Not offered any more, it stays with the units that are of it.
    assert_eq!(keep(&t, &d, &path, &[("jacket", "1,500 L"), ("retired", "yes"), ("row_version", "2")]).await.status, 303);
    assert_eq!(figures(&t, &code).await, (Some(1_500_000), None, "maker's sheet, 2024".to_owned()));
    assert!(t.get(Some(&d.office), &unit).await.text("select[name=kind]").contains("Two-storey"), "its own unit still says so");
    let other = t.get(Some(&d.office), &format!("/units/{}", d.units[1])).await;
    assert!(!other.text("select[name=kind]").contains("Two-storey"));
    assert!(other.text("select[name=kind]").contains("Large"));
}

#[tokio::test]
async fn a_jacket_that_cannot_be_is_refused() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    for wrong in [
        &[("jacket", "396 mL")][..],
        &[("jacket", "9,000 gal")],
        &[("jacket", "400 imp gal")],
        &[("output", "200 Btu/h")],
        &[("output", "58 hp")],
        &[("jacket", "400 gal"), ("source", " ")],
        &[("jacket", "400 gal"), ("name", "")],
    ] {
        let form: Vec<(&str, &str)> = [("name", "Two-storey"), ("source", "sheet")]
            .iter()
            .filter(|f| !wrong.iter().any(|w| w.0 == f.0))
            .chain(wrong)
            .copied()
            .collect();
        let refused = t.post(&d.owner, "/settings/kinds", &form).await;
        assert_eq!(refused.status, 422, "{wrong:?}");
    }
    let kinds: i64 = sqlx::query_scalar("SELECT count(*) FROM unit_kinds").fetch_one(t.pool()).await.unwrap();
    assert_eq!(kinds, 4, "the shipped ones");
}
