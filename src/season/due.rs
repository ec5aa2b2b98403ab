//! Which jobs a unit needs, in which window, and why. Deterministic: the same facts and day give the same list.

use std::collections::{BTreeMap, BTreeSet};

use time::{Date, Duration};

use super::job::{Cadence, JobKind};
use super::priority::{Priority, priority};
use super::window::{DueWindow, SeasonCalendar, SeasonName, WindowState};
use crate::units::{day_with_year, month_day};
use crate::water::Verdict;

/// Whether a unit is in use.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Status {
    InService,
    /// Stands unused, water in it.
    Idle,
    Retired,
}

/// What is known of a unit's fill.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum FillState {
    NotYetFilled,
    FilledOn(Date),
    /// It runs, but nobody wrote down since when.
    FilledSomeTime,
}

/// The last dose of a unit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct DoseFact {
    pub on: Date,
    pub rechecked_on: Option<Date>,
}

/// An open request for a job.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Request {
    /// Code of the job kind.
    pub kind: String,
    pub asked_on: Date,
    /// Last good day, where one was named; else so many days after it was asked, see [`DueRules`].
    pub by_day: Option<Date>,
    /// What was said, may be empty.
    pub note: String,
}

/// What the forecast of the water asks for: a test by a day, sooner than the seasons would bring one.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TestBy {
    pub day: Date,
    /// No sooner than this.
    pub from: Date,
    /// In words, without a full stop at the end.
    pub reason: String,
}

impl TestBy {
    /// A test by `day` to see how the level goes on from the test of `last`. In the first half of the time between them it would tell
    /// little more than that one (common practice, no source).
    pub fn after(last: Date, day: Date, reason: String) -> Self {
        let half = Duration::days(((day - last).whole_days() / 2).max(1));
        Self { day, from: last.saturating_add(half).min(day), reason }
    }
}

/// All that the due list needs to know of one unit.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct UnitFacts {
    pub status: Status,
    pub installed_on: Option<Date>,
    pub fill: FillState,
    /// Last day each job kind was done, by its code.
    pub last_done: BTreeMap<String, Date>,
    pub last_test_on: Option<Date>,
    pub last_dose: Option<DoseFact>,
    /// Open requests only.
    pub requests: Vec<Request>,
    pub last_verdict: Option<Verdict>,
    /// Day of the last start-up: the fire was lit.
    pub lit_on: Option<Date>,
    pub foreseen: Option<TestBy>,
}

/// The dealer's own figures for due dates (data; start values of our own, no source).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct DueRules {
    /// So many days before its end a window counts as closing.
    pub closing_days: u16,
    /// Windows that open later than this from today are not listed.
    pub horizon_days: u16,
    /// Days from installation to the first fill.
    pub fill_days: u16,
    /// Days in which a request is to be met.
    pub request_days: u16,
    /// Where nothing is on record for a job, seasons that closed before this day are not held to be missed:
    /// nobody kept the record here then.
    pub records_since: Option<Date>,
}

impl Default for DueRules {
    fn default() -> Self {
        Self { closing_days: 7, horizon_days: 60, fill_days: 14, request_days: 14, records_since: None }
    }
}

/// What made a job due.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Cause {
    FirstFill,
    Season {
        season: SeasonName,
        year: i32,
    },
    AfterDose {
        on: Date,
    },
    /// The level is foreseen near its minimum.
    Foreseen {
        by: Date,
    },
    Requested {
        on: Date,
    },
}

impl Cause {
    /// Somebody asked for it, as a customer whose heater stands still.
    pub const fn is_asked(self) -> bool {
        matches!(self, Self::Requested { .. })
    }
}

/// A job a unit needs, when, and why.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DueItem {
    /// Code of the job kind.
    pub kind: String,
    pub window: DueWindow,
    pub state: WindowState,
    pub cause: Cause,
    /// "No water test since Oct 9, 2025".
    pub reason: String,
    pub priority: Priority,
    /// It cannot be done while the heater burns, and nobody asked for it.
    pub waits: bool,
}

/// The open jobs of one unit on a day, most pressing first; at most one for each kind, none for a retired unit.
pub fn due(facts: &UnitFacts, kinds: &[JobKind], calendar: &SeasonCalendar, rules: &DueRules, today: Date) -> Vec<DueItem> {
    if facts.status == Status::Retired {
        return Vec::new();
    }
    let view = View { facts, calendar, rules, today };
    let mut seen = BTreeSet::new();
    let fresh = kinds.iter().filter(|kind| seen.insert(kind.code().to_owned()));
    let mut items: Vec<DueItem> = fresh.filter_map(|kind| view.item(kind)).collect();
    items.sort_by(|a, b| (a.priority, a.window.closes(), &a.kind).cmp(&(b.priority, b.window.closes(), &b.kind)));
    items
}

/// A job found due, before its state and rank are known.
struct Found {
    window: DueWindow,
    cause: Cause,
    reason: String,
}

struct View<'a> {
    facts: &'a UnitFacts,
    calendar: &'a SeasonCalendar,
    rules: &'a DueRules,
    today: Date,
}

impl View<'_> {
    fn item(&self, kind: &JobKind) -> Option<DueItem> {
        let rests = self.facts.status == Status::Idle && !kind.while_idle;
        let by_cadence = if rests { None } else { self.with_forecast(kind, self.by_cadence(kind)) };
        let found = self.merge(by_cadence, self.requested(kind))?;
        let horizon = self.today.saturating_add(Duration::days(i64::from(self.rules.horizon_days)));
        let waits = kind.cold && found.window.opens() <= self.today && !found.cause.is_asked() && self.burns();
        let rank = priority(found.window, self.today, self.facts.last_verdict, found.cause.is_asked());
        (found.window.opens() <= horizon).then(|| DueItem {
            kind: kind.code().to_owned(),
            window: found.window,
            state: found.window.state(self.today, self.rules.closing_days),
            cause: found.cause,
            reason: found.reason,
            priority: if waits { Priority::Later } else { rank },
            waits,
        })
    }

    /// From its start-up, or the end of the fall window, until the spring window opens (common practice, no source).
    fn burns(&self) -> bool {
        let years = self.today.year() - 1..=self.today.year();
        let windows = |season| years.clone().filter_map(move |year| self.calendar.window(year, season));
        let Some(spring) = windows(SeasonName::Spring).rfind(|w| w.opens() <= self.today) else { return false };
        let lit = self.facts.lit_on.is_some_and(|on| on > spring.closes());
        let fall_is_over = windows(SeasonName::Fall).any(|w| w.opens() > spring.opens() && w.closes() < self.today);
        self.facts.status == Status::InService && (lit || fall_is_over)
    }

    fn by_cadence(&self, kind: &JobKind) -> Option<Found> {
        match kind.cadence() {
            Cadence::OnceAtFill => self.first_fill(kind),
            Cadence::EverySeason(_) | Cadence::Yearly(_) => self.in_season(kind),
            Cadence::AfterDose { first_day, last_day } => self.after_dose(kind, first_day, last_day),
            Cadence::OnRequest => None,
        }
    }

    /// A season's test that is open already or comes in time is drawn forward; else the forecast makes a test of its own due.
    fn with_forecast(&self, kind: &JobKind, season: Option<Found>) -> Option<Found> {
        let recurs = matches!(kind.cadence(), Cadence::EverySeason(_)) && kind.done_by_test;
        let Some(by) = self.facts.foreseen.as_ref().filter(|_| recurs) else { return season };
        let lead = Duration::days(i64::from(kind.lead_days()));
        match season {
            Some(season) if season.window.opens() <= self.today.max(by.day.saturating_add(lead)) => Some(drawn_forward(season, by)),
            _ => {
                let opens = by.day.saturating_sub(lead).max(by.from).min(by.day);
                let window = DueWindow::new(opens, by.day).ok()?;
                Some(Found { window, cause: Cause::Foreseen { by: by.day }, reason: by.reason.clone() })
            }
        }
    }

    /// A request beside a job that is due anyway gives one item: the tighter open window, both reasons.
    fn merge(&self, by_cadence: Option<Found>, requested: Option<Found>) -> Option<Found> {
        let (a, b) = match (by_cadence, requested) {
            (Some(a), Some(b)) => (a, b),
            (a, b) => return a.or(b),
        };
        if a.window.opens() > self.today {
            return Some(b);
        }
        let reason = format!("{}. {}", a.reason, b.reason);
        let cause = b.cause;
        let tighter = if a.window.closes() <= b.window.closes() { a } else { b };
        Some(Found { cause, reason, ..tighter })
    }

    /// The last day this job was done, a test counting where the kind says so.
    fn done_on(&self, kind: &JobKind) -> Option<Date> {
        let own = self.facts.last_done.get(kind.code()).copied();
        let test = self.facts.last_test_on.filter(|_| kind.done_by_test);
        own.max(test)
    }

    fn first_fill(&self, kind: &JobKind) -> Option<Found> {
        let installed = self.facts.installed_on?;
        if self.facts.fill != FillState::NotYetFilled || self.done_on(kind).is_some() {
            return None;
        }
        let window = DueWindow::days_after(installed, 0, self.rules.fill_days);
        let reason = format!("Installed {}, not filled yet", day_with_year(installed));
        Some(Found { window, cause: Cause::FirstFill, reason })
    }

    fn after_dose(&self, kind: &JobKind, first: u16, last: u16) -> Option<Found> {
        let dose = self.facts.last_dose?;
        let window = DueWindow::days_after(dose.on, first, last);
        let checked = dose.rechecked_on.is_some_and(|on| on >= dose.on);
        let tested = self.done_on(kind).is_some_and(|on| on > dose.on && on >= window.opens());
        let reason = format!("Re-check the dose of {}", self.day(dose.on));
        let open = !checked && !tested && !self.season_opened_after(window.closes());
        open.then_some(Found { window, cause: Cause::AfterDose { on: dose.on }, reason })
    }

    /// Whether a season, of either name, has opened since `day`: its own jobs take the place of what was missed before.
    fn season_opened_after(&self, day: Date) -> bool {
        let years = self.today.year() - 1..=self.today.year();
        let opens = years.flat_map(|year| [SeasonName::Spring, SeasonName::Fall].map(|season| self.calendar.window(year, season)));
        day.year() < self.today.year() - 1 || opens.flatten().any(|w| w.opens() > day && w.opens() <= self.today)
    }

    fn requested(&self, kind: &JobKind) -> Option<Found> {
        let mut open: Vec<&Request> = self.facts.requests.iter().filter(|request| request.kind == kind.code()).collect();
        open.sort_by(|a, b| (a.asked_on, &a.note).cmp(&(b.asked_on, &b.note)));
        let asked = open.first()?.asked_on;
        let notes: Vec<&str> = open.iter().map(|request| request.note.trim()).filter(|note| !note.is_empty()).collect();
        let said = if notes.is_empty() { String::new() } else { format!(": {}", notes.join("; ")) };
        let reason = format!("Asked for on {}{said}", self.day(asked));
        let usual = DueWindow::days_after(asked, 0, self.rules.request_days);
        let by_day = open.iter().filter_map(|request| request.by_day).min();
        let window = by_day.and_then(|day| DueWindow::new(asked, day).ok()).unwrap_or(usual);
        Some(Found { window, cause: Cause::Requested { on: asked }, reason })
    }

    /// The season whose window opened last, until done or until the next one opens; else the next one.
    fn in_season(&self, kind: &JobKind) -> Option<Found> {
        let done = self.done_on(kind);
        let lead = Duration::days(i64::from(kind.lead_days()));
        let counts = |opens: Date| done.is_some_and(|on| on >= opens.saturating_sub(lead));
        let seasons = self.seasons(kind);
        let opened = seasons.iter().rfind(|season| season.window.opens() <= self.today);
        let lapsed = |season: &&SeasonOfYear| kind.lapses && self.season_opened_after(season.window.closes());
        if let Some(current) = opened.filter(|season| !counts(season.season_opens)).filter(|season| !lapsed(season)) {
            let reason = match done {
                Some(on) => format!("No {} since {}", kind.name_in_sentence(), day_with_year(on)),
                None => format!("No {} on record", kind.name_in_sentence()),
            };
            return Some(Found { window: current.window, cause: current.cause(), reason });
        }
        let next = seasons.iter().find(|season| season.window.opens() > self.today)?;
        let last = done.map(|on| format!("; last one {}", day_with_year(on))).unwrap_or_default();
        let reason = format!("{} for {} {}{last}", kind.name(), next.season, next.year);
        (!counts(next.season_opens)).then_some(Found { window: next.window, cause: next.cause(), reason })
    }

    /// The seasons of last year to next that the kind recurs in and the unit was there for, by opening day.
    fn seasons(&self, kind: &JobKind) -> Vec<SeasonOfYear> {
        let since = match (self.facts.fill, self.facts.installed_on) {
            (FillState::NotYetFilled, _) => return Vec::new(),
            (FillState::FilledOn(day), _) | (FillState::FilledSomeTime, Some(day)) => day,
            (FillState::FilledSomeTime, None) => Date::MIN,
        };
        let since = match self.rules.records_since {
            Some(start) if self.done_on(kind).is_none() => since.max(start),
            _ => since,
        };
        let year = self.today.year();
        let names = [SeasonName::Spring, SeasonName::Fall].into_iter().filter(|season| kind.in_season(*season));
        let all = names.flat_map(|season| (year - 1..=year + 1).map(move |year| (season, year)));
        let mut seasons: Vec<SeasonOfYear> = all
            .filter_map(|(season, year)| {
                let whole = self.calendar.window(year, season)?;
                let window = whole.not_before(since)?;
                Some(SeasonOfYear { season, year, season_opens: whole.opens(), window })
            })
            .collect();
        seasons.sort_by_key(|season| (season.season_opens, season.season));
        seasons
    }

    /// "Oct 12", with the year when it is another than today's.
    fn day(&self, date: Date) -> String {
        if date.year() == self.today.year() { month_day(date) } else { day_with_year(date) }
    }
}

/// The season's window, closing with the forecast but open for a week at least.
fn drawn_forward(season: Found, by: &TestBy) -> Found {
    let opens = season.window.opens();
    let closes = by.day.max(opens.saturating_add(Duration::days(6)));
    if closes >= season.window.closes() {
        return season;
    }
    let window = DueWindow::new(opens, closes).unwrap_or(season.window);
    Found { window, reason: format!("{}. {}", season.reason, by.reason), ..season }
}

/// One season of one year, as far as the unit was there for it.
struct SeasonOfYear {
    season: SeasonName,
    year: i32,
    /// The season's own opening day, from which early work is counted.
    season_opens: Date,
    window: DueWindow,
}

impl SeasonOfYear {
    const fn cause(&self) -> Cause {
        Cause::Season { season: self.season, year: self.year }
    }
}
