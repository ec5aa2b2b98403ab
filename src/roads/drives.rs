//! Seconds and metres between stops, and how good each is: by road where there is one, else estimated. Who asks need not know which.

use super::{
    cost::Cost,
    heard::Heard,
    leg::Leg,
    matrix::Costs,
    point::{Point, counted, whole},
    ready::Roads,
    snap::Snap,
    straight::{Estimate, EstimateError, LONGEST_S, Position},
};
use std::sync::Arc;

/// A stop further from the road than this is told as off the road, in metres (common practice, no source).
pub const OFF_ROAD_M: f64 = 150.0;

/// How good the drives to and from a stop are.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Quality {
    /// the stop lies on a road or in a yard beside it
    Road,
    /// the last stretch is on no road of the map
    OffRoad { metres: u32 },
    /// no road within reach, or none that leads to most of the other stops, or no road file: estimated from the straight line
    StraightLine,
}

impl Quality {
    /// Plain words to stand beside a time.
    pub fn words(self) -> String {
        match self {
            Self::Road => "by road".to_owned(),
            Self::OffRoad { metres } => format!("by road, the last {metres} m off it"),
            Self::StraightLine => super::straight::LABEL.to_owned(),
        }
    }
}

/// How time on the road becomes time on the clock.
///
/// Fitted on five networks against two public routing engines: 4 to 13 % median error with these figures. They are a start; recorded drives correct them.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TimeModel {
    /// clock over speed table
    pub factor: f64,
    /// setting off and arriving, seconds a leg
    pub per_leg_s: f64,
    /// length off the road over straight line
    pub off_road_factor: f64,
    pub off_road_kmh: f64,
}

impl Default for TimeModel {
    fn default() -> Self {
        Self { factor: 1.12, per_leg_s: 20.0, off_road_factor: 1.3, off_road_kmh: 15.0 }
    }
}

impl TimeModel {
    fn off_road_s(&self, off_m: f64) -> f64 {
        off_m * self.off_road_factor / self.off_road_kmh * 3.6
    }
}

/// Fewest recorded drives that correct the model.
pub const LEAST_RECORDED: usize = 20;
/// Range of the correction.
pub const CORRECTION: (f64, f64) = (0.8, 1.6);

/// Shortest and longest drive that is believed, in seconds: a longer pause was lunch or another errand. Common practice, no source.
pub const BELIEVED_S: (i64, i64) = (30, 7_200);

/// A drive that was recorded on the road.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Recorded {
    pub from: Position,
    pub to: Position,
    pub seconds: u32,
}

/// So much longer, in seconds, a way round a closed road must be to be one: cut roads are rounded otherwise.
const WAY_ROUND_S: i32 = 5;

impl Recorded {
    /// Whether this drive takes as long by either.
    pub fn is_as_long(&self, open: &Drives, round: &Drives) -> bool {
        let seconds = |drives: &Drives| drives.table(&[self.from, self.to]).seconds[1];
        (seconds(open) - seconds(round)).abs() <= WAY_ROUND_S
    }
}

/// What recorded drives say of the predicted ones.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Calibration {
    /// drives that were recorded and could be compared
    pub drives: usize,
    /// clock over prediction; 1 while there are too few
    pub factor: f64,
}

impl Default for Calibration {
    fn default() -> Self {
        Self { drives: 0, factor: 1.0 }
    }
}

impl Calibration {
    /// From the ratios of recorded to predicted seconds. Their median, once there are [`LEAST_RECORDED`], within [`CORRECTION`].
    pub fn of(ratios: impl IntoIterator<Item = f64>) -> Self {
        let mut ratios: Vec<f64> = ratios.into_iter().filter(|r| r.is_finite() && *r > 0.0).collect();
        ratios.sort_by(f64::total_cmp);
        let drives = ratios.len();
        if drives < LEAST_RECORDED {
            return Self { drives, factor: 1.0 };
        }
        let median = f64::midpoint(ratios[(drives - 1) / 2], ratios[drives / 2]);
        Self { drives, factor: median.clamp(CORRECTION.0, CORRECTION.1) }
    }

    /// One sentence for the page that shows it.
    pub fn sentence(&self) -> String {
        let percent = whole((self.factor - 1.0) * 100.0);
        match (self.drives, percent) {
            (n, _) if n < LEAST_RECORDED => format!("{n} of {LEAST_RECORDED} recorded drives so far; times are not corrected yet."),
            (n, 0) => format!("Times agree with {n} recorded drives."),
            (n, p) => {
                format!("Times are {} % {} than reckoned, after {n} recorded drives.", p.abs(), if p > 0 { "longer" } else { "shorter" })
            }
        }
    }
}

/// Drives between stops, square: row = from.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Table {
    pub seconds: Vec<i32>,
    pub metres: Vec<i32>,
    /// of each stop
    pub quality: Vec<Quality>,
}

/// One leg as it is driven and drawn.
#[derive(Clone, Debug, PartialEq)]
pub struct Driven {
    pub seconds: i32,
    pub metres: i32,
    /// from the stop to the road, along it, and to the next stop; only the two stops when it is estimated
    pub shape: Vec<Point>,
    pub estimated: bool,
}

/// Answers how long a drive takes, by road or estimated.
#[derive(Clone, Debug)]
pub struct Drives {
    roads: Option<Arc<Roads>>,
    /// comes before the roads, where it says something
    heard: Option<Arc<Heard>>,
    /// closed roads of these days, gone round as far as there are roads
    closed: usize,
    estimate: Estimate,
    model: TimeModel,
    calibration: Calibration,
}

impl Drives {
    /// By these roads; estimated where there are none.
    ///
    /// # Errors
    /// [`EstimateError`] when a number of the estimate is out of range.
    pub fn new(roads: Option<Arc<Roads>>, estimate: Estimate) -> Result<Self, EstimateError> {
        estimate.validate()?;
        Ok(Self { estimate, ..Self::of(roads) })
    }

    /// By these roads, with the usual estimate where there are none.
    pub fn of(roads: Option<Arc<Roads>>) -> Self {
        Self {
            roads,
            heard: None,
            closed: 0,
            estimate: Estimate::default(),
            model: TimeModel::default(),
            calibration: Calibration::default(),
        }
    }

    /// With what a road engine told; where it told nothing, drives are found as before.
    #[must_use]
    pub fn told_by(self, heard: Heard) -> Self {
        Self { heard: Some(Arc::new(heard)), ..self }
    }

    /// By roads of which so many are closed: says so.
    #[must_use]
    pub fn round(self, closed: usize) -> Self {
        Self { closed, ..self }
    }

    /// With times corrected by recorded drives.
    #[must_use]
    pub fn calibrated(self, calibration: Calibration) -> Self {
        Self { calibration, ..self }
    }

    pub fn calibration(&self) -> Calibration {
        self.calibration
    }

    pub fn roads(&self) -> Option<&Arc<Roads>> {
        self.roads.as_ref()
    }

    /// Names the source beside a plan: "by road", or "estimated", or the road engine and what it did not answer; and closed roads.
    pub fn label(&self) -> String {
        let source = self.source();
        match (self.closed, &self.roads) {
            (0, _) => source,
            (1, Some(_)) => format!("{source}, round a closed road"),
            (n, Some(_)) => format!("{source}, round {n} closed roads"),
            (_, None) => format!("{source}, closed roads left out of account"),
        }
    }

    fn source(&self) -> String {
        let own = if self.roads.is_some() { "by road" } else { super::straight::LABEL };
        match self.heard.as_deref() {
            Some(heard) if heard.is_silent() => format!("{own}, because the road engine did not answer"),
            Some(heard) if !heard.is_whole() => format!("from the road engine for {} %, the others {own}", heard.percent()),
            Some(_) => "from the road engine".to_owned(),
            None => own.to_owned(),
        }
    }

    /// What recorded drives say. Predictions are made without any correction, so that corrections do not add up.
    pub fn calibrate(&self, recorded: &[Recorded]) -> Calibration {
        let plain = Self { calibration: Calibration::default(), ..self.clone() };
        let ratio = |r: &Recorded| {
            let table = plain.table(&[r.from, r.to]);
            f64::from(r.seconds) / f64::from(table.seconds[1])
        };
        Calibration::of(recorded.iter().map(ratio))
    }

    fn snaps(&self, positions: &[Position]) -> Vec<Option<Snap>> {
        positions.iter().map(|p| self.roads.as_ref().and_then(|r| r.snap(*p))).collect()
    }

    /// Seconds and metres between all positions, and how good each stop is. 0 only from a position to itself.
    pub fn table(&self, positions: &[Position]) -> Table {
        let n = positions.len();
        let snaps = self.snaps(positions);
        let on_road: Vec<usize> = (0..n).filter(|i| snaps[*i].is_some()).collect();
        let stops: Vec<Snap> = snaps.iter().flatten().copied().collect();
        let (mut seconds, mut metres) = (Vec::with_capacity(n * n), Vec::with_capacity(n * n));
        let costs = self.roads.as_ref().map(|roads| roads.costs(&stops, &stops));
        let mut place = vec![None; n];
        for (k, i) in on_road.into_iter().enumerate() {
            place[i] = Some((k, stops[k].off_m));
        }
        let points: Vec<Point> = positions.iter().map(|p| Point::from(*p)).collect();
        for i in 0..n {
            for j in 0..n {
                let told = self.told(points[i], points[j]);
                let by_road = place[i].zip(place[j]).zip(costs.as_ref());
                let cell = by_road.and_then(|((a, b), costs)| self.by_road(costs.at(a.0, b.0), a.1 + b.1));
                let same = i == j || positions[i] == positions[j];
                let (s, m) = if same { (0, 0) } else { told.or(cell).unwrap_or_else(|| self.straight(positions[i], positions[j])) };
                seconds.push(s);
                metres.push(m);
            }
        }
        let own = (0..n).map(|i| match (place[i], costs.as_ref()) {
            (Some((k, _)), Some(costs)) if is_cut_off(costs, k, stops.len()) => Quality::StraightLine,
            _ => quality(snaps[i].as_ref()),
        });
        let quality = own.zip(&points).map(|(own, p)| self.quality_told(&points, *p).unwrap_or(own)).collect();
        Table { seconds, metres, quality }
    }

    /// Seconds and metres of a leg that the engine told. What it counts from road to road is longer by the ways to it.
    fn told(&self, from: Point, to: Point) -> Option<(i32, i32)> {
        let heard = self.heard.as_deref()?;
        let told = heard.at(from, to)?;
        let off_m = f64::from(heard.off_m(from)) + f64::from(heard.off_m(to));
        let clock = f64::from(told.seconds) + self.model.off_road_s(off_m);
        let length = f64::from(told.metres) + off_m * self.model.off_road_factor;
        Some((whole((clock * self.calibration.factor).clamp(1.0, LONGEST_S)), whole(length)))
    }

    /// How good a stop is whose drives the engine told, all but a few.
    fn quality_told(&self, stops: &[Point], stop: Point) -> Option<Quality> {
        let heard = self.heard.as_deref()?;
        let others = stops.iter().filter(|p| **p != stop);
        let (told, all) = others.fold((0, 0), |(told, all), p| (told + usize::from(heard.at(stop, *p).is_some()), all + 1));
        (all > 0 && told * 2 > all).then(|| by_metres(f64::from(heard.off_m(stop))))
    }

    /// Seconds and metres of a leg with that cost on the road and so many metres off it; `None` when it cannot be driven.
    fn by_road(&self, cost: Cost, off_m: f64) -> Option<(i32, i32)> {
        if !cost.is_drive() {
            return None;
        }
        let m = &self.model;
        let clock = f64::from(cost.ms()) / 1_000.0 * m.factor + m.per_leg_s + m.off_road_s(off_m);
        let length = f64::from(cost.dm()) / 10.0 + off_m * m.off_road_factor;
        Some((whole((clock * self.calibration.factor).clamp(1.0, LONGEST_S)), whole(length)))
    }

    fn straight(&self, from: Position, to: Position) -> (i32, i32) {
        let (seconds, metres) = self.estimate.one(from, to);
        (whole((f64::from(seconds) * self.calibration.factor).clamp(1.0, LONGEST_S)), metres)
    }

    /// The legs of a route, to be drawn and told. One fewer than stops.
    pub fn route(&self, stops: &[Position]) -> Vec<Driven> {
        let snaps = self.snaps(stops);
        let legs = self.roads.as_ref().map_or_else(Vec::new, |roads| roads.legs(stops));
        let one = |i: usize| {
            let leg: Option<&Leg> = legs.get(i).and_then(Option::as_ref);
            let off = |i: usize| snaps[i].map_or(0.0, |s| s.off_m);
            let (from, to) = (stops[i], stops[i + 1]);
            let ends = [Point::from(from), Point::from(to)];
            let by_road = leg.and_then(|l| self.by_road(l.cost, off(i) + off(i + 1)).map(|cost| (cost, &l.shape)));
            let mut driven = if let Some(((seconds, metres), shape)) = by_road {
                let shape = ends[..1].iter().chain(shape).chain(&ends[1..]).copied().collect();
                Driven { seconds, metres, shape, estimated: false }
            } else {
                let (seconds, metres) = self.straight(from, to);
                Driven { seconds, metres, shape: ends.to_vec(), estimated: true }
            };
            if from == to {
                (driven.seconds, driven.metres) = (0, 0);
            }
            driven.shape.dedup();
            driven
        };
        (0..stops.len().saturating_sub(1)).map(one).collect()
    }
}

/// Whether most of the others cannot be driven to from this stop, or not back from them.
fn is_cut_off(costs: &Costs, stop: usize, stops: usize) -> bool {
    let others = (0..stops).filter(|j| *j != stop);
    let there = others.filter(|j| costs.at(stop, *j).is_drive() && costs.at(*j, stop).is_drive()).count();
    stops > 1 && there * 2 < stops - 1
}

fn quality(snap: Option<&Snap>) -> Quality {
    match snap {
        None => Quality::StraightLine,
        Some(s) => by_metres(s.off_m),
    }
}

fn by_metres(off_m: f64) -> Quality {
    if off_m > OFF_ROAD_M { Quality::OffRoad { metres: counted(off_m) } } else { Quality::Road }
}
