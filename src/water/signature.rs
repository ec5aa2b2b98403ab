//! What two water tests together look like: a leak, bacteria, acid, vapour loss. Never more than "looks like … check …",
//! with the evidence beside it; two tests cannot prove a cause.
//!
//! The share of nitrite left is held against the share left of a conserved tracer: molybdate, boron, or conductivity
//! with the fill's taken off. The patterns are common practice, no source; that ammonium above 5 mg/L calls for a flush
//! and that nitrite-reducing bacteria favour 15 to 45 °C comes from published treatment guidance whose edition was not
//! noted. The bounds that tell "about the same" from "less" are common practice, no source, and data.

use thiserror::Error;

use crate::units::Ph;

use super::dilution::{DilutionError, Split, split_loss};

/// Nitrite in mg/L below which no kit for loop water tells anything: a later reading below it counts as this.
const LEAST_NITRITE: f64 = 1.0;

/// Why two tests are not read.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Error)]
pub enum SignatureError {
    #[error("{figure} must be {range}.")]
    OutOfRange { figure: &'static str, range: &'static str },
    #[error(transparent)]
    Dilution(#[from] DilutionError),
}

/// Two tests of one water side by side.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TwoTests {
    /// Nitrite, earlier and later, in one basis.
    pub nitrite: (f64, f64),
    /// Share left of the conserved tracer; see [`super::dilution::share_left`].
    pub tracer_left: Option<f64>,
    pub ph: Option<(Ph, Ph)>,
    /// mg/L of ammonium at the later test.
    pub ammonium: Option<f64>,
    /// mg/L of nitrate, earlier and later.
    pub nitrate: Option<(f64, f64)>,
    /// mg/L of iron, earlier and later.
    pub iron: Option<(f64, f64)>,
    /// The later sample was black.
    pub black: bool,
    /// No water was added in between, by a meter that was read.
    pub nothing_added: bool,
}

impl TwoTests {
    /// Two nitrite tests and nothing else.
    pub const fn of_nitrite(before: f64, after: f64) -> Self {
        Self {
            nitrite: (before, after),
            tracer_left: None,
            ph: None,
            ammonium: None,
            nitrate: None,
            iron: None,
            black: false,
            nothing_added: false,
        }
    }
}

/// When a figure counts as changed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bounds {
    /// A share from 1 minus this to 1 plus this is "about the same".
    pub same: f64,
    /// Ammonium above this asks for a flush, mg/L.
    pub ammonium: f64,
    /// A rise of nitrate that counts, mg/L.
    pub nitrate_rise: f64,
    /// Iron above this hints at corrosion under deposits, mg/L.
    pub iron: f64,
    /// pH below this is acid for a treated steel loop, in hundredths.
    pub acid_ph: i64,
}

impl Default for Bounds {
    /// Ammonium: published treatment guidance, edition not noted; the rest common practice, no source.
    fn default() -> Self {
        Self { same: 0.08, ammonium: 5.0, nitrate_rise: 5.0, iron: 1.0, acid_ph: 800 }
    }
}

/// What a pattern looks like.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum LooksLike {
    Dilution,
    OxidationOrNitrifyingBacteria,
    NitriteReducingBacteria,
    LostAnotherWay,
    Acid,
    VapourOrOverdose,
    UnderDeposits,
}

impl LooksLike {
    /// In words: what it looks like.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Dilution => "dilution: water was lost and new water came in",
            Self::OxidationOrNitrifyingBacteria => "nitrite turned into nitrate, by air or bacteria",
            Self::NitriteReducingBacteria => "bacteria that use up nitrite",
            Self::LostAnotherWay => "nitrite used up, not washed out",
            Self::Acid => "acid from somewhere: an acid cleaner, old glycol, carbon dioxide, or too little borate",
            Self::VapourOrOverdose => "vapour lost without make-up, or too much put in",
            Self::UnderDeposits => "corrosion under deposits",
        }
    }

    /// In words: what to check.
    pub const fn check(self) -> &'static str {
        match self {
            Self::Dilution => "Check for a leak, an overflow, a boil-over, or a drain for a repair; read the water meter.",
            Self::OxidationOrNitrifyingBacteria => {
                "Check for air drawn in, and test nitrate again; a laboratory can count nitrifying bacteria."
            }
            Self::NitriteReducingBacteria => {
                "Check ammonium again and look for slime; it favours 15 to 45 °C, as in an idle season. Copper alloys are at risk \
                 where ammonium is above 5 mg/L: ask a water laboratory, and flush."
            }
            Self::LostAnotherWay => "Test nitrite again on a fresh sample, then nitrate and ammonium to see where it went.",
            Self::Acid => "Check the pH again on a cooled sample, ask what was put in, and test glycol and borate where there are any.",
            Self::VapourOrOverdose => "Check the water level, and what was put in at the last visits.",
            Self::UnderDeposits => "Check a filter or a drain sample for sludge; flush and filter before putting more in.",
        }
    }
}

/// One thing the two tests look like, with why.
#[derive(Debug, Clone, PartialEq)]
pub struct Signature {
    pub looks_like: LooksLike,
    /// What was seen, in words.
    pub evidence: Vec<String>,
}

/// What the tests say together.
#[derive(Debug, Clone, PartialEq)]
pub struct Signatures {
    /// Likeliest first; empty when nothing stands out.
    pub found: Vec<Signature>,
    /// How the fall of nitrite splits; `None` without a fall or without a tracer.
    pub split: Option<Split>,
    /// True when the tracer, read in time, did not fall while nitrite did.
    pub not_a_leak: bool,
    /// What was missing for more.
    pub missing: Vec<&'static str>,
}

impl Signatures {
    /// To be shown wherever a check here ends in draining, flushing or cleaning.
    pub const CAUTION: &'static str = "Never mix an acid cleaner with nitrite: it sets free poisonous gas. Water drained or flushed holds \
        treatment: not into a well, ditch, storm drain or septic tank without approval. Let it cool first. Local code governs.";
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Change {
    Less,
    Same,
    More,
}

impl Bounds {
    fn change(&self, share: f64) -> Change {
        if share < 1.0 - self.same {
            Change::Less
        } else if share > 1.0 + self.same {
            Change::More
        } else {
            Change::Same
        }
    }
}

/// Reads two tests together. Errors when a figure is out of range or not a number.
pub fn signatures(tests: &TwoTests, bounds: &Bounds) -> Result<Signatures, SignatureError> {
    check(tests)?;
    let after = tests.nitrite.1.max(LEAST_NITRITE);
    let left = after / tests.nitrite.0;
    let mut seen = Seen { tests, bounds, left, nitrite: bounds.change(left), tracer: tests.tracer_left.map(|f| bounds.change(f)) };
    if tests.tracer_left.is_none() && tests.nothing_added && seen.nitrite == Change::Less {
        seen.tracer = Some(Change::Same);
    }
    let split = match tests.tracer_left {
        Some(f) if after < tests.nitrite.0 => Some(split_loss(tests.nitrite.0, after, f)?),
        _ => None,
    };
    let mut found = Vec::new();
    seen.losses(split, &mut found);
    seen.others(&mut found);
    let not_a_leak = seen.nitrite == Change::Less && seen.tracer == Some(Change::Same);
    Ok(Signatures { found, split, not_a_leak, missing: missing(tests) })
}

fn check(tests: &TwoTests) -> Result<(), SignatureError> {
    let within = |value: f64, range: std::ops::RangeInclusive<f64>, figure, words| {
        if range.contains(&value) { Ok(()) } else { Err(SignatureError::OutOfRange { figure, range: words }) }
    };
    within(tests.nitrite.0, LEAST_NITRITE..=1e6, "The earlier nitrite reading", "from 1 to 1,000,000 mg/L")?;
    within(tests.nitrite.1, 0.0..=1e6, "The later nitrite reading", "from 0 to 1,000,000 mg/L")?;
    within(tests.tracer_left.unwrap_or(1.0), 0.001..=1_000.0, "The tracer's share", "from 0.001 to 1,000")?;
    let (nitrate, iron) = (tests.nitrate.unwrap_or_default(), tests.iron.unwrap_or_default());
    let ions = [("Ammonium", tests.ammonium.unwrap_or_default()), ("Nitrate", nitrate.0), ("Nitrate", nitrate.1)];
    for (figure, value) in ions.into_iter().chain([("Iron", iron.0), ("Iron", iron.1)]) {
        within(value, 0.0..=1e6, figure, "from 0 to 1,000,000 mg/L")?;
    }
    Ok(())
}

fn missing(tests: &TwoTests) -> Vec<&'static str> {
    let parts = [
        (tests.tracer_left.is_none(), "a tracer (molybdate, boron, or conductivity with the fill's known)"),
        (tests.ph.is_none(), "pH at both tests"),
        (tests.ammonium.is_none(), "ammonium"),
        (tests.nitrate.is_none(), "nitrate at both tests"),
        (tests.iron.is_none(), "iron at both tests"),
    ];
    parts.into_iter().filter_map(|(absent, name)| absent.then_some(name)).collect()
}

struct Seen<'a> {
    tests: &'a TwoTests,
    bounds: &'a Bounds,
    left: f64,
    nitrite: Change,
    tracer: Option<Change>,
}

impl Seen<'_> {
    fn nitrite_words(&self) -> String {
        format!("nitrite went from {:.0} to {:.0}: {:.0} % left", self.tests.nitrite.0, self.tests.nitrite.1, self.left * 100.0)
    }

    fn tracer_words(&self) -> String {
        match self.tests.tracer_left {
            Some(f) => format!("{:.0} % of the tracer left", f * 100.0),
            None if self.tests.nothing_added => "the meter shows that no water was added".to_owned(),
            None => "no tracer was tested".to_owned(),
        }
    }

    fn ammonium(&self) -> Option<f64> {
        self.tests.ammonium.filter(|mg| *mg > self.bounds.ammonium)
    }

    fn nitrate_rise(&self) -> Option<f64> {
        self.tests.nitrate.map(|(before, after)| after - before).filter(|rise| *rise > self.bounds.nitrate_rise)
    }

    fn acid(&self) -> Option<(Ph, Ph)> {
        self.tests.ph.filter(|(before, after)| after < before && after.get() < self.bounds.acid_ph)
    }

    fn with(&self, looks_like: LooksLike, more: Vec<String>) -> Signature {
        let mut evidence = vec![self.nitrite_words(), self.tracer_words()];
        evidence.extend(more);
        Signature { looks_like, evidence }
    }

    /// Where nitrite went down.
    fn losses(&self, split: Option<Split>, found: &mut Vec<Signature>) {
        if self.nitrite != Change::Less {
            return;
        }
        // Beyond dilution: the excess itself is more than test error.
        let excess = match (self.tracer, split) {
            (_, Some(split)) => split.excess / split.expected > self.bounds.same,
            (tracer, None) => tracer == Some(Change::Same),
        };
        if self.tracer == Some(Change::Less) {
            let more = split.filter(|_| excess).map(|s| format!("dilution alone would have left {:.0}", s.expected));
            found.push(self.with(LooksLike::Dilution, more.into_iter().collect()));
        }
        // Without a tracer a fall may be either; only its chemistry can still speak.
        let mut named = false;
        if let Some(mg) = self.ammonium().filter(|_| excess || self.tracer.is_none()) {
            found.push(self.with(LooksLike::NitriteReducingBacteria, vec![format!("{mg:.1} mg/L ammonium")]));
            named = true;
        }
        if let Some(rise) = self.nitrate_rise().filter(|_| excess || self.tracer.is_none()) {
            found.push(self.with(LooksLike::OxidationOrNitrifyingBacteria, vec![format!("nitrate rose by {rise:.0} mg/L")]));
            named = true;
        }
        if excess && !named {
            found.push(self.with(LooksLike::LostAnotherWay, Vec::new()));
        }
    }

    /// What shows beside, or without, a fall.
    fn others(&self, found: &mut Vec<Signature>) {
        if self.nitrite == Change::More && self.tracer != Some(Change::Less) {
            found.push(self.with(LooksLike::VapourOrOverdose, Vec::new()));
        }
        if let Some((before, after)) = self.acid() {
            let mut more = vec![format!("pH went from {before} to {after}")];
            more.extend(self.tests.iron.filter(|(b, a)| a > b).map(|(b, a)| format!("iron rose from {b:.1} to {a:.1} mg/L")));
            found.push(self.with(LooksLike::Acid, more));
        }
        let iron = self.tests.iron.filter(|(_, after)| *after > self.bounds.iron);
        if let Some((_, after)) = iron.filter(|_| self.tests.black && self.nitrite != Change::Less && self.acid().is_none()) {
            found.push(self.with(LooksLike::UnderDeposits, vec![format!("{after:.1} mg/L iron and black water")]));
        }
    }
}
