//! One endpoint for all that phones kept. After draft-ietf-httpapi-idempotency-key-header (2025-02): the same key with the same
//! bytes is answered as before. It departs from the draft in two things: keys never expire, and other bytes under a key
//! are kept beside instead of refused, since a technician has left the yard by then.

use super::{
    scene::{Scene, at_a_stop, count, flag, send, send_as, sheet},
    support::encode,
};
use axum::{
    body::Body,
    http::{Request, header},
};
use serde_json::json;
use time::{Duration, OffsetDateTime, macros::datetime};
use uuid::{NoContext, Timestamp, Uuid};

#[tokio::test]
async fn the_same_item_twenty_times_at_once_is_one_report_and_one_answer() {
    let Scene { t, visit, tech, .. } = &at_a_stop().await;
    let (id, body) = (Uuid::now_v7(), sheet(*visit, &[("drops", "8"), ("put_in", "2,000")]));
    let all: Vec<_> = (0..20).map(|_| send(t, tech, id, body.as_bytes())).collect();
    let answers = futures(all).await;
    for answer in &answers {
        assert_eq!(answer, &answers[0]);
    }
    assert_eq!(answers[0]["state"], "kept");
    assert_eq!(answers[0]["report"], json!(id));
    let counts = (count(t, "visit_reports").await, count(t, "doses").await, count(t, "submissions WHERE kind = 'kept report/1'").await);
    assert_eq!(counts, (1, 1, 1));
    let stored: Vec<u8> = sqlx::query_scalar("SELECT body FROM submissions WHERE id = $1").bind(id).fetch_one(t.pool()).await.unwrap();
    assert_eq!(stored, body.as_bytes(), "byte for byte");
    assert_eq!(t.broken_promises().await, Vec::<String>::new());
}

/// All at once, on this thread.
async fn futures<F: Future>(all: Vec<F>) -> Vec<F::Output> {
    let mut all: Vec<_> = all.into_iter().map(Box::pin).collect();
    let mut done: Vec<Option<F::Output>> = all.iter().map(|_| None).collect();
    std::future::poll_fn(|cx| {
        for (f, out) in all.iter_mut().zip(&mut done) {
            if out.is_none()
                && let std::task::Poll::Ready(v) = f.as_mut().poll(cx)
            {
                *out = Some(v);
            }
        }
        if done.iter().all(Option::is_some) { std::task::Poll::Ready(()) } else { std::task::Poll::Pending }
    })
    .await;
    done.into_iter().flatten().collect()
}

#[tokio::test]
async fn other_bytes_under_the_same_number_are_kept_beside_and_put_before_the_office() {
    let Scene { t, visit, tech, d, .. } = &at_a_stop().await;
    let id = Uuid::now_v7();
    let first = sheet(*visit, &[("drops", "8")]);
    let other = sheet(*visit, &[("drops", "9")]);
    send(t, tech, id, first.as_bytes()).await;
    for _ in 0..3 {
        let said = send(t, tech, id, other.as_bytes()).await;
        assert_eq!(said["state"], "to settle");
    }
    let drops: Vec<i16> = sqlx::query_scalar(
        "SELECT drops FROM readings WHERE drops IS NOT NULL AND test_id IN (SELECT id FROM water_tests WHERE report_id = $1)",
    )
    .bind(id)
    .fetch_all(t.pool())
    .await
    .unwrap();
    assert_eq!(drops, [8], "the first one stands");
    let beside: Vec<Vec<u8>> = sqlx::query_scalar("SELECT body FROM other_bodies").fetch_all(t.pool()).await.unwrap();
    assert_eq!(beside, [other.as_bytes()]);
    let page = t.get(Some(&d.office), "/phones").await;
    assert!(page.text("#to-settle").contains("under this number before"), "{}", page.text("main"));
}

#[tokio::test]
async fn whatever_comes_is_kept_and_nothing_is_refused() {
    let Scene { t, visit, tech, d, .. } = &at_a_stop().await;
    let visit_text = visit.to_string();
    let strange: Vec<Vec<u8>> = vec![
        encode(&[("form", "report/99"), ("visit", &visit_text), ("smell", "of rotten eggs")]).into_bytes(),
        b"\xff\x00\xfe not a form at all".to_vec(),
        Vec::new(),
        sheet(*visit, &[("drops", "many")]).into_bytes(),
        sheet(Uuid::now_v7(), &[("drops", "8")]).into_bytes(),
        encode(&[("form", "not-done/1"), ("visit", &visit_text), ("why", "Other")]).into_bytes(),
        encode(&[("form", "correct/1"), ("report", &Uuid::now_v7().to_string()), ("reason", "slip")]).into_bytes(),
        sheet(*visit, &[("drops", "8"), ("visited_on", "2099-01-01")]).into_bytes(),
    ];
    for body in &strange {
        let id = Uuid::now_v7();
        let said = send(t, tech, id, body).await;
        assert_eq!(said["state"], "to settle", "{}", String::from_utf8_lossy(body));
        assert!(said["says"][0].as_str().is_some_and(|s| s.len() > 10), "{said}");
        assert_eq!(send(t, tech, id, body).await, said, "again, the same answer");
    }
    let n = i64::try_from(strange.len()).unwrap();
    assert_eq!((count(t, "visit_reports").await, count(t, "to_settle").await), (0, n));
    let page = t.get(Some(&d.office), "/phones").await;
    assert!(page.text("#to-settle").contains("rotten eggs"), "the office reads what was typed");
    assert_eq!(t.broken_promises().await, Vec::<String>::new());
}

/// PostgreSQL keeps no zero in a text; what was sent is kept as it came.
#[tokio::test]
async fn a_zero_in_a_note_keeps_nobody_from_the_report() {
    let Scene { t, visit, tech, .. } = &at_a_stop().await;
    let body = sheet(*visit, &[("drops", "8"), ("note", "a zero \u{0}in it")]);
    assert_eq!(send(t, tech, Uuid::now_v7(), body.as_bytes()).await["state"], "kept");
    let note: String = sqlx::query_scalar("SELECT note FROM visit_reports").fetch_one(t.pool()).await.unwrap();
    assert_eq!(note, "a zero in it");
    let kept: Vec<Vec<u8>> = sqlx::query_scalar("SELECT body FROM submissions WHERE kind LIKE 'kept%'").fetch_all(t.pool()).await.unwrap();
    assert_eq!(kept, [body.into_bytes()]);
}

#[tokio::test]
async fn months_late_from_a_phone_with_a_wrong_clock_is_fine() {
    let Scene { t, visit, tech, .. } = &mut at_a_stop().await;
    t.on(datetime!(2027-03-01 15:00 UTC));
    let tech = t.session(tech.staff_id, embertide::store::sessions::Role::Technician).await;
    let at = |when: OffsetDateTime| Uuid::new_v7(Timestamp::from_unix(NoContext, when.unix_timestamp().unsigned_abs(), 0));
    let past = at(datetime!(2026-10-05 15:00 UTC));
    assert_eq!(send(t, &tech, past, sheet(*visit, &[("drops", "18")]).as_bytes()).await["state"], "kept");
    assert!(!flag(t, past).await.contains("clock"), "late is not wrong");
    for when in [datetime!(1970-01-02 0:00 UTC), datetime!(2099-01-01 0:00 UTC)] {
        let id = at(when);
        assert_eq!(send(t, &tech, id, sheet(*visit, &[("drops", "18")]).as_bytes()).await["state"], "kept");
        assert_eq!(flag(t, id).await.contains("clock was ahead"), when > t.app.clock.now() + Duration::days(1), "{when}");
    }
    let days: Vec<time::Date> = sqlx::query_scalar("SELECT DISTINCT visited_on FROM visit_reports").fetch_all(t.pool()).await.unwrap();
    assert_eq!(days, [time::macros::date!(2026 - 10 - 05)], "the planned day, whatever the phone's clock says");
}

#[tokio::test]
async fn a_visit_that_was_taken_off_or_planned_anew_is_still_kept_and_flagged() {
    let Scene { t, visit, unit, tech, d, .. } = &at_a_stop().await;
    let body = sheet(*visit, &[("drops", "18")]);
    let other = if tech.staff_id == d.wick.staff_id { &d.juno } else { &d.wick };
    // Never on the other's route or phone: the bytes are kept, the records stay as they are.
    let foreign = Uuid::now_v7();
    assert_eq!(send(t, other, foreign, body.as_bytes()).await["state"], "to settle");
    let phone = Uuid::now_v7();
    let day: time::Date = sqlx::query_scalar("SELECT day FROM visits WHERE id = $1").bind(visit).fetch_one(t.pool()).await.unwrap();
    assert_eq!(super::scene::ask(t, tech, &format!("/pack/{day}"), phone, &[]).await.status, 200);
    sqlx::query("UPDATE visits SET status = 'cancelled', why = 'Not this week' WHERE id = $1").bind(visit).execute(t.pool()).await.unwrap();
    let late = Uuid::now_v7();
    assert_eq!(send(t, tech, late, body.as_bytes()).await["state"], "kept");
    assert!(flag(t, late).await.contains("not on this technician's route"), "{}", flag(t, late).await);
    // Planned anew: the visit's own row is gone.
    let gone: Uuid =
        sqlx::query_scalar("SELECT visit_id FROM packed_stops WHERE visit_id <> $1 LIMIT 1").bind(visit).fetch_one(t.pool()).await.unwrap();
    let of: Uuid = sqlx::query_scalar("SELECT unit_id FROM visits WHERE id = $1").bind(gone).fetch_one(t.pool()).await.unwrap();
    sqlx::query("DELETE FROM visits WHERE id = $1").bind(gone).execute(t.pool()).await.unwrap();
    let anew = Uuid::now_v7();
    assert_eq!(send(t, tech, anew, sheet(gone, &[("drops", "18")]).as_bytes()).await["state"], "kept");
    let kept: (Uuid, Option<Uuid>) =
        sqlx::query_as("SELECT unit_id, visit_id FROM visit_reports WHERE report_id = $1").bind(anew).fetch_one(t.pool()).await.unwrap();
    assert_eq!(kept, (of, None));
    assert_ne!(of, *unit);
}

#[tokio::test]
async fn corrections_come_in_order_and_a_clash_shows_both() {
    let Scene { t, visit, tech, d, .. } = &at_a_stop().await;
    let id = Uuid::now_v7();
    send(t, tech, id, sheet(*visit, &[("drops", "8"), ("put_in", "2000")]).as_bytes()).await;
    let report = id.to_string();
    let fixed = |version: &str, drops: &str| {
        encode(&[
            ("form", "correct/1"),
            ("report", &report),
            ("version", version),
            ("job", "water-test"),
            ("drops", drops),
            ("reason", "slip"),
        ])
    };
    assert_eq!(send(t, tech, Uuid::now_v7(), fixed("1", "18").as_bytes()).await["version"], 2);
    assert_eq!(send(t, tech, Uuid::now_v7(), fixed("2", "19").as_bytes()).await["version"], 3);
    let late = send(t, tech, Uuid::now_v7(), fixed("1", "20").as_bytes()).await;
    assert_eq!(late["state"], "to settle");
    let other = if tech.staff_id == d.wick.staff_id { &d.juno } else { &d.wick };
    assert_eq!(send(t, other, Uuid::now_v7(), fixed("3", "1").as_bytes()).await["state"], "to settle", "not another's report");
    let level: Vec<i32> = sqlx::query_scalar("SELECT r.programme_mg_l FROM readings r JOIN water_tests w ON w.id = r.test_id WHERE w.report_id = $1 AND w.superseded_at IS NULL AND r.what = 'inhibitor'")
        .bind(id)
        .fetch_all(t.pool())
        .await
        .unwrap();
    assert_eq!(level, [950], "19 drops of 50 mg/L");
    assert_eq!(t.broken_promises().await, Vec::<String>::new());
}

#[tokio::test]
async fn what_was_put_right_on_the_phone_settles_the_first() {
    let Scene { t, visit, tech, .. } = &at_a_stop().await;
    let bad = Uuid::now_v7();
    assert_eq!(send(t, tech, bad, sheet(*visit, &[("drops", "many")]).as_bytes()).await["state"], "to settle");
    let good = sheet(*visit, &[("drops", "18"), ("instead", &bad.to_string())]);
    assert_eq!(send(t, tech, Uuid::now_v7(), good.as_bytes()).await["state"], "kept");
    assert_eq!(count(t, "to_settle WHERE settled_at IS NULL").await, 0);
}

#[tokio::test]
async fn a_visit_not_done_and_then_done_are_two_facts() {
    let Scene { t, visit, tech, .. } = &at_a_stop().await;
    let body = encode(&[("form", "not-done/1"), ("visit", &visit.to_string()), ("why", "Gate shut"), ("note", "")]);
    assert_eq!(send(t, tech, Uuid::now_v7(), body.as_bytes()).await["state"], "kept");
    let done = Uuid::now_v7();
    assert_eq!(send(t, tech, done, sheet(*visit, &[("drops", "18")]).as_bytes()).await["state"], "kept");
    assert!(flag(t, done).await.contains("second report"), "{}", flag(t, done).await);
    let status: String = sqlx::query_scalar("SELECT status FROM visits WHERE id = $1").bind(visit).fetch_one(t.pool()).await.unwrap();
    assert_eq!(status, "done");
}

#[tokio::test]
async fn another_sites_page_and_a_signed_out_phone_change_nothing() {
    let Scene { t, visit, tech, d, .. } = &at_a_stop().await;
    let (id, body) = (Uuid::now_v7(), sheet(*visit, &[("drops", "18")]));
    let signed_out = send_as(t, None, id, body.as_bytes(), None).await;
    assert_eq!((signed_out.status, signed_out.location.starts_with("/sign-in")), (303, true), "the phone reads: sign in to send");
    assert_eq!(send_as(t, Some(&d.office), id, body.as_bytes(), None).await.status, 403);
    let plain = |key: Option<Uuid>, site: &'static str| {
        let mut request = Request::post(format!("/outbox/{id}"))
            .header(header::COOKIE, format!("embertide={}", tech.token))
            .header("sec-fetch-site", site);
        if let Some(k) = key {
            request = request.header("idempotency-key", format!("\"{k}\""));
        }
        request.body(Body::from(body.clone())).unwrap()
    };
    assert_eq!(t.send(plain(None, "same-origin")).await.status, 422, "without the header that only our own script sends");
    assert_eq!(t.send(plain(Some(Uuid::now_v7()), "same-origin")).await.status, 422, "with another one's number");
    assert_eq!(t.send(plain(Some(id), "cross-site")).await.status, 403);
    assert_eq!(count(t, "submissions WHERE kind LIKE 'kept%'").await, 0);
    assert_eq!(send(t, tech, id, body.as_bytes()).await["state"], "kept", "and after signing in it is sent");
}

/// After a restore the office lacks what came last; the phone offers it again, and the gap closes.
#[tokio::test]
async fn another_copy_of_the_records_has_another_epoch() {
    let Scene { t, visit, tech, .. } = &at_a_stop().await;
    let said = send(t, tech, Uuid::now_v7(), sheet(*visit, &[("drops", "18")]).as_bytes()).await;
    let again = send(t, tech, Uuid::now_v7(), sheet(*visit, &[("drops", "18")]).as_bytes()).await;
    assert_eq!(said["epoch"], again["epoch"]);
    embertide::store::phones::new_epoch(t.pool()).await.unwrap();
    let after = send(t, tech, Uuid::now_v7(), sheet(*visit, &[("drops", "18")]).as_bytes()).await;
    assert_ne!(said["epoch"], after["epoch"]);
    // The very same rows in another database, as a restore makes them.
    let other = at_a_stop().await;
    let mark: Uuid = sqlx::query_scalar("SELECT mark FROM epoch").fetch_one(t.pool()).await.unwrap();
    sqlx::query("UPDATE epoch SET mark = $1").bind(mark).execute(other.t.pool()).await.unwrap();
    let (one, two) =
        (embertide::store::phones::epoch(t.pool()).await.unwrap(), embertide::store::phones::epoch(other.t.pool()).await.unwrap());
    assert_ne!(one, two);
}

/// A correction that names no day is of the day of the visit, not of the day on which it arrives.
#[tokio::test]
async fn a_correction_leaves_the_day_of_the_visit() {
    let Scene { t, visit, tech, .. } = &at_a_stop().await;
    let id = Uuid::now_v7();
    send(t, tech, id, sheet(*visit, &[("drops", "8"), ("visited_on", "2026-10-02")]).as_bytes()).await;
    let fixed = [
        ("form", "correct/1"),
        ("report", &id.to_string() as &str),
        ("version", "1"),
        ("job", "water-test"),
        ("drops", "9"),
        ("reason", "slip"),
    ];
    assert_eq!(send(t, tech, Uuid::now_v7(), encode(&fixed).as_bytes()).await["version"], 2);
    let days: Vec<String> =
        sqlx::query_scalar("SELECT visited_on::text FROM visit_reports ORDER BY version").fetch_all(t.pool()).await.unwrap();
    assert_eq!(days, ["2026-10-02", "2026-10-02"]);
}

/// Two share a phone: what one kept, the other sends.
#[tokio::test]
async fn a_sheet_is_whose_it_was_whoever_sends_it() {
    let Scene { t, visit, tech, d, unit } = &at_a_stop().await;
    let other = if tech.staff_id == d.wick.staff_id { &d.juno } else { &d.wick };
    let by = tech.staff_id.to_string();
    let planned = Uuid::now_v7();
    assert_eq!(send(t, other, planned, sheet(*visit, &[("drops", "18"), ("by", &by)]).as_bytes()).await["state"], "kept");
    let unplanned = Uuid::now_v7();
    let unit = unit.to_string();
    let body = encode(&[("form", "report/1"), ("unit", &unit), ("job", "water-test"), ("drops", "18"), ("by", &by)]);
    send(t, other, unplanned, body.as_bytes()).await;
    for report in [planned, unplanned] {
        let maker: Uuid =
            sqlx::query_scalar("SELECT staff_id FROM visit_reports WHERE report_id = $1").bind(report).fetch_one(t.pool()).await.unwrap();
        assert_eq!(maker, tech.staff_id);
        assert!(flag(t, report).await.contains("from the same phone"), "{}", flag(t, report).await);
    }
    // Somebody who is no technician is nobody to keep it for.
    let body =
        encode(&[("form", "report/1"), ("unit", &unit), ("job", "water-test"), ("drops", "18"), ("by", &d.office.staff_id.to_string())]);
    let odd = Uuid::now_v7();
    send(t, other, odd, body.as_bytes()).await;
    let maker: Uuid =
        sqlx::query_scalar("SELECT staff_id FROM visit_reports WHERE report_id = $1").bind(odd).fetch_one(t.pool()).await.unwrap();
    assert_eq!(maker, other.staff_id);
}
