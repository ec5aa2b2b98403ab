//! A phone in a yard without a signal: the server's own process is stopped, since a browser that plays offline lets its worker through.

use super::{
    builds,
    driver::{Browser, PHONE},
    support::{TestApp, dealership},
};
use axum::{
    extract::Request,
    http::{Method, StatusCode},
    middleware::{self, Next},
    response::IntoResponse,
};
use embertide::web;
use serde_json::json;
use std::{
    net::SocketAddr,
    sync::{
        Arc,
        atomic::{AtomicBool, AtomicUsize, Ordering},
    },
};
use tokio_util::sync::CancellationToken;
use uuid::Uuid;

/// A service that can be stopped and started again on the same port.
pub(crate) struct Office {
    address: SocketAddr,
    stop: CancellationToken,
    done: Option<tokio::task::JoinHandle<()>>,
    /// Items that were posted to it.
    pub(crate) posts: Arc<AtomicUsize>,
    /// It answers every item with a fault of its own.
    pub(crate) in_trouble: Arc<AtomicBool>,
    /// Its next build answers.
    pub(crate) next_build: Arc<AtomicBool>,
}

impl Office {
    pub(crate) async fn open(t: &TestApp) -> Self {
        let mut me = Self {
            address: ([127, 0, 0, 1], 0).into(),
            stop: CancellationToken::new(),
            done: None,
            posts: Arc::default(),
            in_trouble: Arc::default(),
            next_build: Arc::default(),
        };
        me.start(t).await;
        me
    }

    pub(crate) async fn start(&mut self, t: &TestApp) {
        let listener = tokio::net::TcpListener::bind(self.address).await.unwrap();
        self.address = listener.local_addr().unwrap();
        self.stop = CancellationToken::new();
        let (posts, in_trouble) = (Arc::clone(&self.posts), Arc::clone(&self.in_trouble));
        let watch = move |request: Request, next: Next| {
            let is_item = request.method() == Method::POST && request.uri().path().starts_with("/outbox/");
            posts.fetch_add(usize::from(is_item), Ordering::Relaxed);
            let fails = is_item && in_trouble.load(Ordering::Relaxed);
            async move { if fails { StatusCode::INTERNAL_SERVER_ERROR.into_response() } else { next.run(request).await } }
        };
        let next_build = Arc::clone(&self.next_build);
        let build = move |request: Request, next: Next| {
            let is_next = next_build.load(Ordering::Relaxed);
            async move { if is_next { builds::next_build(request, next).await } else { next.run(request).await } }
        };
        let router = web::router(t.app.clone()).0.layer(middleware::from_fn(watch));
        // Outside the router, so that a path can be changed before it is matched.
        let router = axum::Router::new().fallback_service(router).layer(middleware::from_fn(build));
        let serving = web::serve::serve(listener, router, self.stop.clone());
        self.done = Some(tokio::spawn(serving));
    }

    /// Gone: connections are refused.
    pub(crate) async fn leave(&mut self) {
        self.stop.cancel();
        self.done.take().unwrap().await.unwrap();
    }
}

pub(crate) struct Yard {
    pub(crate) t: TestApp,
    pub(crate) office: Office,
    pub(crate) b: Browser,
    pub(crate) visits: Vec<Uuid>,
    pub(crate) route: String,
}

/// A technician on their route page, with a day of the week issued.
pub(crate) async fn yard() -> Yard {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    t.post(&d.office, "/week/2026-W41/plan", &[]).await;
    t.work().await;
    sqlx::query("UPDATE week_plans SET status = 'issued', issued_at = now()").execute(t.pool()).await.unwrap();
    let (staff, day): (Uuid, time::Date) =
        sqlx::query_as("SELECT staff_id, day FROM visits WHERE status = 'planned' ORDER BY day, staff_id, position LIMIT 1")
            .fetch_one(t.pool())
            .await
            .unwrap();
    let visits = sqlx::query_scalar("SELECT id FROM visits WHERE staff_id = $1 AND day = $2 AND status = 'planned' ORDER BY position")
        .bind(staff)
        .bind(day)
        .fetch_all(t.pool())
        .await
        .unwrap();
    let office = Office::open(&t).await;
    let b = Browser::open(&format!("http://{}", office.address)).await;
    b.window(PHONE).await;
    b.sign_in(if staff == d.wick.staff_id { "wick" } else { "juno" }).await;
    let route = format!("/route/{day}");
    b.goto(&route).await;
    b.wait("html[data-phone]").await;
    Yard { t, office, b, visits, route }
}

impl Yard {
    pub(crate) async fn pack(&self) {
        self.b.press("Put this route on the phone").await;
        self.b.wait("#packed.st-sent").await;
    }

    pub(crate) async fn reports(&self) -> i64 {
        sqlx::query_scalar("SELECT count(*) FROM visit_reports").fetch_one(self.t.pool()).await.unwrap()
    }

    pub(crate) async fn at_stop(&self, n: usize) {
        self.b.goto(&format!("/stop/{}", self.visits[n])).await;
        self.b.wait("html[data-phone]").await;
    }
}

/// What is on the phone, by store.
pub(crate) async fn stored(b: &Browser, store: &str) -> i64 {
    b.later(&format!("return (await outbox.all('{store}')).length")).await.as_i64().unwrap()
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_stop_is_done_without_a_signal_and_sent_once_when_there_is_one() {
    let mut y = yard().await;
    y.pack().await;
    y.b.screenshot("yard-route-packed").await;
    y.office.leave().await;

    y.b.goto("/route").await;
    assert!(y.b.wait("h1").await.contains("October"), "the route opens from the phone");
    y.at_stop(0).await;
    for _ in 0..8 {
        y.b.click("[data-step='1']").await;
    }
    assert!(y.b.text("#tell").await.contains("400 mg/L"), "the dose comes from the pack's own table");
    y.b.fill("#put_in", &y.b.value("#dose_shown_ml").await).await;
    y.b.fill("#note", "typed with cold hands").await;
    // The battery dies and the page comes back: what was typed is there.
    y.b.later("await new Promise(r => setTimeout(r, 0)); dispatchEvent(new Event('pagehide')); dispatchEvent(new Event('pageshow')); return outbox.all('draft')").await;
    y.at_stop(0).await;
    assert_eq!((y.b.value("#drops").await.as_str(), y.b.value("#note").await.as_str()), ("8", "typed with cold hands"));
    y.b.press("Keep this report").await;
    assert!(y.b.wait("#kept-words.st-kept").await.contains("Kept on this phone"));
    y.b.screenshot("yard-kept").await;
    assert_eq!((stored(&y.b, "out").await, stored(&y.b, "draft").await, y.reports().await), (1, 0, 0));
    if y.b.tells_what_moves() {
        // On a slow phone the first look may come before the script has run.
        y.b.tools("Emulation.setCPUThrottlingRate", json!({ "rate": 8 })).await;
        y.at_stop(1).await;
        y.b.tools("Emulation.setCPUThrottlingRate", json!({ "rate": 1 })).await;
        assert_eq!(y.b.moved().await, 0, "nothing moves under a finger when the page has woken up");
    }

    y.b.goto(&y.route).await;
    assert!(y.b.wait("[data-kept].st-kept").await.contains("not sent"));
    y.b.goto("/nowhere/packed").await;
    assert!(y.b.wait("h1").await.contains("On this phone"), "an unpacked page says so, not the browser");
    y.office.start(&y.t).await;
    y.b.goto(&y.route).await;
    assert!(y.b.wait("[data-kept].st-sent").await.contains("the office has it"));
    assert_eq!((stored(&y.b, "out").await, y.reports().await), (0, 1));
    assert_eq!(y.t.broken_promises().await, Vec::<String>::new());
    y.b.screenshot("yard-route-sent").await;
    y.b.close().await;
}

/// The phone itself knows that it has no line.
pub(crate) const NO_LINE: &str = "Object.defineProperty(navigator, 'onLine', { get: () => false })";
/// A browser without background sync, as most are.
pub(crate) const NO_SYNC: &str = "Object.defineProperty(ServiceWorkerRegistration.prototype, 'sync', { get: () => undefined })";
/// The line is tried now.
const ONLINE: &str = "dispatchEvent(new Event('online'))";

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn lost_answers_corrections_and_second_thoughts_are_one_report_with_its_versions() {
    let mut y = yard().await;
    y.pack().await;
    // The phone knows of no line: what is kept can be taken back into the form.
    y.at_stop(0).await;
    y.b.run(NO_LINE).await;
    y.b.run(NO_SYNC).await;
    y.b.fill("#drops", "17").await;
    y.b.press("Keep this report").await;
    y.b.wait("#kept-words.st-kept").await;
    // A sender just at work holds it up, no more.
    y.b.run("navigator.locks.request('outbox', () => new Promise(done => (window.over = done)))").await;
    y.b.until("return !!window.over").await;
    y.b.press("Take it back").await;
    y.b.run("over()").await;
    y.b.until("return document.querySelector('#drops').value === '17' && 'phone' in document.documentElement.dataset && navigator.onLine")
        .await;
    assert_eq!(stored(&y.b, "out").await, 0);

    // The office hears it, its answer is lost.
    y.b.run(NO_SYNC).await;
    y.b.run("const real = fetch; window.fetch = async (...a) => { const r = await real(...a); if (String(a[0]).includes('outbox')) throw new TypeError('lost'); return r; }").await;
    y.b.press("Keep this report").await;
    y.b.wait("#correct-here:not([hidden])").await;
    y.b.until("return (await outbox.all('out'))[0]?.tried === true").await;
    y.office.leave().await;

    // Corrected without a signal, behind the first.
    y.at_stop(0).await;
    y.b.press("Correct it").await;
    y.b.fill("#drops", "18").await;
    y.b.fill("#reason", "slip of the thumb").await;
    y.b.press("Keep this report").await;
    y.b.until("return (await outbox.all('out')).length === 2").await;
    y.office.start(&y.t).await;
    y.b.goto(&y.route).await;
    // Tried again and again, as the page does every half minute.
    y.b.until(
        "dispatchEvent(new Event('online')); return !!document.querySelector('[data-kept].st-sent') && !(await outbox.all('out')).length",
    )
    .await;
    let versions: Vec<(i32, String)> =
        sqlx::query_as("SELECT version, reason FROM visit_reports ORDER BY version").fetch_all(y.t.pool()).await.unwrap();
    assert_eq!(versions, [(1, String::new()), (2, "slip of the thumb".to_owned())]);
    assert_eq!(y.t.broken_promises().await, Vec::<String>::new());
    y.b.close().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn what_the_office_cannot_read_comes_back_and_a_signed_out_phone_keeps() {
    let y = yard().await;
    y.pack().await;
    y.b.forget().await;
    y.at_stop(0).await;
    y.b.fill("#drops", "many").await;
    y.b.press("Keep this report").await;
    y.b.wait("#kept-words.st-kept").await;
    y.b.until("return document.querySelector('#strip').textContent.includes('Sign in to send')").await;
    y.b.screenshot("yard-sign-in-to-send").await;
    assert_eq!((stored(&y.b, "out").await, y.reports().await), (1, 0));
    let who: String = sqlx::query_scalar("SELECT s.sign_in FROM visits v JOIN staff s ON s.id = v.staff_id WHERE v.id = $1")
        .bind(y.visits[0])
        .fetch_one(y.t.pool())
        .await
        .unwrap();
    y.b.sign_in(&who).await;
    y.at_stop(0).await;
    y.b.wait("#faults:not([hidden])").await;
    assert!(y.b.text("#faults").await.contains("many"), "{}", y.b.text("#faults").await);
    y.b.screenshot("yard-asks").await;
    y.b.fill("#drops", "18").await;
    y.b.press("Keep this report").await;
    assert!(y.b.wait("p.said").await.contains("The office has it"));
    let settled: i64 =
        sqlx::query_scalar("SELECT count(*) FROM to_settle WHERE settled_at IS NOT NULL").fetch_one(y.t.pool()).await.unwrap();
    assert_eq!((settled, y.reports().await), (1, 1));
    y.b.close().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_first_fill_is_judged_by_hand_and_kept_without_a_signal() {
    let mut y = yard().await;
    let unit: Uuid = sqlx::query_scalar(
        "UPDATE fills SET drained_on = filled_on WHERE unit_id = (SELECT unit_id FROM visits WHERE id = $1) RETURNING unit_id",
    )
    .bind(y.visits[0])
    .fetch_one(y.t.pool())
    .await
    .unwrap();
    y.pack().await;
    y.office.leave().await;
    y.at_stop(0).await;
    y.b.click("a[href$='/fill']").await;
    y.b.wait("html[data-phone]").await;
    y.b.fill("#ph", "7.6").await;
    y.b.fill("#hardness", "20 gpg").await;
    y.b.press("Judge this water").await;
    assert!(y.b.wait("#faults:not([hidden])").await.contains("Judge it by the limits below"));
    assert!(y.b.text("#by-hand").await.contains("hardness") && y.b.text("#by-hand").await.contains("First charge of"));
    y.b.screenshot("yard-fill-by-hand").await;
    y.b.fill("#softened", "3").await;
    y.b.fill("#put_in", "8 L").await;
    y.b.press("Keep the fill").await;
    y.b.wait("#kept-words.st-kept").await;
    y.b.click("#kept-here a").await;
    y.b.wait("html[data-phone] #sheet:not([hidden])").await;
    y.office.start(&y.t).await;
    y.b.goto(&format!("/stop/{}/fill", y.visits[0])).await;
    assert!(y.b.wait("#kept-words.st-sent").await.contains("the office has it"));
    let fills = embertide::store::units::fills(y.t.pool(), unit).await.unwrap();
    assert_eq!((fills.len(), fills[0].drained_on, fills[0].softened), (2, None, Some(true)));
    // With a signal the office judges in place, and what was typed stays.
    y.b.goto(&format!("/stop/{}/fill", y.visits[1])).await;
    y.b.wait("html[data-phone]").await;
    y.b.fill("#ph", "7.6").await;
    y.b.fill("#hardness", "352").await;
    y.b.press("Judge this water").await;
    assert!(y.b.wait("#answer output").await.contains("Soften it before filling"));
    assert_eq!(y.b.value("#hardness").await, "352");
    y.b.close().await;
}

/// A second unit beside the first, found in the pack; what nobody knows is written down; what is wrong at the place is put right.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_visit_that_nobody_planned_is_kept_without_a_signal() {
    let mut y = yard().await;
    // Another unit at the first stop's place.
    let other: Uuid = sqlx::query_scalar(
        "INSERT INTO units (id, place_id, customer_id, name, kind_code, programme_code) SELECT gen_random_uuid(), place_id, customer_id, 'Barn heater', kind_code,
         programme_code FROM units WHERE id = (SELECT unit_id FROM visits WHERE id = $1) RETURNING id",
    )
    .bind(y.visits[0])
    .fetch_one(y.t.pool())
    .await
    .unwrap();
    y.pack().await;
    y.office.leave().await;
    y.b.click("a[href='/unplanned']").await;
    y.b.wait("html[data-phone]").await;
    y.b.screenshot("yard-unplanned").await;
    y.b.fill("#whose", "The blue barn past the ford").await;
    y.b.press("Write it down").await;
    y.b.wait("#kept-words.st-kept").await;
    y.b.goto("/unplanned").await;
    y.b.wait("html[data-phone] #sheet:not([hidden])").await;
    assert_eq!(y.b.value("#whose").await, "", "another can be written down while the first waits");
    y.b.click(&format!("a[href='/unplanned/{other}']")).await;
    y.b.wait("html[data-phone]").await;
    y.b.click("#sheet details:has([name=job]) summary").await;
    y.b.click("label:has([value=water-test])").await;
    y.b.fill("#drops", "18").await;
    y.b.click("#put-right summary").await;
    y.b.fill("#now-access", "Second gate, by the silo").await;
    // The browser's own position, as a phone has it.
    y.b.run("navigator.geolocation.getCurrentPosition = (done) => done({ coords: { latitude: 44.70001, longitude: -73.30002, accuracy: 7.2 } })").await;
    y.b.press("Pin where I stand").await;
    assert_eq!(y.b.value("#now-pin").await, "44.70001, -73.30002");
    y.b.screenshot("yard-put-right").await;
    y.b.press("Keep this report").await;
    y.b.wait("#kept-words.st-kept").await;
    y.office.start(&y.t).await;
    y.b.goto(&y.route).await;
    y.b.until("dispatchEvent(new Event('online')); return !(await outbox.all('out')).length").await;
    let open: Vec<String> = sqlx::query_scalar("SELECT why FROM to_settle").fetch_all(y.t.pool()).await.unwrap();
    assert!(open.len() == 1 && open[0].contains("not found"), "{open:?}");
    let kept: (Option<Uuid>, String, String) = sqlx::query_as(
        "SELECT r.visit_id, p.access_note, p.pin_origin FROM visit_reports r JOIN units u ON u.id = r.unit_id JOIN places p ON p.id = u.place_id WHERE u.id = $1",
    )
    .bind(other)
    .fetch_one(y.t.pool())
    .await
    .unwrap();
    assert_eq!(kept, (None, "Second gate, by the silo".to_owned(), "phone".to_owned()));
    // The same unit once more: a sheet that is empty, not the one that was sent.
    y.b.goto(&format!("/unplanned/{other}")).await;
    y.b.wait("html[data-phone] #sheet:not([hidden])").await;
    y.b.close().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_pack_is_whole_or_the_old_one_and_goes_only_when_all_is_sent() {
    let mut y = yard().await;
    y.pack().await;
    let packs = "return (await caches.keys()).filter((k) => k.startsWith('pack-'))";
    let before = y.b.later(packs).await;
    // One page of it fails: the old pack stays.
    y.b.run(
        "const real = Cache.prototype.addAll; Cache.prototype.addAll = function (all) { return real.call(this, [...all, '/not/there']); }",
    )
    .await;
    y.b.press("Put this route on the phone").await;
    y.b.wait("#packed.st-settle").await;
    assert_eq!(y.b.later(packs).await, before);
    // The office moves a stop: announced, and the page under the hands stays as it is.
    y.b.goto(&y.route).await;
    y.b.wait("html[data-phone]").await;
    let shown = y.b.text("article").await;
    sqlx::query("UPDATE visits SET starts = starts + 5, ends = ends + 5 WHERE id = $1")
        .bind(y.visits[0])
        .execute(y.t.pool())
        .await
        .unwrap();
    y.b.run(ONLINE).await;
    y.b.wait("#changed:not([hidden])").await;
    assert_eq!(y.b.text("article").await, shown);
    y.b.goto(&y.route).await;
    assert_eq!(y.b.text("article").await, shown, "opened again it is what was taken along");
    y.b.wait("#changed:not([hidden])").await;
    y.b.screenshot("yard-changed").await;
    y.b.press("Put this route on the phone").await;
    y.b.until(&format!("return document.querySelector('article')?.innerText !== {shown:?} && document.querySelector('#changed')?.hidden"))
        .await;

    // The next day, with something that could not be sent: the pack stays until it is.
    y.office.leave().await;
    y.at_stop(0).await;
    y.b.fill("#drops", "18").await;
    y.b.press("Keep this report").await;
    y.b.wait("#kept-words.st-kept").await;
    y.t.on(super::support::NOW + time::Duration::days(1));
    assert_eq!(y.b.later("return (await caches.keys()).filter((k) => k.startsWith('pack-')).length").await, 1);
    y.office.start(&y.t).await;
    y.at_stop(0).await;
    y.b.until("return !(await caches.keys()).some((k) => k.startsWith('pack-'))").await;
    assert_eq!((stored(&y.b, "out").await, y.reports().await), (0, 1));
    y.b.close().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn gloves_find_the_keys_and_nothing_scrolls_sideways() {
    let y = yard().await;
    y.pack().await;
    y.b.window((320, 700)).await;
    for page in [y.route.clone(), "/on-this-phone".to_owned(), format!("/stop/{}", y.visits[0])] {
        y.b.goto(&page).await;
        y.b.wait("html[data-phone]").await;
        y.b.run("for (const d of document.querySelectorAll('details')) d.open = true").await;
        let wide = y.b.number("return document.documentElement.scrollWidth").await;
        let screen = y.b.number("return innerWidth").await;
        assert!(wide <= screen, "{page} is {wide} px wide on {screen}");
        assert_eq!(y.b.number(super::VIOLATIONS).await, 0, "{page} breaks its own content policy");
    }
    let least = "return Math.floor(Math.min(...[...document.querySelectorAll('#keys button, [data-step]')].map((b) => b.getBoundingClientRect().height)))";
    assert!(y.b.number(least).await >= 90, "keys for gloved hands: {}", y.b.number(least).await);
    let least = "return Math.floor(Math.min(...[...document.querySelectorAll('.big:not(.small)')].filter((b) => b.offsetParent).map((b) => b.getBoundingClientRect().height)))";
    assert!(y.b.number(least).await >= 56, "targets: {}", y.b.number(least).await);
    y.b.run("document.querySelector('#keys button:nth-child(8)').click()").await;
    assert!(y.b.text("#tell").await.contains("400 mg/L"));
    y.b.run("document.querySelector('#minutes button').click()").await;
    assert!(y.b.wait("#left:not(:empty)").await.contains(':'));
    y.b.screenshot("yard-stop-320").await;
    y.b.close().await;
}

/// A slip in a correction, a page turned in the middle of it, and the office's question: it stays a correction of the one report.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_correction_that_could_not_be_read_goes_on_as_a_correction() {
    let mut y = yard().await;
    y.pack().await;
    y.at_stop(0).await;
    y.b.run(NO_LINE).await;
    y.b.run(NO_SYNC).await;
    y.b.fill("#drops", "18").await;
    y.b.fill("#put_in", "500").await;
    y.b.press("Keep this report").await;
    y.b.wait("#kept-words.st-kept").await;
    // Sent at the first try.
    y.b.goto(&y.route).await;
    y.b.until("return !(await outbox.all('out')).length").await;
    y.at_stop(0).await;
    y.b.wait("#correct-here:not([hidden])").await;
    assert_eq!(y.b.number("return document.querySelectorAll('#take-back:not([hidden])').length").await, 0, "the office has it");
    y.office.leave().await;
    y.b.press("Correct it").await;
    y.b.fill("#ph", "72").await;
    y.b.fill("#reason", "the meter was cold").await;
    y.b.until("return (await outbox.all('draft')).some((d) => d.body.includes('the+meter'))").await;
    // The page is turned before it is kept.
    y.b.goto(&y.route).await;
    y.b.wait("html[data-phone]").await;
    y.at_stop(0).await;
    y.b.until("return document.querySelector('#reason').value === 'the meter was cold' && document.querySelector('#ph').value === '72'")
        .await;
    y.b.press("Keep this report").await;
    y.b.until("return (await outbox.all('out')).length === 1").await;
    y.office.start(&y.t).await;
    y.b.goto(&y.route).await;
    y.b.until("dispatchEvent(new Event('online')); return !(await outbox.all('out')).length").await;
    y.at_stop(0).await;
    y.b.wait("#faults:not([hidden])").await;
    y.b.screenshot("yard-asks-about-a-correction").await;
    y.b.fill("#ph", "8.2").await;
    y.b.until("return (await outbox.all('draft')).some((d) => d.body.includes('ph=8.2'))").await;
    y.b.goto(&y.route).await;
    y.b.wait("html[data-phone]").await;
    y.at_stop(0).await;
    y.b.until("return document.querySelector('#ph').value === '8.2'").await;
    y.b.press("Keep this report").await;
    assert!(y.b.wait("p.said").await.contains("The office has it"));
    let versions: Vec<(i32, String)> =
        sqlx::query_as("SELECT version, reason FROM visit_reports ORDER BY version").fetch_all(y.t.pool()).await.unwrap();
    assert_eq!(versions, [(1, String::new()), (2, "the meter was cold".to_owned())]);
    let doses: i64 = sqlx::query_scalar("SELECT count(*) FROM doses WHERE superseded_at IS NULL AND report_id IS NOT NULL")
        .fetch_one(y.t.pool())
        .await
        .unwrap();
    let open: i64 = sqlx::query_scalar("SELECT count(*) FROM to_settle WHERE settled_at IS NULL").fetch_one(y.t.pool()).await.unwrap();
    assert_eq!((doses, open), (1, 0));
    y.b.close().await;
}

/// Only the office knows all units: it is asked although the page lies on the phone.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_unit_is_looked_for_at_the_office_though_the_route_is_on_the_phone() {
    let mut y = yard().await;
    y.pack().await;
    y.b.goto("/unplanned?of=Quenby").await;
    y.b.until("return document.querySelector('main').innerText.includes('Shop heater')").await;
    y.office.leave().await;
    y.b.goto("/unplanned?of=Quenby").await;
    y.b.wait("html[data-phone] #whose").await;
    y.b.close().await;
}
