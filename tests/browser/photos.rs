//! Photos in a real browser: taken without a signal, made small, kept when the phone dies, sent after the sheet, seen in the office.

use super::{
    Served,
    driver::{Browser, DESK, PHONE},
    support::{TestApp, dealership},
    yard::{Yard, stored, yard},
};
use serde_json::{Value, json};
use std::path::PathBuf;
use uuid::Uuid;

/// Pictures by another program, with the notes of a camera (`tests/reference/photos.py`).
fn camera(name: &str) -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("tests/reference/photos").join(name)
}

/// A picture of 2400 by 1800 pixels of noise, which no quality makes small: chosen as if from the camera.
const NOISE: &str = "
    const canvas = Object.assign(document.createElement('canvas'), { width: 2400, height: 1800 });
    const pen = canvas.getContext('2d'), all = pen.createImageData(2400, 1800);
    let x = 1;
    for (let i = 0; i < all.data.length; i++) { x = (x * 1103515245 + 12345) & 0x7fffffff; all.data[i] = i % 4 === 3 ? 255 : x >> 16; }
    pen.putImageData(all, 0, 0);
    const blob = await new Promise((done) => canvas.toBlob(done, 'image/jpeg', 0.95));
    const files = new DataTransfer();
    files.items.add(new File([blob], 'large.jpg', { type: 'image/jpeg' }));
    const shoot = document.getElementById('shoot');
    shoot.files = files.files;
    shoot.dispatchEvent(new Event('change'));
    return blob.size";

/// No room for anything as large as a photo.
const FULL: &str = "const real = IDBObjectStore.prototype.add; IDBObjectStore.prototype.add = function (value) {
    if (this.name === 'photo') throw new DOMException('full', 'QuotaExceededError');
    return real.call(this, value); }";

impl Yard {
    /// The photos on the phone: size, sides, caption and whether each is sent.
    async fn shots(&self) -> Vec<Value> {
        let script = "
            const out = [];
            for (const p of await photos.all()) {
                const map = await createImageBitmap(new Blob([p.bytes]));
                const text = String.fromCharCode(...new Uint8Array(p.bytes.slice(0, 1000)));
                out.push({ bytes: p.bytes.byteLength, width: map.width, height: map.height, caption: p.caption, sent: !!p.sent,
                    notes: /Exif|INVENTED|GPS/.test(text) });
            }
            return out";
        serde_json::from_value(self.b.later(script).await).unwrap()
    }

    async fn until_shots(&self, n: usize) {
        self.b.until(&format!("return document.querySelectorAll('.shots li').length === {n}")).await;
    }

    async fn rows(&self) -> Vec<(Option<Uuid>, String, i32)> {
        sqlx::query_as("SELECT report_id, caption, bytes FROM photos ORDER BY id").fetch_all(self.t.pool()).await.unwrap()
    }

    /// The office finds both photos of a report, on its page and on the unit's.
    async fn office_sees(&self, report: Uuid) {
        self.b.forget().await;
        self.b.window(DESK).await;
        self.b.sign_in("office").await;
        let unit: Uuid = sqlx::query_scalar("SELECT unit_id FROM photos LIMIT 1").fetch_one(self.t.pool()).await.unwrap();
        for page in [format!("/reports/{report}"), format!("/units/{unit}")] {
            self.b.goto(&page).await;
            self.b.run("document.querySelector('.shots').scrollIntoView()").await;
            self.b.until("const all = [...document.querySelectorAll('.shots img')]; return all.length === 2 && all.every((i) => i.complete && i.naturalWidth > 0)").await;
            assert_eq!(self.b.number(super::VIOLATIONS).await, 0, "{page}");
        }
        self.b.screenshot("photos-unit-desk").await;
        self.b.goto(&format!("/reports/{report}")).await;
        self.b.screenshot("photos-report-desk").await;
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn photos_are_taken_without_a_signal_and_reach_the_office_after_the_sheet() {
    let mut y = yard().await;
    y.pack().await;
    y.office.leave().await;
    y.at_stop(0).await;
    y.b.choose("#shoot", &[camera("place-6.jpg")]).await;
    y.until_shots(1).await;
    y.b.fill(".shots input", "Plate").await;
    let large = y.b.later(NOISE).await.as_u64().unwrap();
    assert!(large > 1_000_000, "{large}");
    y.until_shots(2).await;
    y.b.choose("#shoot", &[camera("grey.jpg")]).await;
    y.until_shots(3).await;
    // The battery dies: they are there again, with their words; one is taken off.
    y.at_stop(0).await;
    y.until_shots(3).await;
    assert_eq!(y.b.value(".shots input").await, "Plate");
    y.b.run("document.querySelector('#shots').scrollIntoView()").await;
    y.b.screenshot("photos-stop-phone").await;
    y.b.run("document.querySelector('.shots li:last-child button').click()").await;
    y.until_shots(2).await;
    let shots = y.shots().await;
    assert_eq!(shots.len(), 2);
    for s in &shots {
        assert!(s["bytes"].as_u64().unwrap() <= 500_000 && s["notes"] == false && s["sent"] == false, "{s}");
    }
    assert_eq!((&shots[0]["width"], &shots[0]["height"]), (&json!(32), &json!(48)), "upright, as it was taken");
    assert!(shots[1]["width"].as_u64().unwrap() <= 1600 && shots[1]["width"].as_u64() > shots[1]["height"].as_u64(), "{}", shots[1]);

    // Nothing is sent before the sheet is kept.
    y.office.start(&y.t).await;
    y.b.run("dispatchEvent(new Event('online'))").await;
    y.b.until("return (await fetch('/health')).ok && navigator.onLine").await;
    assert_eq!(y.rows().await.len(), 0);
    y.office.leave().await;
    y.b.fill("#drops", "8").await;
    y.b.press("Keep this report").await;
    y.b.wait("#kept-words.st-kept").await;
    assert!(y.b.text("#strip").await.contains("3 kept on this phone"), "the sheet and two photos: {}", y.b.text("#strip").await);
    y.b.screenshot("photos-kept-phone").await;
    assert_eq!((stored(&y.b, "out").await, y.reports().await), (1, 0));

    y.office.start(&y.t).await;
    y.b.goto(&y.route).await;
    y.b.until("dispatchEvent(new Event('online')); return !(await photos.left())").await;
    let rows = y.rows().await;
    let report: Uuid = sqlx::query_scalar("SELECT report_id FROM visit_reports").fetch_one(y.t.pool()).await.unwrap();
    assert_eq!(rows.iter().map(|r| (r.0, r.1.as_str())).collect::<Vec<_>>(), [(Some(report), "Plate"), (Some(report), "")]);
    assert!(y.shots().await.iter().all(|s| s["sent"] == true));
    y.b.goto("/on-this-phone").await;
    y.until_shots(2).await;
    y.b.screenshot("photos-on-this-phone").await;
    assert_eq!(y.t.broken_promises().await, Vec::<String>::new());

    y.office_sees(report).await;
    y.b.close().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_photo_that_does_not_fit_is_told_and_the_report_is_kept() {
    let mut y = yard().await;
    y.pack().await;
    y.office.leave().await;
    y.at_stop(0).await;
    // Chromium takes what is kept here past the room that it is given, so the fault is the store's own, by its name.
    y.b.run(FULL).await;
    y.b.later(NOISE).await;
    y.b.until("return document.querySelector('#shot-says').textContent.includes('No room for this photo')").await;
    y.b.run("document.querySelector('#shots').scrollIntoView()").await;
    y.b.screenshot("photos-no-room").await;
    y.b.fill("#drops", "8").await;
    y.b.press("Keep this report").await;
    y.b.wait("#kept-words.st-kept").await;
    assert_eq!((stored(&y.b, "out").await, y.shots().await.len()), (1, 0));
    // Room again, but little: it is said.
    y.at_stop(0).await;
    // Newer Chromium tells every page of a round figure in place of the true room, so the room is said here.
    y.b.run("navigator.storage.estimate = async () => ({ quota: 150000000, usage: 0 })").await;
    y.b.choose("#shoot", &[camera("grey.jpg")]).await;
    y.b.until("return document.querySelector('#shot-says').textContent.includes('Little room for photos')").await;
    y.office.start(&y.t).await;
    y.b.goto(&y.route).await;
    y.b.until("dispatchEvent(new Event('online')); return !(await photos.left()) && !(await outbox.all('out')).length").await;
    assert_eq!((y.reports().await, y.rows().await.len()), (1, 1));
    y.b.close().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn four_are_the_most_a_lost_answer_doubles_nothing_and_a_file_that_is_none_is_told() {
    let y = yard().await;
    y.at_stop(0).await;
    y.b.choose("#shoot", &[PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("Cargo.toml")]).await;
    y.b.until("return document.querySelector('#shot-says').textContent.includes('no picture')").await;
    let five = ["grey.jpg", "inks.jpg", "passes.jpg", "palette.png", "restarts.jpg"].map(camera);
    y.b.choose("#shoot", &five).await;
    y.until_shots(4).await;
    y.b.until("return document.querySelector('#shot-says').textContent.includes('Four photos')").await;
    // Every answer to a piece is lost once.
    y.b.run(
        "const real = fetch, lost = new Set();
         window.fetch = async (...a) => {
           const answer = await real(...a), path = String(a[0]).split('?')[0];
           if (path.includes('/from/') && !lost.has(path)) { lost.add(path); throw new TypeError('lost'); }
           return answer;
         }",
    )
    .await;
    y.b.fill("#drops", "18").await;
    y.b.press("Keep this report").await;
    assert!(y.b.wait("p.said").await.contains("The office has it"));
    y.b.until("dispatchEvent(new Event('online')); return 'phone' in document.documentElement.dataset && !(await photos.left())").await;
    assert_eq!(y.rows().await.len(), 4);
    y.b.goto(&format!("/kept/{}", y.rows().await[0].0.unwrap())).await;
    y.b.wait("html[data-phone]").await;
    y.b.choose("#shoot", &[camera("grey.jpg")]).await;
    y.b.until("return document.querySelector('#shot-says').textContent.includes('Four photos')").await;
    y.b.run("document.querySelector('#photos').scrollIntoView()").await;
    y.b.screenshot("photos-kept-report-phone").await;
    y.b.close().await;
}

/// The judge is the browser: what it draws of the original and of what the office kept must be the same, the same way up.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn what_the_office_kept_looks_like_the_original() {
    let y = yard().await;
    y.at_stop(0).await;
    y.b.fill("#drops", "18").await;
    y.b.press("Keep this report").await;
    y.b.wait("p.said").await;
    let names = ["place-5.jpg", "place-6.jpg", "place-8.jpg", "palette.png"];
    let files: Vec<Vec<u8>> = names.iter().map(|n| std::fs::read(camera(n)).unwrap()).collect();
    let script = format!(
        "const files = {}.map((bytes) => new Blob([new Uint8Array(bytes)]));
         const form = new FormData(document.querySelector('#shots-form form'));
         form.delete('photo');
         files.forEach((f) => form.append('photo', f, 'p'));
         const answer = await fetch(document.querySelector('#shots-form form').action, {{ method: 'POST', body: form }});
         const page = new DOMParser().parseFromString(await answer.text(), 'text/html');
         const kept = [...page.querySelectorAll('[data-photo]')].map((a) => a.getAttribute('href'));
         const drawn = async (src) => {{
           const img = Object.assign(new Image(), {{ src }});
           await img.decode();
           const canvas = Object.assign(document.createElement('canvas'), {{ width: img.naturalWidth, height: img.naturalHeight }});
           const pen = canvas.getContext('2d');
           pen.drawImage(img, 0, 0);
           return [canvas.width, canvas.height, ...pen.getImageData(0, 0, canvas.width, canvas.height).data];
         }};
         const worst = [];
         for (const [n, href] of kept.entries()) {{
           const [a, b] = [await drawn(URL.createObjectURL(files[n])), await drawn(href)];
           worst.push(a.length !== b.length || a[0] !== b[0] ? 999 : Math.max(...a.map((x, i) => Math.abs(x - b[i]))));
         }}
         return worst",
        serde_json::to_string(&files).unwrap()
    );
    let worst: Vec<u64> = serde_json::from_value(y.b.later(&script).await).unwrap();
    assert_eq!(worst.len(), 4);
    // One of them had a colour profile, for the very colours that are meant without one.
    assert!(worst.iter().all(|w| *w <= 2), "{worst:?}");
    y.b.close().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn photos_can_be_added_without_any_script() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    t.post(&d.office, "/week/2026-W41/plan", &[]).await;
    t.work().await;
    sqlx::query("UPDATE week_plans SET status = 'issued', issued_at = now()").execute(t.pool()).await.unwrap();
    let (visit, staff): (Uuid, Uuid) =
        sqlx::query_as("SELECT id, staff_id FROM visits WHERE status = 'planned' ORDER BY day, position LIMIT 1")
            .fetch_one(t.pool())
            .await
            .unwrap();
    let served = Served::start(&t).await;
    let b = Browser::with(&served.base, json!({ "profile.managed_default_content_settings.javascript": 2 })).await;
    b.window(PHONE).await;
    b.sign_in(if staff == d.wick.staff_id { "wick" } else { "juno" }).await;
    b.goto(&format!("/stop/{visit}")).await;
    assert!(b.text("form#sheet").await.contains("Photos: once it is kept"));
    b.fill("#drops", "18").await;
    b.press("Keep this report").await;
    b.wait("p.said").await;
    b.click("#shots-form summary").await;
    b.choose("#photo", &[camera("place-6.jpg"), camera("grey.jpg")]).await;
    b.fill("#caption", "chimney").await;
    b.screenshot("photos-no-script").await;
    b.press("Add them").await;
    assert!(b.wait("p.said").await.contains("Kept"));
    let rows: Vec<(String, i32)> = sqlx::query_as("SELECT caption, width FROM photos ORDER BY id").fetch_all(t.pool()).await.unwrap();
    assert_eq!(rows, [("chimney".to_owned(), 32), ("chimney".to_owned(), 48)]);
    assert!(b.text("#photos + ul").await.contains("chimney"));
    b.close().await;
}
