//! A unit's record cut into runs of one water in one use: from one dose, drain, refill, start-up or shut-down to the next.
//!
//! What a unit loses in a heating season says nothing of a summer at rest, so rates are kept apart by use (common
//! practice, no source). A dose, drain or refill also moves the level: a test of its day comes before it. A start-up or
//! shut-down leaves the level as it is: a test of its day closes the old run and begins the new one.

use time::Date;

use super::{Change, ForecastRules, History, Tested, fleet::LEAST_SPREAD, line::Line, line::Rate, one_a_day, points};

/// How a unit is used during a run.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Use {
    Heating,
    Resting,
}

impl Use {
    /// The text kept in the database.
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Heating => "heating",
            Self::Resting => "resting",
        }
    }
}

/// The tests of one run, oldest first, those of one day as their mean; never without one.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Run {
    pub tests: Vec<Tested>,
    pub used: Use,
    /// Nothing has begun after it yet.
    pub open: bool,
}

/// A day on which something began, all changes of it together.
struct Cut {
    on: Date,
    moves_level: bool,
    used: Option<Use>,
}

fn cuts(history: &History<'_>) -> Vec<Cut> {
    let mut changes = history.changes.to_vec();
    // Of a start-up and a shut-down on one day the start-up counts: the unit heats that night.
    changes.sort_by_key(|change| (change.on, change.what == Change::StartUp));
    let of_day = |day: &[super::Changed]| Cut {
        on: day[0].on,
        moves_level: day.iter().any(|change| change.what.moves_level()),
        used: day.iter().filter_map(|change| change.what.used()).next_back(),
    };
    changes.chunk_by(|a, b| a.on == b.on).map(of_day).collect()
}

/// Every run that has a test, oldest first. A unit without a start-up or shut-down on record counts as heating.
pub fn runs(history: &History<'_>) -> Vec<Run> {
    let cuts = cuts(history);
    let mut used = Use::Heating;
    let mut found = Vec::new();
    for at in 0..=cuts.len() {
        let (from, to) = (at.checked_sub(1).map(|before| &cuts[before]), cuts.get(at));
        used = from.and_then(|cut| cut.used).unwrap_or(used);
        let within = |test: &&Tested| {
            let begun = from.is_none_or(|cut| if cut.moves_level { test.on > cut.on } else { test.on >= cut.on });
            begun && to.is_none_or(|cut| test.on <= cut.on)
        };
        let mut tests: Vec<Tested> = history.tests.iter().filter(within).copied().collect();
        tests.sort_by_key(|test| (test.on, test.measured.level, test.measured.sd));
        if !tests.is_empty() {
            found.push(Run { tests: one_a_day(&tests), used, open: to.is_none() });
        }
    }
    found
}

/// How the unit is used since its last start-up or shut-down.
pub fn used_now(history: &History<'_>) -> Use {
    cuts(history).iter().filter_map(|cut| cut.used).next_back().unwrap_or(Use::Heating)
}

/// A rate further from its kind's than so many standard deviations of both is not of its kind, as that of a leaking unit:
/// it is not drawn toward it (our own value, no source).
const UNLIKE: f64 = 2.0;

/// A unit's own loss in one use, over all its runs, each weighed by 1/sd², where no season is quite like another; `None`
/// where no run has two tests.
/// `open_too`: with the run that is still open, as for [`super::fleet()`]; without it, as a forecast of that run wants it.
pub fn own_rate(history: &History<'_>, used: Use, open_too: bool, rules: &ForecastRules) -> Option<Rate> {
    let runs = runs(history);
    let counted = runs.iter().filter(|run| run.used == used && (open_too || !run.open));
    let rates = counted.filter_map(|run| Line::through(&points(&run.tests, rules)).map(|line| line.rate));
    let (weight, sum) = rates.fold((0.0, 0.0), |(weight, sum), rate| {
        let own = rate.sd.hypot(LEAST_SPREAD * rate.per_day).powi(-2);
        (weight + own, sum + own * rate.per_day)
    });
    let rate = Rate { per_day: sum / weight, sd: weight.sqrt().recip() };
    (rate.per_day.is_finite() && rate.sd.is_finite()).then_some(rate)
}

/// What to expect of the open run: the unit's own earlier runs in this use, drawn toward what is usual for its kind where
/// it is of its kind. `None` where neither says anything.
pub fn usual_rate(earlier: Option<Rate>, kind: Option<Rate>) -> Option<Rate> {
    match (earlier, kind) {
        (Some(own), Some(kind)) if (own.per_day - kind.per_day).abs() > UNLIKE * own.sd.hypot(kind.sd) => Some(own),
        (Some(own), Some(kind)) => Some(own.shrunk(kind)),
        (own, kind) => own.or(kind),
    }
}
