//! What a road engine told before, so that a plan made again need not ask again. Bounded: the oldest goes first, by halves.

use super::words::{Block, is_near};
use crate::roads::{Point, Told};
use std::collections::{HashMap, HashSet};

/// Pairs in each half: together about 25 MB.
const HALF: usize = 250_000;
/// Pins of which something is known.
const PINS: usize = 20_000;

type Pairs = HashMap<(Point, Point), Option<Told>>;

/// Drives by pair of pins; a pair without a way is remembered as such.
#[derive(Debug, Default)]
pub(super) struct Memory {
    young: Pairs,
    old: Pairs,
    off: HashMap<Point, u32>,
    off_map: HashSet<Point>,
}

impl Memory {
    /// `None`: not known, or the engine knows no way.
    pub(super) fn get(&self, from: Point, to: Point) -> Option<Told> {
        self.young.get(&(from, to)).or_else(|| self.old.get(&(from, to))).copied().flatten()
    }

    pub(super) fn is_off_map(&self, pin: Point) -> bool {
        self.off_map.contains(&pin)
    }

    pub(super) fn off_m(&self, pin: Point) -> Option<u32> {
        self.off.get(&pin).copied()
    }

    /// Whether nothing of a block is left to ask. What is asked for again is made young again.
    pub(super) fn knows(&mut self, from: &[Point], to: &[Point]) -> bool {
        for a in from.iter().filter(|a| !self.off_map.contains(*a)) {
            for b in to.iter().filter(|b| *b != a && !self.off_map.contains(*b)) {
                if self.young.contains_key(&(*a, *b)) {
                    continue;
                }
                let Some(told) = self.old.remove(&(*a, *b)) else { return false };
                self.young.insert((*a, *b), told);
            }
        }
        self.turn();
        true
    }

    pub(super) fn keep(&mut self, from: &[Point], to: &[Point], block: &Block) {
        let pairs = from.iter().flat_map(|a| to.iter().map(move |b| (*a, *b)));
        for (pair, told) in pairs.zip(&block.drives).filter(|(pair, _)| pair.0 != pair.1) {
            self.young.insert(pair, *told);
        }
        if self.off.len() > PINS {
            self.off.clear();
        }
        for (pin, off_m) in from.iter().chain(to).zip(&block.off_m).filter(|(_, off_m)| is_near(**off_m)) {
            #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "from 0 to 2,000")]
            self.off.insert(*pin, off_m.round() as u32);
        }
        self.turn();
    }

    pub(super) fn keep_off_map(&mut self, pin: Point) {
        if self.off_map.len() > PINS {
            self.off_map.clear();
        }
        self.off_map.insert(pin);
    }

    /// The young ones become the old ones when there are enough of them.
    fn turn(&mut self) {
        if self.young.len() > HALF {
            self.old = std::mem::take(&mut self.young);
        }
    }
}
