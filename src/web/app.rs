//! The one state that every handler gets.

use crate::{
    clock::Clock,
    roads::{Drives, Position, closed::Closure},
    secrets::Effort,
    sources::Sources,
    store::{
        self,
        closures::{self, RoadClosure},
        photos::files::Folder,
        week,
    },
};
use sqlx::PgPool;
use std::sync::Arc;
use time::Date;
use tokio::sync::{Notify, Semaphore};
use tokio_util::task::TaskTracker;
use uuid::Uuid;

/// Handles to what the pages need. Nothing in here would be missed by another instance on the same database.
#[derive(Clone)]
pub struct App {
    pub pool: PgPool,
    pub clock: Clock,
    /// What people type into a browser, without a slash at the end.
    pub public_url: Arc<str>,
    /// Writes run in here, so that a caller who hangs up cannot tear one in two, and a stop waits for them.
    pub writes: TaskTracker,
    /// One password hash at a time: a flood of sign-ins must not take every core.
    pub hashing: Arc<Semaphore>,
    pub effort: Effort,
    /// Rung when there is background work; losing a ring only costs a short wait.
    pub bell: Arc<Notify>,
    /// Where drives come from. What is kept in there is read from disk or asked for; another instance reads and asks for the same.
    pub sources: Sources,
    /// Where the pictures lie; instances on one database share it.
    pub photos: Folder,
}

impl App {
    pub fn new(pool: PgPool, clock: Clock, public_url: &str, bell: Arc<Notify>) -> Self {
        Self {
            pool,
            clock,
            public_url: public_url.trim_end_matches('/').into(),
            writes: TaskTracker::new(),
            hashing: Arc::new(Semaphore::new(1)),
            effort: Effort::Real,
            bell,
            sources: Sources::default(),
            photos: Folder::default(),
        }
    }

    /// With drives from there.
    #[must_use]
    pub fn with_sources(self, sources: Sources) -> Self {
        Self { sources, ..self }
    }

    /// With photos in this folder.
    #[must_use]
    pub fn with_photos(self, photos: Folder) -> Self {
        Self { photos, ..self }
    }

    /// How long drives take between the depots, the stops of the week that begins on `monday`, and that visit; round what is closed in it.
    /// Ask before a transaction is begun: a caller who holds one connection and waits for another can wait for ever.
    pub async fn drives(&self, monday: Date, visit: Option<Uuid>) -> store::Result<Drives> {
        self.drives_round(monday, visit, None, &closures::of_week(&self.pool, monday).await?).await
    }

    /// The same, with one pin more.
    pub async fn drives_and(&self, monday: Date, pin: Option<Position>) -> store::Result<Drives> {
        self.drives_round(monday, None, pin, &closures::of_week(&self.pool, monday).await?).await
    }

    /// The same round other closed roads.
    pub async fn drives_round(
        &self,
        monday: Date,
        visit: Option<Uuid>,
        pin: Option<Position>,
        shut: &[RoadClosure],
    ) -> store::Result<Drives> {
        let mut pins = Vec::new();
        if self.sources.engine().is_some() {
            pins = week::pins(&self.pool, monday, monday, visit).await?;
            pins.extend(pin);
        }
        let closed: Vec<Closure> = shut.iter().map(RoadClosure::closure).collect();
        self.sources.drives(&self.pool, &pins, &closed).await
    }

    /// Whether browsers reach this service by https, so that cookies may ask for it.
    pub fn is_https(&self) -> bool {
        self.public_url.starts_with("https://")
    }
}
