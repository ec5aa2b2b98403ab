//! Profiles to begin with. They are data: a dealer may change them, and a product's own rules go before them.

use embertide::water::fill::profile::{Bounds, Limit, Parameter, Profile, ProfileError, Remedy};

const DRINKING_FRAME: &str = "40 CFR 143.3, secondary levels (a frame of ordinary drinking water, not corrosion limits)";
const JUDGEMENT: &str = "common practice, no source";

type Given = (Parameter, Bounds, Bounds, Remedy, &'static str, &'static str);

fn profile(name: &str, decides: bool, limits: &[Given]) -> Result<Profile, ProfileError> {
    let limit = |&(parameter, ok, caution, remedy, why, source): &Given| {
        Limit::new(parameter, ok, caution, remedy).map(|limit| limit.because(why, source))
    };
    Ok(Profile { name: name.to_owned(), decides, limits: limits.iter().map(limit).collect::<Result<_, _>>()? })
}

/// For a steel jacket, vented, with an inhibitor. The parting of caution from act is our own where no source is named.
pub(crate) fn steel_vented_inhibited() -> Result<Profile, ProfileError> {
    use Parameter as P;
    use Remedy::{Filter, OtherSource, Soften};
    let (to, between) = (Bounds::up_to, Bounds::between);
    let limits = [
        (P::Ph, between(6.5, 8.5), between(6.0, 9.5), OtherSource, "outside of it the water is unusual: ask why", DRINKING_FRAME),
        (
            P::Hardness,
            to(100.0),
            to(250.0),
            Soften,
            "lime settles on the hot wall of the firebox",
            "OENORM H 5195-1 newer edition (100 at 20 to 50 L/kW, 50 to 200 kW); UFC 3-240-13FN (2005) pp. 148-150: soften above 250",
        ),
        (
            P::Alkalinity,
            between(30.0, 250.0),
            to(400.0),
            OtherSource,
            "below it the pH has no hold; above it the pH climbs as carbon dioxide leaves a vented jacket",
            JUDGEMENT,
        ),
        (
            P::Conductivity,
            to(750.0),
            to(1_500.0),
            OtherSource,
            "salt carries corrosion; a limit for raw fill only, treated water lies far above",
            "750 from 500 mg/L dissolved solids (40 CFR 143.3); 1,500 from VDI 2035, quoted in trade pages",
        ),
        (
            P::Chloride,
            to(50.0),
            to(250.0),
            OtherSource,
            "chloride pits steel through the inhibitor; lower still with a stainless exchanger",
            "50 from limits for engine jackets with nitrite and borate, quoted in trade pages; 250 from 40 CFR 143.3",
        ),
        (P::Sulfate, to(100.0), to(250.0), OtherSource, "sulfate works against nitrite", "250 from 40 CFR 143.3; 100 common practice"),
        (
            P::ChlorideAndSulfate,
            to(300.0),
            to(800.0),
            OtherSource,
            "above 800 no nitrite programme may be used",
            "UFC 3-240-13FN (2005) pp. 148-150 (800); 300 common practice",
        ),
        (P::Iron, to(0.3), to(1.0), Filter, "iron settles as sludge and fouls a softener", "0.3 from 40 CFR 143.3; 1.0 common practice"),
        (P::Manganese, to(0.05), to(0.3), Filter, "manganese settles and fouls a softener", "0.05 from 40 CFR 143.3; 0.3 common practice"),
        (
            P::LarsonRatio,
            to(0.5),
            to(1.0),
            OtherSource,
            "much chloride and sulfate for little alkalinity",
            "a European corrosion text (0.5 and 1.0); published bands disagree",
        ),
    ];
    profile("Steel, vented, inhibited (our default, first edition)", true, &limits)
}

/// The frame of ordinary drinking water in the United States, for comparison.
pub(crate) fn drinking_water_frame() -> Result<Profile, ProfileError> {
    use Parameter as P;
    let at_most = |parameter, top, remedy| {
        let bounds = Bounds::up_to(top);
        (parameter, bounds, bounds, remedy, "ordinary drinking water lies below it", DRINKING_FRAME)
    };
    let ph = Bounds::between(6.5, 8.5);
    let limits = [
        (P::Ph, ph, ph, Remedy::OtherSource, "ordinary drinking water lies within it", DRINKING_FRAME),
        at_most(P::Chloride, 250.0, Remedy::OtherSource),
        at_most(P::Sulfate, 250.0, Remedy::OtherSource),
        at_most(P::Iron, 0.3, Remedy::Filter),
        at_most(P::Manganese, 0.05, Remedy::Filter),
        at_most(P::Copper, 1.0, Remedy::OtherSource),
        at_most(P::DissolvedSolids, 500.0, Remedy::OtherSource),
    ];
    profile("US drinking water, secondary levels (40 CFR 143.3)", false, &limits)
}

/// The chloride limit that goes with the 2006 edition of OENORM H 5195-1, for comparison.
pub(crate) fn oenorm_2006_chloride() -> Result<Profile, ProfileError> {
    let bounds = Bounds::up_to(30.0);
    let source = "OENORM H 5195-1, 2006 edition, read in trade pages";
    let limit = (Parameter::Chloride, bounds, bounds, Remedy::OtherSource, "for closed systems without inhibitor", source);
    profile("OENORM H 5195-1, 2006 edition (chloride)", false, &[limit])
}
