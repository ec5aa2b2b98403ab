//! How it stands: figures that add up to what the other pages say.

use super::{
    path,
    support::{Page, TestApp, dealership},
};
use embertide::units::{UnitsFirst, amount};
use uuid::Uuid;

/// The cells after the first of the row that begins like this.
fn cells(page: &Page, row: &str) -> Vec<String> {
    let all = page.texts("tbody td");
    let at = all.iter().position(|c| c.starts_with(row)).unwrap_or_else(|| panic!("{row}: {all:?}"));
    all[at + 1..at + 5].to_vec()
}

#[tokio::test]
async fn the_season_adds_up_and_a_done_job_moves_from_due_to_done() {
    let stop = path::at_a_stop().await;
    let (t, d) = (&stop.t, &stop.d);
    let row = async |job: &str| {
        let page = t.get(Some(&d.office), "/overview").await;
        assert_eq!(page.status, 200);
        cells(&page, job)
    };
    assert_eq!(row("Fall start-up").await, ["0", "3", "0", "0"], "done, with a day, without one, past");
    let report = [("job", "fall-start-up"), ("job", "water-test"), ("drops", "20"), ("ph", "8.9"), ("put_in", "700 mL")];
    assert_eq!(t.post_as(&stop.tech, &format!("/stop/{}", stop.visit), Uuid::now_v7(), &report).await.status, 303);
    assert_eq!(row("Fall start-up").await, ["1", "2", "0", "0"]);
    let page = t.get(Some(&d.office), "/overview").await;
    assert_eq!(cells(&page, "2026-W41, this week")[..3], ["1", "0", "2"], "done, not done, to do");
    let treatment = page.texts("tr").into_iter().find(|r| r.contains(&amount(700, UnitsFirst::Us)));
    assert!(treatment.is_some(), "what went in this year: {:?}", page.texts("tr"));
}

#[tokio::test]
async fn what_is_expected_is_what_the_planned_visits_expect_and_the_shelf_is_taken_off() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    path::issued_week(&t, &d).await;
    let expected: i64 =
        sqlx::query_scalar("SELECT coalesce(sum(expected_dose_ml), 0)::bigint FROM visits").fetch_one(t.pool()).await.unwrap();
    assert!(expected > 0);
    let row = async || {
        let page = t.get(Some(&d.owner), "/overview").await;
        page.texts("tr")
            .into_iter()
            .find(|r| r.contains(&amount(expected, UnitsFirst::Us)))
            .unwrap_or_else(|| panic!("{:?}", page.texts("tr")))
    };
    let before = row().await;
    assert!(before.contains("none") && before.contains('×'), "nothing on the shelf: {before}");
    let product: Uuid = sqlx::query_scalar(
        "SELECT id FROM products WHERE programme_code = (SELECT programme_code FROM units LIMIT 1) ORDER BY name, id LIMIT 1",
    )
    .fetch_one(t.pool())
    .await
    .unwrap();
    let lot = [("lot", "L1"), ("amount", "500 L"), ("expires_on", "")];
    assert_eq!(t.post(&d.owner, &format!("/treatments/products/{product}/lots"), &lot).await.status, 303);
    let after = row().await;
    assert!(after.ends_with("nothing"), "half a ton is enough: {after}");
}

#[tokio::test]
async fn the_list_for_the_bookkeeper_holds_each_visit_once_as_it_was_corrected() {
    let stop = path::at_a_stop().await;
    let (t, d) = (&stop.t, &stop.d);
    let report = Uuid::now_v7();
    let sheet = [
        ("job", "fall-start-up"),
        ("job", "water-test"),
        ("drops", "8"),
        ("ph", "8.9"),
        ("put_in", "700 mL"),
        ("note", "=two bales, \"wet\""),
    ];
    assert_eq!(t.post_as(&stop.tech, &format!("/stop/{}", stop.visit), report, &sheet).await.status, 303);
    let again: Vec<(&str, &str)> = sheet
        .iter()
        .map(|f| if f.0 == "put_in" { ("put_in", "650 mL") } else { *f })
        .chain([("version", "1"), ("reason", "Read again")])
        .collect();
    assert_eq!(t.post(&stop.tech, &format!("/kept/{report}/correct"), &again).await.status, 303);
    let list = t.get(Some(&d.office), "/overview/work.csv?from=2026-10-01&to=2026-10-31").await;
    assert_eq!(list.status, 200);
    // Read as RFC 4180 has it, by a reader of its own.
    let mut reader = csv::Reader::from_reader(list.body.as_bytes());
    let head = reader.headers().unwrap().clone();
    let rows: Vec<csv::StringRecord> = reader.records().map(Result::unwrap).collect();
    assert_eq!(rows.len(), 1, "{}", list.body);
    let cell = |name: &str| rows[0][head.iter().position(|h| h == name).unwrap()].to_owned();
    assert_eq!((cell("date"), cell("outcome"), cell("jobs")), ("2026-10-05".into(), "done".into(), "Fall start-up; Water test".into()));
    assert!(cell("put in (mL)").starts_with("650 Nitrite-borate liquid"), "{}", cell("put in (mL)"));
    assert_eq!(cell("note"), "'=two bales, \"wet\"", "nothing that a spreadsheet takes for a formula");
    let earlier = t.get(Some(&d.office), "/overview/work.csv?from=2026-09-01&to=2026-09-30").await;
    assert_eq!(earlier.body.matches("\r\n").count(), 1, "the head alone");
    assert_eq!(t.get(Some(&d.office), "/overview/work.csv?from=2026-10-31&to=2026-10-01").await.status, 422);
}
