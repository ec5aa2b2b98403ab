//! Telling customers when somebody comes, and what they may take along from their page.

use super::{
    path::{self, issued_week},
    support::{Page, TestApp, dealership},
};
use embertide::store::links;
use uuid::Uuid;

async fn tell(t: &TestApp, d: &dealership::Dealership) -> Page {
    t.get(Some(&d.office), "/week/2026-W41/tell").await
}

async fn told(t: &TestApp) -> i64 {
    sqlx::query_scalar("SELECT count(*) FROM week_told").fetch_one(t.pool()).await.unwrap()
}

/// The cards' times as the page sends them.
fn cards(page: &Page) -> Vec<String> {
    page.attrs("section.card input[name=tells]", "value")
}

#[tokio::test]
async fn whoever_was_told_is_off_the_list_until_the_visit_moves() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    issued_week(&t, &d).await;
    let page = tell(&t, &d).await;
    let all = cards(&page);
    assert_eq!(all.iter().flat_map(|v| v.split(' ')).count(), 3, "each visit once: {all:?}");
    assert!(page.text("main").contains("We plan to come on"), "{}", page.text("main"));
    let form = [("tells", all[0].as_str())];
    let kept = t.post(&d.office, "/week/2026-W41/tell", &form).await;
    assert_eq!((kept.status, kept.location.as_str()), (303, "/week/2026-W41/tell?said=1"), "{}", kept.text("main"));
    let page = tell(&t, &d).await;
    assert_eq!(cards(&page), all[1..], "the others are still to be told");
    assert!(page.text("main").contains("1 visit is known to its customer already"));
    // Later by hours: it stands on the list again, with what was said.
    let unit = all[0].split('/').next().unwrap();
    let (visit, day, version): (Uuid, String, i32) =
        sqlx::query_as("SELECT id, day::text, row_version FROM visits WHERE unit_id::text = $1 AND status = 'confirmed'")
            .bind(unit)
            .fetch_one(t.pool())
            .await
            .unwrap();
    let other = if day == "2026-10-09" { "2026-10-08" } else { "2026-10-09" };
    let target = format!("{}/{other}", d.juno.staff_id);
    let form = [("week", "2026-W41"), ("row_version", &version.to_string()), ("how", "to"), ("target", &target)];
    assert_eq!(t.post(&d.office, &format!("/visits/{visit}/move"), &form).await.status, 303);
    let page = tell(&t, &d).await;
    assert_eq!(cards(&page).len(), all.len());
    assert!(page.text("main").contains("That has changed: we plan to come on"), "{}", page.text("main"));
}

#[tokio::test]
async fn a_customer_knows_what_was_told_even_when_the_visit_moved_meanwhile() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    issued_week(&t, &d).await;
    let all = cards(&tell(&t, &d).await);
    // Somebody else moves one while the cards are in the mail.
    sqlx::query("UPDATE visits SET starts = starts + 60, ends = ends + 60 WHERE unit_id::text = $1")
        .bind(all[all.len() - 1].split(' ').next_back().unwrap().split('/').next().unwrap())
        .execute(t.pool())
        .await
        .unwrap();
    let form: Vec<(&str, &str)> = all.iter().map(|v| ("tells", v.as_str())).collect();
    assert_eq!(t.post(&d.office, "/week/2026-W41/tell", &form).await.status, 303);
    assert_eq!(told(&t).await, 3);
    let page = tell(&t, &d).await;
    assert_eq!(cards(&page).len(), 1);
    assert!(page.text("section.card").contains("That has changed"), "{}", page.text("section.card"));
    assert!(t.get(Some(&d.office), "/week/2026-W41").await.text("main").contains("To call: 1"));
    assert_eq!(t.post(&d.office, "/week/2026-W41/tell", &[]).await.status, 204, "nobody is marked: the page stays");
    for wrong in [&[("tells", "who knows")], &[("tells", "01a22ebd-331f-7743-8f16-232fdfc82253/2026-10-06/9000")]] {
        assert_eq!(t.post(&d.office, "/week/2026-W41/tell", wrong).await.status, 422, "{wrong:?}");
    }
    let nobody = [("tells", "01a22ebd-331f-7743-8f16-232fdfc82253/2026-10-06/540")];
    assert_eq!(t.post(&d.office, "/week/2026-W41/tell", &nobody).await.location, "/week/2026-W41/tell?said=0");
    assert_eq!(told(&t).await, 3, "a unit that nobody visits is told nothing");
    assert_eq!(t.broken_promises().await, Vec::<String>::new());
}

#[tokio::test]
async fn links_in_the_words_open_the_records_and_are_made_once() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    issued_week(&t, &d).await;
    let id = Uuid::now_v7();
    let page = t.post_as(&d.office, "/week/2026-W41/tell/links", id, &[]).await;
    assert_eq!(page.status, 200, "{}", page.text("main"));
    let addresses = page.texts("section.card .num");
    assert_eq!(addresses.len(), 3);
    assert_eq!(page.attrs("section.card .print-only svg", "role").len(), 3, "a square for each");
    for address in &addresses {
        let at = address.find("/w/").unwrap();
        let record = t.get(None, &address[at..]).await;
        assert!(record.status == 200 && record.text("main").contains("We plan to come on"), "{}", record.text("main"));
    }
    let count = "SELECT count(*) FROM record_links WHERE label = 'week 2026-W41'";
    let made = || async { sqlx::query_scalar::<_, i64>(count).fetch_one(t.pool()).await.unwrap() };
    assert_eq!(made().await, 3);
    let again = t.post_as(&d.office, "/week/2026-W41/tell/links", id, &[]).await;
    assert!(again.text(".wrong").contains("were shown once already"), "{}", again.text("main"));
    assert_eq!(made().await, 3, "pressed twice, made once");
    assert!(!tell(&t, &d).await.body.contains("/w/"), "and not shown again");
}

#[tokio::test]
async fn what_the_customer_has_to_see_to_is_told_with_the_time() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    let jobs = t.get(Some(&d.owner), "/settings/jobs").await;
    assert!(jobs.text("#yearly-clean").contains("the firebox has to be cold"), "a hot firebox cannot be cleaned");
    let set = |field: &str| jobs.attrs(&format!("form[action$='/fall-start-up'] [name={field}]"), "value").remove(0);
    let (name, minutes, set_up, version) = (set("name"), set("minutes"), set("set_up"), set("row_version"));
    let form = [
        ("name", name.as_str()),
        ("minutes", &minutes),
        ("set_up", &set_up),
        ("row_version", &version),
        ("prepare", "Have dry wood at hand."),
    ];
    assert_eq!(t.post(&d.owner, "/settings/jobs/fall-start-up", &form).await.status, 303);
    let (_, unit, _) = issued_week(&t, &d).await[0];
    assert!(tell(&t, &d).await.text("main").contains("Have dry wood at hand."));
    let token = links::make(t.pool(), unit, "mail", None, t.app.clock.now()).await.unwrap();
    let record = t.get(None, &format!("/w/{token}")).await.text("main");
    assert!(record.contains("Have dry wood at hand.") && record.contains("for fall start-up"), "{record}");
}

#[tokio::test]
async fn a_customer_takes_the_visit_and_the_tests_along() {
    let path::Stop { t, unit, visit, .. } = path::at_a_stop().await;
    let token = links::make(t.pool(), unit, "mail", None, t.app.clock.now()).await.unwrap();
    let page = t.get(None, &format!("/w/{token}")).await;
    assert!(page.attrs("a", "href").contains(&format!("/w/{token}/visit.ics")));
    let ics = t.get(None, &format!("/w/{token}/visit.ics")).await;
    assert_eq!(ics.status, 200);
    // The hour that stands, told in UTC by Postgres: RFC 5545, 3.3.5.
    let begins: String = sqlx::query_scalar(
        r#"SELECT to_char((day + make_interval(mins => starts)) AT TIME ZONE (SELECT zone FROM dealer) AT TIME ZONE 'UTC', 'YYYYMMDD"T"HH24MI"00Z"') FROM visits WHERE id = $1"#,
    )
    .bind(visit)
    .fetch_one(t.pool())
    .await
    .unwrap();
    assert!(ics.body.contains(&format!("DTSTART:{begins}\r\n")) && ics.body.contains(&format!("UID:{visit}\r\n")), "{}", ics.body);
    assert!(ics.body.contains("STATUS:TENTATIVE\r\n"), "nobody said that it is sure: {}", ics.body);
    let csv = t.get(None, &format!("/w/{token}/tests.csv")).await;
    let mut lines = csv.body.split("\r\n");
    assert_eq!(lines.next(), Some("date,by,water,drops,level (mg/L as NO2),pH,put in that day (mL)"), "{}", csv.body);
    let tests: i64 =
        sqlx::query_scalar("SELECT count(*) FROM water_tests WHERE unit_id = $1").bind(unit).fetch_one(t.pool()).await.unwrap();
    assert_eq!(lines.filter(|l| !l.is_empty()).count(), usize::try_from(tests).unwrap());
    assert!(tests > 0);
    for what in ["visit.ics", "tests.csv"] {
        assert_eq!(t.get(None, &format!("/w/0000-0000-0000-0000-0000-0000/{what}")).await.status, 404, "a link that nobody made");
    }
}
