//! Reports: kept once under replays, corrected by new versions, never half-written.

use super::{
    path::{Stop, at_a_stop},
    support::TestApp,
};
use uuid::Uuid;

const FORM: [(&str, &str); 5] = [("job", "fall-start-up"), ("job", "water-test"), ("drops", "8"), ("ph", "8.9"), ("put_in", "2,000")];

async fn counts(t: &TestApp) -> (i64, i64, i64) {
    let of = |table: &'static str| async move {
        sqlx::query_scalar::<_, i64>(sqlx::AssertSqlSafe(format!("SELECT count(*) FROM {table}"))).fetch_one(t.pool()).await.unwrap()
    };
    (of("visit_reports").await, of("doses").await, of("submissions WHERE kind = 'visit report'").await)
}

#[tokio::test]
async fn the_same_form_twenty_times_is_one_report() {
    let Stop { t, visit, tech, .. } = &at_a_stop().await;
    let id = Uuid::now_v7();
    let path = format!("/stop/{visit}");
    let sends = (0..20).map(|_| t.post_as(tech, &path, id, &FORM));
    for page in futures(sends).await {
        assert_eq!((page.status, page.location.as_str()), (303, format!("/kept/{id}?new=1").as_str()), "{}", page.text("main"));
    }
    assert_eq!(counts(t).await, (1, 1, 1));
    assert_eq!(t.broken_promises().await, Vec::<String>::new());
}

/// All at once.
pub(crate) async fn futures<F: Future>(all: impl Iterator<Item = F>) -> Vec<F::Output> {
    let mut pending: Vec<std::pin::Pin<Box<F>>> = all.map(Box::pin).collect();
    let mut done: Vec<Option<F::Output>> = pending.iter().map(|_| None).collect();
    std::future::poll_fn(|cx| {
        for (f, out) in pending.iter_mut().zip(&mut done) {
            if out.is_none()
                && let std::task::Poll::Ready(v) = f.as_mut().poll(cx)
            {
                *out = Some(v);
            }
        }
        if done.iter().all(Option::is_some) { std::task::Poll::Ready(()) } else { std::task::Poll::Pending }
    })
    .await;
    done.into_iter().map(Option::unwrap).collect()
}

#[tokio::test]
async fn the_same_number_with_other_content_is_refused_and_the_first_stays() {
    let Stop { t, visit, tech, .. } = &at_a_stop().await;
    let id = Uuid::now_v7();
    let path = format!("/stop/{visit}");
    assert_eq!(t.post_as(tech, &path, id, &FORM).await.status, 303);
    let mut other = FORM;
    other[2] = ("drops", "9");
    let refused = t.post_as(tech, &path, id, &other).await;
    assert_eq!(refused.status, 422, "{}", refused.location);
    let drops: i16 = sqlx::query_scalar(
        "SELECT drops FROM readings r JOIN water_tests w ON w.id = r.test_id WHERE w.report_id = $1 AND r.what = 'inhibitor'",
    )
    .bind(id)
    .fetch_one(t.pool())
    .await
    .unwrap();
    assert_eq!(drops, 8);
}

#[tokio::test]
async fn a_second_report_of_a_visit_is_a_second_fact() {
    let Stop { t, visit, tech, .. } = &at_a_stop().await;
    let path = format!("/stop/{visit}");
    assert_eq!(t.post(tech, &path, &FORM).await.status, 303);
    assert_eq!(t.post(tech, &path, &FORM).await.status, 303);
    assert_eq!(counts(t).await, (2, 2, 2));
}

#[tokio::test]
async fn a_wrong_sheet_keeps_what_was_typed_and_nothing_in_the_records() {
    let Stop { t, visit, tech, .. } = &at_a_stop().await;
    let page = t
        .post(tech, &format!("/stop/{visit}"), &[("job", "water-test"), ("drops", "many"), ("ph", "89"), ("note", "typed with cold hands")])
        .await;
    assert_eq!(page.status, 422);
    let wrong = page.texts(".wrong li");
    assert_eq!(wrong.len(), 2, "{wrong:?}");
    assert!(wrong[0].contains("many") && wrong[1].contains("89"), "{wrong:?}");
    assert_eq!(page.text("textarea#note"), "typed with cold hands");
    assert_eq!(page.attrs("#drops", "value"), ["many"]);
    assert_eq!(counts(t).await, (0, 0, 0));
}

#[tokio::test]
async fn a_correction_is_a_new_version_with_a_reason_and_the_old_test_no_longer_counts() {
    let Stop { t, visit, tech, unit, d, .. } = &at_a_stop().await;
    let id = Uuid::now_v7();
    t.post_as(tech, &format!("/stop/{visit}"), id, &FORM).await;
    let sheet = t.get(Some(tech), &format!("/kept/{id}/correct")).await;
    assert_eq!(sheet.attrs("#drops", "value"), ["8"], "the correction begins with what was kept");
    let without = t.post(tech, &format!("/kept/{id}/correct"), &[FORM[0], FORM[1], ("drops", "18"), ("version", "1")]).await;
    assert_eq!(without.status, 422, "a reason is asked for");
    let fixed = t
        .post(tech, &format!("/kept/{id}/correct"), &[FORM[0], FORM[1], ("drops", "18"), ("version", "1"), ("reason", "slip of the thumb")])
        .await;
    assert_eq!(fixed.status, 303, "{}", fixed.text("main"));
    let again = t
        .post(&d.office, &format!("/kept/{id}/correct"), &[FORM[0], FORM[1], ("drops", "19"), ("version", "1"), ("reason", "also me")])
        .await;
    assert_eq!(again.status, 409, "two corrections of one version collide");
    let counting: Vec<i32> = sqlx::query_scalar("SELECT r.programme_mg_l FROM water_tests w JOIN readings r ON r.test_id = w.id AND r.what = 'inhibitor' WHERE w.report_id = $1 AND w.superseded_at IS NULL")
        .bind(id)
        .fetch_all(t.pool())
        .await
        .unwrap();
    assert_eq!(counting, [900]);
    let doses: i64 = sqlx::query_scalar("SELECT count(*) FROM doses WHERE unit_id = $1 AND superseded_at IS NULL")
        .bind(unit)
        .fetch_one(t.pool())
        .await
        .unwrap();
    assert_eq!(doses, 0, "the corrected report says nothing was put in");
    let versions: i64 =
        sqlx::query_scalar("SELECT count(*) FROM visit_reports WHERE report_id = $1").bind(id).fetch_one(t.pool()).await.unwrap();
    assert_eq!(versions, 2, "the first version stays");
    assert_eq!(t.broken_promises().await, Vec::<String>::new());
}

#[tokio::test]
async fn facts_cannot_be_rewritten_even_by_hand() {
    let Stop { t, visit, tech, .. } = &at_a_stop().await;
    t.post(tech, &format!("/stop/{visit}"), &FORM).await;
    for sql in [
        "UPDATE visit_reports SET note = 'other'",
        "DELETE FROM visit_reports",
        "UPDATE readings SET drops = 1",
        "DELETE FROM water_tests",
        "UPDATE doses SET amount_ml = 1",
        "UPDATE submissions SET body = ''",
        "DELETE FROM events",
    ] {
        let refused = sqlx::raw_sql(sql).execute(t.pool()).await.unwrap_err().to_string();
        assert!(refused.contains("append-only"), "{sql}: {refused}");
    }
}

#[tokio::test]
async fn a_dose_that_differs_from_the_test_is_kept_and_flagged() {
    let Stop { t, visit, tech, d, .. } = &at_a_stop().await;
    let id = Uuid::now_v7();
    let kept = t.post_as(tech, &format!("/stop/{visit}"), id, &[("job", "water-test"), ("drops", "30"), ("put_in", "1 gal")]).await;
    assert_eq!(kept.status, 303);
    let ml: i64 = sqlx::query_scalar("SELECT amount_ml FROM doses WHERE report_id = $1").bind(id).fetch_one(t.pool()).await.unwrap();
    assert_eq!(ml, 3785, "what was put in is never altered");
    let page = t.get(Some(&d.office), &format!("/reports/{id}")).await;
    assert!(page.text(".care").contains("the test asks for"), "{}", page.text("main"));
}

#[tokio::test]
async fn a_visit_that_could_not_be_done_stays_due() {
    let Stop { t, visit, tech, unit, .. } = &at_a_stop().await;
    let kept = t.post(tech, &format!("/stop/{visit}/not-done"), &[("why", "Gate shut"), ("note", "")]).await;
    assert_eq!(kept.status, 303, "{}", kept.text("main"));
    let status: String = sqlx::query_scalar("SELECT status FROM visits WHERE id = $1").bind(visit).fetch_one(t.pool()).await.unwrap();
    assert_eq!(status, "not done");
    let due: Vec<String> =
        sqlx::query_scalar("SELECT job_code FROM due_items WHERE unit_id = $1 ORDER BY 1").bind(unit).fetch_all(t.pool()).await.unwrap();
    assert_eq!(due, ["fall-start-up", "water-test", "yearly-clean"], "everything is still due");
}

#[tokio::test]
async fn a_dose_comes_off_the_shelf_and_a_correction_puts_it_back() {
    let Stop { t, visit, tech, .. } = &at_a_stop().await;
    let product: Uuid =
        sqlx::query_scalar("SELECT id FROM products WHERE programme_code = 'nitrite-borate'").fetch_one(t.pool()).await.unwrap();
    let mut c = t.pool().acquire().await.unwrap();
    let today = t.app.clock.now().date();
    let lot = embertide::store::shelf::add_lot(&mut c, product, "L7", today, None, 10_000, t.app.clock.now()).await.unwrap();
    let left = || async {
        sqlx::query_scalar::<_, i64>("SELECT sum(amount_ml)::bigint FROM shelf_moves WHERE lot_id = $1")
            .bind(lot)
            .fetch_one(t.pool())
            .await
            .unwrap()
    };
    let id = Uuid::now_v7();
    let lot_text = lot.to_string();
    let form = [("job", "water-test"), ("drops", "8"), ("put_in", "3000"), ("lot", lot_text.as_str())];
    t.post_as(tech, &format!("/stop/{visit}"), id, &form).await;
    assert_eq!(left().await, 7_000);
    let corrected = [
        ("job", "water-test"),
        ("drops", "8"),
        ("put_in", "2500"),
        ("lot", lot_text.as_str()),
        ("version", "1"),
        ("reason", "jug misread"),
    ];
    assert_eq!(t.post(tech, &format!("/kept/{id}/correct"), &corrected).await.status, 303);
    assert_eq!(left().await, 7_500);
}

#[tokio::test]
async fn a_phone_that_hangs_up_in_the_middle_is_still_heard_to_the_end() {
    let Stop { t, visit, tech, .. } = &at_a_stop().await;
    let path = format!("/stop/{visit}");
    for n in 1..=5 {
        let mut sending = Box::pin(t.post(tech, &path, &FORM));
        // The caller goes away as soon as the write has begun.
        std::future::poll_fn(|cx| match sending.as_mut().poll(cx) {
            std::task::Poll::Pending if t.app.writes.is_empty() => std::task::Poll::Pending,
            _ => std::task::Poll::Ready(()),
        })
        .await;
        assert!(!t.app.writes.is_empty(), "the write runs on its own, not in the caller's request");
        drop(sending);
        t.app.writes.close();
        t.app.writes.wait().await;
        t.app.writes.reopen();
        assert_eq!(counts(t).await, (n, n, n));
    }
    assert_eq!(t.broken_promises().await, Vec::<String>::new());
}

/// Another kit than the unit's present one read it: its figure stays its own.
#[tokio::test]
async fn a_correction_reads_the_figure_with_the_kit_that_showed_it() {
    let Stop { t, visit, tech, unit, .. } = &at_a_stop().await;
    sqlx::raw_sql(
        "INSERT INTO test_kits (code, name, basis, dilution, source) VALUES ('comparator', 'Colour comparator', 'NO2', 10, 'an invented kit for this test')",
    )
    .execute(t.pool())
    .await
    .unwrap();
    let kit = |code: &'static str| sqlx::query("UPDATE units SET kit_code = $2 WHERE id = $1").bind(*unit).bind(code).execute(t.pool());
    kit("comparator").await.unwrap();
    let id = Uuid::now_v7();
    assert_eq!(t.post_as(tech, &format!("/stop/{visit}"), id, &[("job", "water-test"), ("drops", "85")]).await.status, 303);
    kit("nitrite-drops-2").await.unwrap();
    let sheet = t.get(Some(tech), &format!("/kept/{id}/correct")).await;
    assert_eq!(
        (sheet.attrs("#drops", "value"), sheet.attrs("input[name=kit]", "value")),
        (vec!["85".to_owned()], vec!["comparator".to_owned()])
    );
    assert!(sheet.text("label[for=drops]").contains("mg/L"), "{}", sheet.text("label[for=drops]"));
    let kept: (i64, i32) =
        sqlx::query_as("SELECT value_milli, programme_mg_l FROM readings WHERE kit_code = 'comparator'").fetch_one(t.pool()).await.unwrap();
    assert_eq!(kept, (850_000, 850), "diluted tenfold");
}

/// 8 drops ask for a dose; in acid water (pH 6.4) the programme puts nothing in, so a dose there is flagged.
#[tokio::test]
async fn a_dose_put_into_acid_water_is_flagged() {
    let super::path::Stop { t, visit, tech, .. } = super::path::at_a_stop().await;
    let sheet = t.get(Some(&tech), &format!("/stop/{visit}")).await;
    assert_eq!(sheet.attrs("#doses", "data-ph-from"), ["7.0"]);
    let kept = t.post(&tech, &format!("/stop/{visit}"), &[("job", "water-test"), ("drops", "8"), ("ph", "6.4"), ("put_in", "2000")]).await;
    let page = t.get(Some(&tech), &kept.location).await.text("main");
    assert!(page.contains("the test asks for nothing"), "{page}");
}
