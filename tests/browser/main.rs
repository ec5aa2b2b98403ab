//! One walk in a real browser: the office plans and issues a week, a technician reports, the customer sees it.
//! Screenshots lie in the test's own output folder, `target/tmp/screens`.
#![expect(clippy::unwrap_used, reason = "a test that cannot go on has failed")]

#[path = "../support/mod.rs"]
mod support;

mod access;
mod barriers;
mod builds;
mod driver;
mod faults;
mod no_script;
mod photos;
mod taps;
mod typed;
mod yard;

use driver::{Browser, DESK, PHONE};
use embertide::{jobs::Worker, store::links, web};
use support::{TestApp, dealership};
use tokio_util::sync::CancellationToken;

/// The service on a port of its own, with its background at work.
pub(crate) struct Served {
    pub(crate) base: String,
    stop: CancellationToken,
}

impl Served {
    pub(crate) async fn start(t: &TestApp) -> Self {
        let listener = tokio::net::TcpListener::bind("127.0.0.1:0").await.unwrap();
        let base = format!("http://{}", listener.local_addr().unwrap());
        let stop = CancellationToken::new();
        let (router, _) = web::router(t.app.clone());
        tokio::spawn(web::serve::serve(listener, router, stop.clone()));
        let worker = Worker {
            pool: t.pool().clone(),
            clock: t.app.clock,
            bell: t.app.bell.clone(),
            sources: t.app.sources.clone(),
            photos: t.app.photos.clone(),
            steps: 3_000,
            season_steps: 45_000,
        };
        tokio::spawn(worker.run(stop.clone()));
        Self { base, stop }
    }
}

impl Drop for Served {
    fn drop(&mut self) {
        self.stop.cancel();
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn office_plans_technician_reports_customer_sees_it() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    let served = Served::start(&t).await;
    let b = Browser::open(&served.base).await;

    b.window(DESK).await;
    b.sign_in("office").await;
    assert!(b.text("main").await.contains("No water test since Apr 20, 2026"));
    b.screenshot("due-desk").await;
    b.goto("/week/2026-W41").await;
    b.press("Plan this week").await;
    b.wait("form[action$='/issue']").await;
    b.screenshot("week-desk").await;
    b.press("Issue to the technicians").await;
    assert!(b.wait(".said").await.contains("Issued"));

    let (visit, staff): (uuid::Uuid, uuid::Uuid) =
        sqlx::query_as("SELECT id, staff_id FROM visits WHERE status = 'planned' ORDER BY day, position LIMIT 1")
            .fetch_one(t.pool())
            .await
            .unwrap();
    b.forget().await;
    b.window(PHONE).await;
    b.sign_in(if staff == d.wick.staff_id { "wick" } else { "juno" }).await;
    b.screenshot("route-phone").await;
    b.goto(&format!("/stop/{visit}")).await;
    b.wait("html[data-ready]").await;
    // Eight taps on the plus: 8 drops of 50 mg/L. The answer comes from the page's own table.
    for _ in 0..8 {
        b.click("[data-step='1']").await;
    }
    assert_eq!(b.value("#drops").await, "8");
    let told = b.text("#tell").await;
    assert!(told.contains("Low") && told.contains("Put in") && told.contains("400 mg/L"), "{told}");
    b.screenshot("stop-phone").await;
    let ml = b.value("#dose_shown_ml").await;
    // In acid water nothing goes in, whatever the drops say.
    b.fill("#ph", "6.4").await;
    let held = b.text("#tell").await;
    assert!(held.contains("Hold") && held.contains("pH below 7.0") && !held.contains("Put in"), "{held}");
    assert_eq!(b.value("#dose_shown_ml").await, "0");
    b.fill("#ph", "8.9").await;
    assert_eq!(b.text("#tell").await, told);
    b.fill("#put_in", &ml).await;
    b.press("Keep this report").await;
    assert!(b.wait("p.said").await.contains("Kept. The office has it."));
    b.screenshot("kept-phone").await;

    let unit: uuid::Uuid = sqlx::query_scalar("SELECT unit_id FROM visits WHERE id = $1").bind(visit).fetch_one(t.pool()).await.unwrap();
    let token = links::make(t.pool(), unit, "test", None, t.app.clock.now()).await.unwrap();
    b.forget().await;
    b.goto(&format!("/w/{token}")).await;
    let record = b.text("main").await;
    assert!(record.contains("400 mg/L") && record.contains("Monday, October 5, 2026"), "{record}");
    b.screenshot("record-phone").await;
    b.close().await;
}

/// How often the page broke its content policy since it was loaded.
pub(crate) const VIOLATIONS: &str =
    "const o = new ReportingObserver(() => {}, { types: ['csp-violation'], buffered: true }); o.observe(); return o.takeRecords().length";

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn no_page_scrolls_sideways_on_a_small_phone_or_breaks_the_policy() {
    if driver::needs_chromium() {
        return;
    }
    let t = TestApp::on_roads().await;
    let d = dealership::open(&t).await;
    let served = Served::start(&t).await;
    let b = Browser::open(&served.base).await;
    t.post(&d.office, "/week/2026-W41/plan", &[]).await;
    t.work().await;
    sqlx::query("UPDATE week_plans SET status = 'issued', issued_at = now()").execute(t.pool()).await.unwrap();
    let closed = [("pin", "44.61, -74.91"), ("reach", "1600"), ("from", "2026-10-05"), ("note", "High water over the bridge")];
    assert_eq!(t.post(&d.office, "/roads", &closed).await.status, 303);
    assert_eq!(t.post(&d.owner, "/account/second-factor", &[]).await.status, 303);
    let told = "INSERT INTO week_told (monday, unit_id, day, starts, said_at) SELECT '2026-10-05', unit_id, '2026-10-09', 600, now() FROM visits WHERE day IS NOT NULL LIMIT 1";
    sqlx::query(told).execute(t.pool()).await.unwrap();
    let token = links::make(t.pool(), d.units[0], "test", None, t.app.clock.now()).await.unwrap();
    b.window((320, 700)).await;
    b.sign_in("owner").await;
    let pages = [
        format!("/w/{token}"),
        "/account".to_owned(),
        "/overview".to_owned(),
        "/settings/jobs".to_owned(),
        "/settings/kinds".to_owned(),
        "/roads?at=44.61%2C+-74.91".to_owned(),
        "/week/2026-W41/mend?roads=now".to_owned(),
        "/due?show=all".to_owned(),
        "/week/2026-W41".to_owned(),
        "/week/2026-W41/tell".to_owned(),
        "/customers".to_owned(),
        format!("/customers/{}", d.alder),
        format!("/units/{}", d.units[0]),
        format!("/units/{}/history", d.units[0]),
        format!("/units/{}/taken-out", d.units[0]),
        format!("/units/{}/whole-record", d.units[0]),
        format!("/units/{}/fill", d.units[0]),
        format!("/units/{}/volume", d.units[0]),
        "/water".to_owned(),
        "/water/held".to_owned(),
        "/treatments/fill-limits".to_owned(),
        "/bring-in".to_owned(),
        "/settings".to_owned(),
        "/treatments".to_owned(),
        "/answers/source-water?ph=7.3&hardness=352&alkalinity=310&conductivity=694".to_owned(),
        "/answers/antifreeze".to_owned(),
        "/answers/fuel".to_owned(),
        "/phones".to_owned(),
        "/route".to_owned(),
        "/on-this-phone".to_owned(),
        "/nothing/here".to_owned(),
    ];
    for page in pages {
        b.goto(&page).await;
        let wide = b.number("return document.documentElement.scrollWidth").await;
        assert!(wide <= 320, "{page} is {wide} px wide");
        assert_eq!(b.number(VIOLATIONS).await, 0, "{page} breaks its own content policy");
    }
    // The counting itself can count: a script written into the page is one violation.
    let planted = format!("document.head.append(Object.assign(document.createElement('script'), {{ textContent: '1' }})); {VIOLATIONS}");
    assert_eq!(b.number(&planted).await, 1);
    b.close().await;
}
