//! The yard on a weak line: a real Chromium behind a line of our own making, beside a bare page on the same line.
//!
//! `cargo bench --bench yard` prints seconds and ratios for the slow line and the ordinary one (the values of the browser's own tools:
//! "slow 3G" 400 kbit/s with 2 s there and back, "mobile" 1.6 Mbit/s with 150 ms), the processor four times slower than this one.
#![expect(clippy::unwrap_used, reason = "a bench that cannot go on has failed")]

#[path = "../browser/driver.rs"]
#[expect(dead_code, reason = "the tests use more of it")]
mod driver;
#[path = "../support/mod.rs"]
mod support;

use axum::{Router, routing::get};
use driver::{Browser, PHONE};
use embertide::{
    clock::Clock,
    demo, jobs,
    secrets::Effort,
    store::sessions::{self, Role},
    web::{self, app::App},
};
use std::{
    net::SocketAddr,
    sync::{Arc, Mutex, PoisonError, atomic::AtomicBool, atomic::Ordering},
    time::Duration,
};
use tokio::{
    io::{AsyncReadExt, AsyncWriteExt},
    net::{TcpListener, TcpStream, tcp::OwnedReadHalf, tcp::OwnedWriteHalf},
    sync::{Notify, mpsc},
    time::Instant,
};
use tokio_util::sync::CancellationToken;
use uuid::Uuid;

/// A line to the service: bytes leave one after the other, and arrive half the way's time later.
struct Line {
    bytes_a_second: f64,
    there_and_back: Duration,
    /// When the last byte under way has left, for each direction.
    busy: [Mutex<Instant>; 2],
    is_down: AtomicBool,
}

impl Line {
    fn new(kbit: f64, there_and_back: Duration) -> Arc<Self> {
        let now = Instant::now();
        Arc::new(Self {
            bytes_a_second: kbit * 125.0,
            there_and_back,
            busy: [Mutex::new(now), Mutex::new(now)],
            is_down: AtomicBool::new(false),
        })
    }

    /// When so many more bytes will have arrived.
    fn arrival(&self, way: usize, bytes: usize) -> Instant {
        let mut busy = self.busy[way].lock().unwrap_or_else(PoisonError::into_inner);
        let bytes = f64::from(u32::try_from(bytes).unwrap_or(u32::MAX));
        *busy = (*busy).max(Instant::now()) + Duration::from_secs_f64(bytes / self.bytes_a_second);
        *busy + self.there_and_back / 2
    }

    /// Listens in front of a service.
    async fn open(self: &Arc<Self>, service: SocketAddr) -> String {
        let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
        let base = format!("http://{}", listener.local_addr().unwrap());
        let line = Arc::clone(self);
        tokio::spawn(async move {
            loop {
                let (near, _) = listener.accept().await.unwrap();
                if !line.is_down.load(Ordering::Relaxed) {
                    tokio::spawn(connect(Arc::clone(&line), near, service));
                }
            }
        });
        base
    }
}

async fn connect(line: Arc<Line>, near: TcpStream, service: SocketAddr) {
    // The handshake.
    tokio::time::sleep(line.there_and_back).await;
    let Ok(far) = TcpStream::connect(service).await else { return };
    let (near_in, near_out) = near.into_split();
    let (far_in, far_out) = far.into_split();
    carry(&line, 0, near_in, far_out);
    carry(&line, 1, far_in, near_out);
}

/// Carries one direction: read at once, written when it has arrived.
fn carry(line: &Arc<Line>, way: usize, mut from: OwnedReadHalf, mut to: OwnedWriteHalf) {
    let (sent, mut arriving) = mpsc::channel::<(Instant, Vec<u8>)>(4096);
    let line = Arc::clone(line);
    tokio::spawn(async move {
        let mut packet = [0; 1460];
        while let Ok(n @ 1..) = from.read(&mut packet).await {
            if line.is_down.load(Ordering::Relaxed) || sent.send((line.arrival(way, n), packet[..n].to_vec())).await.is_err() {
                return;
            }
        }
    });
    tokio::spawn(async move {
        while let Some((at, bytes)) = arriving.recv().await {
            tokio::time::sleep_until(at).await;
            if to.write_all(&bytes).await.is_err() {
                return;
            }
        }
    });
}

/// A service, a technician in it and their fullest day.
struct Scene {
    address: SocketAddr,
    bare: SocketAddr,
    token: String,
    day: time::Date,
    stops: Vec<Uuid>,
    _db: support::TestDb,
}

async fn serve(router: Router) -> SocketAddr {
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let address = listener.local_addr().unwrap();
    tokio::spawn(web::serve::serve(listener, router, CancellationToken::new()));
    address
}

async fn scene() -> Scene {
    let db = support::TestDb::new().await;
    demo::fill(&db.pool, None, support::NOW).await.unwrap();
    let mut app = App::new(db.pool.clone(), Clock::Fixed(support::NOW), "http://test.example", Arc::new(Notify::new()));
    app.effort = Effort::Invented;
    let monday = time::macros::date!(2026 - 10 - 05);
    jobs::plan_week::plan_week(&db.pool, app.clock, &app.sources, monday, jobs::Search::of(3_000)).await.unwrap();
    sqlx::query("UPDATE week_plans SET status = 'issued', issued_at = now() WHERE status <> 'issued'").execute(&db.pool).await.unwrap();
    let (staff, day): (Uuid, time::Date) = sqlx::query_as(
        "SELECT staff_id, day FROM visits WHERE status = 'planned' AND day BETWEEN $1 AND $1 + 6 GROUP BY staff_id, day ORDER BY count(*) DESC LIMIT 1",
    )
    .bind(monday)
    .fetch_one(&db.pool)
    .await
    .unwrap();
    let stops = sqlx::query_scalar("SELECT id FROM visits WHERE staff_id = $1 AND day = $2 AND status = 'planned' ORDER BY position")
        .bind(staff)
        .bind(day)
        .fetch_all(&db.pool)
        .await
        .unwrap();
    let token = sessions::open(&db.pool, staff, Role::Technician, support::NOW).await.unwrap();
    let page = "<!doctype html><html lang=en data-phone><title>bare</title><h1>October</h1>";
    let bare = Router::new().route("/", get(move || async move { axum::response::Html(page) }));
    Scene { address: serve(web::router(app).0).await, bare: serve(bare).await, token, day, stops, _db: db }
}

/// Has the pages work four times slower.
async fn slow_down(b: &Browser) {
    b.tools("Emulation.setCPUThrottlingRate", serde_json::json!({ "rate": 4 })).await;
}

/// Seconds until a page is there and ready for fingers.
async fn seconds(b: &Browser, path: &str) -> f64 {
    let began = Instant::now();
    b.goto(path).await;
    b.wait("html[data-phone]").await;
    began.elapsed().as_secs_f64()
}

async fn measure(s: &Scene, nth: usize, name: &str, kbit: f64, there_and_back: Duration) {
    println!("{name}: {kbit} kbit/s, {} ms there and back, processor at a quarter", there_and_back.as_millis());
    let line = Line::new(kbit, there_and_back);
    let b = Browser::open(&line.open(s.bare).await).await;
    slow_down(&b).await;
    let bare = seconds(&b, "/").await;
    b.close().await;
    println!("  {bare:7.2} s         a bare page, first load");
    let tell = |what: &str, took: f64| println!("  {took:7.2} s {:6.2} x {what}", took / bare);

    let b = Browser::open(&line.open(s.address).await).await;
    b.window(PHONE).await;
    b.goto("/health").await;
    b.run(&format!("document.cookie = 'embertide={}; path=/'", s.token)).await;
    slow_down(&b).await;
    tell("route page, first load", seconds(&b, &format!("/route/{}", s.day)).await);
    println!("          layout shift {} / 10,000", b.moved().await);
    let began = Instant::now();
    b.press("Put this route on the phone").await;
    b.wait("#packed.st-sent").await;
    tell(&format!("the day of {} stops onto the phone", s.stops.len()), began.elapsed().as_secs_f64());
    tell("packed stop, line up", seconds(&b, &format!("/stop/{}", s.stops[0])).await);
    println!("          layout shift {} / 10,000", b.moved().await);
    line.is_down.store(true, Ordering::Relaxed);
    tell("packed stop, line down", seconds(&b, &format!("/stop/{}", s.stops[nth % s.stops.len()])).await);
    b.fill("#drops", "9").await;
    let began = Instant::now();
    b.press("Keep this report").await;
    b.wait("#kept-words.st-kept").await;
    tell("from Keep to kept on this phone", began.elapsed().as_secs_f64());
    line.is_down.store(false, Ordering::Relaxed);
    let began = Instant::now();
    b.run("dispatchEvent(new Event('online'))").await;
    b.until("return (await outbox.all('sent')).length === 1").await;
    tell("from the line's return to the office's answer", began.elapsed().as_secs_f64());
    b.close().await;
}

#[tokio::main]
async fn main() {
    let s = scene().await;
    measure(&s, 1, "slow line", 400.0, Duration::from_secs(2)).await;
    measure(&s, 2, "ordinary line", 1600.0, Duration::from_millis(150)).await;
}
