//! Monotone interpolation between evenly spaced points: it never swings beyond the points it joins.
//!
//! Piecewise cubic Hermite with harmonic-mean slopes (F. N. Fritsch and J. Butland, SIAM J. Sci. Stat. Comput. 5 (1984)
//! 300; end slopes by the limited three-point formula of the same family).

/// The value at `x`, for points at `start`, `start + step`, …; None outside them.
pub(super) fn smooth(start: f64, step: f64, points: &[f64], x: f64) -> Option<f64> {
    let place = (x - start) / step;
    let last = points.len().checked_sub(1)?;
    #[expect(clippy::cast_precision_loss, reason = "a handful of points")]
    if !(0.0..=last as f64).contains(&place) || last < 2 {
        return None;
    }
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "lies within the points")]
    let at = (place.floor() as usize).min(last - 1);
    #[expect(clippy::cast_precision_loss, reason = "a handful of points")]
    let t = place - at as f64;
    let (y0, y1) = (points[at], points[at + 1]);
    let (d0, d1) = (slope(points, at), slope(points, at + 1));
    let (t2, t3) = (t * t, t * t * t);
    Some(y0 * (2.0 * t3 - 3.0 * t2 + 1.0) + d0 * (t3 - 2.0 * t2 + t) + y1 * (3.0 * t2 - 2.0 * t3) + d1 * (t3 - t2))
}

/// The slope at one point, per step.
fn slope(points: &[f64], at: usize) -> f64 {
    let rise = |i: usize| points[i + 1] - points[i];
    let last = points.len() - 1;
    if at == 0 || at == last {
        let (near, next) = if at == 0 { (rise(0), rise(1)) } else { (rise(last - 1), rise(last - 2)) };
        let end = (3.0 * near - next) / 2.0;
        return match (end * near > 0.0, near * next > 0.0) {
            (false, _) => 0.0,
            (true, false) if end.abs() > 3.0 * near.abs() => 3.0 * near,
            _ => end,
        };
    }
    let (before, after) = (rise(at - 1), rise(at));
    if before * after <= 0.0 { 0.0 } else { 2.0 * before * after / (before + after) }
}
