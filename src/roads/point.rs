//! Points in whole ten-millionths of a degree (OpenStreetMap's own step, about 1 cm), boxes of them, and flat metres round one.

use super::straight::{EARTH_RADIUS_M, Position, great_circle_m};

/// Ten-millionths of a degree in a degree.
pub(super) const STEPS: f64 = 1e7;
const MOST_LAT: i32 = 900_000_000;
const MOST_LON: i32 = 1_800_000_000;

/// A point on earth in whole ten-millionths of a degree, always within ±90° and ±180°.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Point {
    lat: i32,
    lon: i32,
}

impl Point {
    /// From ten-millionths of a degree; `None` when that is nowhere on earth.
    pub fn new(lat: i64, lon: i64) -> Option<Self> {
        let (lat, lon) = (i32::try_from(lat).ok()?, i32::try_from(lon).ok()?);
        ((-MOST_LAT..=MOST_LAT).contains(&lat) && (-MOST_LON..=MOST_LON).contains(&lon)).then_some(Self { lat, lon })
    }

    /// The nearest point to what may lie a little outside the earth's range.
    pub(super) fn near(lat: f64, lon: f64) -> Self {
        Self { lat: whole(lat).clamp(-MOST_LAT, MOST_LAT), lon: whole(lon).clamp(-MOST_LON, MOST_LON) }
    }

    /// Ten-millionths of a degree north.
    pub fn lat(self) -> i32 {
        self.lat
    }

    /// Ten-millionths of a degree east.
    pub fn lon(self) -> i32 {
        self.lon
    }

    /// Great-circle metres to another point.
    pub fn metres_to(self, to: Self) -> f64 {
        great_circle_m(self.into(), to.into())
    }

    /// The point a share `t` (0 to 1) of the way to another.
    pub(super) fn towards(self, to: Self, t: f64) -> Self {
        let (lat, lon) = (f64::from(self.lat), f64::from(self.lon));
        Self::near(lat + t * (f64::from(to.lat) - lat), lon + t * (f64::from(to.lon) - lon))
    }
}

impl From<Position> for Point {
    fn from(p: Position) -> Self {
        Self::near(p.lat() * STEPS, p.lon() * STEPS)
    }
}

impl From<Point> for Position {
    fn from(p: Point) -> Self {
        // Within range by the type.
        Self::within(f64::from(p.lat) / STEPS, f64::from(p.lon) / STEPS)
    }
}

/// A box between two parallels and two meridians, ends included. It does not cross the 180th meridian.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Extent {
    pub south: i32,
    pub west: i32,
    pub north: i32,
    pub east: i32,
}

impl Extent {
    /// The smallest box round all points; `None` when there are none.
    pub fn of(points: impl IntoIterator<Item = Point>) -> Option<Self> {
        let mut points = points.into_iter();
        let p = points.next()?;
        let one = Self { south: p.lat, west: p.lon, north: p.lat, east: p.lon };
        Some(points.fold(one, |b, p| Self {
            south: b.south.min(p.lat),
            west: b.west.min(p.lon),
            north: b.north.max(p.lat),
            east: b.east.max(p.lon),
        }))
    }

    /// The box that holds every point within `miles` of `centre`.
    pub fn around(centre: Position, miles: f64) -> Self {
        let miles = if miles.is_finite() { miles.clamp(0.1, 3_000.0) } else { 3_000.0 };
        let up = miles * super::straight::MILE_M / (STEPS.recip().to_radians() * EARTH_RADIUS_M);
        let across = up / centre.lat().to_radians().cos().max(0.01);
        let p = Point::from(centre);
        let (low, high) =
            (Point::near(f64::from(p.lat) - up, f64::from(p.lon) - across), Point::near(f64::from(p.lat) + up, f64::from(p.lon) + across));
        Self { south: low.lat, west: low.lon, north: high.lat, east: high.lon }
    }

    /// Whether a point lies inside or on the edge.
    pub fn holds(&self, p: Point) -> bool {
        (self.south..=self.north).contains(&p.lat) && (self.west..=self.east).contains(&p.lon)
    }

    /// Whether two boxes share a point.
    pub(super) fn meets(&self, other: &Self) -> bool {
        self.south <= other.north && other.south <= self.north && self.west <= other.east && other.west <= self.east
    }

    /// Width and height in kilometres, the width along the middle parallel.
    pub fn km(&self) -> (f64, f64) {
        let middle = i32::midpoint(self.south, self.north);
        let at = |lat, lon| Point { lat, lon };
        (
            at(middle, self.west).metres_to(at(middle, self.east)) / 1_000.0,
            at(self.south, self.west).metres_to(at(self.north, self.west)) / 1_000.0,
        )
    }
}

/// Flat metres round a point: within 0.1 % over a few kilometres. For finding what is nearest, not for distances that are shown.
#[derive(Clone, Copy, Debug)]
pub(super) struct Local {
    lat: f64,
    lon: f64,
    up: f64,
    across: f64,
}

impl Local {
    pub(super) fn at(p: Point) -> Self {
        let up = STEPS.recip().to_radians() * EARTH_RADIUS_M;
        let across = up * (f64::from(p.lat) / STEPS).to_radians().cos().max(0.001);
        Self { lat: f64::from(p.lat), lon: f64::from(p.lon), up, across }
    }

    /// Metres east and north of the middle.
    pub(super) fn flat(&self, p: Point) -> (f64, f64) {
        ((f64::from(p.lon) - self.lon) * self.across, (f64::from(p.lat) - self.lat) * self.up)
    }

    pub(super) fn point(&self, flat: (f64, f64)) -> Point {
        Point::near(self.lat + flat.1 / self.up, self.lon + flat.0 / self.across)
    }

    /// Metres that `steps` of latitude and of longitude are, the smaller of the two.
    pub(super) fn least(&self, steps: i32) -> f64 {
        f64::from(steps) * self.up.min(self.across)
    }
}

/// Distance from the origin to the segment `a`–`b`, and how far along it (0 to 1) the nearest point lies.
pub(super) fn to_segment(a: (f64, f64), b: (f64, f64)) -> (f64, f64) {
    let (dx, dy) = (b.0 - a.0, b.1 - a.1);
    let squared = dx * dx + dy * dy;
    let t = if squared > 0.0 { (-(a.0 * dx + a.1 * dy) / squared).clamp(0.0, 1.0) } else { 0.0 };
    ((a.0 + t * dx).hypot(a.1 + t * dy), t)
}

/// Rounds; what does not fit becomes the nearest that does.
#[expect(clippy::cast_possible_truncation, reason = "a cast from floating point saturates")]
pub(super) fn whole(x: f64) -> i32 {
    x.round() as i32
}

/// Rounds what is never negative; what does not fit becomes the nearest that does.
#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a cast from floating point saturates")]
pub(super) fn counted(x: f64) -> u32 {
    x.round() as u32
}

/// A place in a list. No list here is longer than [`LONGEST`], which the import sees to.
pub(super) fn index(n: usize) -> u32 {
    u32::try_from(n).unwrap_or(u32::MAX)
}

/// Most junctions, pieces of road and shape points of one network.
pub(super) const LONGEST: usize = 1 << 30;
