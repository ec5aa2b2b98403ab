//! The one state that every handler gets.

use crate::{
    clock::Clock,
    roads::{Drives, file::Current},
    secrets::Effort,
    store::{self, photos::files::Folder},
};
use sqlx::PgPool;
use std::sync::Arc;
use tokio::sync::{Notify, Semaphore};
use tokio_util::task::TaskTracker;

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
    /// The roads, as far as there is a road file; read from disk, so another instance reads the same.
    pub roads: Arc<Current>,
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
            roads: Arc::default(),
            photos: Folder::default(),
        }
    }

    /// With the roads of this file.
    #[must_use]
    pub fn with_roads(self, roads: Arc<Current>) -> Self {
        Self { roads, ..self }
    }

    /// With photos in this folder.
    #[must_use]
    pub fn with_photos(self, photos: Folder) -> Self {
        Self { photos, ..self }
    }

    /// How long drives take: by road where there is a road file, else estimated; corrected by recorded drives.
    /// Ask before a transaction is begun: a caller who holds one connection and waits for another can wait for ever.
    pub async fn drives(&self) -> store::Result<Drives> {
        store::drives::of(&self.pool, self.roads.roads()).await
    }

    /// Whether browsers reach this service by https, so that cookies may ask for it.
    pub fn is_https(&self) -> bool {
        self.public_url.starts_with("https://")
    }
}
