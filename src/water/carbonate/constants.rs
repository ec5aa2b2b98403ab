//! Equilibrium constants and activity coefficients, 0 to 90 °C.
//!
//! Constants: the database phreeqc.dat as shipped with phreeqpython 1.6.2 (US Geological Survey, public domain). The
//! two carbonic acid steps and calcite are the same as in Standard Methods 2330 B. Activity: the Davies form with the
//! dielectric term of Standard Methods 2330 B, from memory, checked against that program (tests/reference/carbonate.py).

/// Ions with a positive charge that pair.
pub(super) const CALCIUM: usize = 0;
pub(super) const MAGNESIUM: usize = 1;
pub(super) const SODIUM: usize = 2;
/// Ions with a negative charge that pair.
pub(super) const CARBONATE: usize = 0;
pub(super) const BICARBONATE: usize = 1;
pub(super) const SULFATE: usize = 2;
pub(super) const HYDROXIDE: usize = 3;

pub(super) const POSITIVE: [i32; 3] = [2, 2, 1];
pub(super) const NEGATIVE: [i32; 4] = [2, 1, 2, 1];

/// Everything the solver needs at one temperature.
#[derive(Debug, Clone, Copy)]
pub(super) struct Constants {
    /// CO3 + H = HCO3.
    pub(super) bicarbonate: f64,
    /// CO3 + 2 H = CO2 + H2O.
    pub(super) dissolved: f64,
    /// CO2 in the air (atm) = CO2 in the water.
    pub(super) henry: f64,
    /// H + OH product.
    pub(super) water: f64,
    /// `H4SiO4` = `H3SiO4` + H.
    pub(super) silicic: f64,
    /// -log10 of the calcite solubility product.
    pub(super) calcite: f64,
    /// One constant for each pair of a positive and a negative ion; 0 where they do not pair.
    pub(super) pairs: [[f64; 4]; 3],
    /// Factor of the Davies form.
    pub(super) debye: f64,
}

/// A1 + A2 T + A3/T + A4 log10 T + A5/T².
fn analytic(kelvin: f64, a: [f64; 5]) -> f64 {
    a[0] + a[1] * kelvin + a[2] / kelvin + a[3] * kelvin.log10() + a[4] / (kelvin * kelvin)
}

/// log10 K at 25 °C moved to another temperature by its heat of reaction in kcal/mol.
fn moved(kelvin: f64, at_25: f64, kilocalories: f64) -> f64 {
    let joules = kilocalories * 4_184.0;
    at_25 - joules / (std::f64::consts::LN_10 * 8.314_47) * (1.0 / kelvin - 1.0 / 298.15)
}

/// -log10 of the second dissociation of carbonic acid.
pub(super) fn pk2(kelvin: f64) -> f64 {
    analytic(kelvin, [107.8871, 0.032_528_49, -5_151.79, -38.925_61, 563_713.9])
}

/// -log10 of the solubility product of calcite.
pub(super) fn pk_calcite(kelvin: f64) -> f64 {
    analytic(kelvin, [171.9065, 0.077_993, -2_839.319, -71.595, 0.0])
}

impl Constants {
    pub(super) fn at(celsius: f64) -> Self {
        let t = celsius + 273.15;
        let power = |log: f64| 10_f64.powf(log);
        let pk2 = pk2(t);
        let water = analytic(t, [293.292_27, 0.136_083_3, -10_576.913, -123.731_58, 0.0]) - 6.996_455e-5 * t * t;
        let dielectric = 60_954.0 / (t + 116.0) - 68.937;
        Self {
            bicarbonate: power(pk2),
            dissolved: power(analytic(t, [464.1965, 0.093_448_13, -26_986.16, -165.759_51, 2_248_628.9])),
            henry: power(10.5624 - 0.023_547 * t - 3_972.8 / t + 587_460.0 / (t * t) + 1.9194e-5 * t * t),
            water: power(water),
            silicic: power(analytic(t, [-302.3724, -0.050_698, 15_669.69, 108.184_66, -1_119_669.0])),
            calcite: pk_calcite(t),
            pairs: pairs(t, pk2, water).map(|row| row.map(|log| if log.is_finite() { power(log) } else { 0.0 })),
            debye: 1.82e6 * (dielectric * t).powf(-1.5),
        }
    }

    /// Activity coefficients of ions with charge 0, 1 and 2 at an ionic strength in mol/L.
    pub(super) fn activity(&self, strength: f64) -> [f64; 3] {
        let root = strength.sqrt();
        let single = 10_f64.powf(-self.debye * (root / (1.0 + root) - 0.3 * strength));
        [1.0, single, single.powi(4)]
    }
}

/// log10 of the pairing constants, rows by positive ion; minus infinity where two do not pair. The database writes the
/// bicarbonate pairs with CO3 + H and the hydroxide pair with water, so those are turned here.
fn pairs(t: f64, pk2: f64, log_water: f64) -> [[f64; 4]; 3] {
    let none = f64::NEG_INFINITY;
    let calcium_bicarbonate = analytic(t, [1_317.007_1, 0.345_468_94, -39_916.84, -517.707_61, 563_713.9]) - pk2;
    let magnesium_bicarbonate = analytic(t, [48.6721, 0.032_528_49, -2_614.335, -18.002_63, 563_713.9]) - pk2;
    [
        [analytic(t, [-1_228.732, -0.299_440, 35_512.75, 485.818, 0.0]), calcium_bicarbonate, moved(t, 2.25, 1.325), none],
        [0.9910 + 0.006_67 * t, magnesium_bicarbonate, moved(t, 2.37, 4.55), moved(t, -11.44, 15.952) - log_water],
        [moved(t, 1.27, 8.91), moved(t, -0.25, -1.0), moved(t, 0.7, 1.12), none],
    ]
}
