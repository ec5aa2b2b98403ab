//! The falling line of ln(level) over days, with its errors, and where it meets the minimum.
//!
//! The line is held by its middle (a day and the level there) and its slope; their errors are independent, so that
//! `var(t) = var_middle + var_slope (t - middle)²`. For two tests this is the exact linear form of Fieller (J. R. Stat.
//! Soc. B 16 (1954) 175), for three and more ordinary least squares with the one-sided limit of the mean, the rule for
//! shelf lives in ICH Q1E (2003).

use super::chance::{normal_quantile, t_quantile};

/// One test on the line: days, ln of the level, and the relative standard deviation of the reading.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Point {
    pub day: f64,
    pub ln_level: f64,
    pub relative_sd: f64,
}

/// A share lost each day (0.0016 is 0.16 %), with its standard deviation.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rate {
    pub per_day: f64,
    pub sd: f64,
}

impl Rate {
    /// Drawn toward what is usual for its kind, each weighed by 1/sd² (normal prior, normal likelihood).
    #[must_use]
    pub fn shrunk(self, usual: Self) -> Self {
        let (own, prior) = (self.sd.powi(-2), usual.sd.powi(-2));
        let both = own + prior;
        Self { per_day: (self.per_day * own + usual.per_day * prior) / both, sd: both.sqrt().recip() }
    }

    /// How many standard deviations it is above nothing.
    pub fn significance(self) -> f64 {
        self.per_day / self.sd
    }

    /// Days in which half is gone; None where nothing is lost.
    pub fn half_life(self) -> Option<f64> {
        (self.per_day > 0.0).then(|| std::f64::consts::LN_2 / self.per_day)
    }
}

/// A fitted line.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Line {
    pub middle: f64,
    pub ln_at_middle: f64,
    /// Variance of `ln_at_middle`.
    pub variance: f64,
    pub rate: Rate,
    /// Standard deviation of one reading about the line.
    pub scatter: f64,
    /// One-sided quantile for the bound.
    pub quantile: f64,
}

impl Line {
    /// The line through a run of tests; None for fewer than two days.
    pub fn through(points: &[Point]) -> Option<Self> {
        match points {
            [] | [_] => None,
            [a, b] => Self::through_two(*a, *b),
            _ => Self::least_squares(points),
        }
    }

    /// From one test and the rate usual for its kind.
    pub fn from_one(point: Point, rate: Rate) -> Self {
        let variance = point.relative_sd.powi(2);
        Self { middle: point.day, ln_at_middle: point.ln_level, variance, rate, scatter: point.relative_sd, quantile: normal_quantile(0.9) }
    }

    fn through_two(a: Point, b: Point) -> Option<Self> {
        let days = b.day - a.day;
        if days <= 0.0 {
            return None;
        }
        let (wa, wb) = (a.relative_sd.powi(-2), b.relative_sd.powi(-2));
        let weighed = |x: f64, y: f64| (wa * x + wb * y) / (wa + wb);
        Some(Self {
            middle: weighed(a.day, b.day),
            ln_at_middle: weighed(a.ln_level, b.ln_level),
            variance: (wa + wb).recip(),
            rate: Rate { per_day: (a.ln_level - b.ln_level) / days, sd: a.relative_sd.hypot(b.relative_sd) / days },
            scatter: b.relative_sd,
            quantile: normal_quantile(0.9),
        })
    }

    /// `s` is at least the error `r` of the readings: a few points may lie on a line by luck. The limit is the wider of
    /// `t s`, for an error estimated from this run, and `z r`, for one known from the kit; both at 95 %.
    fn least_squares(points: &[Point]) -> Option<Self> {
        let degrees = u32::try_from(points.len()).ok()?.checked_sub(2)?;
        let n = f64::from(degrees) + 2.0;
        let middle = points.iter().map(|p| p.day).sum::<f64>() / n;
        let ln_at_middle = points.iter().map(|p| p.ln_level).sum::<f64>() / n;
        let spread: f64 = points.iter().map(|p| (p.day - middle).powi(2)).sum();
        if spread <= 0.0 {
            return None;
        }
        let slope = points.iter().map(|p| (p.day - middle) * (p.ln_level - ln_at_middle)).sum::<f64>() / spread;
        let off = |p: &Point| p.ln_level - ln_at_middle - slope * (p.day - middle);
        let s2 = points.iter().map(|p| off(p).powi(2)).sum::<f64>() / f64::from(degrees);
        let r2 = points.iter().map(|p| p.relative_sd.powi(2)).sum::<f64>() / n;
        let widest = (t_quantile(0.95, degrees) * s2.sqrt()).max(normal_quantile(0.95) * r2.sqrt());
        let s2 = s2.max(r2);
        Some(Self {
            middle,
            ln_at_middle,
            variance: s2 / n,
            rate: Rate { per_day: -slope, sd: (s2 / spread).sqrt() },
            scatter: s2.sqrt(),
            quantile: widest / s2.sqrt(),
        })
    }

    /// The same line with its slope drawn toward what is usual for its kind.
    #[must_use]
    pub fn shrunk(self, usual: Rate) -> Self {
        Self { rate: self.rate.shrunk(usual), ..self }
    }

    /// ln of the level on a day.
    pub fn ln_at(self, day: f64) -> f64 {
        self.ln_at_middle - self.rate.per_day * (day - self.middle)
    }

    /// The day on which the line meets `ln_min`; None where it does not fall.
    pub fn meets(self, ln_min: f64) -> Option<f64> {
        (self.rate.per_day > 0.0).then(|| self.middle + (self.ln_at_middle - ln_min) / self.rate.per_day)
    }

    /// The first day from `from` on which the lower limit of the line meets `ln_min`; `from` where it lies below already;
    /// None where it never does.
    pub fn bound(self, ln_min: f64, from: f64) -> Option<f64> {
        self.limit_meets(ln_min, from, self.variance)
    }

    /// The same for the lower limit of one more reading.
    pub fn bound_of_reading(self, ln_min: f64, from: f64) -> Option<f64> {
        self.limit_meets(ln_min, from, self.variance + self.scatter.powi(2))
    }

    fn limit_meets(self, ln_min: f64, from: f64, variance: f64) -> Option<f64> {
        let q2 = self.quantile.powi(2);
        let above = |day: f64| self.ln_at(day) - ln_min - (q2 * (variance + (self.rate.sd * (day - self.middle)).powi(2))).sqrt();
        if above(from) <= 0.0 {
            return Some(from);
        }
        // (h - k x)² = q² (v + u² x²) with x counted from the middle. The first root ahead is that of the lower limit; a
        // second one belongs to the upper.
        let (height, fall) = (self.ln_at_middle - ln_min, self.rate.per_day);
        let (square, constant) = (fall * fall - q2 * self.rate.sd.powi(2), height * height - q2 * variance);
        let half = height * fall;
        let root = (half * half - square * constant).max(0.0).sqrt();
        let sum = half + root.copysign(half);
        let roots = [sum / square, constant / sum];
        let ahead = roots.into_iter().filter(|x| x.is_finite() && self.middle + x >= from);
        ahead.map(|x| self.middle + x).reduce(f64::min)
    }
}
