//! What each page costs beside a bare one: the same number of queries by key, no template, no layers.
//!
//! `cargo bench --bench pages` prints the processor time a request of this program (not of Postgres) as a ratio, measured side by
//! side in one run, on the demo's invented dealership; then again after its water record has grown tenfold.
#![expect(clippy::unwrap_used, reason = "a bench that cannot go on has failed")]

#[path = "../support/mod.rs"]
mod support;

use axum::{Router, body::Body, extract::State, http::Request, routing::get};
use embertide::{clock::Clock, demo, secrets::Effort, store::sessions, web, web::app::App};
use sqlx::PgPool;
use std::{fs, sync::Arc};
use tokio::sync::Notify;
use tower::ServiceExt;
use uuid::Uuid;

const REQUESTS: u32 = 300;

/// Processor time of this process so far, in seconds.
fn processor() -> f64 {
    let stat = fs::read_to_string("/proc/self/stat").unwrap();
    let fields: Vec<&str> = stat.rsplit(')').next().unwrap().split_whitespace().collect();
    let ticks: f64 = fields[11].parse::<f64>().unwrap() + fields[12].parse::<f64>().unwrap();
    ticks / 100.0
}

async fn cost(router: &Router, path: &str, cookie: &str) -> f64 {
    let ask = || Request::get(path).header("cookie", cookie).body(Body::empty()).unwrap();
    for _ in 0..20 {
        let answer = router.clone().oneshot(ask()).await.unwrap();
        assert!(answer.status().is_success(), "{path}: {}", answer.status());
    }
    let before = processor();
    for _ in 0..REQUESTS {
        router.clone().oneshot(ask()).await.unwrap();
    }
    (processor() - before) / f64::from(REQUESTS)
}

/// As many queries by key as the page makes, read and thrown away.
async fn bare(State((pool, queries, id)): State<(PgPool, u32, Uuid)>) -> String {
    let mut n = 0;
    for _ in 0..queries {
        let rows: Vec<(Uuid, String)> =
            sqlx::query_as("SELECT id, name FROM units WHERE id >= $1 ORDER BY id LIMIT 20").bind(id).fetch_all(&pool).await.unwrap();
        n += rows.len();
    }
    n.to_string()
}

#[tokio::main(flavor = "current_thread")]
async fn main() {
    let db = support::TestDb::new().await;
    demo::fill(&db.pool, None, support::NOW).await.unwrap();
    let mut app = App::new(db.pool.clone(), Clock::Fixed(support::NOW), "http://test.example", Arc::new(Notify::new()));
    app.effort = Effort::Invented;
    let (office, role): (Uuid, String) =
        sqlx::query_as("SELECT id, role FROM staff WHERE sign_in = 'office'").fetch_one(&db.pool).await.unwrap();
    let token = sessions::open(&db.pool, office, sessions::Role::parse(&role).unwrap(), support::NOW).await.unwrap();
    let cookie = format!("embertide={token}");
    let unit: Uuid = sqlx::query_scalar("SELECT id FROM units WHERE ref = 'U0004'").fetch_one(&db.pool).await.unwrap();
    embertide::jobs::plan_week::plan_week(
        &db.pool,
        app.clock,
        &app.sources,
        time::macros::date!(2026 - 10 - 05),
        embertide::jobs::Search::of(3_000),
    )
    .await
    .unwrap();
    let (router, _) = web::router(app);
    let link = embertide::store::links::make(&db.pool, unit, "bench", None, support::NOW).await.unwrap();
    // Queries a page: counted in its handler, the session's included.
    let pages = [
        ("/customers".to_owned(), 2),
        ("/due".to_owned(), 9),
        (format!("/units/{unit}"), 23),
        ("/week/2026-W41".to_owned(), 10),
        (format!("/w/{link}"), 12),
    ];
    println!("processor time a request beside a bare handler with as many queries by key ({REQUESTS} requests each)");
    for growth in ["as it is", "water record ten times as long"] {
        println!("{growth}:");
        for (path, queries) in &pages {
            let plain = Router::new().route("/", get(bare)).with_state((db.pool.clone(), *queries, unit));
            let base = cost(&plain, "/", "").await;
            let page = cost(&router, path, &cookie).await;
            let name = path.split('/').nth(1).unwrap_or_default();
            println!("  /{name:<10} {:>6.2} ms, {:>5.2} x bare ({queries} queries)", page * 1000.0, page / base.max(1e-9));
        }
        grow(&db.pool).await;
    }
}

/// Repeats every test nine times, further back in time.
async fn grow(pool: &PgPool) {
    let sql = "INSERT INTO water_tests (id, unit_id, customer_id, taken_on, of_water, made_by, made_at)
               SELECT gen_random_uuid(), unit_id, customer_id, taken_on - n * 1500, 'unit', made_by, made_at FROM water_tests, generate_series(1, 9) n
               WHERE of_water = 'unit' AND taken_on - n * 1500 > date '1971-01-01';
               INSERT INTO readings (test_id, what, value_milli, basis, programme_mg_l)
               SELECT w.id, 'inhibitor', 800000, 'NO2', 800 FROM water_tests w WHERE NOT EXISTS (SELECT FROM readings r WHERE r.test_id = w.id); ANALYZE";
    sqlx::raw_sql(sql).execute(pool).await.unwrap();
}
