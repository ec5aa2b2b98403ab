//! Phones and their packs, as the office and the worker see them.

use super::scene::{Scene, ask, at_a_stop, count, send, send_as, sheet};
use embertide::store::sessions::Role;
use serde_json::Value;
use time::Date;
use uuid::Uuid;

async fn day_of(s: &Scene) -> Date {
    sqlx::query_scalar("SELECT day FROM visits WHERE id = $1").bind(s.visit).fetch_one(s.t.pool()).await.unwrap()
}

#[tokio::test]
async fn a_pack_names_every_page_and_file_of_the_day_and_they_all_open() {
    let s = at_a_stop().await;
    let day = day_of(&s).await;
    let page = ask(&s.t, &s.tech, &format!("/pack/{day}"), Uuid::now_v7(), &[("unsent", "3")]).await;
    let list: Value = serde_json::from_str(&page.body).unwrap();
    let urls: Vec<&str> = list["urls"].as_array().unwrap().iter().map(|u| u.as_str().unwrap()).collect();
    assert!(urls.contains(&format!("/route/{day}").as_str()) && urls.contains(&format!("/stop/{}", s.visit).as_str()), "{urls:?}");
    for url in &urls {
        assert_eq!(s.t.get(Some(&s.tech), url).await.status, 200, "{url}");
    }
    // An older build asks for each page; a newer one gets them with the answer, each as its own address has it.
    assert_eq!(list["pages"], serde_json::json!({}));
    let page = ask(&s.t, &s.tech, &format!("/pack/{day}"), Uuid::now_v7(), &[("whole", "1")]).await;
    let whole: Value = serde_json::from_str(&page.body).unwrap();
    assert_eq!(whole["urls"], list["urls"]);
    let without_ids = |text: &str| text.split('"').filter(|part| Uuid::parse_str(part).is_err()).map(str::to_owned).collect::<Vec<_>>();
    for url in urls.iter().filter(|u| !u.starts_with("/assets/")) {
        let own = s.t.get(Some(&s.tech), url).await.body;
        assert_eq!(without_ids(whole["pages"][url].as_str().unwrap()), without_ids(&own), "{url}");
    }
    // Whatever a packed page fetches lies in the pack: it meets its own script and sheet, whatever is built meanwhile.
    let stop = s.t.get(Some(&s.tech), &format!("/stop/{}", s.visit)).await;
    let mut wanted = stop.attrs("script[src]", "src");
    wanted.extend(stop.attrs("link[href^='/assets/']", "href"));
    assert!(wanted.len() >= 3, "{wanted:?}");
    assert!(wanted.iter().all(|w| urls.contains(&w.as_str())), "{wanted:?} in {urls:?}");
    let version = s.t.get(Some(&s.tech), &format!("/route/{day}")).await.attrs("#pack", "data-version").remove(0);
    assert_eq!(list["version"], version);
}

#[tokio::test]
async fn a_day_changes_for_the_phone_when_the_office_changes_it_and_not_when_a_stop_is_done() {
    let s = at_a_stop().await;
    let (day, phone) = (day_of(&s).await, Uuid::now_v7());
    let day_text = day.to_string();
    let version = || async {
        let said = ask(&s.t, &s.tech, "/heard", phone, &[("day", &day_text)]).await;
        serde_json::from_str::<Value>(&said.body).unwrap()["version"].as_str().unwrap().to_owned()
    };
    let before = version().await;
    let kept = send_as(&s.t, Some(&s.tech), Uuid::now_v7(), sheet(s.visit, &[("drops", "18")]).as_bytes(), Some(phone)).await;
    assert_eq!(kept.status, 200, "{}", kept.body);
    assert_eq!(version().await, before);
    let of: Option<Uuid> =
        sqlx::query_scalar("SELECT phone_id FROM submissions WHERE kind = 'kept report/1'").fetch_one(s.t.pool()).await.unwrap();
    assert_eq!(of, Some(phone));
    sqlx::query("UPDATE visits SET starts = starts + 5, ends = ends + 5 WHERE id = $1").bind(s.visit).execute(s.t.pool()).await.unwrap();
    assert_ne!(version().await, before);
}

#[tokio::test]
async fn the_office_sees_what_a_phone_has_not_sent_and_shuts_a_lost_one_out() {
    let s = at_a_stop().await;
    let (day, phone) = (day_of(&s).await, Uuid::now_v7());
    let pack = format!("/pack/{day}");
    assert_eq!(ask(&s.t, &s.tech, &pack, phone, &[("unsent", "3")]).await.status, 200);
    let page = s.t.get(Some(&s.d.office), "/phones").await;
    let row = page.text("#phones tbody tr");
    assert!(row.contains("Android") && row.contains("3 not sent"), "{row}");
    let shut = s.t.post(&s.d.office, &format!("/phones/{phone}/revoke"), &[]).await;
    assert_eq!(shut.status, 303, "{}", shut.body);
    assert!(ask(&s.t, &s.tech, &pack, phone, &[]).await.location.starts_with("/sign-in"), "it is signed out at once");
    // Whoever signs in on it again gets no pack, and is told; but what it holds is taken.
    let again = s.t.session(s.tech.staff_id, Role::Technician).await;
    let refused = ask(&s.t, &again, &pack, phone, &[]).await;
    assert_eq!(refused.status, 422, "{}", refused.body);
    let said: Value = serde_json::from_str(&ask(&s.t, &again, "/heard", phone, &[]).await.body).unwrap();
    assert_eq!(said["welcome"], false);
    let kept = send_as(&s.t, Some(&again), Uuid::now_v7(), sheet(s.visit, &[("drops", "18")]).as_bytes(), Some(phone)).await;
    assert_eq!(kept.status, 200);
    assert_eq!(count(&s.t, "visit_reports").await, 1);
    assert_eq!(
        s.t.post(&s.tech, &format!("/phones/{phone}/revoke"), &[]).await.status,
        303,
        "to the sign-in: a technician's session is gone"
    );
    assert_eq!(s.t.post(&again, &format!("/phones/{phone}/revoke"), &[]).await.status, 403);
}

#[tokio::test]
async fn the_office_settles_with_its_own_words_once() {
    let s = at_a_stop().await;
    send_as(&s.t, Some(&s.tech), Uuid::now_v7(), b"form=report/99&note=from+a+newer+phone", None).await;
    let page = s.t.get(Some(&s.d.office), "/phones").await;
    let action = page.attrs("#to-settle form", "action").remove(0);
    let form = [("words", "Written into the records by hand.")];
    assert_eq!(s.t.post(&s.d.office, &action, &[("words", "")]).await.status, 422, "words are asked for");
    assert_eq!(s.t.post(&s.d.office, &action, &form).await.status, 303);
    assert_eq!(s.t.post(&s.d.office, &action, &form).await.status, 404, "settled already");
    let after = s.t.get(Some(&s.d.office), "/phones").await;
    assert!(after.attrs("#to-settle form", "action").is_empty());
    assert!(after.text("#settled").contains("by hand"), "{}", after.text("main"));
}

#[tokio::test]
async fn the_worker_serves_the_whole_yard_and_names_the_files_of_its_build() {
    let s = at_a_stop().await;
    let worker = s.t.get(None, "/worker.js").await;
    assert_eq!(worker.status, 200);
    assert_eq!(worker.headers["cache-control"], "no-store", "a new build is seen at once");
    assert_eq!(worker.headers["content-type"], "text/javascript; charset=utf-8");
    for name in ["look.css", "mark.svg", "yard.js"] {
        let address = embertide::web::assets::address(name);
        assert!(worker.body.contains(&address), "{address}");
    }
    let script = s.t.get(None, &embertide::web::assets::address("yard.js")).await.body;
    assert!(script.contains("install") && !script.contains("skipWaiting"), "a new build waits until the old pages are closed");
    let page = s.t.get(None, "/on-this-phone").await;
    assert_eq!(page.status, 200, "it lies in the shell and needs no sign-in");
}

/// A unit without water is filled in the yard, whether there is a signal or not.
#[tokio::test]
async fn a_fill_kept_without_a_signal_is_the_units_water_once_it_arrives() {
    let s = at_a_stop().await;
    let day = day_of(&s).await;
    let fill_page = format!("/stop/{}/fill", s.visit);
    let urls = || async {
        let page = ask(&s.t, &s.tech, &format!("/pack/{day}"), Uuid::now_v7(), &[]).await;
        serde_json::from_str::<Value>(&page.body).unwrap()["urls"].to_string()
    };
    assert!(!urls().await.contains(&fill_page), "a unit that is filled needs no page for it");
    sqlx::query("UPDATE fills SET drained_on = filled_on WHERE unit_id = $1").bind(s.unit).execute(s.t.pool()).await.unwrap();
    assert!(urls().await.contains(&fill_page), "an empty one does");
    let visit = s.visit.to_string();
    let fill = |rest: &[(&str, &str)]| {
        let mut pairs = vec![("form", "fill/1"), ("visit", visit.as_str()), ("volume", "400 gal"), ("metered", "yes")];
        pairs.extend_from_slice(rest);
        super::support::encode(&pairs)
    };
    let id = Uuid::now_v7();
    let body = fill(&[("ph", "7.6"), ("hardness", "352"), ("softened", "5"), ("put_in", "8 L"), ("filled_on", "")]);
    for _ in 0..3 {
        assert_eq!(send(&s.t, &s.tech, id, body.as_bytes()).await["state"], "kept");
    }
    let fills = embertide::store::units::fills(s.t.pool(), s.unit).await.unwrap();
    let now = fills.iter().find(|f| f.drained_on.is_none()).unwrap();
    assert_eq!((now.id, now.softened, now.amount_ml), (id, Some(true), Some(1_514_165)));
    assert_eq!(count(&s.t, "doses WHERE note = 'first charge'").await, 1);
    // Glycol without its share is for the office to settle; nothing of it is kept as the unit's water.
    let odd = send(&s.t, &s.tech, Uuid::now_v7(), fill(&[("fluid", "propylene glycol")]).as_bytes()).await;
    assert_eq!(odd["state"], "to settle");
    assert!(odd["says"][0].as_str().unwrap().contains("how many %"), "{odd}");
    // Weeks late, from before the water that is there now.
    let late = Uuid::now_v7();
    assert_eq!(send(&s.t, &s.tech, late, fill(&[("filled_on", "2026-09-01")]).as_bytes()).await["state"], "kept");
    let fills = embertide::store::units::fills(s.t.pool(), s.unit).await.unwrap();
    assert_eq!(fills.iter().filter(|f| f.drained_on.is_none()).map(|f| f.id).collect::<Vec<_>>(), [id], "one water at a time");
    assert_eq!(s.t.broken_promises().await, Vec::<String>::new());
}

/// A sheet of a unit that nobody planned.
fn unasked(unit: Uuid, rest: &[(&str, &str)]) -> String {
    let unit = unit.to_string();
    let mut pairs = vec![("form", "report/1"), ("unit", unit.as_str()), ("job", "water-test"), ("ph", "8.9")];
    pairs.extend_from_slice(rest);
    super::support::encode(&pairs)
}

#[tokio::test]
async fn a_visit_that_nobody_planned_is_kept_with_its_unit_and_told_where_one_is_planned() {
    let s = at_a_stop().await;
    let id = Uuid::now_v7();
    let body = unasked(s.unit, &[("drops", "18"), ("visited_on", "2026-10-01")]);
    for _ in 0..2 {
        assert_eq!(send(&s.t, &s.tech, id, body.as_bytes()).await["state"], "kept");
    }
    let kept: (Uuid, Option<Uuid>, Date) = sqlx::query_as("SELECT unit_id, visit_id, visited_on FROM visit_reports WHERE report_id = $1")
        .bind(id)
        .fetch_one(s.t.pool())
        .await
        .unwrap();
    assert_eq!(kept, (s.unit, None, time::macros::date!(2026 - 10 - 01)));
    assert!(super::scene::flag(&s.t, id).await.contains("a visit is planned for"), "{}", super::scene::flag(&s.t, id).await);
    let status: String = sqlx::query_scalar("SELECT status FROM visits WHERE id = $1").bind(s.visit).fetch_one(s.t.pool()).await.unwrap();
    assert_eq!(status, "planned", "the planned visit is the office's to take off");
    // No day was typed: the phone's calendar says, unless it is ahead of the office's.
    for (by_phone, day) in [("2026-09-30", time::macros::date!(2026 - 09 - 30)), ("2031-01-01", super::support::NOW.date())] {
        let id = Uuid::now_v7();
        let body = unasked(s.unit, &[("drops", "18"), ("visited_on", ""), ("kept_day", by_phone)]);
        assert_eq!(send(&s.t, &s.tech, id, body.as_bytes()).await["state"], "kept");
        let on: Date =
            sqlx::query_scalar("SELECT visited_on FROM visit_reports WHERE report_id = $1").bind(id).fetch_one(s.t.pool()).await.unwrap();
        assert_eq!(on, day, "{by_phone}");
    }
    assert_eq!(send(&s.t, &s.tech, Uuid::now_v7(), unasked(Uuid::now_v7(), &[("drops", "8")]).as_bytes()).await["state"], "to settle");
    // By hand, without script, from the page that finds units.
    let town: String = sqlx::query_scalar("SELECT p.town FROM units u JOIN places p ON p.id = u.place_id WHERE u.id = $1")
        .bind(s.unit)
        .fetch_one(s.t.pool())
        .await
        .unwrap();
    let found = s.t.get(Some(&s.tech), &format!("/unplanned?of={}", &town[..3])).await;
    let path = format!("/unplanned/{}", s.unit);
    assert!(found.attrs("a[href]", "href").contains(&path), "{}", found.text("main"));
    assert_eq!(s.t.get(Some(&s.tech), &path).await.status, 200);
    let posted = s.t.post(&s.tech, &path, &[("job", "water-test"), ("drops", "18"), ("ph", "8.9")]).await;
    assert!(posted.location.starts_with("/kept/"), "{} {}", posted.status, posted.body);
    assert_eq!(s.t.broken_promises().await, Vec::<String>::new());
    sqlx::query("UPDATE units SET status = 'retired' WHERE id = $1").bind(s.unit).execute(s.t.pool()).await.unwrap();
    assert_eq!(s.t.get(Some(&s.tech), &path).await.status, 404);
}

#[tokio::test]
async fn what_was_written_down_of_an_unknown_unit_reaches_the_office_once() {
    let s = at_a_stop().await;
    let body = super::support::encode(&[("form", "written-down/1"), ("whose", "The blue barn past the ford"), ("drops", "12")]);
    let id = Uuid::now_v7();
    for _ in 0..3 {
        assert_eq!(send(&s.t, &s.tech, id, body.as_bytes()).await["state"], "kept");
    }
    let posted = s.t.post(&s.tech, "/unplanned", &[("form", "written-down/1"), ("whose", "Nobody’s at the mill")]).await;
    assert_eq!(posted.location, "/unplanned?kept=1");
    let page = s.t.get(Some(&s.d.office), "/phones").await;
    let open = page.text("#to-settle");
    assert!(open.contains("blue barn") && open.contains("at the mill") && open.contains("Find the unit"), "{open}");
    assert_eq!((count(&s.t, "to_settle").await, count(&s.t, "visit_reports").await), (2, 0));
}

#[tokio::test]
async fn what_was_put_right_at_the_unit_is_applied_or_both_stand_before_the_office() {
    let s = at_a_stop().await;
    let page = s.t.get(Some(&s.tech), &format!("/stop/{}", s.visit)).await;
    let was = |field: &str| page.attrs(&format!("[name='was.{field}']"), "value").remove(0);
    let (pin, access, volume) = (was("pin"), was("access"), was("volume"));
    let sent = |access: &str, now: &str| {
        sheet(
            s.visit,
            &[
                ("drops", "18"),
                ("was.access", access),
                ("now.access", now),
                ("was.pin", &pin),
                ("now.pin", "44.70001, -73.30002"),
                ("was.phone", ""),
                ("was.volume", &volume),
                ("now.volume", "500 gal"),
                ("volume_method", "water_meter"),
            ],
        )
    };
    let first = Uuid::now_v7();
    assert_eq!(send(&s.t, &s.tech, first, sent(&access, "Second gate, by the silo").as_bytes()).await["state"], "kept");
    let place: (String, f64, f64, String) =
        sqlx::query_as("SELECT p.access_note, p.lat, p.lon, p.pin_origin FROM places p JOIN units u ON u.place_id = p.id WHERE u.id = $1")
            .bind(s.unit)
            .fetch_one(s.t.pool())
            .await
            .unwrap();
    assert_eq!(place, ("Second gate, by the silo".to_owned(), 44.70001, -73.30002, "phone".to_owned()));
    // 500 US gallons of 3.785411784 L.
    let newest = embertide::store::units::newest_volume(s.t.pool(), s.unit).await.unwrap();
    assert_eq!(newest.map(embertide::units::Millilitres::get), Some(1_892_706));
    assert_eq!(count(&s.t, "to_settle").await, 0);
    assert_eq!(count(&s.t, "events WHERE what = 'put right at the unit'").await, 3);
    // Another sheet, packed before: what it agrees with is no news, what it contradicts is for the office.
    let second = Uuid::now_v7();
    assert_eq!(send(&s.t, &s.tech, second, sent(&access, "Gate is always open").as_bytes()).await["state"], "kept");
    let open: Vec<String> = sqlx::query_scalar("SELECT why FROM to_settle").fetch_all(s.t.pool()).await.unwrap();
    assert_eq!(open.len(), 1, "{open:?}");
    assert!(open[0].contains("always open") && open[0].contains("Second gate") && !open[0].contains("pin"), "{open:?}");
    let note: String = sqlx::query_scalar("SELECT access_note FROM places WHERE pin_origin = 'phone'").fetch_one(s.t.pool()).await.unwrap();
    assert_eq!(note, "Second gate, by the silo", "the records stay as they are");
    assert_eq!(s.t.broken_promises().await, Vec::<String>::new());
}

/// 18 drops of 50 mg/L are 900 mg/L; with half of the water renewed 450 are left, as 9 drops would show.
#[tokio::test]
async fn the_dose_is_for_what_the_water_came_to() {
    let s = at_a_stop().await;
    let page = s.t.get(Some(&s.tech), &format!("/stop/{}", s.visit)).await;
    let row = page.text("#doses tr[data-drops='18']");
    assert!(row.trim_end().ends_with("13 · 9 · 4 · 0"), "{row}");
    let ml = |drops: &str| page.attrs(&format!("#doses tr[data-drops='{drops}']"), "data-ml").remove(0);
    let report = |id: Uuid, renewed: &str| {
        let (put_in, renewed) = (ml("9"), renewed.to_owned());
        let t = &s;
        async move {
            let body = sheet(t.visit, &[("drops", "18"), ("renewed", &renewed), ("put_in", &put_in), ("drained_to", "a pit on the farm")]);
            assert_eq!(send(&t.t, &t.tech, id, body.as_bytes()).await["state"], "kept");
            sqlx::query_scalar::<_, Option<i64>>("SELECT dose_worked_ml FROM visit_reports WHERE report_id = $1")
                .bind(id)
                .fetch_one(t.t.pool())
                .await
                .unwrap()
        }
    };
    let half = Uuid::now_v7();
    assert_eq!(report(half, "2").await, ml("9").parse().ok());
    // A word more in the note is no other dose: the sheet remembers the share.
    let again = s.t.get(Some(&s.tech), &format!("/kept/{half}/correct")).await;
    assert_eq!(again.attrs("#renewed option[selected]", "value"), ["2"]);
    assert_eq!(again.attrs("#drained", "value").concat(), "");
    assert_eq!(report(Uuid::now_v7(), "0").await, ml("18").parse().ok());
    let drained: Vec<i64> =
        sqlx::query_scalar("SELECT amount_ml FROM water_events WHERE what = 'drained'").fetch_all(s.t.pool()).await.unwrap();
    let volume: i64 = page.attrs("[name='was.volume']", "value").remove(0).parse().unwrap();
    assert_eq!(drained, [volume / 2], "and half of it is on record as drained");
}
