//! Driving seconds (and, if known, metres) between places.

use std::{fmt, sync::Arc};

/// The longest leg a matrix may be given, in seconds (about 116 days).
pub const MAX_LEG_S: i32 = 10_000_000;
/// The longest leg that is driven, in seconds (18 h 12 min). A longer one is no way to a day's work and counts as no road.
pub const LONGEST_DRIVE_S: i32 = NO_ROAD as i32 - 1;
/// The most places a matrix may hold.
pub const MAX_PLACES: usize = 20_000;
/// How a pair without a road is kept: half the memory is half the time of a search, which is spent on reading it.
const NO_ROAD: u16 = u16::MAX;
/// How a pair without a road is reckoned with: far above any working day, far below overflow.
const NO_ROAD_S: i32 = 1 << 28;

/// Seconds of a cell as they are reckoned with.
#[inline]
pub(super) fn reckoned(cell: u16) -> i32 {
    if cell == NO_ROAD { NO_ROAD_S } else { i32::from(cell) }
}

/// A square table of driving times, row = from, column = to. It need not be symmetric. Copies share their cells.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Matrix {
    places: usize,
    seconds: Arc<Vec<u16>>,
    /// every drive takes as long as the way back
    symmetric: bool,
    metres: Option<Arc<Vec<i32>>>,
}

impl Matrix {
    /// Put in a cell for which no road is known.
    pub const NO_ROAD: i32 = i32::MAX;

    /// `seconds` has `places * places` cells, row by row, each `0..=MAX_LEG_S` or [`Matrix::NO_ROAD`];
    /// a place is 0 s from itself. What is above [`LONGEST_DRIVE_S`] counts as no road.
    ///
    /// # Errors
    /// [`MatrixError`] when the size or a cell is wrong.
    pub fn new(places: usize, seconds: Vec<i32>) -> Result<Self, MatrixError> {
        if places > MAX_PLACES || seconds.len() != places * places {
            return Err(MatrixError::Size { places, cells: seconds.len() });
        }
        for (cell, &value) in seconds.iter().enumerate() {
            let (from, to) = (cell / places, cell % places);
            let good = if from == to { value == 0 } else { value == Self::NO_ROAD || (0..=MAX_LEG_S).contains(&value) };
            if !good {
                return Err(MatrixError::Leg { from, to, value });
            }
        }
        let kept = |s| u16::try_from(s).unwrap_or(NO_ROAD);
        let seconds: Vec<u16> = seconds.into_iter().map(kept).collect();
        let symmetric = pairs(places).all(|(from, to)| seconds[from * places + to] == seconds[to * places + from]);
        Ok(Self { places, seconds: Arc::new(seconds), symmetric, metres: None })
    }

    /// Adds road lengths in metres, laid out like the seconds. They are only reported, never weighed.
    ///
    /// # Errors
    /// [`MatrixError::Size`] when the number of cells differs, [`MatrixError::Leg`] on a negative length.
    pub fn with_metres(mut self, metres: Vec<i32>) -> Result<Self, MatrixError> {
        if metres.len() != self.seconds.len() {
            return Err(MatrixError::Size { places: self.places, cells: metres.len() });
        }
        if let Some(cell) = metres.iter().position(|&m| m < 0) {
            return Err(MatrixError::Leg { from: cell / self.places, to: cell % self.places, value: metres[cell] });
        }
        self.metres = Some(Arc::new(metres));
        Ok(self)
    }

    /// Number of places.
    pub fn places(&self) -> usize {
        self.places
    }

    /// Driving seconds, `None` without a road.
    ///
    /// # Panics
    /// When a place is not in the matrix.
    pub fn seconds(&self, from: usize, to: usize) -> Option<i32> {
        assert!(from < self.places && to < self.places, "no such place: {from} or {to}");
        Some(self.seconds[from * self.places + to]).filter(|&s| s != NO_ROAD).map(i32::from)
    }

    /// Road metres, `None` when not known.
    ///
    /// # Panics
    /// When a place is not in the matrix.
    pub fn metres(&self, from: usize, to: usize) -> Option<i32> {
        assert!(from < self.places && to < self.places, "no such place: {from} or {to}");
        self.seconds(from, to)?;
        self.metres.as_ref().map(|m| m[from * self.places + to])
    }

    /// All cells, row by row, see [`reckoned`].
    pub(super) fn cells(&self) -> &[u16] {
        &self.seconds
    }

    /// Whether every drive takes as long as the way back.
    pub(super) fn is_symmetric(&self) -> bool {
        self.symmetric
    }
}

/// Each pair of places once, the later one first: square by square, to be kind to the memory.
pub(super) fn pairs(places: usize) -> impl Iterator<Item = (usize, usize)> {
    const SIDE: usize = 32;
    let squares = (0..places).step_by(SIDE).flat_map(|top| (0..=top).step_by(SIDE).map(move |left| (top, left)));
    let rows = squares.flat_map(move |(top, left)| (top..places.min(top + SIDE)).map(move |from| (from, left)));
    rows.flat_map(|(from, left)| (left..from.min(left + SIDE)).map(move |to| (from, to)))
}

/// Why a matrix was refused.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum MatrixError {
    /// Not a square, or too many places.
    Size {
        /// places said
        places: usize,
        /// cells given
        cells: usize,
    },
    /// A cell is negative, too large, or not 0 on the diagonal.
    Leg {
        /// row
        from: usize,
        /// column
        to: usize,
        /// what stood there
        value: i32,
    },
}

impl fmt::Display for MatrixError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Size { places, cells } => {
                write!(f, "{cells} cells do not make a square of {places} places (at most {MAX_PLACES})")
            }
            Self::Leg { from, to, value } => write!(f, "the leg from place {from} to place {to} cannot be {value}"),
        }
    }
}

impl std::error::Error for MatrixError {}
