//! Source water against profiles and published tables: checks A1 to A6, K2, and the answer in words.

use crate::profiles::{drinking_water_frame, oenorm_2006_chloride, steel_vented_inhibited};
use embertide::units::{Millilitres, UnitsFirst};
use embertide::water::carbonate::{Alkalinity, Hardness};
use embertide::water::fill::device::FillDevice;
use embertide::water::fill::edition::{Edition, FillSystem, oenorm_h_5195_1_2006, oenorm_h_5195_1_by_content, vdi_2035_1_2005};
use embertide::water::fill::hardness::{HardnessUnit, SUPPLY_SCALE, SURVEY_SCALE};
use embertide::water::fill::lime::{LimeRules, Outlook, film_micrometres, largest_lime_grams, lime_grams, why_soften};
use embertide::water::fill::profile::{Bounds, FillVerdict, Limit, Parameter, Profile, Remedy};
use embertide::water::fill::solids_from_conductivity;
use embertide::water::{Against, Answer, Assessment, FillTest, assess};

use crate::carbonate::W;
use crate::example::ph;
use crate::near;

fn litres(litres: i64) -> Millilitres {
    Millilitres::from_litres(litres).unwrap()
}

fn gallons(gallons: i64) -> Millilitres {
    Millilitres::from_us_gallons(gallons).unwrap()
}

/// 200,000 Btu/h with 400 US gal, 90 gal of it in the heater.
fn usual_system() -> FillSystem {
    FillSystem::one_heater(gallons(400), 58.614, Some(gallons(90)))
}

fn of(number: usize) -> FillTest {
    let analysis = W[number - 1].analysis();
    FillTest {
        ph: Some(analysis.ph),
        hardness: Some(analysis.hardness),
        alkalinity: Some(analysis.alkalinity),
        sodium: analysis.sodium,
        chloride: analysis.chloride,
        sulfate: analysis.sulfate,
        silica: analysis.silica,
        ..FillTest::default()
    }
}

fn assessed(test: &FillTest) -> Assessment {
    let profiles = [steel_vented_inhibited().unwrap(), drinking_water_frame().unwrap(), oenorm_2006_chloride().unwrap()];
    let editions = [vdi_2035_1_2005(), oenorm_h_5195_1_by_content(), oenorm_h_5195_1_2006()];
    let (system, lime) = (usual_system(), LimeRules::usual().unwrap());
    assess(test, &Against { profiles: &profiles, editions: &editions, system: Some(&system), lime: &lime }).unwrap()
}

/// The cell in mg/L as `CaCO3`, as tables print it.
fn cell(edition: &Edition, system: &FillSystem) -> f64 {
    edition.allowed(system).unwrap().most.unwrap().round()
}

fn degrees(edition: &Edition, system: &FillSystem) -> f64 {
    HardnessUnit::MgCaCO3PerLitre.convert(edition.allowed(system).unwrap().most.unwrap(), HardnessUnit::GermanDegree)
}

/// Worked example in a trade page on OENORM H 5195-1: 45 kW, 1,000 L, small content: 22.2 L/kW, 5.6 dH = 100 mg/L; exact.
#[test]
fn a1_worked_example_of_a_table() {
    let system = FillSystem::one_heater(litres(1_000), 45.0, Some(litres(10)));
    near(system.specific_volume().unwrap(), 22.2, 0.05);
    let edition = oenorm_h_5195_1_by_content();
    near(degrees(&edition, &system), 5.6, 1e-9);
    near(cell(&edition, &system), 100.0, 1e-9);
    assert!(edition.allowed(&system).unwrap().place.contains("small"));
}

/// The VDI 2035 table prints both units: 3.0, 2.0, 1.5 and 0.02 mol/m3 are 16.8, 11.2, 8.4 and 0.11 dH; 0.05 (last 0.01).
#[test]
fn a2_two_units_of_one_table() {
    for (moles, degrees, tolerance) in [(3.0, 16.8, 0.05), (2.0, 11.2, 0.05), (1.5, 8.4, 0.05), (0.02, 0.11, 0.01)] {
        near(HardnessUnit::MillimolePerLitre.convert(moles, HardnessUnit::GermanDegree), degrees, tolerance);
    }
}

/// A trade page gives about 300 g of lime for 1,000 L at 17 dH: 303 g (computed, 2 %).
#[test]
fn a3_lime_of_a_fill() {
    let hardness = HardnessUnit::GermanDegree.convert(17.0, HardnessUnit::MgCaCO3PerLitre);
    near(largest_lime_grams(litres(1_000), hardness, 400.0), 303.0, 6.0);
    near(largest_lime_grams(litres(1_000), hardness, 100.0), 100.0, 1e-9);
}

/// 58.614 kW and 1,514.16 L: 25.83 L/kW; VDI 2035 (2005) 150 mg/L, OENORM newer edition, large content, 100 mg/L; exact.
#[test]
fn a4_the_usual_system() {
    let system = usual_system();
    near(system.specific_volume().unwrap(), 25.83, 0.005);
    near(cell(&vdi_2035_1_2005(), &system), 150.0, 1e-9);
    near(cell(&oenorm_h_5195_1_by_content(), &system), 100.0, 1e-9);
    let unknown = FillSystem { heater_content: None, ..system };
    near(cell(&oenorm_h_5195_1_by_content(), &unknown), 50.0, 1e-9);
    assert!(oenorm_h_5195_1_by_content().allowed(&unknown).unwrap().place.contains("taken as small"));
}

/// OENORM H 5195-1, 2006 edition: 1,514 L 6 dH, 900 L 17 dH, above 5,000 L 0.5 dH; exact. It disagrees with the newer one.
#[test]
fn a5_an_edition_by_volume() {
    let edition = oenorm_h_5195_1_2006();
    for (volume, expected) in [(1_514, 6.0), (900, 17.0), (1_000, 17.0), (5_001, 0.5)] {
        near(degrees(&edition, &FillSystem::one_heater(litres(volume), 50.0, None)), expected, 1e-9);
    }
    assert!(edition.name.contains("2006"));
}

/// UFC 3-240-13FN (2005) pp. 148-150: no nitrite programme above 800 mg/L chloride and sulfate; 820 stops, 800 does not.
#[test]
fn a6_chloride_and_sulfate() {
    let verdict = |chloride, sulfate| {
        let test = FillTest { chloride: Some(chloride), sulfate: Some(sulfate), ..of(4) };
        let found = assessed(&test);
        let finding = found.findings.into_iter().find(|f| f.parameter == Parameter::ChlorideAndSulfate).unwrap();
        assert!(finding.why.contains("no nitrite programme") && finding.source.contains("UFC 3-240-13FN (2005)"));
        finding.verdict
    };
    assert_eq!(verdict(420.0, 400.0), FillVerdict::Act);
    assert_eq!(verdict(400.0, 400.0), FillVerdict::Caution);
}

/// Every cell of both tables by output, with columns at 10, 30 and 60 L/kW (transcribed from the same sources).
#[test]
fn every_cell_of_the_tables() {
    let at = |kw: f64, v: f64, large: bool| {
        let volume = Millilitres::from_f64(kw * v * 1_000.0).unwrap();
        let content = Millilitres::from_f64(kw * if large { 400.0 } else { 200.0 }).unwrap();
        FillSystem::one_heater(volume, kw, Some(content))
    };
    let none = f64::INFINITY;
    let vdi = [
        (40.0, [none, 3.0, 0.02], [3.0, 2.0, 0.02]),
        (150.0, [2.0, 1.5, 0.02], [2.0, 1.5, 0.02]),
        (400.0, [1.5, 0.02, 0.02], [1.5, 0.02, 0.02]),
        (700.0, [0.02; 3], [0.02; 3]),
    ];
    let oenorm = [
        (40.0, [16.8, 11.2, 5.6], [11.2, 5.6, 0.6]),
        (150.0, [11.2, 5.6, 2.8], [5.6, 2.8, 0.6]),
        (400.0, [5.6, 2.8, 0.6], [2.8, 0.6, 0.6]),
        (700.0, [2.8, 0.6, 0.6], [0.6; 3]),
    ];
    for (edition, rows) in [(vdi_2035_1_2005(), vdi), (oenorm_h_5195_1_by_content(), oenorm)] {
        for (kw, large, small) in rows {
            for (column, v) in [10.0, 30.0, 60.0].into_iter().enumerate() {
                for (is_large, cells) in [(true, large), (false, small)] {
                    let most = edition.allowed(&at(kw, v, is_large)).unwrap().most;
                    assert_eq!(most, Some(cells[column] * edition.unit.mg_caco3()).filter(|m| m.is_finite()), "{kw} {v}");
                }
            }
        }
    }
    let nonsense = FillSystem::one_heater(litres(1_000), f64::NAN, None);
    assert_eq!(vdi_2035_1_2005().allowed(&nonsense), None);
}

/// 2018 IRC P2902.3.3: an intermediate vent (ASSE 1012) with a hazardous additive is warned of; a reduced-pressure assembly
/// or an air gap is not; exact.
#[test]
fn k2_backflow_at_the_fill() {
    let words = FillDevice::IntermediateVent.caution(true).unwrap();
    assert!(words.contains("ASSE 1012") && words.contains("not allowed") && words.contains("Local code governs"), "{words}");
    assert_eq!(FillDevice::IntermediateVent.caution(false), None);
    for fine in [FillDevice::ReducedPressure, FillDevice::AirGap] {
        assert_eq!((fine.caution(true), fine.caution(false)), (None, None));
    }
    for poor in [FillDevice::DualCheck, FillDevice::HoseVacuumBreaker, FillDevice::Nothing, FillDevice::NotKnown] {
        assert!(poor.caution(true).is_some_and(|words| words.contains("Local code governs")), "{poor:?}");
    }
    assert_eq!(FillDevice::ALL.map(FillDevice::words).len(), 7);
}

/// W5 in 400 gal, vented: 232 mg/L are 351 g, on 3 m² a film of 43 µm (computed with PHREEQC's lime; 5 %).
#[test]
fn lime_of_a_hard_well() {
    let found = assessed(&of(5));
    let lime = found.lime.unwrap();
    assert_eq!(lime.outlook, Outlook::WillLime);
    let grams = lime_grams(gallons(400), lime.lime);
    near(grams, 351.0, 17.0);
    near(film_micrometres(grams, 3.0).unwrap(), 43.0, 2.0);
    assert_eq!(film_micrometres(grams, 0.0), None);
    assert_eq!((found.answer, found.steps.as_slice()), (Some(Answer::Soften), [Answer::Soften].as_slice()));
    assert!(found.reasons[0].contains("hardness is 353 mg/L as CaCO3") && found.reasons[0].contains("our default, first edition"));
    assert!(found.reasons.last().unwrap().contains("Vented at 80 °C the lime index is +2.1"), "{:?}", found.reasons);
    let headline = found.headline(Some(gallons(400)), UnitsFirst::Us);
    assert!(headline.starts_with("Soften it before filling. Up to 12.") && headline.contains("400 gal (1,514 L)"), "{headline}");
    // 353 mg/L against the published tables: above 150, 100 and 107 (6 dH); shown, not deciding.
    let compared: Vec<_> = found.findings.iter().filter(|f| f.parameter == Parameter::Hardness && !f.decides).collect();
    assert_eq!(compared.len(), 3);
    assert!(compared.iter().all(|f| f.verdict == FillVerdict::Act && !f.source.is_empty()));
}

/// With W5's own figures: 185 mg/L fall out cold at pH 9.3, 207 hot (PHREEQC, 5 %).
#[test]
fn why_soften_before_dosing() {
    let rules = LimeRules::usual().unwrap();
    let why = why_soften(&W[4].water(), ph(930), &rules).unwrap();
    near(why.cold, 185.0, 9.0);
    near(why.hot, 207.0, 10.0);
    let words = why.words(Some(gallons(400)), UnitsFirst::Metric);
    assert!(words.contains("pH 9.3") && words.contains("1,514 L") && words.contains("Soften first"), "{words}");
    let softened = why_soften(&W[6].water(), ph(850), &rules).unwrap();
    assert!(softened.words(None, UnitsFirst::Us).contains("hardly any lime"));
}

#[test]
fn the_answer_for_each_water() {
    let answer = |number| assessed(&of(number)).answer.unwrap();
    assert_eq!(answer(2), Answer::Usable);
    assert_eq!(answer(4), Answer::Soften, "169 mg/L is in the caution range, and it will lime");
    assert_eq!(answer(5), Answer::Soften);
    assert_eq!(answer(8), Answer::OtherSource, "chloride 320");
    let rusty = FillTest { iron: Some(2.0), ..of(5) };
    let found = assessed(&rusty);
    assert_eq!(found.steps, [Answer::Filter, Answer::Soften]);
    assert!(found.headline(None, UnitsFirst::Us).starts_with("Filter it, then soften it"));
    assert!(!found.not_tested.contains(&Parameter::Iron) && found.not_tested.contains(&Parameter::Manganese));
    let little = FillTest { hardness: Some(Hardness::TotalAsCaCO3(80.0)), ..FillTest::default() };
    let found = assessed(&little);
    assert_eq!((found.answer, found.lime), (None, None));
    assert!(found.lime_missing.is_some_and(|why| why.contains("pH, hardness and alkalinity")));
}

/// Demineralised water, where kits read nothing, is usable; figures that cannot be true together get no answer.
#[test]
fn nothing_in_it_and_nothing_true_of_it() {
    let pure = FillTest {
        ph: Some(ph(650)),
        hardness: Some(Hardness::TotalAsCaCO3(0.0)),
        alkalinity: Some(Alkalinity::AsCaCO3(0.0)),
        ..FillTest::default()
    };
    let found = assessed(&pure);
    assert_eq!((found.answer, found.lime.unwrap().outlook), (Some(Answer::Usable), Outlook::NoLime));
    assert!(found.assumed.iter().any(|assumed| assumed.words().contains("below what a kit reads")));
    assert!(found.reasons.iter().any(|words| words.starts_with("Caution: alkalinity is 0 mg/L")), "{:?}", found.reasons);
    let impossible = assessed(&FillTest { ph: Some(ph(950)), ..pure });
    assert_eq!(impossible.answer, None);
    assert!(impossible.headline(None, UnitsFirst::Us).contains("Test both again"));
    assert!(assess_error(&FillTest { iron: Some(f64::NAN), ..pure }).contains("iron must be"));
}

fn assess_error(test: &FillTest) -> String {
    let rules = LimeRules::usual().unwrap();
    assess(test, &Against { profiles: &[], editions: &[], system: None, lime: &rules }).unwrap_err().to_string()
}

/// On a border: columns begin at 20 and 50 L/kW, rows include their largest output, and a heater content of exactly 0.3 L/kW is
/// large in one table (">= 0.3") and small in the other ("> 0.3").
#[test]
fn borders_of_the_tables() {
    let (vdi, oenorm) = (vdi_2035_1_2005(), oenorm_h_5195_1_by_content());
    let at = |kw: f64, l: i64, content: i64| FillSystem::one_heater(litres(l), kw, Some(litres(content)));
    near(degrees(&oenorm, &at(50.0, 999, 20)), 16.8, 1e-9);
    near(degrees(&oenorm, &at(50.0, 1_000, 20)), 11.2, 1e-9);
    near(degrees(&oenorm, &at(50.0, 2_500, 20)), 5.6, 1e-9);
    near(degrees(&oenorm, &at(50.0, 999, 15)), 11.2, 1e-9);
    assert_eq!(vdi.allowed(&at(50.0, 999, 15)).unwrap().most, None);
    near(cell(&vdi, &at(50.1, 999, 20)), 200.0, 1e-9);
    // Two heaters: the smallest one gives the column, all together the row.
    let two = FillSystem { output_kw: 80.0, smallest_kw: 30.0, ..at(30.0, 1_200, 40) };
    near(degrees(&oenorm, &two), 5.6, 1e-9);
}

#[test]
fn limits_are_data_and_checked() {
    let (good, caution) = (Bounds::up_to(100.0), Bounds::up_to(50.0));
    assert!(Limit::new(Parameter::Chloride, good, caution, Remedy::OtherSource).is_err());
    assert!(Limit::new(Parameter::Chloride, Bounds::up_to(f64::NAN), good, Remedy::OtherSource).is_err());
    for profile in [steel_vented_inhibited().unwrap(), drinking_water_frame().unwrap(), oenorm_2006_chloride().unwrap()] {
        let Profile { limits, .. } = profile;
        assert!(limits.iter().all(|limit| !limit.why.is_empty() && !limit.source.is_empty()));
        for limit in &limits {
            assert_eq!(limit.verdict(1e9), FillVerdict::Act, "{}", limit.words());
        }
    }
}

/// Bounds of the default profile, one figure on each side.
#[test]
fn the_default_profile_bounds() {
    let profile = steel_vented_inhibited().unwrap();
    let verdict = |parameter, value| profile.limits.iter().find(|l| l.parameter() == parameter).unwrap().verdict(value);
    for (parameter, good, caution, act) in [
        (Parameter::Ph, 6.5, 9.5, 5.9),
        (Parameter::Hardness, 100.0, 250.0, 251.0),
        (Parameter::Alkalinity, 30.0, 29.0, 401.0),
        (Parameter::Conductivity, 750.0, 1_500.0, 1_501.0),
        (Parameter::Chloride, 50.0, 51.0, 251.0),
        (Parameter::Iron, 0.3, 1.0, 1.1),
        (Parameter::LarsonRatio, 0.4, 0.9, 1.1),
    ] {
        let found = [good, caution, act].map(|value| verdict(parameter, value));
        assert_eq!(found, [FillVerdict::Ok, FillVerdict::Caution, FillVerdict::Act], "{parameter:?}");
    }
}

/// 1 dH = 17.848, 1 grain/gal = 17.118, 1 mmol/L = 100.09 mg/L = 5.608 dH (computed from molar masses; 0.01), and the words of
/// two published scales, which disagree.
#[test]
fn units_and_words_of_hardness() {
    near(HardnessUnit::GermanDegree.mg_caco3(), 17.848, 0.001);
    near(HardnessUnit::GrainsPerGallon.mg_caco3(), 17.118, 0.001);
    near(HardnessUnit::MillimolePerLitre.mg_caco3(), 100.09, 0.01);
    near(HardnessUnit::MillimolePerLitre.convert(1.0, HardnessUnit::GermanDegree), 5.608, 0.001);
    near(HardnessUnit::FrenchDegree.mg_caco3(), 10.0, 0.0);
    // TH = 2.4973 Ca + 4.1179 Mg; HCO3 × 0.8202 is alkalinity as CaCO3.
    near(Hardness::Ions { calcium: 1.0, magnesium: 0.0 }.total_as_caco3(), 2.4973, 0.001);
    near(Hardness::Ions { calcium: 0.0, magnesium: 1.0 }.total_as_caco3(), 4.1179, 0.001);
    near(Alkalinity::AsBicarbonate(1.0).as_caco3(), 0.8202, 0.000_1);
    near(solids_from_conductivity(1_000.0), 650.0, 1e-9);
    assert_eq!([60.0, 61.0, 180.0, 181.0].map(|h| SURVEY_SCALE.word(h)), ["soft", "moderately hard", "hard", "very hard"]);
    assert_eq!(SUPPLY_SCALE.word(100.0), "very soft to soft");
    assert_ne!(SURVEY_SCALE.source, SUPPLY_SCALE.source);
}
