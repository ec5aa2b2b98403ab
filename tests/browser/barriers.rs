//! Barriers that axe-core knows of (WCAG 2.2, A and AA, and its own good practice), on the pages of all three faces.
//! `.ci/setup --browsers` fetches it where npm is installed; without it this is not run, and says so.

use super::{
    Served,
    driver::{Browser, DESK, PHONE},
    support::{TestApp, dealership, encode},
    yard::yard,
};
use embertide::store::links;
use serde_json::Value;
use std::{fs, path::PathBuf};

fn axe() -> Option<String> {
    let file = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("target/tools/axe.min.js");
    let text = fs::read_to_string(file).ok();
    if text.is_none() {
        println!("not run: axe-core is not installed");
    }
    text
}

/// What it finds: the rule, what is wrong, where.
const LOOK: &str = "
    for (const d of document.querySelectorAll('details')) d.open = true;
    const { violations } = await axe.run(document, {
        runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice'],
        rules: { 'target-size': { enabled: true } } });
    return violations.flatMap((v) => v.nodes.map((n) => v.id + ': ' + v.help + ': ' + n.target.join(' ') + ' ' + n.html.slice(0, 120)))";

async fn finds(b: &Browser, axe: &str) -> Vec<String> {
    b.run(axe).await;
    let Value::Array(found) = b.later(LOOK).await else { panic!("no answer") };
    found.iter().map(|f| f.as_str().unwrap().to_owned()).collect()
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_yard_has_no_barriers_that_a_program_can_find() {
    let Some(axe) = axe() else { return };
    let mut y = yard().await;
    y.pack().await;
    let unit: uuid::Uuid =
        sqlx::query_scalar("SELECT unit_id FROM visits WHERE id = $1").bind(y.visits[0]).fetch_one(y.t.pool()).await.unwrap();
    let mut found = Vec::new();
    let stop = format!("/stop/{}", y.visits[0]);
    for page in [
        y.route.clone(),
        stop.clone(),
        format!("{stop}/fill"),
        "/unplanned".to_owned(),
        format!("/unplanned/{unit}"),
        "/on-this-phone".to_owned(),
    ] {
        y.b.goto(&page).await;
        y.b.wait("html[data-phone]").await;
        found.extend(finds(&y.b, &axe).await.into_iter().map(|f| format!("{page}: {f}")));
    }
    // With faults shown, kept here, and a page that is not on the phone.
    y.office.leave().await;
    y.at_stop(0).await;
    y.b.press("Keep this report").await;
    assert!(y.b.wait("#faults:not([hidden])").await.contains("Count the drops"));
    found.extend(finds(&y.b, &axe).await.into_iter().map(|f| format!("faults: {f}")));
    y.b.fill("#drops", "8").await;
    y.b.press("Keep this report").await;
    y.b.wait("#kept-words.st-kept").await;
    found.extend(finds(&y.b, &axe).await.into_iter().map(|f| format!("kept: {f}")));
    assert!(found.is_empty(), "{}", found.join("\n"));
    // A planted one is found: else this proves nothing.
    y.b.run("document.querySelector('main').insertAdjacentHTML('beforeend', '<img src=\"/mark\"><input>')").await;
    let planted = finds(&y.b, &axe).await;
    assert!(planted.iter().any(|f| f.starts_with("image-alt")) && planted.iter().any(|f| f.starts_with("label")), "{planted:?}");
    y.b.close().await;
}

/// A dealership with something on every page; answers with a customer's link.
async fn something_of_everything(t: &TestApp, d: &dealership::Dealership) -> String {
    t.post(&d.office, "/week/2026-W41/plan", &[]).await;
    t.work().await;
    sqlx::query("UPDATE week_plans SET status = 'issued', issued_at = now()").execute(t.pool()).await.unwrap();
    let token = links::make(t.pool(), d.units[0], "test", None, t.app.clock.now()).await.unwrap();
    let own = encode(&[("id", &uuid::Uuid::now_v7().to_string()), ("taken_on", "Oct 4, 2026"), ("reading", "18")]);
    assert_eq!(t.post_raw(None, &format!("/w/{token}/test"), &own).await.status, 303);
    assert_eq!(t.post(&d.owner, "/account/second-factor", &[]).await.status, 303);
    let told = "INSERT INTO week_told (monday, unit_id, day, starts, said_at) SELECT '2026-10-05', unit_id, '2026-10-09', 600, now() FROM visits WHERE day IS NOT NULL LIMIT 1";
    sqlx::query(told).execute(t.pool()).await.unwrap();
    // A unit's page with all its forms.
    let own = format!("/units/{}", d.units[0]);
    assert_eq!(t.post(&d.office, &format!("{own}/requests"), &[("job", "repair"), ("by_day", ""), ("note", "Hums")]).await.status, 303);
    assert_eq!(t.post(&d.office, &format!("{own}/done"), &[("job", "yearly-clean"), ("done_on", "Oct 4, 2026")]).await.status, 303);
    assert_eq!(t.post(&d.owner, "/settings/depots", &[("name", "Barn"), ("pin", "44.6, 74.9")]).await.status, 303);
    let product = "SELECT id FROM products WHERE programme_code = 'nitrite-borate'";
    let product: uuid::Uuid = sqlx::query_scalar(product).fetch_one(t.pool()).await.unwrap();
    assert_eq!(t.post(&d.owner, &format!("/treatments/products/{product}/lots"), &[("lot", "L9"), ("amount", "5 gal")]).await.status, 303);
    let slip = uuid::Uuid::now_v7();
    let test = [("taken_on", "Oct 4, 2026"), ("maker", "office"), ("kit", ""), ("reading", "9")];
    assert_eq!(t.post_as(&d.office, &format!("{own}/tests"), slip, &test).await.status, 303);
    let out = [("fact", "test"), ("fact_id", &*slip.to_string()), ("why", "A slip")];
    assert_eq!(t.post(&d.office, &format!("{own}/taken-out"), &out).await.status, 303);
    token
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn office_and_record_have_no_barriers_that_a_program_can_find() {
    let Some(axe) = axe() else { return };
    let t = TestApp::on_roads().await;
    let d = dealership::open(&t).await;
    let token = something_of_everything(&t, &d).await;
    let served = Served::start(&t).await;
    let b = Browser::open(&served.base).await;
    let mut found = Vec::new();
    b.window(PHONE).await;
    for page in ["/sign-in".to_owned(), format!("/w/{token}"), "/not/there".to_owned()] {
        b.goto(&page).await;
        found.extend(finds(&b, &axe).await.into_iter().map(|f| format!("{page}: {f}")));
    }
    b.window(DESK).await;
    b.sign_in("owner").await;
    let (customer, unit) = (d.alder, d.units[0]);
    for page in [
        "/due?show=all",
        "/week/2026-W41",
        "/week/2026-W41/print",
        "/week/2026-W41/tell",
        "/season",
        "/roads",
        "/customers",
        "/phones",
        "/settings",
        "/settings/jobs",
        "/settings/kinds",
        "/overview",
        "/account",
        "/treatments",
        "/bring-in",
        "/water",
        "/water/held",
        &format!("/customers/{customer}"),
        &format!("/units/{unit}"),
        &format!("/units/{unit}/history"),
        &format!("/units/{unit}/taken-out"),
        &format!("/units/{unit}/whole-record"),
        &format!("/units/{unit}/fill"),
        &format!("/units/{unit}/volume"),
        "/answers/source-water?ph=7.3&hardness=352&alkalinity=310&conductivity=694",
        "/answers/fuel",
        "/answers/antifreeze",
    ] {
        b.goto(page).await;
        found.extend(finds(&b, &axe).await.into_iter().map(|f| format!("{page}: {f}")));
    }
    b.goto("/week/2026-W41/tell").await;
    b.press("Put links to their records into the words").await;
    b.wait("section.card input[type=checkbox]").await;
    found.extend(finds(&b, &axe).await.into_iter().map(|f| format!("with links: {f}")));
    assert!(found.is_empty(), "{}", found.join("\n"));
    b.close().await;
}
