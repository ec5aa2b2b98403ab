//! Who may see what: every route of the router's own list, as everybody.

use super::support::{Page, Session, TestApp, dealership, encode};
use axum::{
    body::Body,
    http::{Request, header},
};
use embertide::store::{links, sessions, sessions::Role, staff};
use time::Duration;
use uuid::Uuid;

/// The document of who may open what; a route that is not in it fails.
const FACES: &str = include_str!("faces.txt");

fn faces() -> Vec<(&'static str, &'static str, &'static str)> {
    let lines = FACES.lines().filter(|l| !l.trim().is_empty() && !l.starts_with('#'));
    lines
        .map(|l| {
            let mut words = l.split_whitespace();
            (words.next().unwrap(), words.next().unwrap(), words.next().unwrap())
        })
        .collect()
}

#[tokio::test]
async fn every_route_is_in_the_document_under_its_face() {
    let t = TestApp::start().await;
    let mut served: Vec<_> = t.routes.iter().map(|r| (r.method, r.path, r.face)).collect();
    let mut written = faces();
    served.sort_unstable();
    written.sort_unstable();
    assert_eq!(served, written);
}

/// Who may pass a face: anonymous, technician, office, owner, in this order.
fn passes(face: &str) -> [bool; 4] {
    match face {
        "anyone" => [true, true, true, true],
        "staff" => [false, true, true, true],
        "technician" => [false, true, false, true],
        "office" => [false, false, true, true],
        "owner" => [false, false, false, true],
        other => panic!("a face without a rule: {other}"),
    }
}

fn filled(path: &str, token: &str) -> String {
    let absent = Uuid::now_v7().to_string();
    path.replace("{id}", &absent)
        .replace("{link}", &absent)
        .replace("{week}", "2026-W41")
        .replace("{day}", "2026-10-05")
        .replace("{name}", "fall")
        .replace("{code}", "absent")
        .replace("{at}", "0")
        .replace("{token}", token)
}

fn went_through(page: &Page) -> bool {
    page.status != 403 && !page.location.starts_with("/sign-in")
}

#[tokio::test]
async fn every_route_as_every_role() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    let roles: [(&str, Option<&Session>); 4] =
        [("anonymous", None), ("technician", Some(&d.wick)), ("office", Some(&d.office)), ("owner", Some(&d.owner))];
    let mut cells = 0;
    for (method, path, face) in faces() {
        if face == "record" {
            continue;
        }
        for ((name, who), allowed) in roles.iter().zip(passes(face)) {
            let path = filled(path, "NOTATOKEN");
            if path == "/sign-out" {
                continue;
            }
            let page = if method == "GET" { t.get(*who, &path).await } else { t.post_raw(*who, &path, "").await };
            assert_eq!(went_through(&page), allowed, "{name}: {method} {path} gave {} {}", page.status, page.location);
            assert!(page.status < 500, "{name}: {method} {path} gave {}", page.status);
            cells += 1;
        }
    }
    println!("{cells} cells, 0 wrong");
    assert!(cells > 150, "{cells}");
}

#[tokio::test]
async fn a_record_opens_with_its_own_living_link_only() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    let now = t.app.clock.now();
    let mine = links::make(t.pool(), d.units[0], "mail", None, now).await.unwrap();
    let shut = links::make(t.pool(), d.units[0], "old", None, now).await.unwrap();
    let lapsed = links::make(t.pool(), d.units[0], "older", None, now - Duration::days(401)).await.unwrap();
    let id = links::of_unit(t.pool(), d.units[0]).await.unwrap().into_iter().find(|l| l.label == "old").unwrap().id;
    links::revoke(t.pool(), d.units[0], id, now).await.unwrap();
    let page = t.get(None, &format!("/w/{mine}")).await;
    assert!(page.status == 200 && page.body.contains("House heater"));
    assert!(!page.body.contains("Quenby") && !page.body.contains("Birch Corner"), "another customer's data");
    let spaced = format!("/w/{}", mine.to_lowercase().replace('1', "l"));
    assert_eq!(t.get(None, &spaced).await.status, 200, "copied by hand, I and 1 mixed up");
    let unknown = t.get(None, "/w/0123456789ABCDEFGHJKMNPQRSTVWXYZ").await;
    for token in [&shut, &lapsed] {
        let page = t.get(None, &format!("/w/{token}")).await;
        assert_eq!((page.status, &page.body), (404, &unknown.body), "unknown, lapsed and closed look alike");
    }
}

#[tokio::test]
async fn a_technician_sees_no_stop_and_no_report_of_another() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    let visits = super::path::issued_week(&t, &d).await;
    let (visit, _, staff) = visits[0];
    let (own, other) = if staff == d.wick.staff_id { (&d.wick, &d.juno) } else { (&d.juno, &d.wick) };
    let absent = t.get(Some(other), &format!("/stop/{}", Uuid::now_v7())).await;
    let foreign = t.get(Some(other), &format!("/stop/{visit}")).await;
    assert_eq!((foreign.status, &foreign.body), (404, &absent.body));
    let form = [("job", "water-test"), ("drops", "20")];
    assert_eq!(t.post(other, &format!("/stop/{visit}"), &form).await.status, 404);
    let id = Uuid::now_v7();
    assert_eq!(t.post_as(own, &format!("/stop/{visit}"), id, &form).await.status, 303);
    assert_eq!(t.get(Some(other), &format!("/kept/{id}")).await.status, 404);
    assert_eq!(t.get(Some(own), &format!("/kept/{id}")).await.status, 200);
    assert_eq!(t.get(Some(&d.office), &format!("/kept/{id}")).await.status, 200);
}

#[tokio::test]
async fn a_post_needs_the_sessions_own_token_and_its_own_site() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    let id = Uuid::now_v7().to_string();
    let pairs = |token: &str| encode(&[("form_token", token), ("id", &id), ("name", "New Person")]);
    for token in ["", &d.owner.form_token] {
        let page = t.post_raw(Some(&d.office), "/customers", &pairs(token)).await;
        assert_eq!(page.status, 422, "token {token:?}");
    }
    let from = |site: &str| {
        Request::post("/customers")
            .header(header::COOKIE, format!("embertide={}", d.office.token))
            .header(header::CONTENT_TYPE, "application/x-www-form-urlencoded")
            .header("sec-fetch-site", site)
            .body(Body::from(pairs(&d.office.form_token)))
            .unwrap()
    };
    for site in ["cross-site", "same-site"] {
        assert_eq!(t.send(from(site)).await.status, 403, "{site}");
    }
    let kept: i64 = sqlx::query_scalar("SELECT count(*) FROM customers WHERE name = 'New Person'").fetch_one(t.pool()).await.unwrap();
    assert_eq!(kept, 0);
    assert_eq!(t.send(from("same-origin")).await.status, 303);
}

#[tokio::test]
async fn every_answer_carries_the_headers() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    let token = links::make(t.pool(), d.units[0], "mail", None, t.app.clock.now()).await.unwrap();
    let mut paths: Vec<String> = faces().into_iter().filter(|f| f.0 == "GET").map(|f| filled(f.1, &token)).collect();
    paths.extend(["/nothing/here".to_owned(), "/robots.txt".to_owned(), format!("/units/{}", d.units[0])]);
    for path in paths {
        for who in [None, Some(&d.owner)] {
            let page = t.get(who, &path).await;
            let header = |name: &str| page.headers.get(name).and_then(|v| v.to_str().ok()).unwrap_or_default().to_owned();
            let policy = header("content-security-policy");
            assert!(policy.contains("default-src 'none'") && !policy.contains("unsafe"), "{path}: {policy}");
            assert_eq!(header("x-content-type-options"), "nosniff", "{path}");
            assert_eq!(header("referrer-policy"), "no-referrer", "{path}");
            assert_eq!(header("cache-control"), "no-store", "{path}");
            assert!(header("server").is_empty(), "{path}");
            assert!(
                !page.body.contains("style=\"") && !page.body.contains("<script>") && !page.body.contains("http://"),
                "{path}: inline or foreign"
            );
        }
    }
}

#[tokio::test]
async fn signing_in_opens_a_session_and_out_ends_it() {
    let t = TestApp::start().await;
    dealership::open(&t).await;
    let wrong = t.post_raw(None, "/sign-in", &encode(&[("sign_in", "office"), ("password", "not this one at all")])).await;
    assert_eq!(wrong.status, 422);
    assert!(wrong.cookie.is_none());
    let right =
        t.post_raw(None, "/sign-in", &encode(&[("sign_in", " Office "), ("password", dealership::PASSWORD), ("then", "/customers")])).await;
    assert_eq!((right.status, right.location.as_str()), (303, "/customers"));
    let cookie = right.cookie.unwrap();
    assert!(cookie.contains("HttpOnly") && cookie.contains("SameSite=Lax"), "{cookie}");
    let token = cookie.split(['=', ';']).nth(1).unwrap().to_owned();
    let who = sessions::find(t.pool(), &token, t.app.clock.now()).await.unwrap().unwrap();
    let session = Session { token, form_token: who.form_token, staff_id: who.staff_id };
    assert_eq!(t.get(Some(&session), "/customers").await.status, 200);
    assert_eq!(t.post(&session, "/sign-out", &[]).await.location, "/sign-in");
    assert!(t.get(Some(&session), "/customers").await.location.starts_with("/sign-in"));
    let abroad = t
        .post_raw(None, "/sign-in", &encode(&[("sign_in", "office"), ("password", dealership::PASSWORD), ("then", "//elsewhere.example/")]))
        .await;
    assert_eq!(abroad.location, "/", "nobody is sent to another site");
}

#[tokio::test]
async fn guessing_is_slowed_down_and_the_right_one_waits_too() {
    let t = TestApp::start().await;
    dealership::open(&t).await;
    let guess = encode(&[("sign_in", "owner"), ("password", "a guess of some length")]);
    for _ in 0..5 {
        assert_eq!(t.post_raw(None, "/sign-in", &guess).await.status, 422);
    }
    let right = encode(&[("sign_in", "owner"), ("password", dealership::PASSWORD)]);
    let page = t.post_raw(None, "/sign-in", &right).await;
    assert_eq!(page.status, 429);
    assert!(page.headers.contains_key(header::RETRY_AFTER));
    let other = encode(&[("sign_in", "office"), ("password", dealership::PASSWORD)]);
    assert_eq!(t.post_raw(None, "/sign-in", &other).await.status, 303, "others are not held up");
}

#[tokio::test]
async fn shut_out_and_demoted_people_lose_their_sessions_reach() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    let shut = t.post(&d.owner, &format!("/settings/staff/{}/active", d.office.staff_id), &[("active", "no")]).await;
    assert_eq!(shut.status, 303);
    assert!(t.get(Some(&d.office), "/due").await.location.starts_with("/sign-in"));
    sqlx::query("UPDATE staff SET role = 'technician' WHERE id = $1").bind(d.juno.staff_id).execute(t.pool()).await.unwrap();
    assert_eq!(t.get(Some(&d.juno), "/due").await.status, 403);
    let last = t.post(&d.owner, &format!("/settings/staff/{}/active", d.owner.staff_id), &[("active", "no")]).await;
    assert_eq!(last.status, 422, "the last owner keeps the keys");
}

#[tokio::test]
async fn a_setup_link_works_once_and_asks_for_a_real_password() {
    let t = TestApp::start().await;
    let token = staff::make_setup_link(t.pool(), None, t.app.clock.now()).await.unwrap();
    let path = format!("/setup/{token}");
    let form = |password: &str| encode(&[("name", "Orla Pennifold"), ("sign_in", "orla"), ("password", password), ("again", password)]);
    let short = t.post_raw(None, &path, &form("short")).await;
    assert!(short.status == 422 && short.text(".wrong").contains("15 characters"), "{}", short.text("main"));
    let made = t.post_raw(None, &path, &form("heaters hum at dusk")).await;
    assert_eq!(made.status, 303, "{}", made.text("main"));
    assert_eq!(t.post_raw(None, &path, &form("heaters hum at dawn")).await.status, 404);
    let person = &staff::all(t.pool()).await.unwrap()[0];
    assert!(person.role == Role::Owner && person.sign_in == "orla");
    let since: time::Date = sqlx::query_scalar("SELECT records_since FROM dealer").fetch_one(t.pool()).await.unwrap();
    assert_eq!(since, t.app.clock.now().date(), "records begin with the first owner");
    let hash: String = sqlx::query_scalar("SELECT password_hash FROM staff").fetch_one(t.pool()).await.unwrap();
    assert!(hash.starts_with("$argon2id$") && !hash.contains("dusk"));
}

#[tokio::test]
async fn no_living_token_is_stored_in_the_clear() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    let link = links::make(t.pool(), d.units[0], "mail", None, t.app.clock.now()).await.unwrap();
    let setup = staff::make_setup_link(t.pool(), None, t.app.clock.now()).await.unwrap();
    t.get(None, &format!("/w/{link}")).await;
    let tables: Vec<String> =
        sqlx::query_scalar("SELECT tablename::text FROM pg_tables WHERE schemaname = 'public'").fetch_all(t.pool()).await.unwrap();
    for table in tables {
        let rows: Vec<String> =
            sqlx::query_scalar(sqlx::AssertSqlSafe(format!("SELECT x::text FROM {table} x"))).fetch_all(t.pool()).await.unwrap();
        for token in [&link, &setup, &d.office.token] {
            assert!(!rows.iter().any(|r| r.contains(token.as_str())), "{table} holds a token");
        }
    }
}

#[tokio::test]
async fn reading_pages_changes_nothing() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    let token = links::make(t.pool(), d.units[0], "mail", None, t.app.clock.now()).await.unwrap();
    let before = everything(&t).await;
    for (method, path, _) in faces() {
        if method == "GET" {
            t.get(Some(&d.owner), &filled(path, &token)).await;
        }
    }
    assert_eq!(before, everything(&t).await);
}

async fn everything(t: &TestApp) -> Vec<(String, String)> {
    let tables: Vec<String> = sqlx::query_scalar("SELECT tablename::text FROM pg_tables WHERE schemaname = 'public' ORDER BY 1")
        .fetch_all(t.pool())
        .await
        .unwrap();
    let mut all = Vec::new();
    for table in tables {
        let sum: Option<String> =
            sqlx::query_scalar(sqlx::AssertSqlSafe(format!("SELECT md5(string_agg(x::text, '|' ORDER BY x::text)) FROM {table} x")))
                .fetch_one(t.pool())
                .await
                .unwrap();
        all.push((table, sum.unwrap_or_default()));
    }
    all
}

#[tokio::test]
async fn ones_own_password_is_changed_by_whoever_knows_it() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    let elsewhere = t.session(d.office.staff_id, Role::Office).await;
    let form = |old, new, again| [("password", old), ("new", new), ("again", again)];
    let (old, new) = (dealership::PASSWORD, "heaters hum at dusk");
    for (wrong, says) in [
        (form("something else entirely", new, new), "That is not your password"),
        (form(old, new, "heaters hum at dawn"), "differ"),
        (form(old, "short", "short"), "15 characters"),
        (form(old, "office office office", "office office office"), "easy to guess"),
    ] {
        let refused = t.post(&d.office, "/account/password", &wrong).await;
        assert!(refused.status == 422 && refused.text("main").contains(says), "{says}: {}", refused.text("main"));
    }
    assert_eq!(t.get(Some(&elsewhere), "/due").await.status, 200);
    let changed = t.post(&d.office, "/account/password", &form(old, new, new)).await;
    assert_eq!((changed.status, changed.location.as_str(), changed.cookie.is_some()), (303, "/account", true), "signed in anew here");
    assert!(t.get(Some(&elsewhere), "/due").await.location.starts_with("/sign-in"), "and out elsewhere");
    let enter = |password: &str| encode(&[("sign_in", "office"), ("password", password)]);
    assert_eq!(t.post_raw(None, "/sign-in", &enter(old)).await.status, 422);
    assert_eq!(t.post_raw(None, "/sign-in", &enter(new)).await.status, 303);
    let kept: i64 = sqlx::query_scalar("SELECT count(*) FROM submissions WHERE position('dusk' in convert_from(body, 'UTF8')) > 0")
        .fetch_one(t.pool())
        .await
        .unwrap();
    assert_eq!(kept, 0, "no password is among the forms that are kept");
    // Guessing here is held up like guessing at the door.
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    for _ in 0..5 {
        t.post(&d.office, "/account/password", &form("something else entirely", new, new)).await;
    }
    assert_eq!(t.post(&d.office, "/account/password", &form(old, new, new)).await.status, 429);
}
