//! Normal and Student's t distributions, by published formulas.

use std::f64::consts::{FRAC_PI_2, PI};

/// Density of the standard normal distribution.
pub fn normal_density(z: f64) -> f64 {
    (-z * z / 2.0).exp() / (2.0 * PI).sqrt()
}

/// Share of a standard normal below `z`: 1/2 + φ(z)(z + z³/3 + z⁵/15 + …)
/// (Abramowitz and Stegun 26.2.11). Beyond ± 8 it is 0 or 1.
pub fn normal_share(z: f64) -> f64 {
    if z.is_nan() || z.abs() > 8.0 {
        return if z > 0.0 { 1.0 } else { 0.0 };
    }
    let (mut sum, mut term, mut odd) = (z, z, 1.0);
    while term.abs() > 1e-17 * sum.abs() {
        odd += 2.0;
        term *= z * z / odd;
        sum += term;
    }
    (0.5 + sum * normal_density(z)).clamp(0.0, 1.0)
}

/// The `z` below which `share` of a standard normal lies, for 1e-9 to 1 - 1e-9; shares beyond count as these.
/// Algorithm AS 241, PPND7 (M. J. Wichura, Applied Statistics 37 (1988) 477), good to about seven digits.
pub fn normal_quantile(share: f64) -> f64 {
    let share = if share.is_nan() { 0.5 } else { share.clamp(1e-9, 1.0 - 1e-9) };
    let q = share - 0.5;
    if q.abs() <= 0.425 {
        let r = 0.180_625 - q * q;
        let top = ((59.109_374_720 * r + 159.291_132_02) * r + 50.434_271_938) * r + 3.387_132_717_9;
        return q * top / (((67.187_563_600 * r + 78.757_757_664) * r + 17.895_169_469) * r + 1.0);
    }
    let r = (-share.min(1.0 - share).ln()).sqrt();
    let z = if r <= 5.0 {
        let r = r - 1.6;
        let top = ((0.170_238_211_03 * r + 1.306_728_481_6) * r + 2.756_815_390_0) * r + 1.423_437_277_7;
        top / ((0.120_211_329_75 * r + 0.737_001_642_50) * r + 1.0)
    } else {
        let r = r - 5.0;
        let top = ((0.017_337_203_997 * r + 0.428_682_943_37) * r + 3.081_226_386_0) * r + 6.657_905_115_0;
        top / ((0.012_258_202_635 * r + 0.241_978_942_25) * r + 1.0)
    };
    z.copysign(q)
}

/// The `t` below which `share` (0.5 to 0.9999) of Student's t with `degrees` of freedom lies: the closed form of
/// Abramowitz and Stegun 26.7.3 and 26.7.4, inverted by halving. From 200 degrees on the normal quantile serves.
pub fn t_quantile(share: f64, degrees: u32) -> f64 {
    let share = if share.is_nan() { 0.5 } else { share.clamp(0.5, 0.9999) };
    if degrees == 0 || degrees >= 200 {
        return normal_quantile(share);
    }
    // t = √ν tan θ, and the share grows with θ.
    let (mut low, mut high) = (0.0, FRAC_PI_2);
    for _ in 0..52 {
        let middle = f64::midpoint(low, high);
        if t_within(middle, degrees) < 2.0 * share - 1.0 {
            low = middle;
        } else {
            high = middle;
        }
    }
    f64::from(degrees).sqrt() * f64::midpoint(low, high).tan()
}

/// Share of Student's t within ± √ν tan θ.
fn t_within(theta: f64, degrees: u32) -> f64 {
    let (sin, cos) = theta.sin_cos();
    let odd = degrees % 2 == 1;
    let (mut term, mut sum, mut k) = if odd { (cos, cos, 1) } else { (1.0, 1.0, 0) };
    if odd && degrees == 1 {
        sum = 0.0;
    }
    while k + 2 < degrees {
        k += 2;
        term *= cos * cos * f64::from(k - 1) / f64::from(k);
        sum += term;
    }
    if odd { (theta + sin * sum) * 2.0 / PI } else { sin * sum }
}
