//! How much an ordinary report asks of cold hands.

use super::yard::{Yard, stored, yard};

/// Counts what a finger does: each press, and each key of the phone's own keyboard.
struct Finger<'a> {
    y: &'a Yard,
    taps: usize,
}

impl Finger<'_> {
    async fn press(&mut self, css: &str) {
        self.y.b.click(css).await;
        self.taps += 1;
    }

    async fn type_in(&mut self, css: &str, keys: &str) {
        self.y.b.fill(css, keys).await;
        self.taps += 1 + keys.len();
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn an_ordinary_report_takes_fifteen_taps_at_most() {
    let mut y = yard().await;
    sqlx::query("DELETE FROM visit_jobs WHERE visit_id = $1 AND job_code <> 'water-test'")
        .bind(y.visits[0])
        .execute(y.t.pool())
        .await
        .unwrap();
    y.b.goto(&y.route).await;
    y.b.wait("html[data-phone]").await;
    y.pack().await;
    y.office.leave().await;
    y.b.goto(&y.route).await;
    y.b.wait("html[data-phone]").await;
    // From the day's list to the report kept: drops, pH, dose as shown, each step of the water test ticked, arrival noted.
    let mut f = Finger { y: &y, taps: 0 };
    f.press(&format!("a[href='/stop/{}']", y.visits[0])).await;
    y.b.wait("html[data-phone] #sheet").await;
    f.press("#here").await;
    f.type_in("#drops", "8").await;
    f.type_in("#ph", "8.9").await;
    assert!(y.b.text("#as-shown").await.starts_with("I put in "), "{}", y.b.text("#as-shown").await);
    f.press("#as-shown").await;
    assert_eq!(y.b.value("#put_in").await, y.b.value("#dose_shown_ml").await);
    let steps = y.b.number("return document.querySelectorAll('[name=done]').length").await;
    for n in 0..steps {
        y.b.run(&format!("document.querySelectorAll('[name=done]')[{n}].id = 'step-{n}'")).await;
        f.press(&format!("label:has(#step-{n})")).await;
    }
    f.press(".bar button").await;
    y.b.wait("#kept-words.st-kept").await;
    println!("an ordinary report: {} taps, {steps} steps of its checklist among them", f.taps);
    assert!(f.taps <= 15, "{} taps", f.taps);
    assert_eq!(stored(&y.b, "out").await, 1);
    // In acid water no dose is offered to be pressed.
    let mut y = y;
    y.office.start(&y.t).await;
    y.at_stop(1).await;
    y.b.fill("#drops", "8").await;
    y.b.fill("#ph", "6.4").await;
    assert!(y.b.text("#tell").await.contains("Hold"));
    assert_eq!(y.b.text("#as-shown").await, "");
    y.b.close().await;
}
