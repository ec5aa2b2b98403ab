//! The owner's road engine, asked in blocks, with what it told before at hand. Whatever goes wrong, the drives it did not tell are found without it.

use super::{
    client::{Broken, Client},
    memory::Memory,
    words::{BLOCK, Block, Kind, Useless, is_near},
};
use crate::roads::{Heard, Point, Position};
use std::{
    collections::HashSet,
    sync::{Mutex, MutexGuard, PoisonError},
    time::Duration,
};
use tokio::time::Instant;

/// After an engine could not be reached or hung, it is left alone for so long: nobody waits twice.
const REST: Duration = Duration::from_mins(1);
/// So many blocks in a row that went wrong are enough.
const ENOUGH: usize = 3;
/// More pins than this at once are not asked for: 100 blocks, and as many pairs as are remembered for sure.
pub const MOST_PINS: usize = 500;
/// Pairs that are tried to find one with both pins on the map.
const TRIES: usize = 4;

/// Why a block was not told.
#[derive(Debug, thiserror::Error)]
enum Failed {
    #[error(transparent)]
    Broken(#[from] Broken),
    #[error(transparent)]
    Useless(#[from] Useless),
}

/// A road engine of the owner's.
#[derive(Debug)]
pub struct Engine {
    kind: Kind,
    client: Client,
    memory: Mutex<Memory>,
    /// left alone until then
    rests: Mutex<Option<Instant>>,
    /// what went wrong when it was asked last
    trouble: Mutex<Option<String>>,
    /// one asks at a time, so that the second finds what the first heard
    turn: tokio::sync::Mutex<()>,
}

fn held<T>(lock: &Mutex<T>) -> MutexGuard<'_, T> {
    lock.lock().unwrap_or_else(PoisonError::into_inner)
}

/// Each pin once.
fn once(pins: &[Position]) -> Vec<Point> {
    let mut seen = HashSet::new();
    pins.iter().map(|p| Point::from(*p)).filter(|p| seen.insert(*p)).collect()
}

impl Engine {
    pub fn new(kind: Kind, client: Client) -> Self {
        Self {
            kind,
            client,
            memory: Mutex::default(),
            rests: Mutex::default(),
            trouble: Mutex::default(),
            turn: tokio::sync::Mutex::default(),
        }
    }

    pub fn client(&self) -> &Client {
        &self.client
    }

    /// What went wrong when it was asked last, in words; `None` when all was well.
    pub fn trouble(&self) -> Option<String> {
        held(&self.trouble).clone()
    }

    /// Drives from each of the first to each of the others, as far as the engine tells them.
    pub async fn heard(&self, from: &[Position], to: &[Position]) -> Heard {
        let (from, to) = (once(from), once(to));
        if from.is_empty() || to.is_empty() {
            return Heard::default();
        }
        let many = from.len().max(to.len()) > MOST_PINS;
        let trouble = if many { Some(too_many(from.len().max(to.len()))) } else { self.ask_missing(&from, &to).await };
        held(&self.trouble).clone_from(&trouble);
        let memory = held(&self.memory);
        let mut heard = Heard::default();
        for a in &from {
            for b in &to {
                heard.note(*a, *b, memory.get(*a, *b).filter(|_| !many));
            }
        }
        for pin in from.iter().chain(&to) {
            if let Some(metres) = memory.off_m(*pin) {
                heard.note_off(*pin, metres);
            }
        }
        heard.with_trouble(trouble)
    }

    /// Asks for what is not known yet, block by block. What went wrong, in words.
    async fn ask_missing(&self, from: &[Point], to: &[Point]) -> Option<String> {
        let _turn = self.turn.lock().await;
        let (mut trouble, mut wrong) = (None, 0);
        for rows in from.chunks(BLOCK) {
            for columns in to.chunks(BLOCK) {
                if held(&self.memory).knows(rows, columns) {
                    continue;
                }
                if self.rests() {
                    return trouble.or_else(|| Some(format!("The road engine at {} is left alone for a minute.", self.client.base())));
                }
                match self.block(rows, columns).await {
                    Ok(()) => wrong = 0,
                    Err(e) => {
                        wrong += 1;
                        tracing::warn!(engine = %self.client.base(), error = %e, "the road engine did not tell a block of drives");
                        trouble = Some(format!("The road engine at {} told not all: {e}.", self.client.base()));
                        if matches!(e, Failed::Broken(_)) || wrong >= ENOUGH {
                            *held(&self.rests) = Some(Instant::now() + REST);
                        }
                    }
                }
            }
        }
        trouble
    }

    fn rests(&self) -> bool {
        held(&self.rests).is_some_and(|until| Instant::now() < until)
    }

    /// One block; when a pin in it is off the map, again without such pins.
    async fn block(&self, from: &[Point], to: &[Point]) -> Result<(), Failed> {
        let (rows, columns) = self.on_map(from, to);
        if rows.is_empty() || columns.is_empty() {
            return Ok(());
        }
        match self.told(&rows, &columns).await {
            Err(Failed::Useless(Useless::OffMap)) => {}
            told => return told.map(|block| held(&self.memory).keep(&rows, &columns, &block)),
        }
        self.look_for_bad(&rows, &columns).await?;
        let (rows, columns) = self.on_map(&rows, &columns);
        if rows.is_empty() || columns.is_empty() {
            return Ok(());
        }
        let block = self.told(&rows, &columns).await?;
        held(&self.memory).keep(&rows, &columns, &block);
        Ok(())
    }

    fn on_map(&self, from: &[Point], to: &[Point]) -> (Vec<Point>, Vec<Point>) {
        let memory = held(&self.memory);
        let good = |pins: &[Point]| pins.iter().copied().filter(|p| !memory.is_off_map(*p)).collect();
        (good(from), good(to))
    }

    async fn told(&self, from: &[Point], to: &[Point]) -> Result<Block, Failed> {
        let (status, body) = self.client.exchange(&self.kind.ask(from, to)).await?;
        let block = self.kind.read(status, &body, from, to)?;
        for (pin, off_m) in from.iter().chain(to).zip(&block.off_m) {
            if !is_near(*off_m) {
                held(&self.memory).keep_off_map(*pin);
            }
        }
        Ok(block)
    }

    /// Finds the pins off the map: each is asked for alone, from one that is on it.
    async fn look_for_bad(&self, from: &[Point], to: &[Point]) -> Result<(), Failed> {
        let mut pins: Vec<Point> = from.iter().chain(to).copied().collect();
        pins.sort_unstable();
        pins.dedup();
        let mut anchor = None;
        for pair in pins.windows(2).step_by(2).take(TRIES) {
            match self.told(&pair[..1], &pair[1..]).await {
                Ok(block) if block.drives.iter().all(Option::is_some) => {
                    anchor = Some(pair[0]);
                    break;
                }
                Ok(_) | Err(Failed::Useless(Useless::OffMap)) => {}
                Err(e) => return Err(e),
            }
        }
        let anchor = anchor.ok_or(Useless::OffMap)?;
        for pin in pins.into_iter().filter(|p| *p != anchor) {
            match self.told(&[anchor], &[pin]).await {
                Ok(_) => {}
                Err(Failed::Useless(Useless::OffMap)) => held(&self.memory).keep_off_map(pin),
                Err(e) => return Err(e),
            }
        }
        Ok(())
    }
}

fn too_many(pins: usize) -> String {
    format!("The road engine is not asked for {pins} places at once, {MOST_PINS} at most; their drives are found without it.")
}
