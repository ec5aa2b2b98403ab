//! Drives that a road engine of the owner's has told. Whoever asked it stands outside of this room; here is only what it said.

use super::point::Point;
use std::collections::HashMap;

/// What an engine told of one drive: seconds and metres on the road.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Told {
    pub seconds: i32,
    pub metres: i32,
}

/// Drives that were asked for, as far as an engine told them.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Heard {
    drives: HashMap<(Point, Point), Told>,
    /// metres from a pin to the road that the engine put it on, where it says so
    off: HashMap<Point, u32>,
    /// how many drives between different pins were asked for
    asked: usize,
    /// why some were not told, in words
    trouble: Option<String>,
}

impl Heard {
    /// Notes that a drive was asked for, and what was told of it.
    pub fn note(&mut self, from: Point, to: Point, told: Option<Told>) {
        if from == to {
            return;
        }
        self.asked += 1;
        if let Some(told) = told {
            self.drives.insert((from, to), told);
        }
    }

    /// Notes how far a pin lies from the road that the engine put it on, in metres.
    pub fn note_off(&mut self, pin: Point, metres: u32) {
        self.off.insert(pin, metres);
    }

    /// Takes in what was told at another time.
    pub fn add(&mut self, other: Self) {
        self.drives.extend(other.drives);
        self.off.extend(other.off);
        self.asked += other.asked;
        self.trouble = other.trouble.or_else(|| self.trouble.take());
    }

    #[must_use]
    pub fn with_trouble(self, trouble: Option<String>) -> Self {
        Self { trouble, ..self }
    }

    pub fn at(&self, from: Point, to: Point) -> Option<Told> {
        self.drives.get(&(from, to)).copied()
    }

    /// Metres from a pin to its road; 0 when the engine does not say.
    pub fn off_m(&self, pin: Point) -> u32 {
        self.off.get(&pin).copied().unwrap_or(0)
    }

    /// Whether each drive that was asked for was told.
    pub fn is_whole(&self) -> bool {
        self.drives.len() >= self.asked
    }

    /// Whether nothing was told of what was asked for.
    pub fn is_silent(&self) -> bool {
        self.asked > 0 && self.drives.is_empty()
    }

    /// The share that was told, in whole percent, never 100 while one is missing.
    pub fn percent(&self) -> usize {
        if self.is_whole() { 100 } else { (self.drives.len() * 100 / self.asked.max(1)).min(99) }
    }

    pub fn trouble(&self) -> Option<&str> {
        self.trouble.as_deref()
    }
}
