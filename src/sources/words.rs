//! What is said to a road engine and how its answers are read: two protocols that public engines speak. No network here.
//!
//! - [`Kind::Table`]: `GET …/table/v1/driving/{lon},{lat};…` with numbers of sources and destinations. Answers seconds and metres, and
//!   how far each pin lay from the road. A pin anywhere is put on a road, however far.
//! - [`Kind::Matrix`]: `POST …/sources_to_targets` with JSON. Answers seconds and kilometres. One pin off the map, and the whole call fails.
//!
//! Both as two engines answered on an invented extract: `tests/reference/engines.py`.

use crate::roads::{Point, REACH_M, Told};
use serde::Deserialize;
use std::fmt::Write;

/// Which protocol an engine speaks.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    Table,
    Matrix,
}

/// One request, without the engine's address.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Ask {
    pub path: String,
    /// `None`: a GET
    pub body: Option<String>,
}

/// A block of drives as it was told, row by row; `None`: no way, or not believed.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Block {
    pub drives: Vec<Option<Told>>,
    /// metres from each pin to its road, sources first; empty when the engine does not say
    pub off_m: Vec<f64>,
}

/// Why an answer is of no use.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Useless {
    #[error("it takes fewer places at once than are asked for ({BLOCK} and {BLOCK}); raise its limit")]
    TooBig,
    /// With the matrix protocol one such pin spoils the call.
    #[error("a pin lies off its map")]
    OffMap,
    #[error("it answered with the error {0}")]
    Status(u16),
    #[error("its answer cannot be read: {0}")]
    Odd(&'static str),
}

/// Sources, and as many targets, of one request: what engines take by default (100 places, 2,500 pairs).
pub const BLOCK: usize = 50;
/// Faster than this between two pins, in metres a second, is no drive.
const FASTEST: f64 = 70.0;
/// Longest drive that is believed, in seconds: eleven days.
const LONGEST_S: f64 = 1_000_000.0;

impl Kind {
    pub fn ask(self, from: &[Point], to: &[Point]) -> Ask {
        match self {
            Self::Table => Ask { path: table_path(from, to), body: None },
            Self::Matrix => Ask { path: "/sources_to_targets".to_owned(), body: Some(matrix_body(from, to)) },
        }
    }

    /// Reads an answer to [`Kind::ask`].
    ///
    /// # Errors
    /// [`Useless`] when it says no, or is not what was asked for. Never a panic, never a cell that was not told.
    pub fn read(self, status: u16, body: &[u8], from: &[Point], to: &[Point]) -> Result<Block, Useless> {
        if status != 200 {
            return Err(refusal(status, body));
        }
        let block = match self {
            Self::Table => table(body, from.len(), to.len())?,
            Self::Matrix => matrix(body, from.len(), to.len())?,
        };
        Ok(believed(block, from, to))
    }
}

fn degrees(steps: i32) -> String {
    format!("{:.7}", f64::from(steps) / 1e7)
}

fn table_path(from: &[Point], to: &[Point]) -> String {
    let places: Vec<String> = from.iter().chain(to).map(|p| format!("{},{}", degrees(p.lon()), degrees(p.lat()))).collect();
    let numbers = |first: usize, count: usize| (first..first + count).map(|n| n.to_string()).collect::<Vec<_>>().join(";");
    format!(
        "/table/v1/driving/{}?annotations=duration,distance&generate_hints=false&sources={}&destinations={}",
        places.join(";"),
        numbers(0, from.len()),
        numbers(from.len(), to.len())
    )
}

fn matrix_body(from: &[Point], to: &[Point]) -> String {
    let list = |places: &[Point]| {
        let mut text = String::new();
        for (n, p) in places.iter().enumerate() {
            let comma = if n > 0 { "," } else { "" };
            let (lat, lon) = (degrees(p.lat()), degrees(p.lon()));
            let _ = write!(text, r#"{comma}{{"lat":{lat},"lon":{lon},"search_cutoff":{REACH_M}}}"#);
        }
        text
    };
    format!(r#"{{"sources":[{}],"targets":[{}],"costing":"auto","units":"kilometers","verbose":false}}"#, list(from), list(to))
}

fn refusal(status: u16, body: &[u8]) -> Useless {
    #[derive(Default, Deserialize)]
    struct Said {
        #[serde(default)]
        code: String,
        #[serde(default)]
        error_code: u32,
    }
    let said: Said = serde_json::from_slice(body).unwrap_or_default();
    match (said.code.as_str(), said.error_code) {
        ("TooBig", _) | (_, 150) => Useless::TooBig,
        // No road near, or on no part of the map that hangs together with the others.
        ("NoSegment", _) | (_, 170 | 171) => Useless::OffMap,
        _ => Useless::Status(status),
    }
}

type Rows = Vec<Vec<Option<f64>>>;

/// Seconds and metres cell by cell, if both tables have just the cells that were asked for.
fn cells(seconds: &Rows, lengths: &Rows, metres: f64, high: usize, wide: usize) -> Result<Vec<Option<Told>>, Useless> {
    let fits = |rows: &Rows| rows.len() == high && rows.iter().all(|row| row.len() == wide);
    if !fits(seconds) || !fits(lengths) {
        return Err(Useless::Odd("it has not as many rows and columns as were asked for"));
    }
    let one = |(s, m): (&Option<f64>, &Option<f64>)| {
        let (s, m) = ((*s)?, (*m)? * metres);
        let good = (0.0..=LONGEST_S).contains(&s) && (0.0..=1e9).contains(&m);
        good.then(|| Told { seconds: whole(s), metres: whole(m) })
    };
    Ok(seconds.iter().flatten().zip(lengths.iter().flatten()).map(one).collect())
}

#[expect(clippy::cast_possible_truncation, reason = "looked over: at most a thousand million")]
fn whole(x: f64) -> i32 {
    x.round() as i32
}

fn table(body: &[u8], high: usize, wide: usize) -> Result<Block, Useless> {
    #[derive(Deserialize)]
    struct Place {
        distance: f64,
    }
    #[derive(Deserialize)]
    struct Answer {
        code: String,
        durations: Rows,
        distances: Rows,
        sources: Vec<Place>,
        destinations: Vec<Place>,
    }
    let a: Answer = serde_json::from_slice(body).map_err(|_| Useless::Odd("it is no table of seconds and metres"))?;
    if a.code != "Ok" {
        return Err(Useless::Odd("it does not say that all is well"));
    }
    if a.sources.len() != high || a.destinations.len() != wide {
        return Err(Useless::Odd("it has not as many places as were asked for"));
    }
    let off_m = a.sources.iter().chain(&a.destinations).map(|p| p.distance).collect();
    Ok(Block { drives: cells(&a.durations, &a.distances, 1.0, high, wide)?, off_m })
}

fn matrix(body: &[u8], high: usize, wide: usize) -> Result<Block, Useless> {
    #[derive(Deserialize)]
    struct Cells {
        durations: Rows,
        distances: Rows,
    }
    #[derive(Deserialize)]
    struct Answer {
        sources_to_targets: Cells,
        units: String,
    }
    let a: Answer = serde_json::from_slice(body).map_err(|_| Useless::Odd("it is no matrix of seconds and kilometres"))?;
    if a.units != "kilometers" {
        return Err(Useless::Odd("it does not count in kilometres"));
    }
    let drives = cells(&a.sources_to_targets.durations, &a.sources_to_targets.distances, 1_000.0, high, wide)?;
    Ok(Block { drives, off_m: Vec::new() })
}

/// Leaves out what cannot be: drives of pins that were put on a road far away, and drives quicker than anything drives.
fn believed(mut block: Block, from: &[Point], to: &[Point]) -> Block {
    let off = |n: usize| block.off_m.get(n).copied();
    // An engine that does not say how far it moved a pin was told to move none further than this.
    let slack = |n: usize| off(n).unwrap_or(REACH_M);
    let near = |n: usize| off(n).is_none_or(is_near);
    let mut drives = std::mem::take(&mut block.drives);
    for (i, a) in from.iter().enumerate() {
        for (j, b) in to.iter().enumerate() {
            let (s, t) = (i, from.len() + j);
            let least = (a.metres_to(*b) - slack(s) - slack(t)) / FASTEST;
            let cell = &mut drives[i * to.len() + j];
            *cell = cell.filter(|told| near(s) && near(t) && f64::from(told.seconds) >= least);
        }
    }
    Block { drives, ..block }
}

/// Whether a pin lies near enough to the road that it was put on.
pub(super) fn is_near(off_m: f64) -> bool {
    (0.0..=REACH_M).contains(&off_m)
}
