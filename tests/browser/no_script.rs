//! The same work with scripts switched off.

use super::{
    Served,
    driver::{Browser, PHONE, needs_chromium},
    support::{TestApp, dealership},
};
use serde_json::json;

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_report_can_be_kept_without_any_script() {
    if needs_chromium() {
        return;
    }
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    t.post(&d.office, "/week/2026-W41/plan", &[]).await;
    t.work().await;
    sqlx::query("UPDATE week_plans SET status = 'issued', issued_at = now()").execute(t.pool()).await.unwrap();
    let (visit, staff): (uuid::Uuid, uuid::Uuid) =
        sqlx::query_as("SELECT id, staff_id FROM visits WHERE status = 'planned' ORDER BY day, position LIMIT 1")
            .fetch_one(t.pool())
            .await
            .unwrap();
    let served = Served::start(&t).await;
    let b = Browser::with(&served.base, json!({ "profile.managed_default_content_settings.javascript": 2 })).await;
    b.window(PHONE).await;
    b.sign_in(if staff == d.wick.staff_id { "wick" } else { "juno" }).await;
    b.goto(&format!("/stop/{visit}")).await;
    b.click("#doses summary").await;
    let row = b.text("#doses tr[data-drops='13']").await;
    assert!(row.contains("650"), "13 drops of 50 mg/L are 650: {row}");
    b.fill("#drops", "13").await;
    b.press("Keep this report").await;
    assert!(b.wait("p.said").await.contains("Kept. The office has it."));
    b.close().await;
}
