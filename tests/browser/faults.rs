//! What goes wrong on the way from a phone to the office, one thing at a time.

use super::yard::{NO_LINE, NO_SYNC, stored, yard};
use std::sync::atomic::Ordering::Relaxed;

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn three_windows_at_once_post_an_item_once() {
    let y = yard().await;
    y.pack().await;
    y.at_stop(0).await;
    y.b.run(NO_LINE).await;
    y.b.run(NO_SYNC).await;
    y.b.fill("#drops", "18").await;
    y.b.press("Keep this report").await;
    y.b.wait("#kept-words.st-kept").await;
    // The turn is held here until both others wait for it.
    y.b.run("navigator.locks.request('outbox', () => new Promise((go) => (window.go = go)))").await;
    y.b.until("return (await navigator.locks.query()).held.length === 1").await;
    let first = y.b.another().await;
    y.b.goto(&y.route).await;
    let _second = y.b.another().await;
    y.b.goto("/on-this-phone").await;
    y.b.until("return (await navigator.locks.query()).pending.length >= 2").await;
    assert_eq!((y.office.posts.load(Relaxed), stored(&y.b, "out").await), (0, 1));
    y.b.turn_to(first).await;
    y.b.run("go()").await;
    y.b.until("const all = await navigator.locks.query(); return (await outbox.all('sent')).length === 1 && !all.held.length && !all.pending.length").await;
    assert_eq!((y.office.posts.load(Relaxed), y.reports().await), (1, 1));
    y.b.close().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn an_office_in_trouble_is_asked_again_until_it_is_well() {
    let y = yard().await;
    y.pack().await;
    y.office.in_trouble.store(true, Relaxed);
    y.at_stop(0).await;
    y.b.fill("#drops", "18").await;
    y.b.press("Keep this report").await;
    y.b.until("return document.querySelector('#strip').textContent.includes('The office does not take it just now')").await;
    assert_eq!((stored(&y.b, "out").await, y.reports().await), (1, 0));
    assert!(y.office.posts.load(Relaxed) >= 1);
    y.office.in_trouble.store(false, Relaxed);
    y.b.until("dispatchEvent(new Event('online')); return (await outbox.all('sent')).length === 1").await;
    assert_eq!((stored(&y.b, "out").await, y.reports().await), (0, 1));
    y.b.close().await;
}

/// Nothing that was typed may go with the room.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_full_phone_says_so_and_keeps_the_sheet_open() {
    let mut y = yard().await;
    y.pack().await;
    y.office.leave().await;
    y.at_stop(0).await;
    y.b.run("Storage.prototype.setItem = function () { throw new DOMException('full', 'QuotaExceededError'); }").await;
    y.b.run("window.real = IDBObjectStore.prototype.add; IDBObjectStore.prototype.add = function () { throw new DOMException('full', 'QuotaExceededError'); }").await;
    y.b.fill("#drops", "18").await;
    y.b.fill("#note", "typed with cold hands").await;
    y.b.press("Keep this report").await;
    assert!(y.b.wait("#faults:not([hidden])").await.contains("Not kept: QuotaExceededError"));
    assert_eq!((y.b.value("#drops").await.as_str(), y.b.value("#note").await.as_str()), ("18", "typed with cold hands"));
    assert_eq!(stored(&y.b, "out").await, 0);
    y.b.run("IDBObjectStore.prototype.add = real").await;
    y.b.press("Keep this report").await;
    y.b.wait("#kept-words.st-kept").await;
    assert_eq!(stored(&y.b, "out").await, 1);
    // What the page remembers for its next opening is left, the report is not.
    y.office.start(&y.t).await;
    y.b.run("dispatchEvent(new Event('online'))").await;
    y.b.wait("#kept-words.st-sent").await;
    y.b.close().await;
}

/// Some browsers ask the person whether a site may keep things, and the person may not answer.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_question_that_nobody_answers_holds_nothing_up() {
    let y = yard().await;
    y.b.run("Object.defineProperty(navigator, 'storage', { value: { persist: () => new Promise(() => {}), estimate: () => new Promise(() => {}) } })")
        .await;
    y.pack().await;
    y.b.close().await;
}

/// People type what they see on the kit, the jug and the dial.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn figures_are_taken_as_people_type_them() {
    let y = yard().await;
    y.pack().await;
    y.at_stop(0).await;
    for (typed, row) in [("13 drops", "650 mg/L"), (" 13 ", "650 mg/L"), ("1 drop", "50 mg/L")] {
        y.b.fill("#drops", typed).await;
        assert!(y.b.text("#tell").await.contains(row), "{typed}: {}", y.b.text("#tell").await);
    }
    y.b.fill("#drops", "13 drops").await;
    y.b.fill("#ph", "8.9").await;
    y.b.click("#sheet details:has(#meter) summary").await;
    y.b.fill("#meter", "1,050 gal").await;
    y.b.fill("#put_in", "22 fl oz").await;
    y.b.press("Keep this report").await;
    assert!(y.b.wait("p.said").await.contains("The office has it"));
    let (drops, ph): (i64, i64) = sqlx::query_as(
        "SELECT (SELECT value_milli FROM readings WHERE what = 'inhibitor' AND test_id = t.id), (SELECT value_milli FROM readings WHERE what = 'ph' AND test_id = t.id)
         FROM water_tests t WHERE report_id IS NOT NULL",
    )
    .fetch_one(y.t.pool())
    .await
    .unwrap();
    assert_eq!((drops, ph), (650_000, 8_900), "13 drops of 50 mg/L; pH 8.9");
    // 22 US fluid ounces are 650.6 mL (29.5735 mL each, NIST Handbook 44, appendix C), 1,050 US gallons 3,974.7 L.
    let ml: i64 = sqlx::query_scalar("SELECT amount_ml FROM doses WHERE report_id IS NOT NULL").fetch_one(y.t.pool()).await.unwrap();
    assert!((650..=651).contains(&ml), "{ml}");
    y.b.close().await;
}

/// At the unit it can still be mended; in the office nobody can count the drops.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn what_is_missing_is_told_at_the_unit_and_nothing_is_kept_yet() {
    let mut y = yard().await;
    y.pack().await;
    y.office.leave().await;
    y.at_stop(0).await;
    y.b.press("Keep this report").await;
    assert!(y.b.wait("#faults:not([hidden])").await.contains("Count the drops"));
    assert_eq!((stored(&y.b, "out").await, y.b.later("return document.activeElement.id").await.as_str()), (0, Some("faults")));
    y.b.click("#sheet ~ details summary").await;
    y.b.click(".choice label:has([value=Other])").await;
    y.b.press("Keep it as not done").await;
    y.b.until("return document.querySelector('#faults').textContent.includes('Say in the note why')").await;
    y.b.fill("#nd-note", "bull in the yard").await;
    y.b.press("Keep it as not done").await;
    y.b.wait("#kept-words.st-kept").await;
    assert_eq!(stored(&y.b, "out").await, 1);
    y.b.close().await;
}
