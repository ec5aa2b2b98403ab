//! The carbonate solver: checks B7 to B19, and the table of 200 waters made by another program.
//!
//! W1 to W10: ten invented waters, from demineralised to very hard, worked out with the general geochemical program
//! PHREEQC (phreeqpython 1.6.2, database phreeqc.dat): heated to 80 °C closed, then vented at log pCO2 = -3.4.

use embertide::units::Celsius;
use embertide::water::SourceWater;
use embertide::water::carbonate::{Alkalinity, Analysis, Hardness, Indices, larson_ratio};

use crate::example::ph;
use crate::near;

pub(crate) fn degrees(whole: i64) -> Celsius {
    Celsius::new(whole * 10).unwrap()
}

/// One of the ten waters: mg/L of the ions, alkalinity as `CaCO3`.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Ten {
    pub(crate) ph: i64,
    pub(crate) ca: f64,
    pub(crate) mg: f64,
    na: f64,
    pub(crate) alkalinity: f64,
    cl: f64,
    so4: f64,
    sio2: f64,
    ec: f64,
}

const fn ten([ph, ca, mg, na, alkalinity, cl, so4, sio2, ec]: [f64; 9]) -> Ten {
    #[expect(clippy::cast_possible_truncation, reason = "small constants")]
    Ten { ph: ph as i64, ca, mg, na, alkalinity, cl, so4, sio2, ec }
}

pub(crate) const W: [Ten; 10] = [
    ten([680.0, 3.0, 0.7, 2.27, 10.0, 2.0, 3.0, 2.0, 35.0]),
    ten([740.0, 15.0, 3.0, 5.23, 45.0, 5.0, 10.0, 5.0, 129.0]),
    ten([750.0, 60.06, 8.0, 27.06, 34.0, 90.0, 80.0, 5.0, 547.0]),
    ten([750.0, 48.0, 12.0, 9.46, 140.0, 15.0, 30.0, 12.0, 374.0]),
    ten([730.0, 95.0, 28.0, 13.79, 310.0, 20.0, 45.0, 12.0, 694.0]),
    ten([740.0, 160.0, 50.0, 39.43, 320.0, 60.0, 280.0, 15.0, 1_221.0]),
    ten([730.0, 1.0, 0.3, 174.03, 310.0, 20.0, 45.0, 12.0, 722.0]),
    ten([760.0, 70.0, 25.0, 234.88, 220.0, 320.0, 120.0, 10.0, 1_651.0]),
    ten([930.0, 48.0, 12.0, 16.35, 155.0, 15.0, 30.0, 12.0, 368.0]),
    ten([650.0, 0.5, 0.1, 1.31, 3.0, 0.8, 0.5, 0.2, 10.0]),
];

impl Ten {
    /// Everything the table gives but potassium.
    pub(crate) fn analysis(self) -> Analysis {
        Analysis {
            ph: ph(self.ph),
            alkalinity: Alkalinity::AsCaCO3(self.alkalinity),
            hardness: Hardness::Ions { calcium: self.ca, magnesium: self.mg },
            sodium: Some(self.na),
            chloride: Some(self.cl),
            sulfate: Some(self.so4),
            silica: Some(self.sio2),
            conductivity: None,
        }
    }

    /// What is tested in the field: pH, total hardness, alkalinity, conductivity.
    fn field(self) -> Analysis {
        Analysis {
            hardness: Hardness::TotalAsCaCO3(self.analysis().hardness.total_as_caco3()),
            sodium: None,
            chloride: None,
            sulfate: None,
            silica: None,
            conductivity: Some(self.ec),
            ..self.analysis()
        }
    }

    pub(crate) fn water(self) -> SourceWater {
        SourceWater::new(self.analysis()).unwrap()
    }
}

/// SI25, pH80 closed, SI80 closed, lime 80 closed, pH80 vented, SI80 vented, lime 80 vented.
const PHREEQC: [[f64; 7]; 10] = [
    [-2.930, 6.771, -2.259, 0.0, 7.868, -1.217, 0.0],
    [-1.037, 7.323, -0.427, 0.0, 8.455, 0.572, 16.8],
    [-0.568, 7.343, -0.057, 0.0, 8.275, 0.740, 20.3],
    [-0.026, 7.387, 0.530, 24.9, 8.794, 1.591, 103.8],
    [0.343, 7.216, 0.917, 105.3, 8.994, 2.114, 232.1],
    [0.579, 7.273, 1.103, 140.3, 8.928, 2.201, 301.0],
    [-1.602, 7.265, -0.977, 0.0, 9.153, 0.268, 1.1],
    [0.296, 7.437, 0.783, 55.0, 8.881, 1.792, 162.7],
    [1.566, 8.581, 1.520, 67.9, 8.831, 1.640, 109.3],
    [-4.501, 6.473, -3.825, 0.0, 7.361, -2.981, 0.0],
];

/// Index within 0.06, pH within 0.05, lime within 5 % or 3 mg/L, of PHREEQC (see above).
fn row(number: usize) {
    let [si25, ph80, si80, lime80, ph_vented, si_vented, lime_vented] = PHREEQC[number - 1];
    let water = W[number - 1].water();
    let hot = water.heated(degrees(80)).unwrap();
    near(water.saturation(), si25, 0.06);
    near(hot.closed.ph, ph80, 0.05);
    near(hot.closed.saturation, si80, 0.06);
    near(hot.closed.lime, lime80, (0.05 * lime80).max(3.0));
    near(hot.vented.ph, ph_vented, 0.05);
    near(hot.vented.saturation, si_vented, 0.06);
    near(hot.vented.lime, lime_vented, (0.05 * lime_vented).max(3.0));
    assert!(water.assumed().is_empty(), "{:?}", water.assumed());
}

/// phreeqc.dat: log K of the second carbonic acid step 10.329, of calcite -8.480, both at 25 °C; 0.001.
#[test]
fn b7_constants_at_25() {
    let (pk2, calcite) = embertide::water::carbonate::constants_at(degrees(25)).unwrap();
    near(pk2, 10.329, 0.001);
    near(calcite, 8.480, 0.001);
}

#[test]
fn b8_w1_very_soft_surface_water() {
    row(1);
}

#[test]
fn b9_w2_soft_surface_water() {
    row(2);
}

#[test]
fn b10_w3_low_alkalinity() {
    row(3);
}

#[test]
fn b11_w4_moderately_hard_well() {
    row(4);
}

#[test]
fn b12_w5_hard_limestone_well() {
    row(5);
}

#[test]
fn b13_w6_very_hard_high_sulfate() {
    row(6);
}

#[test]
fn b14_w7_softened() {
    row(7);
}

#[test]
fn b15_w8_saline_well() {
    row(8);
}

#[test]
fn b16_w9_raised_ph() {
    row(9);
}

#[test]
fn b17_w10_demineralised() {
    row(10);
}

/// Larson ratio of W4, W3 and W6: 0.374, 6.188 and 1.176 (computed from the published form, 0.005).
#[test]
fn b18_larson_ratio() {
    for (number, expected) in [(4, 0.374), (3, 6.188), (6, 1.176)] {
        near(larson_ratio(&W[number - 1].analysis()).unwrap(), expected, 0.005);
    }
    assert_eq!(larson_ratio(&W[3].field()), None, "chloride and sulfate were not tested");
    assert!(Indices::LABEL.contains("raw fill only"));
}

/// W5 brought to pH 9.3 with sodium hydroxide, PHREEQC: index at 25 °C 2.114 (0.06), 185 mg/L fall out cold and 207 at
/// 80 °C (5 %); likewise 94 and 148 at pH 8.5, 139 and 178 at pH 9.0.
#[test]
fn b19_dosing_alkali_into_hard_water() {
    let water = W[4].water();
    for (target, saturation, cold, hot) in [(850, 1.52, 94.0, 148.0), (900, 1.92, 139.0, 178.0), (930, 2.114, 185.0, 207.0)] {
        let raised = water.raised(ph(target), degrees(80)).unwrap();
        near(raised.saturation, saturation, 0.06);
        near(raised.lime_cold, cold, 0.05 * cold);
        near(raised.lime_hot, hot, 0.05 * hot);
    }
    assert!(water.raised(ph(730), degrees(80)).is_err(), "no rise");
    assert!(water.raised(ph(1_100), degrees(80)).is_err(), "too high");
}

/// The same ten with field data only (pH, total hardness, alkalinity, conductivity): index within 0.1 of PHREEQC.
#[test]
fn field_data_alone_is_good_to_a_tenth() {
    for (water, reference) in W.into_iter().zip(PHREEQC) {
        let field = SourceWater::new(water.field()).unwrap();
        let hot = field.heated(degrees(80)).unwrap();
        println!("{water:?}");
        near(field.saturation(), reference[0], 0.1);
        near(hot.closed.ph, reference[1], 0.05);
        near(hot.closed.saturation, reference[2], 0.1);
        near(hot.vented.saturation, reference[5], 0.1);
        assert_eq!(field.assumed().len(), 5, "{:?}", field.assumed());
        assert!(field.assumed().iter().all(|assumed| assumed.words().ends_with('.')));
    }
}

/// Stability and practical index are the index turned round: pH - 2 SI, and pHs from the same solver (exact).
#[test]
fn other_indices_follow_from_the_same_solver() {
    let water = W[3].water();
    let found = water.indices();
    near(found.stability, 7.5 - 2.0 * water.saturation(), 1e-9);
    near(found.practical, 2.0 * (7.5 - water.saturation()) - (1.465 * 140_f64.log10() + 4.54), 1e-9);
}
