//! A form that is refused: what was typed into it stands in it again.

use super::{
    Served,
    driver::{Browser, DESK, needs_chromium},
    support::{TestApp, dealership},
};
use embertide::store::customers;

struct Desk {
    t: TestApp,
    d: dealership::Dealership,
    b: Browser,
    /// Ends with it.
    _served: Served,
}

/// The office has a customer's page open, all of its forms unfolded.
async fn at_a_customer() -> Desk {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    let served = Served::start(&t).await;
    let b = Browser::open(&served.base).await;
    b.window(DESK).await;
    b.sign_in("office").await;
    b.goto(&format!("/customers/{}", d.alder)).await;
    b.wait("html[data-ready]").await;
    b.run("for (const d of document.querySelectorAll('details')) d.open = true").await;
    Desk { t, d, b, _served: served }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn what_was_typed_into_a_refused_form_comes_back() {
    if needs_chromium() {
        return;
    }
    let Desk { b, .. } = &at_a_customer().await;
    // The second of the two forms for places: the one for a new place, in a part that is folded up.
    b.fill("#pn", "The far barn").await;
    b.fill("#pp", "44.63; north").await;
    b.fill("#pc", "Gate on the left, code 7").await;
    b.press("Keep this place").await;
    assert!(b.wait(".wrong").await.contains("is no position"));
    b.wait("html[data-ready]").await;
    assert_eq!(b.text("a[data-back]").await, "Back to what you typed");
    b.click("a[data-back]").await;
    assert!(b.wait("form .wrong").await.contains("is no position"), "said at the form");
    assert_eq!(b.value("#pn").await, "The far barn");
    assert_eq!(b.value("#pc").await, "Gate on the left, code 7");
    assert_eq!(b.number("return document.querySelectorAll('details[open]').length").await, 1, "that form is open and no other");
    assert_eq!(b.number("return document.activeElement.matches('.wrong') ? 1 : 0").await, 1, "and read out");
    b.fill("#pp", "44.63, -74.93").await;
    b.press("Keep this place").await;
    b.until("return document.querySelector('main').innerText.includes('The far barn') && !document.querySelector('.wrong')").await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn two_people_at_once_see_both_what_stands_and_what_was_typed() {
    if needs_chromium() {
        return;
    }
    let Desk { t, d, b, .. } = &at_a_customer().await;
    b.fill("#phone", "555-0123").await;
    b.fill("#note", "Rings back in the evening").await;
    // Meanwhile somebody else.
    let mut customer = customers::get(t.pool(), d.alder).await.unwrap();
    (customer.phone, customer.note) = ("555-0199".to_owned(), "Rings back in the evening".to_owned());
    customers::change(t.pool(), &customer).await.unwrap();
    b.press("Keep the change").await;
    b.wait("html[data-ready] a[data-back]").await;
    b.click("a[data-back]").await;
    let said = b.wait("form .wrong").await;
    assert!(said.contains("You typed: Phone: “555-0123”."), "what differs and nothing else: {said}");
    assert_eq!(b.value("#phone").await, "555-0199", "the form holds what stands now");
    assert_eq!(customers::get(t.pool(), d.alder).await.unwrap().phone, "555-0199");
}

/// The session ends while a form is filled in.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn what_was_typed_before_one_had_to_sign_in_again_comes_back() {
    if needs_chromium() {
        return;
    }
    let Desk { b, d, .. } = &at_a_customer().await;
    b.fill("#pn", "The far barn").await;
    b.forget().await;
    b.press("Keep this place").await;
    b.wait("#password").await;
    b.wait("html[data-ready]").await;
    b.fill("#sign_in", "office").await;
    b.fill("#password", "mistyped").await;
    b.press("Sign in").await;
    b.wait(".wrong").await;
    b.wait("html[data-ready]").await;
    b.fill("#password", dealership::PASSWORD).await;
    b.press("Sign in").await;
    assert!(b.wait("form .wrong").await.contains("sign in again"));
    assert_eq!(b.value("#pn").await, "The far barn");
    assert!(b.later("return location.pathname").await.as_str().unwrap().ends_with(&d.alder.to_string()));
}
