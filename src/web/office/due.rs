//! Who is due, by window, and why.

use super::super::{
    app::App,
    draw,
    error::Result,
    form::Posted,
    guard::{Office, see_other},
    html::{Frame, html, percent},
    words::{self, State},
};
use crate::{
    store::{
        catalogue,
        customer_words::{self, Word},
        due,
        first_steps::{self, FarPlace, FirstSteps},
        water,
        week::Told,
    },
    units::{day_short, day_with_year},
};
use askama::Template;
use axum::extract::{Path, Query};
use serde::Deserialize;
use time::{Date, Duration};
use uuid::Uuid;

/// Lines a page.
const LINES: i64 = 60;

#[derive(Debug, Default, Deserialize)]
pub(super) struct Asked {
    #[serde(default)]
    job: String,
    #[serde(default)]
    town: String,
    /// `all` shows what opens later as well, `waits` what waits for a cold firebox.
    #[serde(default)]
    show: String,
    #[serde(default)]
    after_day: String,
    after_unit: Option<Uuid>,
    after_priority: Option<i16>,
    #[serde(default)]
    after_job: String,
}

/// One job of one unit, ready for the page.
struct Line {
    unit_id: Uuid,
    unit: String,
    place: String,
    town: String,
    customer_id: Uuid,
    customer: String,
    phone: String,
    job: String,
    reason: String,
    state: State,
    priority: &'static str,
    window: String,
    drawing: String,
    visit: String,
}

/// Something a customer said, ready for the page.
struct WordView {
    w: Word,
    /// The visit that it is about.
    about: String,
    came: String,
}

impl From<Word> for WordView {
    fn from(w: Word) -> Self {
        let about = w.day.zip(w.starts).map(|(day, starts)| words::told(Told { day, starts })).unwrap_or_default();
        Self { about, came: day_short(w.received_at.date()), w }
    }
}

#[derive(Debug, Deserialize)]
pub(super) struct Settled {
    #[serde(default)]
    counts: String,
}

/// The office has called, or looked at the test.
pub(super) async fn settle(who: Office, app: App, (Path(id), posted): (Path<Uuid>, Posted<Settled>)) -> Result {
    let now = app.clock.now();
    let mut tx = app.pool.begin().await?;
    if posted.first_time(&mut tx, &who, "settle a customer's word", now).await? {
        let unit = customer_words::settle(&mut tx, id, posted.form.counts != "no", who.staff_id, now).await?;
        due::refresh(&mut tx, Some(&[unit]), who.dealer.today).await?;
    }
    tx.commit().await?;
    Ok(see_other("/due"))
}

#[derive(Template)]
#[template(path = "office/due.html")]
struct DuePage {
    f: Frame,
    asked: Asked,
    jobs: Vec<(String, String)>,
    counts: due::Counts,
    /// Until the first week is planned and the treatment compared.
    steps: Option<FirstSteps>,
    far: Vec<FarPlace>,
    /// Units that are low and cannot be dosed.
    held: i64,
    /// What customers said on their own pages.
    words: Vec<WordView>,
    lines: Vec<Line>,
    /// The query of the next page; empty on the last.
    next: String,
}

pub(super) async fn page(who: Office, app: App, Query(asked): Query<Asked>) -> Result {
    let today = who.dealer.today;
    let mut c = app.pool.acquire().await?;
    let book = catalogue::job_book(&mut c).await?;
    let counts = due::counts(&mut *c, today).await?;
    let filter = due::Filter {
        job: asked.job.clone(),
        town: asked.town.clone(),
        opened_by: (asked.show != "all").then_some(today),
        waits: (asked.show != "all").then_some(asked.show == "waits"),
        after: after(&asked),
    };
    let found = due::lines(&mut *c, &filter, today, LINES).await?;
    let next = match found.last().filter(|_| i64::try_from(found.len()).unwrap_or(0) == LINES) {
        Some(last) => format!(
            "?job={}&town={}&show={}&after_priority={}&after_day={}&after_unit={}&after_job={}",
            percent(&asked.job),
            percent(&asked.town),
            percent(&asked.show),
            last.priority,
            last.closes_on,
            last.unit_id,
            percent(&last.job_code)
        ),
        None => String::new(),
    };
    let jobs = book.jobs.iter().map(|j| (j.kind.code().to_owned(), j.kind.name().to_owned())).collect();
    let lines = found.into_iter().map(|l| line(l, today)).collect();
    let words = customer_words::open(&mut *c).await?.into_iter().map(WordView::from).collect();
    let steps = Some(first_steps::first_steps(&mut *c).await?).filter(|s| !s.are_done());
    let far = if steps.is_some() { first_steps::far_places(&mut *c).await? } else { Vec::new() };
    let held = water::low_and_held(&mut *c).await?;
    html(&DuePage { f: Frame::of(&who, "due"), steps, far, held, words, asked, jobs, counts, lines, next })
}

/// Where the page before ended.
fn after(asked: &Asked) -> Option<(i16, Date, Uuid, String)> {
    Some((asked.after_priority?, crate::units::parse_date(&asked.after_day).ok()?, asked.after_unit?, asked.after_job.clone()))
}

fn line(l: due::DueLine, today: Date) -> Line {
    let day = |d: Date| if (d - today).abs() < Duration::days(200) { day_short(d) } else { day_with_year(d) };
    let visit = match (l.visit_day, l.visit_status.as_deref()) {
        (Some(d), Some("confirmed")) => format!("Confirmed for {}", day(d)),
        (Some(d), _) => format!("Planned for {}", day(d)),
        _ => String::new(),
    };
    Line {
        state: words::due(&l, today),
        priority: words::priority(l.priority),
        window: format!("{} to {}", day(l.opens_on), day(l.closes_on)),
        drawing: draw::window(l.opens_on, l.closes_on, today),
        unit_id: l.unit_id,
        unit: l.unit_name,
        place: l.place_name,
        town: l.town,
        customer_id: l.customer_id,
        customer: l.customer_name,
        phone: l.customer_phone,
        job: l.job_name,
        reason: l.reason,
        visit,
    }
}
