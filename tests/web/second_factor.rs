//! The second factor: whoever turned it on is asked for a code, and a password alone opens nothing.

use super::support::{Page, TestApp, dealership, encode};
use embertide::secrets;
use time::{Duration, OffsetDateTime};
use uuid::Uuid;

async fn key(t: &TestApp, who: Uuid) -> [u8; 20] {
    let key: Vec<u8> =
        sqlx::query_scalar("SELECT key FROM second_factors WHERE staff_id = $1").bind(who).fetch_one(t.pool()).await.unwrap();
    key.try_into().unwrap()
}

/// What the phone shows.
fn shown(key: &[u8; 20], at: OffsetDateTime) -> String {
    format!("{:06}", secrets::code_of(key, secrets::step_of(at.unix_timestamp())).unwrap())
}

/// Turns it on for the office; answers with the key and the spare codes.
async fn turned_on(t: &TestApp, d: &dealership::Dealership) -> ([u8; 20], Vec<String>) {
    assert_eq!(t.post(&d.office, "/account/second-factor", &[]).await.status, 303);
    let key = key(t, d.office.staff_id).await;
    let page = t.get(Some(&d.office), "/account").await;
    assert!(page.text("main").replace(' ', "").contains(&secrets::base32(&key)), "{}", page.text("main"));
    assert_eq!(t.post(&d.office, "/account/second-factor/confirm", &[("code", "000000")]).await.status, 422);
    let on = t.post(&d.office, "/account/second-factor/confirm", &[("code", &shown(&key, t.app.clock.now()))]).await;
    assert_eq!(on.status, 200, "{}", on.text("main"));
    let spare: Vec<String> = on.text(".said .num").split_whitespace().map(str::to_owned).collect();
    let spare = if spare.len() == 8 {
        spare
    } else {
        on.text(".said .num").as_bytes().chunks(11).map(|c| String::from_utf8_lossy(c).into_owned()).collect()
    };
    assert_eq!(spare.len(), 8, "{spare:?}");
    assert!(!t.get(Some(&d.office), "/account").await.body.contains(&spare[0]), "shown once");
    (key, spare)
}

/// Name and password; the answer, and the token of the page that asks for the code, if it does.
async fn password(t: &TestApp) -> (Page, Option<String>) {
    let page =
        t.post_raw(None, "/sign-in", &encode(&[("sign_in", "office"), ("password", dealership::PASSWORD), ("then", "/customers")])).await;
    let step = page.attrs("input[name=step]", "value").into_iter().next();
    (page, step)
}

async fn code(t: &TestApp, step: &str, code: &str) -> Page {
    t.post_raw(None, "/sign-in/code", &encode(&[("step", step), ("code", code), ("then", "/customers")])).await
}

#[tokio::test]
async fn a_password_alone_opens_nothing_and_a_code_opens_once() {
    let mut t = TestApp::start().await;
    let d = dealership::open(&t).await;
    assert_eq!(password(&t).await.0.status, 303, "before, the password was enough");
    let (key, _) = turned_on(&t, &d).await;
    let (page, step) = password(&t).await;
    assert_eq!((page.status, page.cookie.is_none()), (200, true), "no session yet");
    let step = step.unwrap();
    let now = t.app.clock.now();
    // The code that turned it on was taken; the one after is not.
    assert_eq!(code(&t, &step, &shown(&key, now)).await.status, 422, "a code is taken once");
    t.on(now + Duration::seconds(30));
    let right = shown(&key, t.app.clock.now());
    assert_eq!(code(&t, "no such sign-in", &right).await.status, 422);
    let opened = code(&t, &step, &right).await;
    assert_eq!((opened.status, opened.location.as_str(), opened.cookie.is_none()), (303, "/customers", false));
    assert_eq!(code(&t, &step, &right).await.status, 422, "that sign-in is over");
    let (_, again) = password(&t).await;
    assert_eq!(code(&t, &again.unwrap(), &right).await.status, 422, "nor does the same code open another");
    let (_, late) = password(&t).await;
    t.on(now + Duration::minutes(12));
    assert_eq!(code(&t, &late.unwrap(), &shown(&key, t.app.clock.now())).await.status, 422, "ten minutes are over");
}

#[tokio::test]
async fn guessing_codes_is_held_up_like_guessing_passwords() {
    let mut t = TestApp::start().await;
    let d = dealership::open(&t).await;
    let (key, _) = turned_on(&t, &d).await;
    t.on(t.app.clock.now() + Duration::minutes(1));
    let (_, step) = password(&t).await;
    let step = step.unwrap();
    for guess in 0..5 {
        assert_eq!(code(&t, &step, &format!("{guess:06}")).await.status, 422);
    }
    assert_eq!(code(&t, &step, &shown(&key, t.app.clock.now())).await.status, 429, "even the right one has to wait now");
    assert_eq!(password(&t).await.0.status, 429);
}

#[tokio::test]
async fn a_spare_code_opens_once_and_the_owner_helps_whoever_has_none() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    let (_, spare) = turned_on(&t, &d).await;
    let (_, step) = password(&t).await;
    assert_eq!(code(&t, &step.unwrap(), &spare[3].to_lowercase()).await.status, 303);
    let (_, step) = password(&t).await;
    assert_eq!(code(&t, &step.unwrap(), &spare[3]).await.status, 422);
    assert_eq!(t.post(&d.office, "/account/second-factor/off", &[("password", "something else entirely")]).await.status, 422);
    assert!(password(&t).await.1.is_some(), "it is still on");
    let settings = t.get(Some(&d.owner), "/settings").await;
    let off = format!("/settings/staff/{}/second-factor-off", d.office.staff_id);
    assert!(settings.attrs("form", "action").contains(&off));
    assert_eq!(t.post(&d.owner, &off, &[]).await.status, 303);
    assert!(t.get(Some(&d.office), "/due").await.location.starts_with("/sign-in"), "their sessions end");
    assert_eq!(password(&t).await.0.status, 303);
}

#[tokio::test]
async fn where_it_is_needed_the_office_sees_its_own_account_until_it_has_one() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    assert_eq!(t.post(&d.owner, "/settings/second-factor", &[("needed", "yes")]).await.status, 303);
    for who in [&d.office, &d.owner] {
        for path in ["/due", "/week/2026-W41", "/customers"] {
            let page = t.get(Some(who), path).await;
            assert_eq!((page.status, page.location.as_str()), (303, "/account"), "{path}");
        }
        assert!(t.get(Some(who), "/account").await.text("main").contains("It is needed here"));
    }
    assert_eq!(t.post(&d.office, "/customers", &[("name", "New Person")]).await.location, "/account", "nor does it write");
    let route = t.get(Some(&d.wick), "/route/2026-10-05").await;
    assert_eq!((route.status, route.location.as_str()), (200, ""), "technicians go on working");
    turned_on(&t, &d).await;
    assert_eq!(t.get(Some(&d.office), "/due").await.status, 200);
    assert_eq!(t.get(Some(&d.owner), "/due").await.location, "/account");
}

/// A link for a new password replaces the password, not the phone.
#[tokio::test]
async fn a_new_password_does_not_go_round_the_code() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    turned_on(&t, &d).await;
    let link = embertide::store::staff::make_setup_link(t.pool(), Some(d.office.staff_id), t.app.clock.now()).await.unwrap();
    let new = [("password", "five quite other words here"), ("again", "five quite other words here")];
    let chosen = t.post_raw(None, &format!("/setup/{link}"), &encode(&new)).await;
    assert_eq!((chosen.status, chosen.location.as_str(), chosen.cookie), (303, "/sign-in", None));
}

#[tokio::test]
async fn the_keys_leave_the_house_in_no_list() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    turned_on(&t, &d).await;
    let options = t.pool().connect_options();
    let mut snapshot = embertide::store::copies::Snapshot::open(&options).await.unwrap();
    let tables: Vec<String> = snapshot.shapes().await.unwrap().into_iter().map(|s| s.name).collect();
    assert!(tables.contains(&"customers".to_owned()));
    assert!(!tables.iter().any(|t| ["second_factors", "spare_codes", "sign_in_steps", "sessions"].contains(&t.as_str())), "{tables:?}");
    snapshot.close().await.unwrap();
}
