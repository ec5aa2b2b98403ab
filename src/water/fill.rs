//! Source water before it goes in: what each profile says of it, what the heat will make of it, and what to do.
//!
//! Limits come in as data ([`Profile`], [`Edition`]); the answer names every limit with its profile and edition.

pub mod device;
pub mod edition;
pub mod hardness;
pub mod lime;
pub mod metals;
pub mod profile;

use super::carbonate::{Alkalinity, Analysis, Assumed, Hardness, SourceError, SourceWater, larson_ratio};
use crate::units::{Millilitres, Ph, UnitsFirst};
use edition::{Edition, FillSystem};
use lime::{LimeOutlook, LimeRules, Outlook};
use profile::{FillVerdict, Parameter, Profile, Remedy};

/// What was tested of a source water; whatever was not is `None`. mg/L of the ion where nothing else is said.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct FillTest {
    /// At 25 °C, of a cooled and stoppered sample.
    pub ph: Option<Ph>,
    pub hardness: Option<Hardness>,
    pub alkalinity: Option<Alkalinity>,
    /// µS/cm at 25 °C.
    pub conductivity: Option<f64>,
    pub dissolved_solids: Option<f64>,
    pub sodium: Option<f64>,
    pub chloride: Option<f64>,
    pub sulfate: Option<f64>,
    /// As `SiO2`.
    pub silica: Option<f64>,
    pub iron: Option<f64>,
    pub manganese: Option<f64>,
    pub copper: Option<f64>,
}

impl FillTest {
    /// What the lime sum needs; `None` where pH, hardness or alkalinity is missing.
    pub fn analysis(&self) -> Option<Analysis> {
        Some(Analysis {
            ph: self.ph?,
            alkalinity: self.alkalinity?,
            hardness: self.hardness?,
            sodium: self.sodium,
            chloride: self.chloride,
            sulfate: self.sulfate,
            silica: self.silica,
            conductivity: self.conductivity,
        })
    }

    /// The figure for a parameter. A sum needs both of its parts.
    pub fn value(&self, parameter: Parameter) -> Option<f64> {
        match parameter {
            Parameter::Ph => self.ph.map(|ph| ph.as_f64() / 100.0),
            Parameter::Hardness => self.hardness.map(Hardness::total_as_caco3),
            Parameter::Alkalinity => self.alkalinity.map(Alkalinity::as_caco3),
            Parameter::Conductivity => self.conductivity,
            Parameter::DissolvedSolids => self.dissolved_solids,
            Parameter::Chloride => self.chloride,
            Parameter::Sulfate => self.sulfate,
            Parameter::ChlorideAndSulfate => Some(self.chloride? + self.sulfate?),
            Parameter::Iron => self.iron,
            Parameter::Manganese => self.manganese,
            Parameter::Copper => self.copper,
            Parameter::LarsonRatio => larson_ratio(&self.analysis()?),
        }
    }

    /// No figure may be negative, endless or not a number.
    fn check(&self) -> Result<(), SourceError> {
        use Parameter as P;
        let plain =
            [P::Hardness, P::Alkalinity, P::Conductivity, P::DissolvedSolids, P::Chloride, P::Sulfate, P::Iron, P::Manganese, P::Copper];
        let figures = plain.into_iter().map(|p| (p.words(), self.value(p)));
        for (quantity, value) in figures.chain([("sodium", self.sodium), ("silica", self.silica)]) {
            if value.is_some_and(|value| !(0.0..=200_000.0).contains(&value)) {
                return Err(SourceError::OutOfRange { quantity, range: "a number from 0 to 200,000" });
            }
        }
        Ok(())
    }
}

/// Dissolved solids in mg/L from a conductivity in µS/cm: 0.65 × (usual factors run from 0.55 to 0.70; from memory).
pub fn solids_from_conductivity(conductivity: f64) -> f64 {
    0.65 * conductivity
}

/// One figure against one limit.
#[derive(Debug, Clone, PartialEq)]
pub struct Finding {
    pub parameter: Parameter,
    pub value: f64,
    pub verdict: FillVerdict,
    /// The limit in words.
    pub limit: String,
    /// Name and edition of the profile or table.
    pub profile: String,
    pub remedy: Remedy,
    pub why: String,
    pub source: String,
    /// Whether it decides the answer, or only stands for comparison.
    pub decides: bool,
}

/// What to do with the water.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Answer {
    Usable,
    Soften,
    Filter,
    OtherSource,
}

impl Answer {
    /// The words on the page.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Usable => "Usable as it is",
            Self::Soften => "Soften it before filling",
            Self::Filter => "Filter it before filling",
            Self::OtherSource => "Use another source, or ask a water laboratory",
        }
    }
}

/// What the water is held against.
#[derive(Debug, Clone, Copy)]
pub struct Against<'a> {
    pub profiles: &'a [Profile],
    /// Published tables of hardness, for comparison; they need the system.
    pub editions: &'a [Edition],
    pub system: Option<&'a FillSystem>,
    pub lime: &'a LimeRules,
}

/// What is known of a source water before it goes in.
#[derive(Debug, Clone, PartialEq)]
pub struct Assessment {
    /// `None` where too little was tested to say, or the figures do not fit together.
    pub answer: Option<Answer>,
    /// Everything to do, in the order to do it: filter, then soften. Empty when usable or another source is needed.
    pub steps: Vec<Answer>,
    /// The figures behind the answer, in words.
    pub reasons: Vec<String>,
    /// Every figure against every limit.
    pub findings: Vec<Finding>,
    /// `None` where pH, hardness or alkalinity is missing or does not fit together; see `lime_missing`.
    pub lime: Option<LimeOutlook>,
    /// Why there is no lime outlook.
    pub lime_missing: Option<String>,
    /// What the lime outlook assumed.
    pub assumed: Vec<Assumed>,
    /// What the deciding profiles ask for and nobody tested.
    pub not_tested: Vec<Parameter>,
}

/// Holds a source water against profiles and tables. Errors when a figure is not a number from 0 up.
pub fn assess(test: &FillTest, against: &Against<'_>) -> Result<Assessment, SourceError> {
    test.check()?;
    let mut findings = profile_findings(test, against.profiles);
    findings.extend(edition_findings(test, against));
    let (lime, assumed, lime_missing) = match lime_of(test, against.lime) {
        Some(Ok((lime, assumed))) => (Some(lime), assumed, None),
        Some(Err(error)) => (None, Vec::new(), Some(error.to_string())),
        None => (None, Vec::new(), Some("Test pH, hardness and alkalinity to see how much lime to expect.".to_owned())),
    };
    let (needed, mut reasons) = needed(&findings, lime.as_ref());
    let answer = needed.iter().max().copied().or_else(|| lime.is_some().then_some(Answer::Usable));
    let steps = if answer == Some(Answer::OtherSource) { Vec::new() } else { needed };
    reasons.extend(lime.map(|lime| lime.words()));
    Ok(Assessment { answer, steps, reasons, findings, lime, lime_missing, assumed, not_tested: not_tested(test, against.profiles) })
}

type Lime = Result<(LimeOutlook, Vec<Assumed>), SourceError>;

fn lime_of(test: &FillTest, rules: &LimeRules) -> Option<Lime> {
    let analysis = test.analysis()?;
    let worked_out = || {
        let water = SourceWater::new(analysis)?;
        Ok((lime::outlook(&water, rules)?, water.assumed().to_vec()))
    };
    Some(worked_out())
}

fn profile_findings(test: &FillTest, profiles: &[Profile]) -> Vec<Finding> {
    let mut findings = Vec::new();
    for profile in profiles {
        for limit in &profile.limits {
            let Some(value) = test.value(limit.parameter()) else { continue };
            findings.push(Finding {
                parameter: limit.parameter(),
                value,
                verdict: limit.verdict(value),
                limit: limit.words(),
                profile: profile.name.clone(),
                remedy: limit.remedy(),
                why: limit.why.clone(),
                source: limit.source.clone(),
                decides: profile.decides,
            });
        }
    }
    findings
}

fn edition_findings(test: &FillTest, against: &Against<'_>) -> Vec<Finding> {
    let (Some(system), Some(value)) = (against.system, test.value(Parameter::Hardness)) else { return Vec::new() };
    let finding = |edition: &Edition| {
        let allowed = edition.allowed(system)?;
        let fits = allowed.most.is_none_or(|most| value <= most);
        let most = allowed.most.map_or_else(|| "no requirement".to_owned(), |mg| format!("at most {}", Parameter::Hardness.figure(mg)));
        Some(Finding {
            parameter: Parameter::Hardness,
            value,
            verdict: if fits { FillVerdict::Ok } else { FillVerdict::Act },
            limit: format!("{most} ({})", allowed.place),
            profile: edition.name.to_owned(),
            remedy: Remedy::Soften,
            why: edition.note.to_owned(),
            source: edition.source.to_owned(),
            decides: false,
        })
    };
    against.editions.iter().filter_map(finding).collect()
}

/// What has to be done, in the order to do it, and why. Hardness in the caution range asks for softening where the
/// heat would really drop lime.
fn needed(findings: &[Finding], lime: Option<&LimeOutlook>) -> (Vec<Answer>, Vec<String>) {
    let will_lime = lime.is_some_and(|lime| lime.outlook == Outlook::WillLime);
    let (mut steps, mut reasons, mut cautions) = (Vec::new(), Vec::new(), Vec::new());
    for finding in findings.iter().filter(|finding| finding.decides) {
        let limes = finding.parameter == Parameter::Hardness && will_lime;
        let figure = finding.parameter.figure(finding.value);
        let say =
            |how| format!("{how}{} is {figure} ({}): {}. {}.", finding.parameter.words(), finding.limit, finding.why, finding.profile);
        match finding.verdict {
            FillVerdict::Ok => continue,
            FillVerdict::Caution if !limes => {
                cautions.push(say("Caution: "));
                continue;
            }
            FillVerdict::Caution | FillVerdict::Act => reasons.push(say("The ")),
        }
        steps.push(match finding.remedy {
            Remedy::Soften => Answer::Soften,
            Remedy::Filter => Answer::Filter,
            Remedy::OtherSource => Answer::OtherSource,
        });
    }
    steps.sort_by(|a, b| b.cmp(a));
    steps.dedup();
    reasons.append(&mut cautions);
    (steps, reasons)
}

fn not_tested(test: &FillTest, profiles: &[Profile]) -> Vec<Parameter> {
    let asked = profiles.iter().filter(|profile| profile.decides).flat_map(|profile| &profile.limits);
    let mut missing: Vec<Parameter> = asked.map(profile::Limit::parameter).filter(|p| test.value(*p).is_none()).collect();
    missing.sort_unstable();
    missing.dedup();
    missing
}

impl Assessment {
    /// The answer in one sentence, with the lime that comes with a volume of it.
    pub fn headline(&self, volume: Option<Millilitres>, first: UnitsFirst) -> String {
        let answer = match (self.answer, self.steps.as_slice()) {
            (None, _) => {
                let why = self.lime_missing.as_deref().unwrap_or_default();
                return format!("No answer yet. {why}");
            }
            (Some(_), [Answer::Filter, Answer::Soften]) => "Filter it, then soften it, before filling".to_owned(),
            (Some(answer), _) => answer.words().to_owned(),
        };
        let lime = self.lime.filter(|lime| lime.lime >= 1.0).zip(volume).map_or_else(String::new, |(lime, volume)| {
            let mass = lime::mass(lime::lime_grams(volume, lime.lime), first);
            format!(" Up to {mass} of lime comes with {} of it.", volume.both(first))
        });
        format!("{answer}.{lime}")
    }
}
