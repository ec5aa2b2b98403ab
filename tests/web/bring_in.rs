//! Bringing in lists over the real Postgres. The lists under `tests/data` are invented.

use super::support::{
    NOW, Page, Session, TestApp,
    dealership::{self, Dealership},
};
use axum::{
    body::Body,
    http::{Request, header},
};
use embertide::store::sessions::Role;
use uuid::Uuid;

const CUSTOMERS: &str = include_str!("../data/customers.csv");
const UNITS: &str = include_str!("../data/units.csv");
const TESTS: &str = include_str!("../data/tests.csv");

/// Posts a form with a file, as a browser does.
async fn upload(t: &TestApp, who: &Session, fields: &[(&str, &str)], file: Option<(&str, &[u8])>) -> Page {
    let id = Uuid::now_v7().to_string();
    let mut body = Vec::new();
    for (name, value) in [("form_token", who.form_token.as_str()), ("id", &id)].iter().chain(fields) {
        body.extend_from_slice(format!("--edge\r\nContent-Disposition: form-data; name=\"{name}\"\r\n\r\n{value}\r\n").as_bytes());
    }
    if let Some((name, bytes)) = file {
        body.extend_from_slice(
            format!("--edge\r\nContent-Disposition: form-data; name=\"file\"; filename=\"{name}\"\r\nContent-Type: text/csv\r\n\r\n")
                .as_bytes(),
        );
        body.extend_from_slice(bytes);
        body.extend_from_slice(b"\r\n");
    }
    body.extend_from_slice(b"--edge--\r\n");
    let request = Request::post("/bring-in")
        .header(header::CONTENT_TYPE, "multipart/form-data; boundary=edge")
        .header(header::COOKIE, format!("embertide={}", who.token));
    t.send(request.body(Body::from(body)).unwrap()).await
}

/// Checks a list and returns the address of its report.
async fn check(t: &TestApp, who: &Session, kind: &str, text: &str) -> String {
    let page = upload(t, who, &[("kind", kind)], Some(("list.csv", text.as_bytes()))).await;
    assert_eq!(page.status, 303, "{}", page.body);
    page.location
}

/// Presses the button that the report shows, and returns the page after it.
async fn press(t: &TestApp, who: &Session, report: &str, wanted: &str) -> Page {
    let page = t.get(Some(who), report).await;
    assert_eq!(page.texts("form[action='/bring-in/keep'] button"), [wanted], "{}", page.body);
    let fields =
        ["list", "only_good_rows"].map(|name| (name, page.attrs(&format!("form[action='/bring-in/keep'] input[name={name}]"), "value")));
    let pairs: Vec<(&str, &str)> = fields.iter().filter_map(|(name, values)| Some((*name, values.first()?.as_str()))).collect();
    let kept = t.post(who, "/bring-in/keep", &pairs).await;
    assert_eq!((kept.status, kept.location.as_str()), (303, report), "{}", kept.body);
    t.get(Some(who), report).await
}

async fn keep(t: &TestApp, who: &Session, kind: &str, text: &str) -> String {
    let report = check(t, who, kind, text).await;
    press(t, who, &report, "Keep this list").await.text(".said")
}

/// The cells to fix that a report shows: line, column, what it says, what to do.
fn to_fix(page: &Page) -> Vec<String> {
    page.texts("table tbody td").chunks(4).map(|cells| cells.join(" | ")).collect()
}

/// How many rows each table of facts holds.
async fn counts(t: &TestApp) -> Vec<i64> {
    let mut all = Vec::new();
    for table in ["customers", "places", "units", "water_volumes", "fills", "water_tests", "readings", "doses", "events", "due_items"] {
        let n: i64 = sqlx::query_scalar(sqlx::AssertSqlSafe(format!("SELECT count(*) FROM {table}"))).fetch_one(t.pool()).await.unwrap();
        all.push(n);
    }
    all
}

async fn open() -> (TestApp, Dealership) {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    (t, d)
}

#[tokio::test]
async fn three_lists_come_in_and_twice_changes_nothing() {
    let (t, d) = open().await;
    let who = &d.office;
    assert_eq!(keep(&t, who, "customers", CUSTOMERS).await, "Kept: 4 customers, 4 places.");
    assert_eq!(keep(&t, who, "units", UNITS).await, "Kept: 1 place, 4 units, 3 water volumes, 3 fills, 2 jobs done before.");
    assert_eq!(keep(&t, who, "tests", TESTS).await, "Kept: 6 water tests, 2 doses.");
    assert_eq!(t.broken_promises().await, Vec::<String>::new());
    let due: Vec<(String, String)> = sqlx::query_as(
        "SELECT d.job_code, d.reason FROM due_items d JOIN units u ON u.id = d.unit_id WHERE u.ref = 'INV-U1' AND d.job_code IN ('fall-start-up', 'yearly-clean')",
    )
    .fetch_all(t.pool())
    .await
    .unwrap();
    let missed = ("fall-start-up".to_owned(), "No fall start-up since Sep 15, 2025".to_owned());
    assert_eq!(due, [missed], "cleaned this spring, not started up this fall");
    let before = counts(&t).await;
    for (kind, text) in [("customers", CUSTOMERS), ("units", UNITS), ("tests", TESTS)] {
        let page = t.get(Some(who), &check(&t, who, kind, text).await).await;
        assert!(page.body.contains("Everything in this list is already here"), "{kind}: {}", page.body);
        assert!(page.attrs("form", "action").iter().all(|a| a != "/bring-in/keep"), "{kind}: nothing to keep, no button");
    }
    assert_eq!(counts(&t).await, before);
}

/// 28 drops of 23.0 mg/L as NO2 are 644 mg/L; 1,410 mg/L as `NaNO2` are 940 as NO2 (46.005 / 68.995); 100 mg/L as `MoO4` are 60 as Mo
/// (95.95 / 159.95). Molar masses from IUPAC's standard atomic weights, 2021.
#[tokio::test]
async fn readings_are_turned_into_the_programmes_basis() {
    let (t, d) = open().await;
    for (kind, text) in [("customers", CUSTOMERS), ("units", UNITS), ("tests", TESTS)] {
        keep(&t, &d.office, kind, text).await;
    }
    let level = async |unit: &str, day: &str| -> i32 {
        let sql = "SELECT r.programme_mg_l FROM readings r JOIN water_tests t ON t.id = r.test_id JOIN units u ON u.id = t.unit_id WHERE u.ref = $1 AND t.taken_on = $2::date AND r.what = 'inhibitor'";
        sqlx::query_scalar(sql).bind(unit).bind(day).fetch_one(t.pool()).await.unwrap()
    };
    let got = [
        level("INV-U1", "2024-04-20").await,
        level("INV-U2", "2024-05-03").await,
        level("INV-U2", "2025-04-28").await,
        level("INV-U3", "2024-09-15").await,
    ];
    assert_eq!(got, [644, 1050, 940, 60]);
}

#[tokio::test]
async fn nothing_is_kept_while_a_row_needs_fixing() {
    let (t, d) = open().await;
    let text = include_str!("../data/customers-with-faults.csv");
    let before = counts(&t).await;
    let report = check(&t, &d.office, "customers", text).await;
    let list = report.rsplit('/').next().unwrap();
    let refused = t.post(&d.office, "/bring-in/keep", &[("list", list)]).await;
    assert_eq!((refused.status, refused.location.as_str()), (303, report.as_str()));
    assert_eq!(counts(&t).await, before);
    let page = t.get(Some(&d.office), &report).await;
    assert_eq!(page.texts(".said"), Vec::<String>::new());
    assert_eq!(to_fix(&page).len(), 11);
    assert!(to_fix(&page)[0].starts_with("3 | reference | nothing | Nothing is written here."), "{:?}", to_fix(&page)[0]);
}

#[tokio::test]
async fn only_the_good_rows_come_in_and_the_others_come_back() {
    let (t, d) = open().await;
    let who = &d.office;
    let report = check(&t, who, "customers", include_str!("../data/customers-with-faults.csv")).await;
    let page = press(&t, who, &report, "Keep only the good rows").await;
    assert_eq!(page.text(".said"), "Kept: 2 customers, 2 places. 11 rows to fix were left out.");
    let rest = t.get(Some(who), &format!("{report}/to-fix.csv")).await;
    assert_eq!(rest.headers["content-type"], "text/csv; charset=utf-8");
    assert_eq!(rest.headers["content-disposition"], "attachment; filename=\"to-fix-customers.csv\"");
    let mut lines = rest.body.trim_start_matches('\u{FEFF}').lines();
    assert_eq!(lines.next(), Some("reference,name,email,place,address,town,latitude,longitude,note,fix"));
    assert_eq!(lines.count(), 11);
    // Mended and brought in as it is, with its last column.
    let mended = "reference,name,town,fix\nINV-F3,Invented mended,Faulton,name: Nothing is written here.\n";
    assert_eq!(keep(&t, who, "customers", mended).await, "Kept: 1 customer, 1 place.");
}

#[tokio::test]
async fn the_same_form_twice_keeps_once() {
    let (t, d) = open().await;
    let report = check(&t, &d.office, "customers", CUSTOMERS).await;
    let list = report.rsplit('/').next().unwrap();
    let id = Uuid::now_v7();
    for _ in 0..2 {
        let page = t.post_as(&d.office, "/bring-in/keep", id, &[("list", list)]).await;
        assert_eq!(page.status, 303);
    }
    assert_eq!(t.get(Some(&d.office), &report).await.text(".said"), "Kept: 4 customers, 4 places.");
}

#[tokio::test]
async fn two_people_with_the_same_list_at_once_keep_it_once() {
    let (t, d) = open().await;
    let reports = [check(&t, &d.office, "customers", CUSTOMERS).await, check(&t, &d.owner, "customers", CUSTOMERS).await];
    let lists = reports.each_ref().map(|r| r.rsplit('/').next().unwrap());
    let (one, two) = ([("list", lists[0])], [("list", lists[1])]);
    let (first, second) = tokio::join!(t.post(&d.office, "/bring-in/keep", &one), t.post(&d.owner, "/bring-in/keep", &two));
    assert_eq!([first.status, second.status], [303, 303]);
    let kept: i64 = sqlx::query_scalar("SELECT count(*) FROM customers WHERE ref LIKE 'INV-%'").fetch_one(t.pool()).await.unwrap();
    assert_eq!(kept, 4);
}

#[tokio::test]
async fn a_list_is_seen_only_by_whoever_brought_it_and_for_a_day() {
    let (mut t, d) = open().await;
    let report = check(&t, &d.office, "customers", CUSTOMERS).await;
    let list = report.rsplit('/').next().unwrap().to_owned();
    for path in [report.clone(), format!("{report}/to-fix.csv")] {
        assert_eq!(t.get(Some(&d.owner), &path).await.status, 404, "{path}");
        assert_ne!(t.get(Some(&d.wick), &path).await.status, 200, "{path}");
    }
    assert_eq!(t.post(&d.owner, "/bring-in/keep", &[("list", &list)]).await.status, 404);
    assert_eq!(upload(&t, &d.owner, &[("list", &list)], None).await.status, 404);
    t.on(NOW + time::Duration::hours(25));
    let later = t.session(d.office.staff_id, Role::Office).await;
    assert_eq!(t.get(Some(&later), &report).await.status, 404);
    check(&t, &later, "customers", CUSTOMERS).await;
    let waiting: i64 = sqlx::query_scalar("SELECT count(*) FROM brought_lists").fetch_one(t.pool()).await.unwrap();
    assert_eq!(waiting, 1, "the older one is swept");
}

#[tokio::test]
async fn a_form_without_the_sessions_token_is_refused() {
    let (t, d) = open().await;
    let stranger = Session { form_token: "0".repeat(32), ..d.office.clone() };
    let page = upload(&t, &stranger, &[("kind", "customers")], Some(("list.csv", CUSTOMERS.as_bytes()))).await;
    assert_eq!(page.status, 422);
    let waiting: i64 = sqlx::query_scalar("SELECT count(*) FROM brought_lists").fetch_one(t.pool()).await.unwrap();
    assert_eq!(waiting, 0);
}

#[tokio::test]
async fn columns_can_be_matched_by_hand() {
    let (t, d) = open().await;
    let who = &d.office;
    let report = check(&t, who, "customers", "Kundennummer;Bezeichnung;Ort\nINV-9;Invented by hand;Testford\n").await;
    let page = t.get(Some(who), &report).await;
    assert_eq!(page.texts(".wrong li").len(), 2, "{}", page.body);
    assert!(page.texts("form[action='/bring-in/keep']").is_empty());
    assert_eq!(page.attrs("select", "name").len(), 12);
    let list = report.rsplit('/').next().unwrap();
    let again = upload(
        &t,
        who,
        &[("list", list), ("column-reference", "0"), ("column-name", "1"), ("column-town", "2"), ("column-phone", "77")],
        None,
    )
    .await;
    assert_eq!(again.status, 303, "{}", again.body);
    assert_ne!(again.location, report, "the first report stays true to what it shows");
    let page = press(&t, who, &again.location, "Keep this list").await;
    assert_eq!(page.text(".said"), "Kept: 1 customer, 1 place.");
}

#[tokio::test]
async fn what_is_no_list_is_refused_on_the_page_it_came_from() {
    let (t, d) = open().await;
    for (bytes, word) in [(&b"name,town\nA,Montr\xE9al\n"[..], "UTF-8"), (b"PK\x03\x04", "workbook"), (b"", "empty")] {
        let page = upload(&t, &d.office, &[("kind", "units")], Some(("list.csv", bytes))).await;
        assert_eq!(page.status, 422);
        assert!(page.text(".wrong").contains(word), "{}", page.text(".wrong"));
        assert_eq!(page.attrs("input[name=kind][checked]", "value"), ["units"], "what was chosen stays chosen");
    }
    let page = upload(&t, &d.office, &[("kind", "customers")], None).await;
    assert!(page.status == 422 && page.text(".wrong").contains("Choose a file"));
}

#[tokio::test]
async fn places_are_found_or_made_but_never_doubled_by_a_slip() {
    let (t, d) = open().await;
    let who = &d.office;
    keep(&t, who, "customers", CUSTOMERS).await;
    let unit = |reference: &str, customer: &str, place: &str| {
        format!("reference,customer,place,kind,installed on\n{reference},{customer},{place},small,\n")
    };
    let wrong = async |text: String| to_fix(&t.get(Some(who), &check(&t, who, "units", &text).await).await);
    assert_eq!(
        wrong(unit("N1", "INV-C1", "Sugar hose")).await,
        [
            "2 | place | Sugar hose | This customer has no place of this name. Write “Home” or “Sugar house” under “place”, or bring in the new place with the customers."
        ]
    );
    assert!(wrong(unit("N1", "INV-C1", "")).await[0].contains("This customer has several places."));
    assert!(wrong(unit("N1", "INV-C99", "Home")).await[0].contains("No customer of this reference is kept."));
    assert_eq!(keep(&t, who, "units", &unit("N1", "INV-C2", "")).await, "Kept: 1 unit.", "the only place");
    assert_eq!(
        keep(&t, who, "units", &unit("N2", "INV-C4", "Milk house")).await,
        "Kept: 1 place, 1 unit.",
        "a customer without places gets the one named"
    );
    assert!(wrong(unit("N1", "INV-C3", "Shop")).await[0].contains("kept under another customer"));
    let both = wrong("reference,customer,kind\nN7,INV-C99,huge\n".to_owned()).await;
    assert_eq!(both.len(), 2, "a reference is looked up even where the row has another fault: {both:?}");
}

#[tokio::test]
async fn a_customer_under_a_reference_of_somebody_else_is_refused() {
    let (t, d) = open().await;
    let page = t.get(Some(&d.office), &check(&t, &d.office, "customers", "reference,name,place\nC1,Invented stranger,Home\n").await).await;
    assert_eq!(
        to_fix(&page),
        [
            "2 | name | Invented stranger | This reference is kept for “Alda Thistlewick”. Write that name, or give this customer a reference of their own."
        ]
    );
}

#[tokio::test]
async fn tests_that_do_not_fit_their_unit_are_refused() {
    let (t, d) = open().await;
    let text = "unit,date,drops,value,kit,dose\nU1,2026-05-01,9,,molybdate-comparator,\nU1,2026-05-02,,100,molybdate-comparator,\nU9,2026-05-03,9,,,\nU1,2026-05-04,41,,nitrite-drops-2,\nU1,2026-05-05,9,,,1 L\nU1,2026-05-05,9,,,2 L\nU1,2026-05-06,9,,,\nU1,2026-05-06,9,,,\n";
    let page = t.get(Some(&d.office), &check(&t, &d.office, "tests", text).await).await;
    let rows = to_fix(&page);
    let starts = [
        "2 | drops | 9 | This kit is read off",
        "3 | value | 100 | A reading as MoO4 cannot be turned",
        "4 | unit | U9 | No unit",
        "5 | drops | 41 | 41 drops is more",
        "7 | unit | U1 | Line 6 holds the same test",
    ];
    assert_eq!(rows.len(), starts.len(), "{rows:#?}");
    for (row, start) in rows.iter().zip(starts) {
        assert!(row.starts_with(start), "{row}");
    }
    assert!(page.body.contains("1 already here"), "the same row twice in one list is one");
}

#[tokio::test]
async fn what_is_due_follows_from_the_list() {
    let (t, d) = open().await;
    keep(&t, &d.office, "customers", CUSTOMERS).await;
    keep(&t, &d.office, "units", UNITS).await;
    let due: i64 =
        sqlx::query_scalar("SELECT count(DISTINCT d.unit_id) FROM due_items d JOIN units u ON u.id = d.unit_id WHERE u.ref LIKE 'INV-%'")
            .fetch_one(t.pool())
            .await
            .unwrap();
    assert_eq!(due, 4, "in the fall every unit is due for something");
    let note: String = sqlx::query_scalar("SELECT subject FROM events WHERE what = 'brought in a list' ORDER BY id DESC LIMIT 1")
        .fetch_one(t.pool())
        .await
        .unwrap();
    assert_eq!(note, "units: 1 place, 4 units, 3 water volumes, 3 fills, 2 jobs done before");
}

#[tokio::test]
async fn what_stands_in_a_cell_is_shown_as_text() {
    let (t, d) = open().await;
    let text = "reference,name,email\nINV-X,<script>alert(1)</script>,<img src=x onerror=alert(1)>\n";
    let report = check(&t, &d.office, "customers", text).await;
    let page = t.get(Some(&d.office), &report).await;
    assert!(page.texts("main script").is_empty() && page.texts("main img").is_empty());
    assert!(to_fix(&page)[0].contains("<img src=x onerror=alert(1)>"));
}

#[tokio::test]
async fn a_list_may_be_larger_than_other_forms_but_not_without_end() {
    let (t, d) = open().await;
    let rows = |n: usize| {
        let row = |i: usize| format!("INV-{i},Invented {i},\"{}\"\n", "a long note, ".repeat(20));
        format!("reference,name,note\n{}", (0..n).map(row).collect::<String>())
    };
    let large = rows(2_000);
    assert!(large.len() > 500_000);
    assert_eq!(keep(&t, &d.office, "customers", &large).await, "Kept: 2,000 customers.");
    let too_large = upload(&t, &d.office, &[("kind", "customers")], Some(("list.csv", &vec![b'a'; 6 * 1024 * 1024]))).await;
    assert_eq!(too_large.status, 422);
    assert!(too_large.body.contains("larger than 5 MB"), "{}", too_large.body);
}

/// A figure that was corrected in the list: kept beside the old one it would count twice, and its dose with it.
#[tokio::test]
async fn a_figure_that_was_corrected_in_a_list_is_not_kept_beside_the_old_one() {
    let (t, d) = open().await;
    for (kind, text) in [("customers", CUSTOMERS), ("units", UNITS), ("tests", TESTS)] {
        keep(&t, &d.office, kind, text).await;
    }
    let before = counts(&t).await;
    let corrected = TESTS.replace("2024-04-20\t28\t", "2024-04-20\t29\t");
    assert_ne!(corrected, TESTS);
    let page = t.get(Some(&d.office), &check(&t, &d.office, "tests", &corrected).await).await;
    let rows = to_fix(&page);
    assert!(rows.len() == 1 && rows[0].contains("An earlier list had other figures for this day"), "{rows:?}");
    assert_eq!(counts(&t).await, before);
}
