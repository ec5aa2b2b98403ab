//! Kinds of unit as the dealer's own data: what a jacket holds goes into every dose of a unit that has no volume of its own.

use super::{
    path,
    support::{Page, TestApp, dealership},
};
use embertide::store::{
    customers::{self, Place},
    units,
};
use uuid::Uuid;

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

/// What stands in the form of a unit, with some of it changed.
async fn change_unit(t: &TestApp, d: &dealership::Dealership, unit: Uuid, fields: &[(&str, &str)]) -> Page {
    let page = format!("/units/{unit}");
    let shown = t.get(Some(&d.office), &page).await;
    let version = shown.attrs(&format!("form[action='{page}'] input[name=row_version]"), "value").remove(0);
    let usual =
        [("name", "House heater"), ("kind", "large"), ("status", "in service"), ("programme", "nitrite-borate"), ("row_version", &version)];
    let form: Vec<(&str, &str)> = usual.iter().filter(|u| !fields.iter().any(|f| f.0 == u.0)).chain(fields).copied().collect();
    t.post(&d.office, &page, &form).await
}

#[tokio::test]
async fn a_unit_has_a_jacket_of_its_own_or_goes_by_its_kind() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    let unit = d.units[0];
    let jacket = async || units::jacket(t.pool(), unit).await.unwrap();
    assert_eq!(change_unit(&t, &d, unit, &[("jacket", "310 gal")]).await.status, 303);
    assert_eq!(jacket().await, Some(1_173_478), "310 x 3.785411784 L");
    assert_eq!(change_unit(&t, &d, unit, &[("jacket", "310 gal"), ("name", "Heater")]).await.status, 303);
    assert_eq!(jacket().await, Some(1_173_478), "left as it stands");
    assert_eq!(change_unit(&t, &d, unit, &[("jacket", "9 gal")]).await.status, 422);
    assert_eq!(change_unit(&t, &d, unit, &[("jacket", "")]).await.status, 303);
    assert_eq!(jacket().await, Some(1_514_165), "as its kind's, 400 gal");
}

#[tokio::test]
async fn a_unit_goes_to_another_place_of_its_customer_while_nobody_is_on_the_way() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    let unit = d.units[0];
    let place = Place {
        id: Uuid::now_v7(),
        customer_id: d.alder,
        name: "The barn".to_owned(),
        town: "Alder Hollow".to_owned(),
        ..Place::default()
    };
    customers::add_place(t.pool(), &place).await.unwrap();
    let elsewhere: Uuid =
        sqlx::query_scalar("SELECT place_id FROM units WHERE id = $1").bind(d.units[2]).fetch_one(t.pool()).await.unwrap();
    let (barn, other) = (place.id.to_string(), elsewhere.to_string());
    assert_eq!(change_unit(&t, &d, unit, &[("place", &other)]).await.status, 409, "that is another customer's place");
    path::issued_week(&t, &d).await;
    let refused = change_unit(&t, &d, unit, &[("place", &barn)]).await;
    assert!(refused.status == 422 && refused.text("main").contains("stands on a route"), "{}", refused.text("main"));
    let retired = change_unit(&t, &d, unit, &[("status", "retired")]).await;
    assert!(retired.status == 422 && retired.text("main").contains("stands on a route"), "{}", retired.text("main"));
    sqlx::query("UPDATE visits SET status = 'cancelled' WHERE unit_id = $1").bind(unit).execute(t.pool()).await.unwrap();
    assert_eq!(change_unit(&t, &d, unit, &[("place", &barn)]).await.status, 303);
    assert!(t.get(Some(&d.office), &format!("/units/{unit}")).await.text("h1").contains("The barn"));
    assert_eq!(t.broken_promises().await, Vec::<String>::new());
}
