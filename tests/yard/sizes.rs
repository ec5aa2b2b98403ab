//! Sizes that a weak line can carry, as they go over it.

use super::scene::{ask, at_a_stop};
use flate2::{Compression, write::GzEncoder};
use serde_json::Value;
use std::io::Write;
use uuid::Uuid;

fn gzip(text: &str) -> usize {
    let mut out = GzEncoder::new(Vec::new(), Compression::default());
    out.write_all(text.as_bytes()).unwrap();
    out.finish().unwrap().len()
}

#[tokio::test]
async fn pages_scripts_and_packs_stay_small() {
    let s = at_a_stop().await;
    let stop = s.t.get(Some(&s.tech), &format!("/stop/{}", s.visit)).await.body;
    let mut scripts = gzip(&s.t.get(None, "/worker.js").await.body);
    scripts += gzip(&s.t.get(None, &embertide::web::assets::address("yard.js")).await.body);
    let sheet = gzip(&s.t.get(None, &embertide::web::assets::address("look.css")).await.body);
    let day: time::Date = sqlx::query_scalar("SELECT day FROM visits WHERE id = $1").bind(s.visit).fetch_one(s.t.pool()).await.unwrap();
    let list: Value = serde_json::from_str(&ask(&s.t, &s.tech, &format!("/pack/{day}"), Uuid::now_v7(), &[]).await.body).unwrap();
    let files = list["urls"].as_array().unwrap().len();
    println!("stop page {} B, {} B gzip; script {scripts} B gzip; sheet {sheet} B gzip; pack of {files} files", stop.len(), gzip(&stop));
    let whole = ask(&s.t, &s.tech, &format!("/pack/{day}"), Uuid::now_v7(), &[("whole", "1")]).await.body;
    let own = gzip(&whole);
    let pages = files - 3;
    println!("a pack of {pages} pages in one answer: {} B, {own} B gzip", whole.len());
    // Pages of one day are much alike: the more there are, the less each costs.
    let of_a_day = sheet + scripts + 30 * own / pages;
    println!("a day of 25 stops and five pages more: {of_a_day} B gzip at most");
    // Of the stop page about 900 B are checklists with their cautions, 1,100 B the dose table, 600 B the unit's last tests, 500 B what
    // may be put right.
    assert!(gzip(&stop) <= 7_100, "stop page");
    // Making photos small, holding and sending them takes 2.1 kB; keeping a report, its corrections and what stands in place of another
    // apart, 0.8 kB.
    assert!(scripts <= 10_800, "all script of the yard: {scripts}");
    assert!(sheet <= 5_000, "sheet");
    assert!(of_a_day <= 150_000, "a day of 25 stops");
}
