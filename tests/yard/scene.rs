//! A technician at the first stop of an issued week, and a phone that keeps and sends.

use super::support::{Page, Session, TestApp, dealership, dealership::Dealership, encode};
use axum::{
    body::Body,
    http::{Request, header},
};
use embertide::secrets;
use serde_json::Value;
use uuid::Uuid;

pub(crate) struct Scene {
    pub(crate) t: TestApp,
    pub(crate) d: Dealership,
    pub(crate) visit: Uuid,
    pub(crate) unit: Uuid,
    pub(crate) tech: Session,
}

pub(crate) async fn at_a_stop() -> Scene {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    issue(&t, &d).await;
    let (visit, unit, staff): (Uuid, Uuid, Uuid) =
        sqlx::query_as("SELECT id, unit_id, staff_id FROM visits WHERE status = 'planned' ORDER BY day, staff_id, position LIMIT 1")
            .fetch_one(t.pool())
            .await
            .unwrap();
    let tech = d.technician(staff).clone();
    Scene { t, d, visit, unit, tech }
}

pub(crate) async fn issue(t: &TestApp, d: &Dealership) {
    t.post(&d.office, "/week/2026-W41/plan", &[]).await;
    t.work().await;
    sqlx::query("UPDATE week_plans SET status = 'issued', issued_at = now()").execute(t.pool()).await.unwrap();
}

/// A sheet as a phone keeps it.
pub(crate) fn sheet(visit: Uuid, rest: &[(&str, &str)]) -> String {
    let visit = visit.to_string();
    let mut pairs = vec![("form", "report/1"), ("visit", visit.as_str()), ("job", "fall-start-up"), ("job", "water-test"), ("ph", "8.9")];
    pairs.extend_from_slice(rest);
    encode(&pairs)
}

/// Sends bytes under an id, as the outbox on a phone does.
pub(crate) async fn send_as(t: &TestApp, who: Option<&Session>, id: Uuid, body: &[u8], phone: Option<Uuid>) -> Page {
    let mut request = Request::post(format!("/outbox/{id}"))
        .header(header::CONTENT_TYPE, "application/x-www-form-urlencoded")
        .header("idempotency-key", format!("\"{id}\""));
    if let Some(s) = who {
        request = request.header(header::COOKIE, format!("embertide={}", s.token));
    }
    if let Some(p) = phone {
        request = request.header("phone", p.to_string());
    }
    t.send(request.body(Body::from(body.to_vec())).unwrap()).await
}

/// The same, for an answer that must be a yes with the fingerprint of these bytes.
pub(crate) async fn send(t: &TestApp, who: &Session, id: Uuid, body: &[u8]) -> Value {
    let page = send_as(t, Some(who), id, body, None).await;
    assert_eq!(page.status, 200, "{}", page.body);
    let said: Value = serde_json::from_str(&page.body).unwrap();
    assert_eq!(said["sha256"], secrets::hex(&secrets::sha256(body)), "the answer carries the fingerprint of these very bytes");
    said
}

/// What a page's own script asks.
pub(crate) async fn ask(t: &TestApp, who: &Session, path: &str, phone: Uuid, rest: &[(&str, &str)]) -> Page {
    let phone = phone.to_string();
    let mut pairs = vec![("phone", phone.as_str())];
    pairs.extend_from_slice(rest);
    let request = Request::post(path)
        .header(header::CONTENT_TYPE, "application/x-www-form-urlencoded")
        .header(header::COOKIE, format!("embertide={}", who.token))
        .header(header::USER_AGENT, "Mozilla/5.0 (Linux; Android 16)")
        .header("embertide", "1");
    t.send(request.body(Body::from(encode(&pairs))).unwrap()).await
}

pub(crate) async fn count(t: &TestApp, of: &'static str) -> i64 {
    sqlx::query_scalar(sqlx::AssertSqlSafe(format!("SELECT count(*) FROM {of}"))).fetch_one(t.pool()).await.unwrap()
}

/// The flag on a report.
pub(crate) async fn flag(t: &TestApp, report: Uuid) -> String {
    sqlx::query_scalar("SELECT flag FROM visit_reports WHERE report_id = $1 ORDER BY version DESC LIMIT 1")
        .bind(report)
        .fetch_one(t.pool())
        .await
        .unwrap()
}
