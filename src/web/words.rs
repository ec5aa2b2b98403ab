//! States as the pages show them: a mark, a word, and the class that colours both.

use crate::{
    season::{DueRules, DueWindow, Priority, WindowState},
    store::{due::DueLine, week::Told},
    units::{day_short, distance, span, time_of_day},
    water::Verdict,
};
use time::Date;

/// A state ready for a page.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct State {
    /// Class and mark: `st-{class}`, `#m-{class}`.
    pub(super) class: &'static str,
    pub(super) words: String,
}

/// Where a due window stands today.
pub(super) fn window(opens: Date, closes: Date, today: Date) -> State {
    let Ok(window) = DueWindow::new(opens, closes) else { return State { class: "early", words: String::new() } };
    let state = window.state(today, DueRules::default().closing_days);
    let class = match state {
        WindowState::NotYet { .. } => "early",
        WindowState::Open => "open",
        WindowState::Closing { .. } => "closing",
        WindowState::Past { .. } => "past",
        WindowState::Done { .. } => "done",
    };
    State { class, words: state.words(today) }
}

/// How what is due stands.
pub(super) fn due(line: &DueLine, today: Date) -> State {
    if line.waits {
        State { class: "early", words: "Waits for a cold firebox".to_owned() }
    } else {
        window(line.opens_on, line.closes_on, today)
    }
}

/// "Mon Oct 5, about 9:40 am"
pub(super) fn told(told: Told) -> String {
    format!("{}, about {}", day_short(told.day), time_of_day(told.starts))
}

/// The way to a stop: seconds and metres from the one before.
pub(super) fn drive(seconds: i32, metres: i32) -> String {
    if seconds == 0 && metres == 0 {
        return "Same place, no drive.".to_owned();
    }
    format!("Drive {}, {}.", span(seconds), distance(metres))
}

/// How the water stands.
pub(super) fn verdict(verdict: Verdict) -> State {
    let class = match verdict {
        Verdict::VeryLow => "very-low",
        Verdict::Low => "low",
        Verdict::InBand => "in-band",
        Verdict::High => "high",
    };
    State { class, words: verdict.word().to_owned() }
}

/// How a visit stands.
pub(super) fn visit(status: &str) -> State {
    let (class, words) = match status {
        "confirmed" => ("confirmed", "Confirmed"),
        "done" => ("done", "Done"),
        "not done" => ("not-done", "Not done"),
        "unplaced" => ("unplaced", "No place yet"),
        _ => ("planned", "Planned"),
    };
    State { class, words: words.to_owned() }
}

/// A verdict for the customer, of the day of the test.
pub(super) const fn protection(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::InBand => "Its protection was where it should be.",
        Verdict::High => "It had more protection in it than it needs.",
        Verdict::Low | Verdict::VeryLow => "Its protection was too low.",
    }
}

/// pH from thousandths: "8.9".
pub(super) fn ph(milli: i64) -> String {
    crate::units::Ph::new(milli / 10).map_or_else(|_| "?".to_owned(), |p| p.to_string())
}

/// How pressing, as the season room ranks it.
pub(super) fn priority(rank: i16) -> &'static str {
    let all = [Priority::First, Priority::Next, Priority::Soon, Priority::Later];
    all.into_iter().find(|p| i16::from(p.rank()) == rank).unwrap_or(Priority::Later).word()
}
