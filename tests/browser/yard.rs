//! A phone in a yard without a signal: the server's own process is stopped, since a browser that plays offline lets its worker through.

use super::{

    driver::{Browser, PHONE},
    support::{TestApp, dealership},
};
use embertide::web;
use std::net::SocketAddr;
use tokio_util::sync::CancellationToken;
use uuid::Uuid;

/// A service that can be stopped and started again on the same port.
struct Office {
    address: SocketAddr,
    stop: CancellationToken,
    done: Option<tokio::task::JoinHandle<()>>,
}

impl Office {
    async fn open(t: &TestApp) -> Self {
        let mut me = Self { address: ([127, 0, 0, 1], 0).into(), stop: CancellationToken::new(), done: None };
        me.start(t).await;
        me
    }

    async fn start(&mut self, t: &TestApp) {
        let listener = tokio::net::TcpListener::bind(self.address).await.unwrap();
        self.address = listener.local_addr().unwrap();
        self.stop = CancellationToken::new();
        let (router, _) = web::router(t.app.clone());
        let serving = web::serve::serve(listener, router, self.stop.clone());
        self.done = Some(tokio::spawn(serving));
    }

    /// Gone: connections are refused.
    async fn leave(&mut self) {
        self.stop.cancel();
        self.done.take().unwrap().await.unwrap();
    }
}

struct Yard {
    t: TestApp,
    office: Office,
    b: Browser,
    visits: Vec<Uuid>,
    route: String,
}

/// A technician on their route page, with a day of the week issued.
async fn yard() -> Yard {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    t.post(&d.office, "/week/2026-W41/plan", &[]).await;
    t.work().await;
    sqlx::query("UPDATE week_plans SET status = 'issued', issued_at = now()").execute(t.pool()).await.unwrap();
    let (staff, day): (Uuid, time::Date) =
        sqlx::query_as("SELECT staff_id, day FROM visits WHERE status = 'planned' ORDER BY day, staff_id, position LIMIT 1").fetch_one(t.pool()).await.unwrap();
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
    async fn pack(&self) {
        self.b.press("Put this route on the phone").await;
        self.b.wait("#packed.st-sent").await;
    }

    async fn reports(&self) -> i64 {
        sqlx::query_scalar("SELECT count(*) FROM visit_reports").fetch_one(self.t.pool()).await.unwrap()
    }

    async fn at_stop(&self, n: usize) {
        self.b.goto(&format!("/stop/{}", self.visits[n])).await;
        self.b.wait("html[data-phone]").await;
    }
}

/// What is on the phone, by store.
async fn stored(b: &Browser, store: &str) -> i64 {
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
    y.b.later("await new Promise(r => setTimeout(r, 0)); dispatchEvent(new Event('pagehide')); return outbox.all('draft')").await;
    y.at_stop(0).await;
    assert_eq!((y.b.value("#drops").await.as_str(), y.b.value("#note").await.as_str()), ("8", "typed with cold hands"));
    y.b.press("Keep this report").await;
    assert!(y.b.wait("#kept-words.st-kept").await.contains("Kept on this phone"));
    y.b.screenshot("yard-kept").await;
    assert_eq!((stored(&y.b, "out").await, stored(&y.b, "draft").await, y.reports().await), (1, 0, 0));

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
