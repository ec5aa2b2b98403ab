//! Driving times estimated from the great circle between two positions.
//!
//! Nothing here knows a road. The defaults are plain assumptions about rural roads
//! (common practice, no source); whatever is shown from them must be labelled [`LABEL`].

use std::fmt;

/// The word that goes with every number from this module.
pub const LABEL: &str = "estimated";

/// Mean radius of the earth, (2a + b) / 3 of the WGS 84 ellipsoid, in metres.
pub const EARTH_RADIUS_M: f64 = 6_371_008.8;

/// Metres in an international mile.
pub(super) const MILE_M: f64 = 1_609.344;
/// Longest leg given, in seconds: no two points on earth are further apart at walking pace.
pub(super) const LONGEST_S: f64 = 9_000_000.0;

/// A point on earth in degrees, north and east positive.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Position {
    lat: f64,
    lon: f64,
}

impl Position {
    /// Latitude -90 to 90, longitude -180 to 180, in degrees.
    ///
    /// # Errors
    /// [`PositionError`] when a number is not finite or out of range.
    pub fn new(lat: f64, lon: f64) -> Result<Self, PositionError> {
        let good = (-90.0..=90.0).contains(&lat) && (-180.0..=180.0).contains(&lon);
        if good { Ok(Self { lat, lon }) } else { Err(PositionError { lat, lon }) }
    }

    /// For degrees that are known to be on earth.
    pub(super) fn within(lat: f64, lon: f64) -> Self {
        Self { lat: lat.clamp(-90.0, 90.0), lon: lon.clamp(-180.0, 180.0) }
    }

    /// Degrees north.
    pub fn lat(self) -> f64 {
        self.lat
    }

    /// Degrees east.
    pub fn lon(self) -> f64 {
        self.lon
    }
}

/// Not a position on earth.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PositionError {
    /// latitude given
    pub lat: f64,
    /// longitude given
    pub lon: f64,
}

impl fmt::Display for PositionError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "latitude {} and longitude {} are not a position on earth", self.lat, self.lon)
    }
}

impl std::error::Error for PositionError {}

/// Degrees of latitude and of longitude from every depot beyond which a pin is doubted: about 200 miles at the latitudes where wood is burned.
pub const FAR: (f64, f64) = (3.0, 4.0);

/// Whether a pin lies that far from every one of these, as where a minus was forgotten.
pub fn is_far(pin: (f64, f64), depots: &[(f64, f64)]) -> bool {
    !depots.is_empty() && depots.iter().all(|d| (d.0 - pin.0).abs() > FAR.0 || (d.1 - pin.1).abs() > FAR.1)
}

/// Great-circle distance in metres, by the haversine formula on a sphere of [`EARTH_RADIUS_M`].
pub fn great_circle_m(a: Position, b: Position) -> f64 {
    let (lat_a, lat_b) = (a.lat.to_radians(), b.lat.to_radians());
    let half_lat = ((lat_b - lat_a) / 2.0).sin();
    let half_lon = ((b.lon - a.lon).to_radians() / 2.0).sin();
    let h = half_lat * half_lat + lat_a.cos() * lat_b.cos() * half_lon * half_lon;
    2.0 * EARTH_RADIUS_M * h.clamp(0.0, 1.0).sqrt().asin()
}

/// How a great circle becomes a drive. An estimate, with defaults for rural roads (common practice, no source).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Estimate {
    /// road length over great circle
    pub road_factor: f64,
    /// mean speed of the shortest trips, in miles per hour
    pub slow_mph: f64,
    /// mean speed that long trips come near, in miles per hour
    pub fast_mph: f64,
    /// road miles over which the speed rises by 63 % of the way from slow to fast
    pub rise_miles: f64,
    /// added to every drive for the driveway and parking, in seconds
    pub per_stop_s: f64,
}

impl Default for Estimate {
    fn default() -> Self {
        Self { road_factor: 1.3, slow_mph: 30.0, fast_mph: 55.0, rise_miles: 8.0, per_stop_s: 60.0 }
    }
}

/// A number of an [`Estimate`] is out of range.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct EstimateError {
    /// which, and what is allowed
    pub what: &'static str,
}

impl fmt::Display for EstimateError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "the estimate's {}", self.what)
    }
}

impl std::error::Error for EstimateError {}

impl Estimate {
    pub(super) fn validate(&self) -> Result<(), EstimateError> {
        let rules = [
            ((1.0..=10.0).contains(&self.road_factor), "road factor must be from 1 to 10"),
            ((5.0..=100.0).contains(&self.slow_mph), "slow speed must be from 5 to 100 mph"),
            ((self.slow_mph..=100.0).contains(&self.fast_mph), "fast speed must be from the slow speed to 100 mph"),
            ((0.1..=1_000.0).contains(&self.rise_miles), "rise must be from 0.1 to 1000 miles"),
            ((0.0..=3_600.0).contains(&self.per_stop_s), "time per stop must be from 0 to 3600 s"),
        ];
        rules.into_iter().find(|r| !r.0).map_or(Ok(()), |(_, what)| Err(EstimateError { what }))
    }

    /// One drive: seconds and road metres, both rounded; 0 and 0 for a position and itself.
    ///
    /// # Errors
    /// [`EstimateError`] when a number of the estimate is out of range.
    pub fn drive(&self, from: Position, to: Position) -> Result<(i32, i32), EstimateError> {
        self.validate()?;
        Ok(self.one(from, to))
    }

    /// One drive by an estimate that has been looked over.
    pub(super) fn one(&self, from: Position, to: Position) -> (i32, i32) {
        let metres = great_circle_m(from, to) * self.road_factor;
        if metres <= 0.0 {
            return (0, 0);
        }
        let miles = metres / MILE_M;
        let mph = self.fast_mph - (self.fast_mph - self.slow_mph) * (-miles / self.rise_miles).exp();
        (whole((miles / mph * 3_600.0 + self.per_stop_s).min(LONGEST_S)), whole(metres))
    }

    /// Seconds and road metres between all positions, each a square of `positions.len()` rows, row = from.
    ///
    /// # Errors
    /// [`EstimateError`] when a number of the estimate is out of range.
    pub fn matrix(&self, positions: &[Position]) -> Result<(Vec<i32>, Vec<i32>), EstimateError> {
        self.validate()?;
        let n = positions.len();
        let (mut seconds, mut metres) = (vec![0; n * n], vec![0; n * n]);
        for a in 0..n {
            for b in a + 1..n {
                let (s, m) = self.one(positions[a], positions[b]);
                (seconds[a * n + b], seconds[b * n + a]) = (s, s);
                (metres[a * n + b], metres[b * n + a]) = (m, m);
            }
        }
        Ok((seconds, metres))
    }
}

/// Rounds a number that is known to be small and positive.
#[expect(clippy::cast_possible_truncation, reason = "callers stay far below 2^31; a cast saturates in any case")]
fn whole(x: f64) -> i32 {
    x.round() as i32
}
