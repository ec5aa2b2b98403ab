//! Owner, office, technician and a customer press whatever stands on the pages, with whatever comes to hand. Every answer is one that was thought
//! of, background work comes to its end, and the records keep their promises.
//!
//! `WANDER=20 cargo test --test web wander -- --nocapture` walks twenty times as far; ids are made by the clock, so that a walk is not
//! repeated word by word, but what it pressed last is printed.

use super::support::{NOW, Page, TestApp, dealership, encode};
use embertide::store::{links, sessions::Role};
use scraper::{ElementRef, Html, Selector};
use std::collections::BTreeSet;
use time::Duration;
use uuid::Uuid;

struct Dice(u64);

impl Dice {
    fn below(&mut self, n: usize) -> usize {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        usize::try_from(self.0 >> 33).unwrap() % n.max(1)
    }

    fn one_of<T: Clone>(&mut self, all: &[T]) -> T {
        all[self.below(all.len())].clone()
    }
}

/// What nobody in their right mind types, and what somebody once did.
const ODD: [&str; 30] = [
    "",
    "0",
    "-1",
    "3.5",
    "99999999999999999999",
    "1e9",
    "NaN",
    "∞",
    "8 drops",
    "100 mg/L",
    "Feb 29, 2027",
    "2199-12-31",
    "0001-01-01",
    "10/9/26",
    "24:00",
    "8-5",
    "91, 0",
    "44.6, -74.9",
    "🔥 hot",
    "\u{0}zero",
    "a\r\nb",
    "<b>bold</b>",
    "' OR 1=1 --",
    "60%",
    "\u{202e}backwards",
    "220 gal",
    "3 qt",
    "Oct 7, 2026",
    "2026-10-08",
    "9:30 am",
];

/// Parts of a field's name, and what is likely typed there.
const LIKELY: [(&[&str], &[&str]); 7] = [
    (&["drops"], &["8", "20", "12 drops", "0"]),
    (&["phone", "email", "note", "reason", "why", "says"], &["555-0123", "as agreed", "", "hums"]),
    (&["ph"], &["9.0", "8.5", "7", ""]),
    (&["put_in", "volume", "ml", "jacket", "drained", "meter", "amount", "pack", "load"], &["220 gal", "22 fl oz", "500 mL", "1000", ""]),
    (&["minutes", "percent", "seconds", "position", "step", "lead"], &["1", "30", "90", "0", ""]),
    (&["pin", "lat", "lon"], &["44.6, -74.9", "44.6", "-74.9"]),
    (&["day", "_on", "from", "until", "opens", "closes", "date"], &["Oct 7, 2026", "2026-10-06", "Oct 20, 2026", "Apr 2, 2026", ""]),
];

fn typed(dice: &mut Dice, name: &str) -> String {
    let likely = LIKELY.iter().find(|(parts, _)| parts.iter().any(|p| name.contains(p)));
    match likely {
        _ if dice.below(4) == 0 => dice.one_of(&ODD),
        Some((_, words)) => dice.one_of(words),
        None => dice.one_of(&["Juniper", "K-12", "3", "12", "7:30", "16:30", "well", ""]),
    }
    .to_owned()
}

/// A form, filled in.
struct Filled {
    action: String,
    posts: bool,
    body: String,
}

fn all<'a>(of: ElementRef<'a>, selector: &str) -> Vec<ElementRef<'a>> {
    of.select(&Selector::parse(selector).unwrap()).collect()
}

fn attr(e: ElementRef<'_>, name: &str) -> String {
    e.value().attr(name).unwrap_or_default().to_owned()
}

/// The value of a field, if it is sent at all.
fn value(dice: &mut Dice, e: ElementRef<'_>) -> Option<String> {
    let own = if e.value().name() == "textarea" { e.text().collect() } else { attr(e, "value") };
    match (e.value().name(), attr(e, "type").as_str()) {
        ("input", "hidden") => Some(own),
        ("input", "file") => None,
        ("input", "checkbox" | "radio") => (dice.below(2) == 0).then_some(own),
        ("select", _) => {
            let options = all(e, "option");
            (!options.is_empty()).then(|| attr(dice.one_of(&options), "value"))
        }
        _ if !own.is_empty() && dice.below(2) == 0 => Some(own),
        _ => Some(typed(dice, &attr(e, "name"))),
    }
}

fn fill_in(dice: &mut Dice, form: ElementRef<'_>, page: &str) -> Filled {
    let fields = all(form, "input[name], select[name], textarea[name]");
    let mut pairs: Vec<(String, String)> = fields.into_iter().filter_map(|e| Some((attr(e, "name"), value(dice, e)?))).collect();
    let mut action = form.value().attr("action").unwrap_or(page).to_owned();
    let buttons = all(form, "button:not([type=button])");
    if !buttons.is_empty() {
        let pressed = dice.one_of(&buttons);
        action = pressed.value().attr("formaction").map_or(action, str::to_owned);
        pairs.extend(pressed.value().attr("name").map(|name| (name.to_owned(), attr(pressed, "value"))));
    }
    let pairs: Vec<(&str, &str)> = pairs.iter().map(|(name, value)| (name.as_str(), value.as_str())).collect();
    Filled { action, posts: attr(form, "method") == "post", body: encode(&pairs) }
}

/// Where else a page leads to, and one of its forms.
fn found(dice: &mut Dice, page: &Page, address: &str) -> (Vec<String>, Option<Filled>) {
    let doc = Html::parse_document(&page.body);
    let links = all(doc.root_element(), "a[href^='/']").into_iter().map(|a| attr(a, "href")).collect();
    let forms = all(doc.root_element(), "form");
    let form = (!forms.is_empty()).then(|| dice.one_of(&forms)).map(|form| fill_in(dice, form, address));
    // Whoever changes a password, a second factor or signs out is out of the walk.
    (links, form.filter(|f| !f.action.contains("sign-out") && !f.action.contains("factor") && !f.action.contains("/account/")))
}

/// Somebody who walks, and the pages they know of.
struct Walker {
    /// A customer has none.
    staff: Option<(Uuid, Role)>,
    pages: BTreeSet<String>,
}

impl Walker {
    fn new(id: Uuid, role: Role) -> Self {
        let office = [
            "/due",
            "/week",
            "/customers",
            "/overview",
            "/season",
            "/treatments",
            "/settings",
            "/roads",
            "/phones",
            "/answers",
            "/bring-in",
            "/water",
            "/water/held",
        ];
        let known: &[&str] = if role == Role::Technician { &["/route", "/route/2026-10-05", "/unplanned"] } else { &office };
        Self { staff: Some((id, role)), pages: known.iter().map(|page| (*page).to_owned()).collect() }
    }

    fn customer(link: &str) -> Self {
        Self { staff: None, pages: BTreeSet::from([format!("/w/{link}")]) }
    }

    fn learn(&mut self, links: Vec<String>, dice: &mut Dice) {
        let own = |link: &String| if self.staff.is_some() { !link.contains("sign-out") } else { link.starts_with("/w/") };
        self.pages.extend(links.into_iter().filter(own));
        if self.pages.len() > 400 {
            self.pages.retain(|page| page.len() < 12 || dice.below(2) == 0);
        }
    }
}

/// Looks at a page, presses something on it. Answers with what was pressed.
async fn step(t: &TestApp, dice: &mut Dice, walker: &mut Walker) -> String {
    let who = match walker.staff {
        Some((id, role)) => Some(t.session(id, role).await),
        None => None,
    };
    let who = who.as_ref();
    let known: Vec<String> = walker.pages.iter().cloned().collect();
    let mut address = dice.one_of(&known);
    let mut page = t.get(who, &address).await;
    for _ in 0..3 {
        if page.status == 303 {
            address.clone_from(&page.location);
            page = t.get(who, &address).await;
        }
    }
    assert!(page.status < 500, "{address}: {}", page.body);
    let (links, form) = found(dice, &page, &address);
    walker.learn(links, dice);
    let Some(Filled { action, posts, body }) = form else { return address };
    let answer = if posts {
        t.post_raw(who, &action, &body).await
    } else {
        t.get(who, &format!("{}?{body}", action.split('#').next().unwrap())).await
    };
    let pressed = format!("{action} {body} as {:?}", walker.staff.map(|s| s.1));
    assert!(answer.status < 500, "{pressed}: {}", answer.body);
    pressed
}

async fn walk(seed: u64, steps: usize) {
    let mut dice = Dice(seed);
    let mut t = TestApp::start().await;
    let d = dealership::open(&t).await;
    let link = links::make(t.pool(), d.units[0], "test", None, NOW).await.unwrap();
    let staff = [(&d.owner, Role::Owner), (&d.office, Role::Office), (&d.wick, Role::Technician)];
    let mut walkers: Vec<Walker> = staff.iter().map(|(s, role)| Walker::new(s.staff_id, *role)).collect();
    walkers.push(Walker::customer(&link));
    let mut now = NOW;
    for n in 0..steps {
        let walker = &mut walkers[[0, 0, 0, 1, 1, 2, 2, 3][dice.below(8)]];
        let pressed = step(&t, &mut dice, walker).await;
        // Nobody is sent away for good.
        for (who, role) in staff {
            let back = sqlx::query("UPDATE staff SET active = true, role = $2 WHERE id = $1 AND (NOT active OR role <> $2)");
            back.bind(who.staff_id).bind(role.as_str()).execute(t.pool()).await.unwrap();
        }
        if dice.below(15) == 0 {
            now += Duration::hours(dice.one_of(&[1, 3, 9, 24, 40]));
            t.on(now);
        }
        if dice.below(12) == 0 {
            t.work().await;
            let failed: Vec<(String, String)> =
                sqlx::query_as("SELECT kind, failed FROM jobs WHERE failed <> '' LIMIT 9").fetch_all(t.pool()).await.unwrap();
            assert_eq!(failed, [], "after step {n}: {pressed}");
        }
        if n % 20 == 19 {
            assert_eq!(t.broken_promises().await, Vec::<String>::new(), "after step {n}: {pressed}");
        }
    }
}

#[tokio::test]
async fn whatever_is_pressed_is_answered_and_the_records_keep_their_promises() {
    let times: usize = std::env::var("WANDER").ok().and_then(|n| n.parse().ok()).unwrap_or(1);
    for seed in 1..=2 {
        walk(seed, 150 * times).await;
    }
}

/// PostgreSQL keeps no zero character in a text.
#[tokio::test]
async fn a_zero_character_is_left_out_of_what_is_typed_and_refused_in_an_address() {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    let made = Uuid::now_v7();
    let customer = [("name", "Alma\0 Brookfell"), ("phone", "555-0123"), ("email", ""), ("note", ""), ("reference", "")];
    assert_eq!(t.post_as(&d.office, "/customers", made, &customer).await.status, 303);
    let names: Vec<String> = sqlx::query_scalar("SELECT name FROM customers WHERE id = $1").bind(made).fetch_all(t.pool()).await.unwrap();
    assert_eq!(names, ["Alma Brookfell"]);
    let page = t.get(Some(&d.office), "/customers?q=Alma%00").await;
    assert!(page.status == 422 && page.text("main").contains("a character that no text has"), "{}", page.text("main"));
    assert_eq!(t.get(Some(&d.office), "/customers?q=100%2500").await.status, 200, "a percent sign and two noughts");
}
