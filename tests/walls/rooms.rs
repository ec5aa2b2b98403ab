//! Which room may use which, and which crates.

use crate::{files, none, paths::paths, top};

/// Rooms that know no database, no network, no clock and no async.
const PURE: &[&str] = &["units", "water", "season", "roads", "route", "listing", "photo"];
/// The only crates a pure room may use.
const PURE_CRATES: &[&str] = &["csv", "flate2", "serde", "serde_json", "thiserror", "time", "uuid"];
/// What of the standard library would tell the time or reach outside.
const OUTSIDE: &[&str] =
    &["std::time::SystemTime", "std::time::Instant", "std::fs", "std::env", "std::net", "std::process", "time::OffsetDateTime::now_utc"];
/// The one file of a pure room that reads and writes: the road file, which is data of its own and not the store's.
const ROAD_FILE: &str = "src/roads/file.rs";
/// Crates of the pages.
const PAGES: &[&str] = &["axum", "askama", "hyper", "hyper_util", "serde_html_form", "tower", "tower_http"];
/// SQL lives in the store alone.
const SQL: &[&str] = &[
    "sqlx::query",
    "sqlx::query_as",
    "sqlx::query_scalar",
    "sqlx::query_file",
    "sqlx::query_file_as",
    "sqlx::raw_sql",
    "sqlx::QueryBuilder",
    "sqlx::Executor",
];

/// The rooms that `room` may use besides itself and the pure ones; `None` when nobody has said.
fn arrows(room: &str) -> Option<&'static [&'static str]> {
    Some(match room {
        "lib" | "clock" | "cluster" | "settings" | "secrets" => &[],
        r if PURE.contains(&r) => &[],
        "store" => &["clock", "secrets"],
        "sources" => &["store"],
        "backup" => &["cluster", "secrets", "store"],
        "demo" => &["clock", "secrets", "store"],
        "web" | "jobs" => &["clock", "secrets", "sources", "store"],
        _ => return None,
    })
}

/// What is wrong with the arrows of one file.
fn faults(file: &str, text: &str, crates: &[String]) -> Vec<String> {
    let room = file.trim_start_matches("src/").split(['/', '.']).next().unwrap_or_default();
    // The command line is where everything comes together; it only has no SQL of its own.
    let front = room == "main" || room == "commands";
    let arrows = arrows(room);
    if arrows.is_none() && !front {
        return vec![format!(
            "{file}: nobody has said what the room `{room}` may use; say it in tests/walls/rooms.rs and in DEVELOPERS.md"
        )];
    }
    let pure = PURE.contains(&room);
    let mut faults = Vec::new();
    for named in paths(file, text) {
        let mut refuse = |why: &str| faults.push(format!("{file}:{}: {} — {why}", named.line, named.path.join("::")));
        if named.path.first().is_some_and(|p| p == "crate")
            && let Some(to) = named.path.get(1)
            && let Some(arrows) = arrows
            && to != room
            && is_room(to)
            && !PURE.contains(&to.as_str())
            && !arrows.contains(&to.as_str())
        {
            refuse(&format!("`{room}` may not use `{to}`"));
        }
        let head = named.path.first().map_or("", String::as_str);
        // A lone word may be a local name; a crate is used through a path.
        let foreign = named.path.len() > 1 && crates.iter().any(|c| c == head);
        if pure && foreign && !PURE_CRATES.contains(&head) {
            refuse("a pure room may not use this crate");
        }
        let road_file = file == ROAD_FILE && (named.starts("std::fs") || named.starts("std::process::id"));
        if pure && !road_file && OUTSIDE.iter().any(|o| named.starts(o)) {
            refuse("a pure room may not reach outside or tell the time");
        }
        if room == "store" && PAGES.contains(&head) && named.path.len() > 1 {
            refuse("the store knows nothing of pages");
        }
        if room != "store" && room != "cluster" && SQL.iter().any(|s| named.starts(s)) {
            refuse("SQL belongs in the store");
        }
    }
    faults
}

/// Whether a word names a top-level module.
fn is_room(word: &str) -> bool {
    top().join("src").join(word).is_dir() || top().join("src").join(format!("{word}.rs")).is_file() || PURE.contains(&word)
}

/// Crates named in a Cargo.toml, as Rust writes them.
pub(crate) fn crates(manifest: &str) -> Vec<String> {
    let mut inside = false;
    let mut found = Vec::new();
    for line in manifest.lines() {
        if line.starts_with('[') {
            inside = line.contains("dependencies");
        } else if let Some((name, _)) = line.split_once('=').filter(|_| inside) {
            found.push(name.trim().replace('-', "_"));
        }
    }
    assert!(found.iter().any(|c| c == "sqlx"), "{found:?}");
    found
}

fn our_crates() -> Vec<String> {
    crates(&std::fs::read_to_string(top().join("Cargo.toml")).unwrap())
}

#[test]
fn no_room_uses_what_it_may_not() {
    let crates = our_crates();
    let faults: Vec<String> = files("src", ".rs").iter().flat_map(|(file, text)| faults(file, text, &crates)).collect();
    none(&faults);
}

#[test]
fn a_broken_wall_is_seen() {
    let crates = our_crates();
    for (file, planted) in [
        ("src/water/dose.rs", "use sqlx::PgPool;"),
        ("src/water/dose.rs", "use crate::store;"),
        ("src/water/dose.rs", "use crate::{units::Ph, store::Error};"),
        ("src/water/dose.rs", "use super::super::store;"),
        ("src/season/due.rs", "fn f() { let t = std::time::SystemTime::now(); }"),
        ("src/season/due.rs", "use std::{fmt, time::{Duration, Instant}};"),
        ("src/season/due.rs", "fn f() { time::OffsetDateTime::now_utc(); }"),
        ("src/season/due.rs", "use crate::clock::Clock;"),
        ("src/route/solve/mod.rs", "async fn f() { tokio::task::yield_now().await }"),
        ("src/roads/straight.rs", "use std::{collections::BTreeMap, fs};"),
        ("src/roads/file.rs", "use std::net::TcpStream;"),
        ("src/roads/matrix.rs", "use std::fs::File;"),
        ("src/units.rs", "use std::env::var;"),
        ("src/units/day.rs", "use askama::Template;"),
        ("src/listing/mod.rs", "use axum::Router;"),
        ("src/photo/jpeg.rs", "use std::fs;"),
        ("src/store/week/read.rs", "use crate::web::html;"),
        ("src/store/week/read.rs", "use crate::jobs;"),
        ("src/store/units.rs", "fn f() -> axum::Json<()> { g() }"),
        ("src/store/units.rs", "use askama::Template;"),
        ("src/web/office/week.rs", "use crate::jobs::plan_week;"),
        ("src/web/office/week.rs", r#"fn f() { sqlx::query!("SELECT 1"); }"#),
        ("src/web/office/week.rs", "use sqlx::{PgPool, query_as};"),
        ("src/jobs/mod.rs", "use crate::web::app::App;"),
        ("src/jobs/mod.rs", r#"fn f() { sqlx::query_scalar("SELECT 1"); }"#),
        ("src/demo/mod.rs", "use crate::web;"),
        ("src/cluster/mod.rs", "use crate::store;"),
        ("src/commands/serve.rs", r#"fn f() { sqlx::raw_sql("SELECT 1"); }"#),
        ("src/attic/mod.rs", "fn f() {}"),
    ] {
        assert_eq!(faults(file, planted, &crates).len(), 1, "{file}: {planted}: {:?}", faults(file, planted, &crates));
    }
    for (file, fine) in [
        ("src/water/dose.rs", "use crate::units::Ph;\nuse super::Basis;\nuse std::time::Duration;\nuse time::Date;"),
        ("src/water/dose.rs", "/// Not `crate::store`.\n// use sqlx::PgPool;\nconst A: &str = \"use sqlx::PgPool\";"),
        ("src/store/units.rs", "fn f() { sqlx::query!(\"SELECT 1\"); }"),
        ("src/web/app.rs", "use sqlx::PgPool;\nuse crate::{clock::Clock, store};"),
        ("src/roads/file.rs", "use std::{fs::File, process::id};"),
        ("src/main.rs", "use embertide::web;"),
    ] {
        assert_eq!(faults(file, fine, &crates), Vec::<String>::new(), "{file}");
    }
}
