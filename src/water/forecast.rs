//! When a unit's inhibitor will reach its minimum, by what it lost between tests; or why that cannot be said.
//!
//! Well-mixed water at a steady loss: `C(t) = C0 e^(-k t)`, fitted on ln C. A dose, a drain, a refill or a change of season
//! state begins a new run of tests, and only the last run is used. A date is given only where the fall is larger than the
//! error of the tests explains; a "test by" day is given wherever one can be.

use time::{Date, Duration};

use super::volume::WaterVolume;
use crate::units::{MgPerLitre, Millilitres, UnitsFirst, day_with_year};
use crate::water::kit::Measured;

pub mod balance;
pub mod chance;
pub mod dosed;
pub mod fleet;
pub mod line;
pub mod runs;

pub use balance::{Balance, Vapour, balance};
pub use dosed::{Dosed, levels_after};
pub use fleet::fleet;
pub use line::{Line, Point, Rate};
pub use runs::{Run, Use, own_rate, runs, used_now, usual_rate};

/// One level of the inhibitor, in the programme's basis: tested, or worked out after a dose.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Tested {
    pub on: Date,
    pub measured: Measured,
    /// No test: the level that a dose is held to have left, once it had mixed.
    pub worked_out: bool,
}

/// What begins a new run of tests.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Change {
    Dose,
    Drain,
    Refill,
    /// Put to use: the loss is another from here on, the level is not.
    StartUp,
    /// Put to rest, likewise.
    ShutDown,
}

impl Change {
    const fn moves_level(self) -> bool {
        matches!(self, Self::Dose | Self::Drain | Self::Refill)
    }

    const fn used(self) -> Option<Use> {
        match self {
            Self::StartUp => Some(Use::Heating),
            Self::ShutDown => Some(Use::Resting),
            Self::Dose | Self::Drain | Self::Refill => None,
        }
    }
}

/// A change and its day. A test on the day of a dose, drain or refill is taken to come before it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Changed {
    pub on: Date,
    pub what: Change,
}

/// What is known of one unit; order does not matter.
#[derive(Debug, Clone, Copy)]
pub struct History<'a> {
    pub tests: &'a [Tested],
    pub changes: &'a [Changed],
    pub volume: Option<WaterVolume>,
}

/// The dealer's figures for forecasts (data).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ForecastRules {
    /// Days from one test to the next where nothing else is known (183, half a year: common practice, no source).
    pub normal_interval: u16,
    /// A fall smaller than so many of its standard deviations is no fall (1.645: one-sided 5 % of the normal distribution).
    pub significance: f64,
    /// Least relative error of a test (0.03: common practice, no source).
    pub least_error: f64,
}

impl Default for ForecastRules {
    fn default() -> Self {
        Self { normal_interval: 183, significance: 1.645, least_error: 0.03 }
    }
}

/// Liquid lost each day, with one standard uncertainty from the tests and from the ± of the water volume.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct LossPerDay {
    pub ml: Millilitres,
    pub plus_minus: Millilitres,
}

impl LossPerDay {
    /// "0.62 gal ± 0.19 a day".
    pub fn text(self, first: UnitsFirst) -> String {
        match first {
            UnitsFirst::Us => format!("{:.2} gal ± {:.2} a day", self.ml.us_gallons(), self.plus_minus.us_gallons()),
            UnitsFirst::Metric => format!("{:.1} L ± {:.1} a day", self.ml.as_f64() / 1_000.0, self.plus_minus.as_f64() / 1_000.0),
        }
    }
}

/// A level on a day, for the drawing.
pub type Mark = (Date, MgPerLitre);

/// Two lines that open from the last test: the expected course, and the one that meets the minimum first.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Wedge {
    pub expected: [Mark; 2],
    pub early: [Mark; 2],
}

/// A forecast that the tests carry.
#[derive(Debug, Clone, PartialEq)]
pub struct Foreseen {
    /// The day the level is expected at the minimum.
    pub expected: Date,
    /// Test again by this day: the early bound, or the normal interval where that ends sooner.
    pub test_by: Date,
    pub rate: Rate,
    /// None where the water volume is unknown.
    pub loss_per_day: Option<LossPerDay>,
    pub half_life_days: f64,
    pub wedge: Wedge,
    /// So many tests stand behind it.
    pub tests: usize,
    /// What it and its kind usually lose was weighed in.
    pub with_usual: bool,
    /// The day lies further ahead than twice the time observed.
    pub far_ahead: bool,
    /// It lies beyond the next test of the season, when use and loss will have changed.
    pub past_season: bool,
}

/// What can be said of a unit's next months.
#[derive(Debug, Clone, PartialEq)]
pub enum Forecast {
    Foreseen(Foreseen),
    /// The fall is no larger than the error of the tests.
    NotEnoughChange {
        test_by: Date,
    },
    /// One test in this run of water: nothing to compare it with.
    OneTest {
        test_by: Date,
    },
    /// The level rose, with no dose on record.
    Rose {
        since: Date,
    },
    /// The last test is at the minimum or below: dose now.
    AtMinimum {
        on: Date,
        /// Worked out from the dose of the day before, not tested.
        by_dose: bool,
    },
    /// No test since this dose or change of season state.
    NoTestSince(Changed),
    /// The last test is older than the water, which was drained or refilled on this day.
    TestOlderThanWater(Date),
    NoTest,
}

impl Forecast {
    /// In plain words.
    pub fn words(&self) -> String {
        let day = |date: &Date| day_with_year(*date);
        match self {
            Self::Foreseen(found) => found.words(),
            Self::NotEnoughChange { test_by } => {
                format!("Not enough change to predict: the fall is within the error of the tests. Test by {}.", day(test_by))
            }
            Self::OneTest { test_by } => format!("Not enough to predict: one test since the last change. Test by {}.", day(test_by)),
            Self::Rose { since } => {
                format!("The level has risen since {} with no dose on record. Check the record, or test again.", day(since))
            }
            Self::AtMinimum { on, by_dose: true } => {
                let given = on.previous_day().unwrap_or(*on);
                format!("The dose of {} is worked out to leave it at or below the minimum: test again.", day(&given))
            }
            Self::AtMinimum { on, .. } => {
                format!("At or below the minimum on {}, and no dose since: there is nothing to predict.", day(on))
            }
            Self::NoTestSince(Changed { on, what: Change::StartUp | Change::ShutDown }) => {
                format!("No test since the unit was started or shut down on {}.", day(on))
            }
            Self::NoTestSince(Changed { on, .. }) => format!("No test since the dose of {}.", day(on)),
            Self::TestOlderThanWater(on) => format!("The test is older than the water, which was changed on {}.", day(on)),
            Self::NoTest => "No test on record.".to_owned(),
        }
    }

    /// The day on which the minimum is expected, where one can be given.
    pub const fn expected(&self) -> Option<Date> {
        match self {
            Self::Foreseen(found) => Some(found.expected),
            _ => None,
        }
    }

    /// The day to test by, where one can be given.
    pub const fn test_by(&self) -> Option<Date> {
        match self {
            Self::Foreseen(Foreseen { test_by, .. }) | Self::NotEnoughChange { test_by } | Self::OneTest { test_by } => Some(*test_by),
            Self::Rose { .. } | Self::AtMinimum { .. } | Self::NoTestSince(_) | Self::TestOlderThanWater(_) | Self::NoTest => None,
        }
    }
}

impl Foreseen {
    fn words(&self) -> String {
        let expected = day_with_year(self.expected);
        let usual = if self.with_usual { " and what it and its kind usually lose" } else { "" };
        let tests = match self.tests {
            0 => "the last dose".to_owned(),
            1 => "1 test".to_owned(),
            n => format!("{n} tests"),
        };
        let far = if self.far_ahead { " That is more than twice as far ahead as the tests reach back: take it as a guess." } else { "" };
        let past = if self.past_season { " if it goes on so past the season," } else { "" };
        format!("Expected at the minimum about {expected},{past} by {tests}{usual}.{far} Test by {}.", day_with_year(self.test_by))
    }
}

/// When the level reaches `min`. `usual`: what it and units of its kind lose in this use, from [`usual_rate`].
pub fn forecast(history: &History<'_>, min: MgPerLitre, usual: Option<Rate>, rules: &ForecastRules) -> Forecast {
    let run = match last_run(history) {
        Ok(run) => run,
        Err(refused) => return *refused,
    };
    let usual = usual.filter(|rate| rate.sd > 0.0 && rate.sd.is_finite() && rate.per_day.is_finite());
    let last = run[run.len() - 1];
    if last.measured.level <= min {
        return Forecast::AtMinimum { on: last.on, by_dose: last.worked_out };
    }
    let view = View { run: &run, min, usual, rules };
    let points = points(&run, rules);
    let Some(line) = Line::through(&points) else {
        let one = usual.filter(|usual| usual.significance() >= rules.significance).zip(points.last());
        return match one {
            Some((usual, point)) => view.foreseen(Line::from_one(*point, usual), history.volume),
            None => Forecast::OneTest { test_by: view.test_by([None, view.by_usual_alone(&points)]) },
        };
    };
    let significance = line.rate.significance();
    if significance < -rules.significance {
        return Forecast::Rose { since: run[0].on };
    }
    if significance < rules.significance {
        let own = line.bound(view.ln_min(), view.span());
        return Forecast::NotEnoughChange { test_by: view.test_by([own, view.by_usual_alone(&points)]) };
    }
    let line = usual.map_or(line, |usual| line.shrunk(usual));
    view.foreseen(line, history.volume)
}

/// The tests since the last change, in order; tests of one day count as their mean.
fn last_run(history: &History<'_>) -> Result<Vec<Tested>, Box<Forecast>> {
    if let Some(run) = runs(history).pop().filter(|run| run.open) {
        return Ok(run.tests);
    }
    let newest = history.tests.iter().map(|test| test.on).max().ok_or_else(|| Box::new(Forecast::NoTest))?;
    // Of several changes since then the water's own tells the most.
    let rank = |what: Change| match what {
        Change::StartUp | Change::ShutDown => 0,
        Change::Dose => 1,
        Change::Drain | Change::Refill => 2,
    };
    let since = |change: &&Changed| if change.what.moves_level() { newest <= change.on } else { newest < change.on };
    let change = history.changes.iter().filter(since).max_by_key(|change| (rank(change.what), change.on));
    Err(Box::new(match change {
        Some(Changed { on, what: Change::Drain | Change::Refill }) => Forecast::TestOlderThanWater(*on),
        Some(change) => Forecast::NoTestSince(*change),
        None => Forecast::NoTest,
    }))
}

fn one_a_day(run: &[Tested]) -> Vec<Tested> {
    let days = run.chunk_by(|a, b| a.on == b.on);
    let mean = |day: &[Tested], of: fn(&Tested) -> i64| {
        let sum: i64 = day.iter().map(of).sum();
        MgPerLitre::new(sum / i64::try_from(day.len()).unwrap_or(1)).unwrap_or(MgPerLitre::MAX)
    };
    days.map(|day| Tested {
        on: day[0].on,
        measured: Measured { level: mean(day, |t| t.measured.level.get()), sd: mean(day, |t| t.measured.sd.get()) },
        worked_out: day.iter().all(|test| test.worked_out),
    })
    .collect()
}

/// A run of tests as points of a line; days count from its first test.
fn points(run: &[Tested], rules: &ForecastRules) -> Vec<Point> {
    let Some(first) = run.first() else { return Vec::new() };
    let days = |on: Date| f64::from(i32::try_from((on - first.on).whole_days()).unwrap_or(i32::MAX));
    let least = rules.least_error.clamp(1e-4, 1.0);
    let point = |test: &Tested| {
        let level = test.measured.level.as_f64().max(1.0);
        Point { day: days(test.on), ln_level: level.ln(), relative_sd: (test.measured.sd.as_f64() / level).max(least) }
    };
    run.iter().map(point).collect()
}

/// One run of tests, never empty, and what is asked of it. Days count from its first test.
struct View<'a> {
    run: &'a [Tested],
    min: MgPerLitre,
    usual: Option<Rate>,
    rules: &'a ForecastRules,
}

impl View<'_> {
    fn last(&self) -> Date {
        self.run[self.run.len() - 1].on
    }

    fn span(&self) -> f64 {
        f64::from(i32::try_from((self.last() - self.run[0].on).whole_days()).unwrap_or(i32::MAX))
    }

    /// A minimum of 0 is never reached by a share a day; 1 mg/L stands for it.
    fn ln_min(&self) -> f64 {
        self.min.as_f64().max(1.0).ln()
    }

    /// The bound from the last test and the usual rate alone.
    fn by_usual_alone(&self, points: &[Point]) -> Option<f64> {
        let last = points.last()?;
        Line::from_one(*last, self.usual?).bound(self.ln_min(), last.day)
    }

    /// The earliest of the bounds and the normal interval.
    fn test_by(&self, bounds: [Option<f64>; 2]) -> Date {
        let cap = self.last().saturating_add(Duration::days(i64::from(self.rules.normal_interval)));
        bounds.into_iter().flatten().map(|day| self.date(day)).fold(cap, Date::min)
    }

    /// A day counted from the first test, rounded down.
    fn date(&self, day: f64) -> Date {
        #[expect(clippy::cast_possible_truncation, reason = "held to a hundred years or so")]
        let whole = day.clamp(0.0, 40_000.0).floor() as i64;
        self.run[0].on.saturating_add(Duration::days(whole))
    }

    fn foreseen(&self, line: Line, volume: Option<WaterVolume>) -> Forecast {
        let span = self.span();
        let (Some(meets), Some(half_life_days)) = (line.meets(self.ln_min()), line.rate.half_life()) else {
            return Forecast::NotEnoughChange { test_by: self.test_by([None, None]) };
        };
        let meets = meets.max(span);
        let bound = line.bound(self.ln_min(), span).unwrap_or(meets).min(meets);
        let level = line.ln_at(span).exp().round();
        #[expect(clippy::cast_possible_truncation, reason = "MgPerLitre refuses what is out of range")]
        let start = (self.last(), MgPerLitre::new(level as i64).unwrap_or(MgPerLitre::MAX));
        let expected = self.date(meets);
        let wedge = Wedge { expected: [start, (expected, self.min)], early: [start, (self.date(bound), self.min)] };
        Forecast::Foreseen(Foreseen {
            expected,
            test_by: self.test_by([Some(bound), None]),
            rate: line.rate,
            loss_per_day: volume.and_then(|volume| loss_per_day(line.rate, volume)),
            half_life_days,
            wedge,
            tests: self.run.iter().filter(|test| !test.worked_out).count(),
            with_usual: self.usual.is_some(),
            past_season: expected > self.last().saturating_add(Duration::days(i64::from(self.rules.normal_interval))),
            far_ahead: span > 0.0 && meets - span > 2.0 * span,
        })
    }
}

/// A rate as water: `k Vs`, with the errors of both.
pub fn loss_per_day(rate: Rate, volume: WaterVolume) -> Option<LossPerDay> {
    let vs = volume.volume().as_f64();
    let spread = (rate.sd * vs).hypot(rate.per_day * volume.plus_minus().as_f64());
    let ml = Millilitres::from_f64(rate.per_day * vs).ok()?;
    Some(LossPerDay { ml, plus_minus: Millilitres::from_f64(spread).ok()? })
}
