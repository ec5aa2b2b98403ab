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
    let of_a_day = sheet + scripts + 25 * gzip(&stop);
    println!("a day of 25 stops: {of_a_day} B gzip");
    // What counts is the line: 200 kB are 4 s at 400 kbit/s, and a day may take 10. Of the stop page about 900 B are checklists with
    // their cautions, 1,100 B the dose table, 600 B the unit's last tests, 500 B what may be put right.
    assert!(gzip(&stop) <= 7_000, "stop page");
    // Making photos small, holding and sending them takes 2.1 kB.
    assert!(scripts <= 10_000, "all script of the yard: {scripts}");
    assert!(sheet <= 5_000, "sheet");
    assert!(of_a_day <= 195_000, "a day of 25 stops");
}
