//! Where drives come from: the road file, and before it a road engine of the owner's, if there is one; corrected by recorded drives.
//!
//! - [`Base`]: the engine's address, which has to lie in the house.
//! - [`words`]: what is said to it and how answers are read: two protocols, no network.
//! - `shut`: the road file with some of its roads closed.
//! - `client`: one exchange. [`Engine`]: blocks, what it told before (`memory`), and what happens when it fails.

mod base;
mod client;
mod engine;
mod memory;
mod shut;
pub mod words;

pub use base::{Base, BaseError, in_the_house};
pub use client::{Broken, Client};
pub use engine::{Engine, MOST_PINS};
pub use words::Kind;

use crate::{
    roads::{Drives, Position, Roads, closed::Closure, drives::Recorded, file::Current},
    store,
};
use sqlx::PgPool;
use std::sync::Arc;

/// Everything that drives can come from. Shared by all who serve or plan.
#[derive(Clone, Debug, Default)]
pub struct Sources {
    file: Arc<Current>,
    engine: Option<Arc<Engine>>,
    shut: Arc<shut::Shut>,
}

impl Sources {
    pub fn new(file: Arc<Current>, engine: Option<Engine>) -> Self {
        Self { file, engine: engine.map(Arc::new), shut: Arc::default() }
    }

    /// The road file on disk and the roads that follow it.
    pub fn file(&self) -> &Arc<Current> {
        &self.file
    }

    /// The roads in use; `None` when there is no road file.
    pub fn roads(&self) -> Option<Arc<Roads>> {
        self.file.roads()
    }

    pub fn engine(&self) -> Option<&Engine> {
        self.engine.as_deref()
    }

    /// The roads in use without these; `None` when there is no road file.
    pub async fn roads_round(&self, closures: &[Closure]) -> store::Result<Option<Arc<Roads>>> {
        match self.roads() {
            Some(open) if !closures.is_empty() => self.shut.roads(&open, closures).await.map(Some),
            open => Ok(open),
        }
    }

    /// How long drives take between these pins: told by the engine, else by road, else estimated; corrected by recorded drives.
    /// An engine knows nothing of closed roads: while there are some, the road file answers in its place.
    ///
    /// Ask before a transaction is begun: a caller who holds one connection and waits for another can wait for ever, and an engine takes its time.
    /// Between other pins the engine is not heard.
    pub async fn drives(&self, db: &PgPool, pins: &[Position], closures: &[Closure]) -> store::Result<Drives> {
        let roads = self.roads_round(closures).await?;
        let in_its_place = roads.is_some() && !closures.is_empty();
        let drives = store::drives::of(db, roads).await?.round(closures.len());
        let Some(engine) = self.engine.as_ref().filter(|_| !in_its_place) else { return Ok(drives) };
        Ok(drives.told_by(engine.heard(pins, pins).await))
    }

    /// Where drives come from, in one sentence for the page that shows it; and what the engine did not answer lately.
    pub fn sentence(&self) -> String {
        let file = if self.roads().is_some() { "the road file" } else { "straight lines, estimated; there is no road file" };
        match &self.engine {
            None => format!("They come from {file}."),
            Some(engine) => {
                format!("They come from the road engine at {}, and where it tells nothing from {file}.", engine.client().base())
            }
        }
    }

    /// What the engine did not answer when it was asked last.
    pub fn trouble(&self) -> String {
        self.engine.as_ref().and_then(|e| e.trouble()).unwrap_or_default()
    }

    /// Leaves out each recorded drive that these closed roads made longer, as far as they held on its day (`true`): it says nothing of the open road.
    pub async fn unhindered(&self, recorded: Vec<(Recorded, bool)>, closures: &[Closure]) -> store::Result<Vec<Recorded>> {
        let (open, round) = (Drives::of(self.roads()), Drives::of(self.roads_round(closures).await?));
        let free = move || recorded.into_iter().filter(|(r, held)| !held || r.is_as_long(&open, &round)).map(|(r, _)| r).collect();
        let odd = |e: tokio::task::JoinError| store::Error::Corrupt { table: "recorded_drives", id: "all".to_owned(), why: e.to_string() };
        tokio::task::spawn_blocking(free).await.map_err(odd)
    }

    /// What recorded drives are to be compared with: these drives, without any correction.
    pub async fn uncorrected(&self, recorded: &[Recorded]) -> Drives {
        let drives = Drives::of(self.roads());
        let Some(engine) = &self.engine else { return drives };
        let mut all = crate::roads::Heard::default();
        for some in recorded.chunks(words::BLOCK) {
            let (from, to): (Vec<Position>, Vec<Position>) = some.iter().map(|r| (r.from, r.to)).unzip();
            all.add(engine.heard(&from, &to).await);
        }
        drives.told_by(all)
    }
}
