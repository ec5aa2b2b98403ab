//! The owner's figures: what the label says is what the dose follows.

use super::support::{Page, TestApp, dealership};

const PRODUCT: &str = "01900000-0000-7000-8000-000000000101";

/// The fields of a form as the page fills them.
fn fields(page: &Page, action: &str) -> Vec<(String, String)> {
    let form = format!("form[action='{action}']");
    let mut all: Vec<(String, String)> =
        page.attrs(&format!("{form} input[name]"), "name").into_iter().zip(page.attrs(&format!("{form} input[name]"), "value")).collect();
    all.retain(|p| p.0 != "form_token" && p.0 != "id");
    for select in page.attrs(&format!("{form} select"), "name") {
        let option = format!("{form} select[name='{select}'] option[selected]");
        all.push((select, page.attrs(&option, "value").into_iter().next().unwrap_or_else(|| page.text(&option))));
    }
    for area in page.attrs(&format!("{form} textarea"), "name") {
        let text = page.text(&format!("{form} textarea[name='{area}']"));
        all.push((area, text));
    }
    all
}

async fn send(t: &TestApp, d: &dealership::Dealership, action: &str, changes: &[(&str, &str)]) -> Page {
    let page = t.get(Some(&d.owner), "/treatments").await;
    let mut form = fields(&page, action);
    for (name, value) in changes {
        form.retain(|p| p.0 != *name);
        form.push(((*name).to_owned(), (*value).to_owned()));
    }
    let pairs: Vec<(&str, &str)> = form.iter().map(|p| (p.0.as_str(), p.1.as_str())).collect();
    t.post(&d.owner, action, &pairs).await
}

async fn dose_at_eight_drops(t: &TestApp, d: &dealership::Dealership) -> i64 {
    let (visit, staff): (uuid::Uuid, uuid::Uuid) =
        sqlx::query_as("SELECT id, staff_id FROM visits WHERE unit_id = $1 AND status = 'planned'")
            .bind(d.units[0])
            .fetch_one(t.pool())
            .await
            .unwrap();
    let tech = d.technician(staff);
    let sheet = t.get(Some(tech), &format!("/stop/{visit}")).await;
    sheet.attrs("#doses tr[data-drops='8']", "data-ml").remove(0).parse().unwrap()
}

#[tokio::test]
async fn a_product_of_twice_the_strength_halves_the_dose() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    super::path::issued_week(&t, &d).await;
    let before = dose_at_eight_drops(&t, &d).await;
    let kept = send(&t, &d, &format!("/treatments/products/{PRODUCT}"), &[("percent", "40"), ("source", "label of 2026")]).await;
    assert_eq!(kept.status, 303, "{}", kept.text("main"));
    let after = dose_at_eight_drops(&t, &d).await;
    assert!((before - 2 * after).abs() <= 100, "{before} and {after}: the same within the measuring step");
}

#[tokio::test]
async fn a_kit_of_another_factor_reads_another_level() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    super::path::issued_week(&t, &d).await;
    let before = dose_at_eight_drops(&t, &d).await;
    let kept = send(&t, &d, "/treatments/kits/nitrite-drops-2", &[("per_drop", "100")]).await;
    assert_eq!(kept.status, 303, "{}", kept.text("main"));
    assert!(dose_at_eight_drops(&t, &d).await < before, "8 drops are 800 mg/L now, not 400");
}

#[tokio::test]
async fn limits_that_cannot_be_are_refused_with_the_reason_and_nothing_changes() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    let upside_down = send(&t, &d, "/treatments/programmes/nitrite-borate", &[("min", "2000")]).await;
    assert!(upside_down.status == 422 && upside_down.text("main").contains("must rise"), "{}", upside_down.text("main"));
    let other_substance = send(&t, &d, &format!("/treatments/products/{PRODUCT}"), &[("basis", "Mo")]).await;
    assert_eq!(other_substance.status, 422, "molybdenum does not serve a nitrite programme");
    let no_hazards = send(&t, &d, &format!("/treatments/products/{PRODUCT}"), &[("hazards", " ")]).await;
    assert_eq!(no_hazards.status, 422);
    let changed: i64 = sqlx::query_scalar(
        "SELECT (SELECT count(*) FROM programmes WHERE row_version > 1) + (SELECT count(*) FROM products WHERE row_version > 1)",
    )
    .fetch_one(t.pool())
    .await
    .unwrap();
    assert_eq!(changed, 0);
}

#[tokio::test]
async fn a_higher_least_level_turns_a_reading_low() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    let unit = format!("/units/{}", d.units[0]);
    assert!(t.get(Some(&d.office), &unit).await.text("#water ~ .card").contains("In band"), "20 drops are 1,000 mg/L");
    let kept =
        send(&t, &d, "/treatments/programmes/nitrite-borate", &[("min", "1100"), ("top_up_below", "1200"), ("target", "1200")]).await;
    assert_eq!(kept.status, 303, "{}", kept.text("main"));
    assert!(t.get(Some(&d.office), &unit).await.text("#water ~ .card").contains("Low"));
    assert_eq!(t.broken_promises().await, Vec::<String>::new(), "what is due was worked out again");
}

#[tokio::test]
async fn two_owners_at_once_do_not_overwrite_each_other() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    let action = format!("/treatments/products/{PRODUCT}");
    assert_eq!(send(&t, &d, &action, &[("percent", "25"), ("row_version", "1")]).await.status, 303);
    assert_eq!(send(&t, &d, &action, &[("percent", "30"), ("row_version", "1")]).await.status, 409);
}

#[tokio::test]
async fn a_delivery_stands_on_the_shelf() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    let action = format!("/treatments/products/{PRODUCT}/lots");
    assert_eq!(t.post(&d.owner, &action, &[("lot", "L9"), ("amount", "5 gal"), ("expires_on", "2028-01-31")]).await.status, 303);
    let page = t.get(Some(&d.owner), "/treatments").await;
    assert!(page.text("main").contains("5 gal (18.927 L) on the shelf"), "{}", page.text("summary"));
}

#[tokio::test]
async fn a_lot_holds_what_was_counted_unless_somebody_took_of_it_meanwhile() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    assert_eq!(t.post(&d.owner, &format!("/treatments/products/{PRODUCT}/lots"), &[("lot", "L9"), ("amount", "20 L")]).await.status, 303);
    let lot: uuid::Uuid = sqlx::query_scalar("SELECT id FROM lots WHERE lot = 'L9'").fetch_one(t.pool()).await.unwrap();
    let count = format!("/treatments/lots/{lot}/count");
    let page = t.get(Some(&d.owner), "/treatments").await;
    let shown = page.attrs(&format!("form[action='{count}'] input[name=shown]"), "value").remove(0);
    assert_eq!(shown, "20000");
    for wrong in ["", "plenty", "5 imp gal", "900000 L"] {
        assert_eq!(t.post(&d.owner, &count, &[("shown", &shown), ("counted", wrong)]).await.status, 422, "{wrong}");
    }
    assert_eq!(t.post(&d.owner, &count, &[("shown", &shown), ("counted", "18 L")]).await.status, 303);
    assert!(t.get(Some(&d.owner), "/treatments").await.text("main").contains("18 L"));
    assert_eq!(t.post(&d.owner, &count, &[("shown", &shown), ("counted", "17 L")]).await.status, 409, "the page was an old one");
    assert_eq!(t.post(&d.owner, &count, &[("shown", "18000"), ("counted", "0")]).await.status, 303);
    let page = t.get(Some(&d.owner), "/treatments").await;
    assert!(!page.text("main").contains("Lot L9"), "used up");
    assert_eq!(t.broken_promises().await, Vec::<String>::new());
}

/// A product of twice the shipped one's strength whose name comes last.
const OWN: [(&str, &str); 9] = [
    ("name", "Zinnober liquid, 40 %"),
    ("programme", "nitrite-borate"),
    ("basis", "NaNO2"),
    ("percent", "40"),
    ("density", "1.15"),
    ("pack", "3785 mL"),
    ("step", "50 mL"),
    ("hazards", "Oxidiser; toxic if swallowed."),
    ("source", "label of 2026"),
];

async fn in_use(t: &TestApp, d: &dealership::Dealership, what: &str, active: &str) -> Page {
    t.post(&d.owner, &format!("/treatments/{what}/use"), &[("active", active)]).await
}

#[tokio::test]
async fn doses_are_worked_out_by_the_product_that_is_used_not_by_the_first_in_the_alphabet() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    super::path::issued_week(&t, &d).await;
    let shipped = dose_at_eight_drops(&t, &d).await;
    let alone = in_use(&t, &d, &format!("products/{PRODUCT}"), "no").await;
    assert!(alone.status == 422 && alone.text("main").contains("only product for Nitrite-borate"), "{}", alone.text("main"));
    assert_eq!(t.post(&d.owner, "/treatments/products", &OWN).await.status, 303);
    assert_eq!(dose_at_eight_drops(&t, &d).await, shipped, "it only stands beside the other");
    let own: uuid::Uuid = sqlx::query_scalar("SELECT id FROM products WHERE name LIKE 'Zinnober%'").fetch_one(t.pool()).await.unwrap();
    assert_eq!(t.post(&d.owner, &format!("/treatments/products/{own}/usual"), &[]).await.status, 303);
    let stronger = dose_at_eight_drops(&t, &d).await;
    assert!((shipped - 2 * stronger).abs() <= 100, "{shipped} and {stronger}: half, within the measuring step");
    let week = t.get(Some(&d.office), "/week/2026-W41").await.text("main");
    assert!(week.contains("Zinnober liquid, 40 %:") && !week.contains("Nitrite-borate liquid"), "what is loaded: {week}");

    // One unit stays with the other product, until that is not used any more.
    sqlx::query("UPDATE units SET product_id = $1::uuid WHERE id = $2").bind(PRODUCT).bind(d.units[0]).execute(t.pool()).await.unwrap();
    assert_eq!(dose_at_eight_drops(&t, &d).await, shipped);
    assert_eq!(in_use(&t, &d, &format!("products/{PRODUCT}"), "no").await.status, 303);
    assert_eq!(dose_at_eight_drops(&t, &d).await, stronger);
    let page = t.get(Some(&d.owner), "/treatments").await;
    assert!(page.text("main").contains("Not used any more: 1"), "{}", page.text("main"));
    assert_eq!(in_use(&t, &d, &format!("products/{PRODUCT}"), "no").await.status, 409, "left out once");
    assert_eq!(in_use(&t, &d, &format!("products/{PRODUCT}"), "yes").await.status, 303);
    assert_eq!(dose_at_eight_drops(&t, &d).await, shipped);
    assert_eq!(t.broken_promises().await, Vec::<String>::new());
}

#[tokio::test]
async fn a_new_product_may_be_dosed_with_at_once_and_past_doses_stay_what_they_were() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    let visits = super::path::issued_week(&t, &d).await;
    let (visit, unit, staff) = visits[0];
    let report = [("job", "water-test"), ("drops", "8"), ("ph", "8.9"), ("put_in", "3000")];
    assert_eq!(t.post(d.technician(staff), &format!("/stop/{visit}"), &report).await.status, 303);
    dealership::test(&t, unit, time::macros::date!(2026 - 10 - 04), 14).await;
    let history = async || t.get(Some(&d.office), &format!("/units/{unit}/history")).await.text("main");
    let before = history().await;
    let new: Vec<(&str, &str)> = OWN.iter().copied().chain([("usual", "yes")]).collect();
    assert_eq!(t.post(&d.owner, "/treatments/products", &new).await.status, 303);
    assert_eq!(in_use(&t, &d, &format!("products/{PRODUCT}"), "no").await.status, 303);
    assert!(t.get(Some(&d.owner), "/treatments").await.text("main").contains("Zinnober liquid, 40 %: doses are worked out by it"));
    assert_eq!(history().await, before, "what went in then was of the other one");

    // A sheet that was put on a phone before says of which product its doses are; a correction goes on with it.
    let (visit, unit, staff) = visits[1];
    let tech = d.technician(staff);
    let stop = format!("/stop/{visit}");
    let shown = t.get(Some(tech), &stop).await.attrs("input[name=product]", "value").remove(0);
    assert_ne!(shown, PRODUCT, "a sheet of now is of the new one");
    let packed = [("job", "water-test"), ("drops", "8"), ("ph", "8.9"), ("put_in", "3000"), ("product", PRODUCT)];
    let id = uuid::Uuid::now_v7();
    assert_eq!(t.post_as(tech, &stop, id, &packed).await.status, 303);
    let of = async || -> String {
        let sql = "SELECT p.id::text FROM doses d JOIN products p ON p.id = d.product_id WHERE d.unit_id = $1 AND d.superseded_at IS NULL";
        sqlx::query_scalar(sql).bind(unit).fetch_one(t.pool()).await.unwrap()
    };
    assert_eq!(of().await, PRODUCT);
    let correct = format!("/kept/{id}/correct");
    let page = t.get(Some(&d.office), &correct).await;
    assert!(page.text("main").contains("Nitrite-borate liquid, 20 %") && !page.text("main").contains("Zinnober"), "{}", page.text("main"));
    let product = page.attrs("input[name=product]", "value").remove(0);
    let again = [
        ("job", "water-test"),
        ("drops", "9"),
        ("ph", "8.9"),
        ("put_in", "3000"),
        ("product", &product),
        ("version", "1"),
        ("reason", "miscounted"),
        ("visited_on", "2026-10-05"),
    ];
    let corrected = t.post(&d.office, &correct, &again).await;
    assert_eq!(corrected.status, 303, "{}", corrected.text("main"));
    assert_eq!(of().await, PRODUCT);
}

#[tokio::test]
async fn tests_are_read_by_the_kit_that_is_used() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    super::path::issued_week(&t, &d).await;
    sqlx::query("UPDATE units SET kit_code = NULL").execute(t.pool()).await.unwrap();
    let shipped = dose_at_eight_drops(&t, &d).await;
    let kit = [
        ("name", "Zeta drop test"),
        ("per_drop", "100"),
        ("basis", "NO2"),
        ("max_drops", "20"),
        ("dilution", "1"),
        ("source", "the kit's sheet"),
        ("usual", "yes"),
    ];
    let kept = t.post(&d.owner, "/treatments/kits", &kit).await;
    assert_eq!(kept.status, 303, "{}", kept.text("main"));
    let own = dose_at_eight_drops(&t, &d).await;
    assert!(own < shipped, "8 drops are 800 mg/L now, not 184");
    let code: String = sqlx::query_scalar("SELECT code FROM test_kits WHERE name = 'Zeta drop test'").fetch_one(t.pool()).await.unwrap();
    assert_eq!(in_use(&t, &d, &format!("kits/{code}"), "no").await.status, 303);
    assert_eq!(dose_at_eight_drops(&t, &d).await, shipped);
    assert_eq!(in_use(&t, &d, &format!("kits/{code}"), "yes").await.status, 303);
    assert_eq!(dose_at_eight_drops(&t, &d).await, own);
    let alone = in_use(&t, &d, "kits/molybdate-comparator", "no").await;
    assert_eq!(alone.status, 303, "no unit is on a molybdate programme");
}
