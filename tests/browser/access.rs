//! What the yard's pages owe to gloves, sun, old eyes and other browsers' settings. After WCAG 2.2: 1.4.1 (not by colour alone), 1.4.3 and 1.4.6
//! (contrast), 1.4.4 (text doubled), 1.4.10 (320 px), 2.4.11 (focus not hidden), 2.5.3 (label in name), 2.5.8 (targets); the yard asks more of itself.

use super::{
    Served,
    driver::{Browser, PHONE},
    support::{TestApp, dealership},
};
use uuid::Uuid;

struct Yard {
    _t: TestApp,
    _served: Served,
    b: Browser,
    pages: Vec<String>,
}

/// A technician with an issued day, and every page of the yard.
async fn yard() -> Yard {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    t.post(&d.office, "/week/2026-W41/plan", &[]).await;
    t.work().await;
    sqlx::query("UPDATE week_plans SET status = 'issued', issued_at = now()").execute(t.pool()).await.unwrap();
    let (visit, unit, staff, day): (Uuid, Uuid, Uuid, time::Date) =
        sqlx::query_as("SELECT id, unit_id, staff_id, day FROM visits WHERE status = 'planned' ORDER BY day, staff_id, position LIMIT 1")
            .fetch_one(t.pool())
            .await
            .unwrap();
    let served = Served::start(&t).await;
    let b = Browser::open(&served.base).await;
    b.window(PHONE).await;
    b.sign_in(if staff == d.wick.staff_id { "wick" } else { "juno" }).await;
    let pages = vec![
        format!("/route/{day}"),
        format!("/stop/{visit}"),
        format!("/stop/{visit}/fill"),
        "/unplanned".to_owned(),
        format!("/unplanned/{unit}"),
        "/on-this-phone".to_owned(),
    ];
    Yard { _t: t, _served: served, b, pages }
}

impl Yard {
    /// The page with everything on it opened.
    async fn open(&self, page: &str) {
        self.b.goto(page).await;
        self.b.wait("html[data-phone]").await;
        self.b.run("for (const d of document.querySelectorAll('details')) d.open = true").await;
    }

    async fn list(&self, script: &str) -> String {
        self.b.later(script).await.as_str().unwrap_or_default().to_owned()
    }
}

/// Targets that can be seen and are lower than 56 px; a link inside a sentence is let off, as in 2.5.8. Boxes to tick count with their label.
const LOW_TARGETS: &str = "return [...document.querySelectorAll('a[href], button, summary, select, textarea, input:not([type=hidden])')]
    .filter((e) => e.checkVisibility() && !e.matches('.skip, p a:not(.big), li > a:not(.big)'))
    .map((e) => (e.matches('[type=checkbox], [type=radio]') ? e.closest('label') : e))
    .filter((e) => e.getBoundingClientRect().height < 55.5).map((e) => e.outerHTML.slice(0, 90)).join('; ')";

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn everything_that_is_pressed_in_the_yard_is_56_px_high() {
    let y = yard().await;
    for page in &y.pages {
        y.open(page).await;
        assert_eq!(y.list(LOW_TARGETS).await, "", "{page}");
    }
    y.open(&y.pages[1]).await;
    y.b.run("document.querySelector('summary').style.cssText = 'min-height:0;height:30px'").await;
    assert_ne!(y.list(LOW_TARGETS).await, "", "the measuring can fail");
    y.b.close().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn nothing_scrolls_sideways_with_text_doubled_on_the_smallest_phone() {
    let y = yard().await;
    y.b.window((320, 700)).await;
    for page in &y.pages {
        y.open(page).await;
        y.b.run("document.documentElement.style.fontSize = '225%'").await;
        let wide = y.b.number("return document.documentElement.scrollWidth").await;
        let who = "return [...document.querySelectorAll('main *, header *')].filter((e) => e.getBoundingClientRect().right > 320.5 && !e.closest('.scroll')).map((e) => e.outerHTML.slice(0, 90)).join('; ')";
        assert!(wide <= 320, "{page} is {wide} px wide with text doubled: {}", y.list(who).await);
    }
    y.b.close().await;
}

/// Every piece of text against what lies behind it: the first ancestor with a background of its own. By the formula of WCAG 2.2 (relative luminance).
const WEAK_TEXT: &str = "
    const rgb = (c) => (c.match(/[\\d.]+/g) ?? []).map(Number);
    const lum = (c) => { const f = (v) => ((v /= 255) <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4); const [r, g, b] = rgb(c); return 0.2126 * f(r) + 0.7152 * f(g) + 0.0722 * f(b); };
    const clear = (c) => rgb(c).length === 4 && rgb(c)[3] === 0;
    const behind = (e) => { for (; e; e = e.parentElement) { const c = getComputedStyle(e).backgroundColor; if (!clear(c)) return c; } return 'rgb(255, 255, 255)'; };
    const weak = new Set();
    const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
    let seen = 0;
    while (walk.nextNode()) {
      const e = walk.currentNode.parentElement;
      if (!walk.currentNode.data.trim() || e.closest('svg, script') || !e.checkVisibility()) continue;
      seen++;
      const [a, b] = [lum(getComputedStyle(e).color), lum(behind(e))];
      const ratio = (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05);
      if (ratio < 7) weak.add(ratio.toFixed(1) + ' ' + walk.currentNode.data.trim().slice(0, 30));
    }
    return seen < 10 ? 'too little text was seen' : [...weak].join('; ')";

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn every_word_stands_at_seven_to_one_by_day_in_sun_and_in_the_dark() {
    let y = yard().await;
    for scheme in ["light", "dark"] {
        y.b.media("prefers-color-scheme", scheme).await;
        for page in &y.pages {
            y.open(page).await;
            assert_eq!(y.list(WEAK_TEXT).await, "", "{page}, {scheme}");
            // In glaring sun: black on white, by a button that every page has, whatever the phone's own scheme is.
            y.b.run("if (document.documentElement.dataset.theme !== 'sun') document.getElementById('sun').click()").await;
            assert_eq!(y.list(WEAK_TEXT).await, "", "{page}, {scheme}, sun");
            let ground =
                y.list("return getComputedStyle(document.documentElement).backgroundColor + getComputedStyle(document.body).color").await;
            assert_eq!(ground, "rgb(255, 255, 255)rgb(0, 0, 0)", "{page}, {scheme}");
            y.b.screenshot(&format!("yard-sun-{scheme}")).await;
            y.b.run("document.getElementById('sun').click()").await;
        }
    }
    y.b.run("document.body.style.color = '#888'").await;
    assert_ne!(y.list(WEAK_TEXT).await, "", "the measuring can fail");
    y.b.close().await;
}

/// The state of a stop is told by the drawn mark's own outline and by a word, so that it is the same without colours.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn every_state_is_a_mark_of_its_own_and_a_word() {
    let y = yard().await;
    for page in &y.pages {
        y.open(page).await;
        let bare = "return [...document.querySelectorAll('.st')].filter((e) => e.checkVisibility() && (!e.querySelector('svg use') || !e.textContent.trim()))
            .map((e) => e.outerHTML.slice(0, 90)).join('; ')";
        assert_eq!(y.list(bare).await, "", "{page}");
        let lost = "return [...document.querySelectorAll('svg use')].map((u) => u.getAttribute('href')).filter((h) => h.startsWith('#m-') && !document.querySelector(h)).join()";
        assert_eq!(y.list(lost).await, "", "{page}: marks that are drawn nowhere");
        let alike = "const seen = new Map(); return [...document.querySelectorAll('symbol[id^=m-]')].filter((s) => { const was = seen.get(s.innerHTML); seen.set(s.innerHTML, s.id); return was && was !== s.id; }).map((s) => s.id).join()";
        assert_eq!(y.list(alike).await, "", "{page}: two states with one mark");
    }
    y.b.close().await;
}

/// Walking by the tab key: every stop of the focus can be seen, has a ring, and what a button says is in its name.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_focus_is_never_hidden_and_names_hold_what_is_read() {
    let y = yard().await;
    for page in &y.pages {
        y.open(page).await;
        let lost = "return [...document.querySelectorAll('a[href], button, summary, select, textarea, input:not([type=hidden])')].filter((e) => {
              if (!e.checkVisibility() || e.matches('.skip, .hide')) return false;
              e.focus();
              e.scrollIntoView({ block: 'nearest' });
              const b = e.getBoundingClientRect(), s = getComputedStyle(e);
              const top = document.elementFromPoint(b.x + b.width / 2, b.y + Math.min(b.height / 2, 20));
              return document.activeElement !== e || !(top === e || e.contains(top) || top?.contains(e) || top?.closest('label')?.contains(e));
            }).map((e) => e.outerHTML.slice(0, 90)).join('; ')";
        assert_eq!(y.list(lost).await, "", "{page}");
        let unnamed = "return [...document.querySelectorAll('input:not([type=hidden]), select, textarea')].filter((e) => !e.labels?.length && !e.ariaLabel).map((e) => e.outerHTML.slice(0, 90)).join('; ')";
        assert_eq!(y.list(unnamed).await, "", "{page}: fields without a name");
    }
    y.b.close().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn with_the_systems_own_colours_drawings_keep_a_ground_and_the_main_button_an_edge() {
    let y = yard().await;
    y.b.media("forced-colors", "active").await;
    for page in &y.pages {
        y.open(page).await;
        assert!(y.b.later("return matchMedia('(forced-colors: active)').matches").await == true);
        let flat = "return [...document.querySelectorAll('.big')].filter((e) => e.checkVisibility() && parseFloat(getComputedStyle(e).borderTopWidth) < 2).map((e) => e.outerHTML.slice(0, 60)).join('; ')";
        assert_eq!(y.list(flat).await, "", "{page}");
        let lost = "return [...document.querySelectorAll('.chart, .map, .notch')].filter((e) => getComputedStyle(e).forcedColorAdjust !== 'none' || getComputedStyle(e).backgroundColor === 'rgba(0, 0, 0, 0)').length";
        assert_eq!(y.b.number(lost).await, 0, "{page}");
    }
    y.b.goto(&y.pages[1]).await;
    y.b.screenshot("yard-forced-colours").await;
    y.b.media("prefers-reduced-motion", "reduce").await;
    y.open(&y.pages[1]).await;
    y.b.fill("#drops", "8").await;
    assert_eq!(y.list("return getComputedStyle(document.getElementById('tell-dose')).animationName").await, "none");
    y.b.close().await;
}
