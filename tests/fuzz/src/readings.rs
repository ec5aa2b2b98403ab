//! Everything that reads a figure as people type it: no input panics, and what is read lies in its range.
//!
//! Needs no nightly compiler:
//!
//! ```sh
//! cd tests/fuzz
//! RUSTFLAGS="--cfg fuzzing -Cpasses=sancov-module -Cllvm-args=-sanitizer-coverage-level=4 -Cllvm-args=-sanitizer-coverage-inline-8bit-counters \
//!   -Cllvm-args=-sanitizer-coverage-pc-table -Cllvm-args=-sanitizer-coverage-trace-compares -Ccodegen-units=1" \
//!   cargo run --release --target x86_64-unknown-linux-gnu -- -max_total_time=120 -max_len=64 -only_ascii=0
//! ```
#![no_main]

use embertide::{
    units::{
        MgPerLitre, Millilitres, Ph, TemperatureUnit, UnitsFirst, VolumeUnit, parse_celsius, parse_date, parse_drops, parse_length, parse_output,
        parse_mg_per_litre, parse_ph, parse_volume,
    },
    water::{Basis, Counts, TestKit},
};
use libfuzzer_sys::fuzz_target;
use std::num::{NonZeroU16, NonZeroU32};

fn kit(counts: Counts) -> TestKit {
    TestKit {
        code: String::new(),
        name: String::new(),
        basis: Basis::SodiumNitrite,
        counts,
        dilution: NonZeroU16::MAX,
        steps: vec![MgPerLitre::MIN, MgPerLitre::MAX],
        source: String::new(),
    }
}

fuzz_target!(|bytes: &[u8]| {
    let Ok(text) = std::str::from_utf8(bytes) else { return };
    for unit in [VolumeUnit::UsGallon, VolumeUnit::Litre, VolumeUnit::Millilitre] {
        if let Ok((volume, _)) = parse_volume(text, unit) {
            assert!((Millilitres::MIN..=Millilitres::MAX).contains(&volume));
            assert!(!volume.both(UnitsFirst::Us).is_empty() && !volume.both(UnitsFirst::Metric).is_empty());
        }
    }
    if let Ok(level) = parse_mg_per_litre(text) {
        assert!((MgPerLitre::MIN..=MgPerLitre::MAX).contains(&level));
        // What is shown reads back as itself.
        assert_eq!(parse_mg_per_litre(&level.get().to_string()), Ok(level));
    }
    if let Ok(ph) = parse_ph(text) {
        assert!((Ph::MIN..=Ph::MAX).contains(&ph));
        assert_eq!(parse_ph(&ph.to_string()), Ok(ph));
    }
    let _ = (parse_celsius(text, TemperatureUnit::Fahrenheit), parse_celsius(text, TemperatureUnit::Celsius));
    let _ = (parse_length(text, UnitsFirst::Us), parse_length(text, UnitsFirst::Metric), parse_date(text), parse_drops(text));
    let _ = (parse_output(text, UnitsFirst::Us), parse_output(text, UnitsFirst::Metric));
    let per_drop = NonZeroU32::MAX;
    for kit in [kit(Counts::Drops { per_drop, max_drops: 200 }), kit(Counts::Direct { relative_sd: 150 })] {
        if let Ok(shown) = kit.parse(text) {
            let _ = kit.own_milli(shown);
            if let Ok(measured) = kit.measure(shown, Basis::Nitrite) {
                assert!(measured.sd <= MgPerLitre::MAX && measured.level <= MgPerLitre::MAX);
            }
        }
    }
});
