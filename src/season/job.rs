//! Job kinds, as data: what is done at a unit, how long it takes, and how it recurs.

use std::collections::BTreeSet;

use serde::{Deserialize, Serialize};
use thiserror::Error;

use super::window::SeasonName;

/// The seasons in which a job recurs.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Seasons {
    Spring,
    Fall,
    SpringAndFall,
}

impl Seasons {
    /// True when the job recurs in that season.
    pub const fn holds(self, season: SeasonName) -> bool {
        matches!((self, season), (Self::SpringAndFall, _) | (Self::Spring, SeasonName::Spring) | (Self::Fall, SeasonName::Fall))
    }
}

/// When a job falls due.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Cadence {
    /// Once, when a unit is first filled.
    OnceAtFill,
    /// In each of these seasons.
    EverySeason(Seasons),
    /// Once a year, in this season.
    Yearly(SeasonName),
    /// From the first to the last day after a dose.
    AfterDose { first_day: u16, last_day: u16 },
    /// Only when someone asks.
    OnRequest,
}

/// Why a job kind is refused.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Error)]
pub enum JobKindError {
    #[error("A job needs a code and a name.")]
    NoName,
    #[error("A job takes 1 to 1,440 minutes, its set-up no longer than the job.")]
    Minutes,
    #[error("The first day after a dose must not come after the last, and both within a year.")]
    AfterDose,
    #[error("A job can be done at most 300 days (once a year) or 120 days (each season) before its window opens.")]
    Lead,
}

/// One kind of job. Make it with [`JobKind::new`], then set what differs.
#[derive(Debug, Clone, PartialEq, Eq)]
#[expect(clippy::struct_excessive_bools, reason = "five independent facts about a job, each a column")]
pub struct JobKind {
    code: String,
    name: String,
    minutes: u16,
    setup_minutes: u16,
    cadence: Cadence,
    lead_days: u16,
    /// May share a visit with other jobs at the same unit.
    pub joins: bool,
    /// Skills a technician needs.
    pub skills: BTreeSet<String>,
    /// A kept water test counts as this job done.
    pub done_by_test: bool,
    /// Still due while the unit stands idle.
    pub while_idle: bool,
    /// No longer due once the other season has opened: nobody shuts a heater down in the fall.
    pub lapses: bool,
    /// Only with a cold firebox: it waits while the heater burns.
    pub cold: bool,
}

impl JobKind {
    /// A job kind that joins, needs no skill, is not done by a test alone and rests while the unit is idle.
    ///
    /// `minutes` at the unit, set-up included; `setup_minutes` of them are shared when jobs join.
    pub fn new(code: &str, name: &str, (minutes, setup_minutes): (u16, u16), cadence: Cadence) -> Result<Self, JobKindError> {
        if code.trim().is_empty() || name.trim().is_empty() {
            return Err(JobKindError::NoName);
        }
        if !(1..=1_440).contains(&minutes) || setup_minutes > minutes {
            return Err(JobKindError::Minutes);
        }
        if let Cadence::AfterDose { first_day, last_day } = cadence
            && (first_day > last_day || last_day > 365)
        {
            return Err(JobKindError::AfterDose);
        }
        Ok(Self {
            code: code.to_owned(),
            name: name.to_owned(),
            minutes,
            setup_minutes,
            cadence,
            lead_days: 0,
            joins: true,
            skills: BTreeSet::new(),
            done_by_test: false,
            while_idle: false,
            lapses: false,
            cold: false,
        })
    }

    /// The same, and done up to `days` before the window opens it counts for that season.
    pub fn with_lead_days(self, days: u16) -> Result<Self, JobKindError> {
        let most = if matches!(self.cadence, Cadence::Yearly(_)) { 300 } else { 120 };
        if days <= most { Ok(Self { lead_days: days, ..self }) } else { Err(JobKindError::Lead) }
    }

    pub fn code(&self) -> &str {
        &self.code
    }

    pub fn name(&self) -> &str {
        &self.name
    }

    /// Minutes at the unit, set-up included.
    pub const fn minutes(&self) -> u16 {
        self.minutes
    }

    /// Minutes that are spent once when jobs join.
    pub const fn setup_minutes(&self) -> u16 {
        self.setup_minutes
    }

    /// Whether it can be done without a report here: not a fill, whose water has to be known, and no test, which is a figure.
    pub const fn may_be_done_elsewhere(&self) -> bool {
        !matches!(self.cadence, Cadence::OnceAtFill | Cadence::AfterDose { .. }) && !self.done_by_test
    }

    pub const fn cadence(&self) -> Cadence {
        self.cadence
    }

    pub const fn lead_days(&self) -> u16 {
        self.lead_days
    }

    /// The name inside a sentence: "water test".
    pub fn name_in_sentence(&self) -> String {
        let mut chars = self.name.chars();
        let first = chars.next().map(|c| c.to_lowercase().to_string()).unwrap_or_default();
        first + chars.as_str()
    }

    /// True when the job recurs in that season.
    pub const fn in_season(&self, season: SeasonName) -> bool {
        match self.cadence {
            Cadence::EverySeason(seasons) => seasons.holds(season),
            Cadence::Yearly(only) => {
                matches!((only, season), (SeasonName::Spring, SeasonName::Spring) | (SeasonName::Fall, SeasonName::Fall))
            }
            Cadence::OnceAtFill | Cadence::AfterDose { .. } | Cadence::OnRequest => false,
        }
    }
}
