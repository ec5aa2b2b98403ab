//! Kinds of job as the dealer's own data: their minutes plan the week, their steps stand at the unit.

use super::{
    path,
    support::{Page, TestApp, dealership},
};
use uuid::Uuid;

async fn version(t: &TestApp, code: &str) -> String {
    let v: i32 = sqlx::query_scalar("SELECT row_version FROM job_kinds WHERE code = $1").bind(code).fetch_one(t.pool()).await.unwrap();
    v.to_string()
}

async fn change(t: &TestApp, d: &dealership::Dealership, code: &str, fields: &[(&str, &str)]) -> Page {
    let version = version(t, code).await;
    let form: Vec<(&str, &str)> = fields.iter().copied().chain([("row_version", version.as_str())]).collect();
    t.post(&d.owner, &format!("/settings/jobs/{code}"), &form).await
}

async fn due(t: &TestApp, code: &str) -> i64 {
    sqlx::query_scalar("SELECT count(*) FROM due_items WHERE job_code = $1").bind(code).fetch_one(t.pool()).await.unwrap()
}

#[tokio::test]
async fn a_week_is_planned_by_the_minutes_that_the_owner_gives() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    path::issued_week(&t, &d).await;
    let minutes = async || sqlx::query_scalar::<_, i32>("SELECT max(minutes) FROM visits").fetch_one(t.pool()).await.unwrap();
    let before = minutes().await;
    let kept = change(&t, &d, "fall-start-up", &[("name", "Fall start-up"), ("minutes", "85 min"), ("set_up", "15")]).await;
    assert_eq!(kept.status, 303, "{}", kept.text("main"));
    assert_eq!(minutes().await, before, "what is planned keeps its minutes");
    sqlx::query("UPDATE week_plans SET status = 'draft', issued_at = NULL").execute(t.pool()).await.unwrap();
    assert_eq!(t.post(&d.office, "/week/2026-W41/plan", &[]).await.status, 303);
    t.work().await;
    assert_eq!(minutes().await, before + 30, "fifty-five minutes became eighty-five");
    for (minutes, set_up) in [("0", "0"), ("1441", "0"), ("30", "31"), ("an hour", "0"), ("-5", "0")] {
        let refused = change(&t, &d, "fall-start-up", &[("name", "Fall start-up"), ("minutes", minutes), ("set_up", set_up)]).await;
        assert_eq!(refused.status, 422, "{minutes} {set_up}");
    }
    let stale = [("name", "Fall start-up"), ("minutes", "40"), ("set_up", "15"), ("row_version", "1")];
    assert_eq!(t.post(&d.owner, "/settings/jobs/fall-start-up", &stale).await.status, 409, "two owners at once");
}

#[tokio::test]
async fn a_job_that_is_not_offered_is_not_due_and_one_of_the_dealers_own_is() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    assert_eq!(due(&t, "fall-start-up").await, 3);
    let fields = [("name", "Fall start-up"), ("minutes", "55"), ("set_up", "15")];
    let off = [fields.as_slice(), &[("retired", "yes")]].concat();
    assert_eq!(change(&t, &d, "fall-start-up", &off).await.status, 303);
    assert_eq!(due(&t, "fall-start-up").await, 0);
    assert_eq!(change(&t, &d, "fall-start-up", &fields).await.status, 303);
    assert_eq!(due(&t, "fall-start-up").await, 3);
    let refused = change(&t, &d, "water-test", &[("name", "Water test"), ("minutes", "30"), ("set_up", "15"), ("retired", "yes")]).await;
    assert_eq!(refused.status, 422, "the water's upkeep rests on it");

    let own = [("name", "Chimney sweep"), ("minutes", "40"), ("set_up", "15"), ("cadence", "every fall"), ("skill", "ladder")];
    let added = t.post(&d.owner, "/settings/jobs", &own).await;
    assert_eq!(added.status, 303, "{}", added.text("main"));
    let code = added.location.rsplit('#').next().unwrap().to_owned();
    assert_eq!(due(&t, &code).await, 3);
    assert!(t.get(Some(&d.office), "/due").await.text("main").contains("Chimney sweep"));
    assert_eq!(t.broken_promises().await, Vec::<String>::new());
}

#[tokio::test]
async fn a_reworded_step_stands_at_the_unit_and_an_old_report_keeps_its_words() {
    let stop = path::at_a_stop().await;
    let (t, d) = (&stop.t, &stop.d);
    let job: String = sqlx::query_scalar("SELECT job_code FROM visit_jobs WHERE visit_id = $1 AND job_code = 'fall-start-up'")
        .bind(stop.visit)
        .fetch_one(t.pool())
        .await
        .unwrap();
    let report = [("job", job.as_str()), ("drops", "20"), ("ph", "8.9"), ("put_in", "0"), ("done", "start-level")];
    let id = Uuid::now_v7();
    assert_eq!(t.post_as(&stop.tech, &format!("/stop/{}", stop.visit), id, &report).await.status, 303);
    let none = [("says", "Water level, cold, seen at the gauge"), ("expect", "Between the marks"), ("caution", " ")];
    assert_eq!(t.post(&d.owner, "/settings/steps/start-level", &none).await.status, 422, "a caution is not taken away");
    let new = [("says", "Water level, cold, seen at the gauge"), ("expect", "Between the marks"), ("caution", "Hot water scalds.")];
    assert_eq!(t.post(&d.owner, "/settings/steps/start-level", &new).await.status, 303);
    let own = [("says", "Bird nest in the chimney cap"), ("expect", "None"), ("caution", "")];
    assert_eq!(t.post(&d.owner, "/settings/jobs/fall-start-up/steps", &own).await.status, 303);
    assert_eq!(t.post(&d.owner, "/settings/steps/start-skin/leave-out", &[]).await.status, 303);
    let again = t.post(&d.owner, "/settings/steps/start-level", &new).await;
    assert_eq!(again.status, 422, "it is not there any more: {}", again.text("main"));

    // A phone that has not heard of it sends the old step, and a corrected report keeps it.
    let (late, staff): (Uuid, Uuid) =
        sqlx::query_as("SELECT v.id, v.staff_id FROM visits v JOIN visit_jobs j ON j.visit_id = v.id WHERE v.status = 'planned' AND j.job_code = 'fall-start-up' ORDER BY v.id DESC LIMIT 1")
            .fetch_one(t.pool())
            .await
            .unwrap();
    let late_id = Uuid::now_v7();
    assert_eq!(t.post_as(d.technician(staff), &format!("/stop/{late}"), late_id, &report).await.status, 303);
    let page = t.get(Some(&d.office), &format!("/kept/{late_id}/correct")).await;
    assert!(
        page.attrs("input[name=done][checked]", "value").contains(&"start-level".to_owned()),
        "{:?}",
        page.attrs("input[name=done]", "value")
    );
    assert!(!page.attrs("input[name=done]", "value").contains(&"start-skin".to_owned()), "what nobody answered is not asked again");

    let kept = t.get(Some(&d.office), &format!("/reports/{id}")).await.text("main");
    assert!(kept.contains("Water level, cold") && !kept.contains("seen at the gauge"), "{kept}");
    let (other, staff): (Uuid, Uuid) =
        sqlx::query_as("SELECT v.id, v.staff_id FROM visits v JOIN visit_jobs j ON j.visit_id = v.id WHERE v.status = 'planned' AND j.job_code = 'fall-start-up' LIMIT 1")
            .fetch_one(t.pool())
            .await
            .unwrap();
    let sheet = t.get(Some(d.technician(staff)), &format!("/stop/{other}")).await.text("main");
    assert!(sheet.contains("seen at the gauge") && sheet.contains("Bird nest") && sheet.contains("Hot water scalds"), "{sheet}");
    assert!(!sheet.contains("Outer skin cold"), "{sheet}");
    assert!(sheet.find("seen at the gauge") < sheet.find("Pump runs"), "in the place of the old one");
    assert_eq!(t.broken_promises().await, Vec::<String>::new());
}
