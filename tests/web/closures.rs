//! Closed roads: kept by the office, gone round by plans and drawings, shown before a week is mended. The county is invented by the program.

use super::{
    mend::kept_with,
    path,
    support::{NOW, Session, TestApp, dealership},
};
use embertide::{
    roads::{Drives, Position, Roads, closed::choices},
    sources::{Client, Engine, Kind, Sources},
};
use std::sync::Arc;
use time::{Date, Duration, macros::date};
use uuid::Uuid;

const MONDAY: Date = date!(2026 - 10 - 05);
const SHOP: (f64, f64) = (44.6, -74.9);
const ALDER: (f64, f64) = (44.63, -74.93);

fn at(pin: (f64, f64)) -> Position {
    Position::new(pin.0, pin.1).unwrap()
}

/// A pin on the road halfway from the shop to Alder Hollow, as the form says it, and the road's name.
fn halfway(t: &TestApp) -> (String, String) {
    let roads = t.app.sources.roads().unwrap();
    let leg = Drives::of(Some(Arc::clone(&roads))).route(&[at(SHOP), at(ALDER)]).remove(0);
    let named = leg.shape[leg.shape.len() / 2..].iter().map(|p| choices(roads.network(), roads.grid(), Position::from(*p), 1).remove(0));
    let road = named.into_iter().find(|c| !c.road.is_empty()).unwrap();
    (format!("{:.7}, {:.7}", road.at.lat(), road.at.lon()), road.road)
}

fn form<'a>(pin: &'a str, from: &'a str, to: &'a str) -> [(&'static str, &'a str); 5] {
    [("pin", pin), ("reach", "0"), ("from", from), ("to", to), ("note", "Bridge deck is up, says the county")]
}

async fn close(t: &TestApp, who: &Session, pin: &str, from: &str, to: &str) {
    let kept = t.post(who, "/roads", &form(pin, from, to)).await;
    assert_eq!(kept.location, "/roads?said=closed", "{}", kept.text("main"));
}

/// An issued week of which all lies ahead: it is the Friday before.
async fn week_ahead() -> (TestApp, dealership::Dealership) {
    let mut t = TestApp::on_roads().await;
    t.on(NOW - Duration::days(3));
    let d = dealership::open(&t).await;
    path::issued_week(&t, &d).await;
    (t, d)
}

async fn driven(t: &TestApp) -> i64 {
    sqlx::query_scalar("SELECT sum(drive_s)::bigint FROM routes").fetch_one(t.pool()).await.unwrap()
}

async fn source(t: &TestApp) -> String {
    sqlx::query_scalar("SELECT drive_source FROM week_plans WHERE monday = $1").bind(MONDAY).fetch_one(t.pool()).await.unwrap()
}

#[tokio::test]
async fn a_road_is_found_near_a_pin_closed_once_and_opened_again() {
    let t = TestApp::on_roads().await;
    let d = dealership::open(&t).await;
    let (pin, road) = halfway(&t);
    let page = t.get(Some(&d.office), &format!("/roads?at={}", pin.replace(", ", "%2C+"))).await;
    let first = page.texts(".choice label").remove(0);
    assert_eq!(first, format!("1: {road}, 0 ft away"), "the nearest first, and how far it lies");
    assert!(page.text("svg.map desc").contains(&format!("1: {road}")), "and drawn");
    let chosen = page.attrs("input[name=pin]", "value").remove(0);
    let id = Uuid::now_v7();
    for _ in 0..2 {
        let kept = t.post_as(&d.office, "/roads", id, &form(&chosen, "2026-10-06", "2026-10-09")).await;
        assert_eq!(kept.location, "/roads?said=closed", "{}", kept.text("main"));
    }
    let rows = t.get(Some(&d.office), "/roads").await.texts("tbody tr");
    assert_eq!(rows.len(), 1, "sent twice is one wish: {rows:?}");
    assert!(rows[0].contains("closes later") && rows[0].contains(&road) && rows[0].contains("Tue Oct 6 to Fri Oct 9"), "{}", rows[0]);
    let noted: Vec<(String, String)> =
        sqlx::query_as("SELECT actor_words, subject FROM events WHERE what = 'closed a road'").fetch_all(t.pool()).await.unwrap();
    assert_eq!(noted.len(), 1);
    assert!(noted[0].0 == "Tamsin Vey" && noted[0].1.starts_with(&road), "{noted:?}");
    let open = format!("/roads/{id}/open");
    assert_eq!(t.post(&d.office, &open, &[("row_version", "7")]).await.status, 409, "made from another page");
    assert_eq!(t.post(&d.office, &open, &[("row_version", "1")]).await.location, "/roads?said=open");
    assert_eq!(t.post(&d.office, &open, &[("row_version", "2")]).await.status, 409, "open already");
    assert!(t.get(Some(&d.office), "/roads").await.text("main").contains("No road is closed."));
    let kept: (Option<Uuid>, i64) =
        sqlx::query_as("SELECT max(lifted_by::text)::uuid, count(*) FROM road_closures").fetch_one(t.pool()).await.unwrap();
    assert_eq!(kept, (Some(d.office.staff_id), 1), "who opened it is kept, and that it was closed");
}

#[tokio::test]
async fn a_closure_that_says_nothing_sensible_is_refused_with_what_to_do() {
    let t = TestApp::on_roads().await;
    let d = dealership::open(&t).await;
    let (pin, _) = halfway(&t);
    let forms = [
        (form("", "2026-10-06", ""), "Choose the road that is closed."),
        (form("10.0, 10.0", "2026-10-06", ""), "knows no road near that position"),
        (form(&pin, "", ""), "Give the first day"),
        (form(&pin, "2026-10-06", "2026-10-05"), "The last day lies before the first."),
        (form(&pin, "2026-09-01", "2026-09-02"), "Those days are over"),
        (form(&pin, "soon", ""), "soon"),
        ([("pin", &pin as &str), ("reach", "7"), ("from", "2026-10-06"), ("to", ""), ("note", "")], "Choose how much is closed."),
    ];
    for (form, says) in forms {
        let page = t.post(&d.office, "/roads", &form).await;
        assert!(page.status == 422 && page.text("main").contains(says), "{says}: {} {}", page.status, page.text("main"));
    }
    let none: i64 = sqlx::query_scalar("SELECT count(*) FROM road_closures").fetch_one(t.pool()).await.unwrap();
    assert_eq!(none, 0);
    let nothing = t.get(Some(&d.office), "/roads?at=Nowhere+at+all+9").await.text("main");
    assert!(nothing.contains("Which of these is near it?") || nothing.contains("Nothing found."), "{nothing}");
    let plain = TestApp::start().await;
    let d = dealership::open(&plain).await;
    assert!(plain.get(Some(&d.office), "/roads").await.text("main").contains("There is no road file."));
    let page = plain.post(&d.office, "/roads", &form(&pin, "2026-10-06", "")).await;
    assert!(page.status == 422 && page.text("main").contains("There is no road file"), "{}", page.text("main"));
}

#[tokio::test]
async fn a_week_is_planned_round_what_is_closed_on_any_of_its_days_and_no_other_week() {
    let t = TestApp::on_roads().await;
    let d = dealership::open(&t).await;
    let (pin, road) = halfway(&t);
    // The Monday after this week: nothing of it counts yet.
    close(&t, &d.office, &pin, "2026-10-12", "").await;
    path::issued_week(&t, &d).await;
    assert_eq!(source(&t).await, "by road");
    let before = driven(&t).await;
    assert!(!t.get(Some(&d.office), "/week/2026-W41").await.text("main").contains("Closed this week"));

    let t = TestApp::on_roads().await;
    let d = dealership::open(&t).await;
    // Its last day alone: it counts for all of it.
    close(&t, &d.office, &pin, "2026-10-11", "2026-10-11").await;
    path::issued_week(&t, &d).await;
    assert_eq!(source(&t).await, "by road, round a closed road");
    assert!(driven(&t).await > before + 30, "{} and {before}", driven(&t).await);
    let week = t.get(Some(&d.office), "/week/2026-W41").await;
    let says = week.text("main");
    assert!(says.contains(&format!("Closed this week: {road}, Sun Oct 11: Bridge deck is up, says the county")), "{says}");
    assert!(!says.contains("Roads closed or opened since"), "the plan goes by it");
    assert_eq!(week.texts("svg.map .shut text"), ["closed"], "barred on the drawing, with the word");
    let print = t.get(Some(&d.office), "/week/2026-W41/print").await;
    assert!(print.text("main").contains("Closed this week:") && print.body.contains("class=\"shut\""), "on paper too");
    assert_eq!(t.broken_promises().await, Vec::<String>::new());
}

/// Every leg of the plan keeps off the closed pin, and is as long as the plain search on the same roads says.
#[tokio::test]
async fn no_leg_that_is_drawn_runs_over_a_closed_road() {
    let t = TestApp::on_roads().await;
    let d = dealership::open(&t).await;
    let (pin, _) = halfway(&t);
    close(&t, &d.office, &pin, "2026-10-05", "").await;
    path::issued_week(&t, &d).await;
    let shut = at(pin.split_once(", ").map(|(lat, lon)| (lat.parse().unwrap(), lon.parse().unwrap())).unwrap());
    let closure = embertide::roads::closed::Closure { at: shut, radius_m: 0.0 };
    let round = t.app.sources.roads_round(&[closure]).await.unwrap().unwrap();
    let again = t.app.sources.roads_round(&[closure, closure]).await.unwrap().unwrap();
    assert!(Arc::ptr_eq(&round, &again), "made once for one set");
    let over = |roads: &Arc<Roads>| {
        let leg = Drives::of(Some(Arc::clone(roads))).route(&[at(SHOP), at(ALDER)]).remove(0);
        let near = leg.shape.windows(2).any(|w| {
            let (a, b) = (w[0].metres_to(shut.into()), w[1].metres_to(shut.into()));
            a + b < w[0].metres_to(w[1]) + 0.5
        });
        (near, leg.seconds, leg.estimated)
    };
    let (open, closed) = (over(&t.app.sources.roads().unwrap()), over(&round));
    assert!(open.0 && !closed.0 && closed.1 > open.1 && !closed.2, "{open:?} {closed:?}");
}

/// An engine knows of no closure: it is not even asked, or the page would say that it did not answer.
#[tokio::test]
async fn a_road_engine_is_left_out_while_a_road_is_closed() {
    let mut t = TestApp::on_roads().await;
    let engine = Engine::new(Kind::Table, Client::new("http://127.0.0.1:1".parse().unwrap(), false).unwrap());
    t.app.sources = Sources::new(Arc::clone(t.app.sources.file()), Some(engine));
    t.on(NOW);
    let d = dealership::open(&t).await;
    let (pin, _) = halfway(&t);
    close(&t, &d.office, &pin, "2026-10-05", "").await;
    path::issued_week(&t, &d).await;
    assert_eq!(source(&t).await, "by road, round a closed road");
    assert_eq!(t.app.sources.trouble(), "");
    assert!(t.get(Some(&d.office), "/roads").await.text("main").contains("Your road engine knows nothing of these."));
    let id: Uuid = sqlx::query_scalar("SELECT id FROM road_closures").fetch_one(t.pool()).await.unwrap();
    t.post(&d.office, &format!("/roads/{id}/open"), &[("row_version", "1")]).await;
    let drives = t.app.drives(MONDAY, None).await.unwrap();
    assert_eq!(drives.label(), "by road, because the road engine did not answer", "open again, it is asked again");
}

fn pairs(query: &[(&'static str, &str)]) -> String {
    query.iter().map(|(k, v)| format!("{k}={}", v.replace(", ", "%2C+").replace(' ', "+"))).collect::<Vec<_>>().join("&")
}

#[tokio::test]
async fn a_road_that_closes_is_shown_with_what_changes_and_only_then_kept() {
    let (t, d) = week_ahead().await;
    let (pin, road) = halfway(&t);
    let before = driven(&t).await;
    let ask = t.get(Some(&d.office), "/week/2026-W41").await.attrs("a[href^='/roads?week=']", "href").remove(0);
    assert_eq!(ask, "/roads?week=2026-W41#close");
    let found = t.get(Some(&d.office), &format!("/roads?week=2026-W41&at={}", pin.replace(", ", "%2C+"))).await;
    assert_eq!(found.attrs("form[action='/week/2026-W41/mend']", "method"), ["get"]);
    assert!(found.body.contains("value=\"2026-10-05\""), "from the first day of that week on");
    let wanted = form(&pin, "2026-10-07", "2026-10-08");
    let page = t.get(Some(&d.office), &format!("/week/2026-W41/mend?{}", pairs(&wanted))).await;
    let says = page.text("main");
    assert_eq!(page.status, 200, "{says}");
    assert!(says.contains(&format!("{road} closes")) && says.contains("Closed, and gone round:"), "{says}");
    let none: i64 = sqlx::query_scalar("SELECT count(*) FROM road_closures").fetch_one(t.pool()).await.unwrap();
    assert_eq!((none, driven(&t).await), (0, before), "looking changes nothing");
    let [version, seen] = kept_with(&page);
    let mut kept: Vec<(&str, String)> = Vec::new();
    for name in ["pin", "reach", "from", "to", "note"] {
        kept.push((name, page.attrs(&format!("input[name={name}]"), "value").remove(0)));
    }
    kept.extend([("row_version", version), ("seen", seen)]);
    let kept: Vec<(&str, &str)> = kept.iter().map(|(k, v)| (*k, v.as_str())).collect();
    assert_eq!(&kept[..5], &wanted, "the form says again what was asked");
    let id = Uuid::now_v7();
    let done = t.post_as(&d.office, "/week/2026-W41/mend", id, &kept).await;
    assert_eq!(done.location, "/week/2026-W41?said=mended", "{}", done.text("main"));
    let closures: Vec<(Uuid, String, Date)> =
        sqlx::query_as("SELECT id, road, from_day FROM road_closures").fetch_all(t.pool()).await.unwrap();
    assert_eq!(closures, [(id, road, date!(2026 - 10 - 07))]);
    assert!(driven(&t).await > before + 30, "the times are by the longer way: {} and {before}", driven(&t).await);
    assert_eq!(source(&t).await, "by road, round a closed road");
    assert!(!t.get(Some(&d.office), "/week/2026-W41").await.text("main").contains("Roads closed or opened since"));
    assert_eq!(t.broken_promises().await, Vec::<String>::new());
    let far = form(&pin, "2026-10-20", "");
    let page = t.get(Some(&d.office), &format!("/week/2026-W41/mend?{}", pairs(&far))).await;
    assert!(page.status == 422 && page.text("main").contains("open all of that week"), "{}", page.text("main"));
}

#[tokio::test]
async fn a_week_planned_before_a_road_closed_says_so_until_it_is_mended_and_again_when_it_opens() {
    let (t, d) = week_ahead().await;
    let (pin, _) = halfway(&t);
    let before = driven(&t).await;
    close(&t, &d.office, &pin, "2026-10-06", "").await;
    for (expected, words) in [(true, "Closed, and gone round:"), (false, "Open again:")] {
        let links = t.get(Some(&d.office), "/roads").await.attrs(".care a", "href");
        assert_eq!(links, ["/week/2026-W41/mend?roads=now"]);
        assert!(t.get(Some(&d.office), "/week/2026-W41").await.text("main").contains("Roads closed or opened since"));
        let page = t.get(Some(&d.office), "/week/2026-W41/mend?roads=now").await;
        assert!(page.text("main").contains(words), "{}", page.text("main"));
        let [version, seen] = kept_with(&page);
        let done = t.post(&d.office, "/week/2026-W41/mend", &[("roads", "now"), ("row_version", &version), ("seen", &seen)]).await;
        assert_eq!(done.location, "/week/2026-W41?said=mended", "{}", done.text("main"));
        assert_eq!(driven(&t).await > before + 30, expected, "{} and {before}", driven(&t).await);
        assert!(!t.get(Some(&d.office), "/week/2026-W41").await.text("main").contains("Roads closed or opened since"));
        let id: Uuid = sqlx::query_scalar("SELECT id FROM road_closures").fetch_one(t.pool()).await.unwrap();
        t.post(&d.office, &format!("/roads/{id}/open"), &[("row_version", "1")]).await;
    }
    assert_eq!(t.broken_promises().await, Vec::<String>::new());
}

/// Another road closes between the look and the keeping: nobody has seen what that changes.
#[tokio::test]
async fn only_what_was_seen_is_kept() {
    let (t, d) = week_ahead().await;
    let (pin, _) = halfway(&t);
    close(&t, &d.office, &pin, "2026-10-06", "").await;
    let seen = async || {
        let page = t.get(Some(&d.office), "/week/2026-W41/mend?roads=now").await;
        let [version, seen] = kept_with(&page);
        [("roads", "now".to_owned()), ("row_version", version), ("seen", seen)]
    };
    let keep = async |form: &[(&str, String)]| {
        let form: Vec<(&str, &str)> = form.iter().map(|(k, v)| (*k, v.as_str())).collect();
        t.post(&d.office, "/week/2026-W41/mend", &form).await
    };
    let (before, old) = (driven(&t).await, seen().await);
    close(&t, &d.office, &format!("{}, {}", ALDER.0 + 0.003, ALDER.1), "2026-10-07", "").await;
    let refused = keep(&old).await;
    assert!(refused.status == 409 && refused.text("main").contains("has changed since you looked"), "{}", refused.text("main"));
    assert_eq!(driven(&t).await, before, "nothing was kept");
    let done = keep(&seen().await).await;
    assert_eq!(done.location, "/week/2026-W41?said=mended", "{}", done.text("main"));
}

/// With every road within a mile closed, Alder Hollow is reached by none.
#[tokio::test]
async fn a_place_that_no_open_road_leads_to_is_named_before_anything_is_kept() {
    let (t, d) = week_ahead().await;
    let pin = format!("{}, {}", ALDER.0 + 0.003, ALDER.1);
    let high_water = [("pin", pin.as_str()), ("reach", "1600"), ("from", "2026-10-05"), ("to", ""), ("note", "High water")];
    let page = t.get(Some(&d.office), &format!("/week/2026-W41/mend?{}", pairs(&high_water))).await;
    let says = page.text("main");
    assert!(page.status == 200 && says.contains("and what lies round it"), "{says}");
    assert!(says.contains("No open road leads to: Alda Thistlewick place."), "{says}");
    let (one, _) = halfway(&t);
    let page = t.get(Some(&d.office), &format!("/week/2026-W41/mend?{}", pairs(&form(&one, "2026-10-05", "")))).await;
    assert!(!page.text("main").contains("No open road leads to"), "there is a way round one bridge");
}

/// Twenty drives at the speed reckoned, and twenty more that went the long way round while a road was closed: nothing is corrected by these.
#[tokio::test]
async fn drives_round_a_closed_road_correct_nothing() {
    let t = TestApp::on_roads().await;
    let d = dealership::open(&t).await;
    let (pin, _) = halfway(&t);
    close(&t, &d.office, &pin, "2026-10-01", "").await;
    let roads = t.app.sources.roads().unwrap();
    let open = Drives::of(Some(roads));
    // To and from Alder Hollow the way leads over the closed road; from there to Birch Corner it does not.
    let legs = [(SHOP, ALDER, 2), (ALDER, (44.65, -74.97), 1)];
    for n in 0..40_u8 {
        let (from, to, longer) = legs[usize::from(n % 2)];
        let seconds = open.table(&[at(from), at(to)]).seconds[1] * longer;
        sqlx::query(
            "INSERT INTO recorded_drives (report_id, staff_id, from_lat, from_lon, to_lat, to_lon, left_at, seconds)
             VALUES ($1, $2, $3, $4, $5, $6, $7, $8)",
        )
        .bind(Uuid::now_v7())
        .bind(d.wick.staff_id)
        .bind(from.0)
        .bind(from.1)
        .bind(to.0)
        .bind(to.1)
        .bind(NOW - Duration::hours(i64::from(n)))
        .bind(seconds)
        .execute(t.pool())
        .await
        .unwrap();
    }
    t.post(&d.office, "/week/2026-W41/plan", &[]).await;
    t.work().await;
    let settings = t.get(Some(&d.owner), "/settings").await.text("main");
    assert!(settings.contains("Times agree with 20 recorded drives."), "{settings}");
}
