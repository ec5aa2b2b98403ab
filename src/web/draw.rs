//! The one drawing: a ruled line with a band (where it should be) and a notch (where it is). Plain SVG text, no script.

use crate::water::forecast::{Mark, Wedge};
use std::fmt::Write;
use time::{Date, Duration};

/// One reading on the history drawing.
#[derive(Clone, Copy, Debug)]
pub(super) struct Point {
    pub(super) day: Date,
    /// mg/L in the programme's basis.
    pub(super) level: i32,
    /// The level that a dose of that day is held to have left.
    pub(super) dosed: Option<i32>,
    /// The customer's own test: drawn hollow.
    pub(super) own: bool,
}

/// At most this many readings are drawn; the table beside the drawing has all.
const POINTS: usize = 12;
/// A pause longer than this is a break in the line.
const BREAK_DAYS: i64 = 550;
/// The drawing is made at a phone's width, so that its text is as large as the page's.
const WIDTH: f64 = 360.0;
const HEIGHT: f64 = 250.0;
const LEFT: f64 = 54.0;
const RIGHT: f64 = 20.0;
const TOP: f64 = 14.0;
const BOTTOM: f64 = 36.0;

/// What is foreseen, for the drawing.
#[derive(Clone, Copy, Debug)]
pub(super) struct Ahead {
    pub(super) wedge: Wedge,
    pub(super) test_by: Date,
}

/// The drawing looks ahead by at most so many days; a wedge that reaches further is cut off there.
const AHEAD_DAYS: i64 = 400;
/// Steps of a curve.
const STEPS: i32 = 8;

/// History of the inhibitor: the wanted band, a line, and a mark whose shape says low, in band or high. `points` newest first.
/// What is foreseen opens from the last level as a wedge, between the early and the expected course.
pub(super) fn history(points: &[Point], band: (i32, i32), what: &str, ahead: Option<Ahead>) -> String {
    let mut points: Vec<Point> = points.iter().take(POINTS).copied().collect();
    points.reverse();
    let (Some(first), Some(last)) = (points.first().copied(), points.last().copied()) else { return String::new() };
    let ahead = ahead.filter(|a| a.wedge.expected[0].0 >= last.day);
    let end = ahead.map_or(last.day, |a| a.wedge.expected[1].0.max(a.test_by).min(last.day + Duration::days(AHEAD_DAYS)));
    let scale = Scale::new(&points, first.day, end, band);
    let mut svg = String::with_capacity(2500);
    let _ = write!(
        svg,
        r#"<svg class="chart" viewBox="0 0 {WIDTH} {HEIGHT}" role="img" aria-labelledby="ct cd"><title id="ct">{what} in the water, test by test</title><desc id="cd">{} tests. The latest, of {}, read {} mg/L. The wanted band is {} to {} mg/L.{} The same figures are in the table.</desc>"#,
        points.len(),
        crate::units::day_with_year(last.day),
        last.level,
        band.0,
        band.1,
        ahead.map(|a| foreseen(&a)).unwrap_or_default()
    );
    scale.frame(&mut svg, band);
    if let Some(ahead) = ahead {
        scale.wedge(&mut svg, &ahead, end);
    }
    scale.line(&mut svg, &points);
    scale.marks(&mut svg, &points, band);
    svg.push_str("</svg>");
    svg
}

fn foreseen(a: &Ahead) -> String {
    let day = crate::units::day_with_year;
    let [early, expected] = [a.wedge.early[1].0, a.wedge.expected[1].0].map(day);
    format!(" From the last level a wedge falls to the minimum between {early} and {expected}; test by {}.", day(a.test_by))
}

struct Scale {
    from: Date,
    days: f64,
    top: i32,
    step: i32,
}

impl Scale {
    fn new(points: &[Point], from: Date, to: Date, band: (i32, i32)) -> Self {
        let highest = points.iter().map(|p| p.dosed.unwrap_or(0).max(p.level)).max().unwrap_or(0).max(band.1);
        let wanted = highest + highest / 8 + 1;
        let step = [10, 20, 25, 50, 100, 200, 250, 500, 1000, 2000, 5000].into_iter().find(|s| wanted / s <= 5).unwrap_or(20_000);
        let days = i32::try_from((to - from).whole_days()).unwrap_or(1).max(1);
        Self { from, days: f64::from(days), top: (wanted / step + 1) * step, step }
    }

    fn x(&self, day: Date) -> f64 {
        self.x_days(f64::from(i32::try_from((day - self.from).whole_days()).unwrap_or(0)))
    }

    fn x_days(&self, days: f64) -> f64 {
        LEFT + 10.0 + days / self.days * (WIDTH - LEFT - RIGHT - 20.0)
    }

    fn y(&self, level: i32) -> f64 {
        self.y_level(f64::from(level))
    }

    fn y_level(&self, level: f64) -> f64 {
        HEIGHT - BOTTOM - level / f64::from(self.top) * (HEIGHT - TOP - BOTTOM)
    }

    fn frame(&self, svg: &mut String, band: (i32, i32)) {
        let (low, high) = (self.y(band.0), self.y(band.1));
        let _ =
            write!(svg, r#"<rect class="band" x="{LEFT}" y="{high:.1}" width="{:.1}" height="{:.1}"/>"#, WIDTH - LEFT - RIGHT, low - high);
        let _ = write!(svg, r#"<text class="bl" x="{:.1}" y="{:.1}">wanted</text>"#, LEFT + 8.0, high + 17.0);
        for level in (0..=self.top).step_by(usize::try_from(self.step).unwrap_or(1000)) {
            let y = self.y(level);
            let _ = write!(
                svg,
                r#"<path class="tickline" d="M{:.1} {y:.1}H{LEFT}"/><text x="{:.1}" y="{:.1}" text-anchor="end">{level}</text>"#,
                LEFT - 6.0,
                LEFT - 9.0,
                y + 5.0
            );
        }
    }

    fn line(&self, svg: &mut String, points: &[Point]) {
        let mut path = String::new();
        let mut before: Option<Date> = None;
        for p in points.iter().filter(|p| !p.own) {
            let joined = before.is_some_and(|b| (p.day - b).whole_days() <= BREAK_DAYS);
            let _ = write!(path, "{}{:.1} {:.1}", if joined { "L" } else { "M" }, self.x(p.day), self.y(p.level));
            if let Some(dosed) = p.dosed {
                let _ = write!(path, "V{:.1}", self.y(dosed));
            }
            before = Some(p.day);
        }
        let _ = write!(svg, r#"<path class="line" d="{path}"/>"#);
    }

    /// A steady loss between two marks, held to `end`: points of the curve.
    fn course(&self, [from, to]: [Mark; 2], end: Date) -> Vec<(f64, f64)> {
        let whole = f64::from(i32::try_from((to.0 - from.0).whole_days()).unwrap_or(1)).max(1.0);
        let shown = f64::from(i32::try_from((to.0.min(end) - from.0).whole_days()).unwrap_or(1)).max(0.0);
        let (high, low) = (from.1.as_f64().max(1.0), to.1.as_f64().max(1.0));
        let at = |step: i32| {
            let days = shown * f64::from(step) / f64::from(STEPS);
            let level = high * (low / high).powf(days / whole);
            (self.x_days(days + f64::from(i32::try_from((from.0 - self.from).whole_days()).unwrap_or(0))), self.y_level(level))
        };
        (0..=STEPS).map(at).collect()
    }

    fn wedge(&self, svg: &mut String, ahead: &Ahead, end: Date) {
        let mut outline = self.course(ahead.wedge.expected, end);
        outline.extend(self.course(ahead.wedge.early, end).into_iter().rev());
        let points: Vec<String> = outline.iter().map(|(x, y)| format!("{x:.1} {y:.1}")).collect();
        let _ = write!(svg, r#"<path class="wedge" d="M{}Z"/>"#, points.join(" "));
        let x = self.x(ahead.test_by);
        let foot = HEIGHT - BOTTOM;
        let side = if x > WIDTH - 90.0 { ("end", x - 9.0) } else { ("start", x + 9.0) };
        let _ = write!(
            svg,
            r#"<path class="by" d="M{x:.1} {TOP}V{foot:.1}"/><path class="mark" d="M{x:.1} {:.1}l-6 12h12z"/><text x="{:.1}" y="{:.1}" text-anchor="{}">test by</text>"#,
            foot - 11.0,
            side.1,
            foot - 3.0,
            side.0
        );
    }

    fn marks(&self, svg: &mut String, points: &[Point], band: (i32, i32)) {
        let mut year_at = f64::MIN;
        let mut year = 0;
        for p in points {
            let (x, y) = (self.x(p.day), self.y(p.level));
            let class = if p.own { "own" } else { "mark" };
            let _ = match p.level {
                l if l < band.0 => write!(svg, r#"<path class="{class}" d="M{:.1} {:.1}h15l-7.5 13z"/>"#, x - 7.5, y - 6.5),
                l if l > band.1 => write!(svg, r#"<path class="{class}" d="M{:.1} {:.1}h15l-7.5 -13z"/>"#, x - 7.5, y + 6.5),
                _ => write!(svg, r#"<circle class="{class}" cx="{x:.1}" cy="{y:.1}" r="6.5"/>"#),
            };
            if let Some(dosed) = p.dosed {
                let _ = write!(svg, r#"<path class="dose" d="M{:.1} {:.1}h12"/>"#, x - 6.0, self.y(dosed));
            }
            if p.day.year() != year && x - year_at > 40.0 {
                (year, year_at) = (p.day.year(), x);
                let _ = write!(svg, r#"<text x="{x:.1}" y="{:.1}" text-anchor="middle">{year}</text>"#, HEIGHT - 10.0);
            }
        }
    }
}

/// One week of a season, for the drawing.
#[derive(Clone, Debug)]
pub(super) struct WeekBar {
    pub(super) name: String,
    pub(super) hours_s: i64,
    pub(super) work_s: i64,
    pub(super) before_s: i64,
}

/// Height of a week's line on the season's drawing.
const WEEK_HIGH: f64 = 34.0;

/// The season's weeks below each other: the band is the hours that are worked, the notch the work as planned, the hollow one as it
/// would have fallen.
pub(super) fn weeks(weeks: &[WeekBar]) -> String {
    let most = weeks.iter().map(|w| w.hours_s.max(w.work_s).max(w.before_s)).max().unwrap_or(0);
    if most <= 0 {
        return String::new();
    }
    let left = 76.0;
    let hours = |s: i64| f64::from(i32::try_from(s / 36).unwrap_or(i32::MAX)) / 100.0;
    let x = |s: i64| left + hours(s) / hours(most).max(0.01) * (WIDTH - left - 62.0);
    let high = WEEK_HIGH * f64::from(i32::try_from(weeks.len()).unwrap_or(0)) + 12.0;
    let mut svg = String::with_capacity(400 * weeks.len());
    let _ = write!(
        svg,
        r#"<svg class="chart" viewBox="0 0 {WIDTH} {high:.0}" role="img" aria-labelledby="wt wd"><title id="wt">Work of each week</title><desc id="wd">{} weeks. The band is the hours that are worked, the filled mark the work as planned, the hollow one as it would have fallen without making the weeks even. The same figures are in the text.</desc>"#,
        weeks.len()
    );
    for (w, n) in weeks.iter().zip(0_i32..) {
        let y = 12.0 + WEEK_HIGH * f64::from(n) + 14.0;
        let (from, to, at, before) = (x(0), x(w.hours_s), x(w.work_s), x(w.before_s));
        let _ = write!(
            svg,
            r#"<text x="{:.1}" y="{:.1}" text-anchor="end">{}</text><rect class="band" x="{from:.1}" y="{:.1}" width="{:.1}" height="12"/><path class="own" d="M{before:.1} {:.1}l-6-11h12z"/><path class="mark" d="M{at:.1} {:.1}l-8-14h16z"/><text x="{:.1}" y="{:.1}">{:.0} h</text>"#,
            left - 8.0,
            y + 5.0,
            w.name,
            y - 6.0,
            to - from,
            y - 2.0,
            y - 2.0,
            x(most) + 10.0,
            y + 5.0,
            hours(w.work_s)
        );
    }
    svg.push_str("</svg>");
    svg
}

/// A due window as the band, today as the notch. The words beside it say the same.
pub(super) fn window(opens: Date, closes: Date, today: Date) -> String {
    let span = (closes - opens).whole_days().max(1);
    let from = opens - time::Duration::days(span / 2 + 7);
    let to = closes + time::Duration::days(span / 2 + 7);
    let whole = i32::try_from((to - from).whole_days()).unwrap_or(1);
    let x = |day: Date| 6.0 + f64::from(i32::try_from((day - from).whole_days()).unwrap_or(0).clamp(0, whole)) / f64::from(whole) * 168.0;
    format!(
        r#"<svg class="notch" viewBox="0 0 180 24" aria-hidden="true"><path class="rule" d="M2 16H178"/><rect class="ok" x="{:.1}" y="8" width="{:.1}" height="8"/><path class="at" d="M{:.1} 17l-6-13h12z"/></svg>"#,
        x(opens),
        x(closes) - x(opens),
        x(today)
    )
}
