//! Work in the background: taken from rows, so that any instance may do it and none is lost. Every piece may run twice without harm.

mod drafts;
pub mod plan_season;
pub mod plan_week;

use crate::{
    clock::Clock,
    roads::closed::Closure,
    sources::Sources,
    store::{
        self,
        closures::{self, RoadClosure},
        dealer, due, lists,
        photos::{self, files::Folder},
        queue::{self, Work},
        sessions, week,
    },
};
use sqlx::PgPool;
use std::{
    num::NonZeroUsize,
    sync::{
        Arc,
        atomic::{AtomicBool, Ordering},
    },
    time::Duration,
};
use tokio::sync::Notify;
use tokio_util::sync::CancellationToken;

/// Longest rest between two looks at the queue; a lost ring costs no more than this.
const REST: Duration = Duration::from_secs(10);

/// Threads of a search: always so many, so that the same facts give the same plan on every machine.
const THREADS: NonZeroUsize = NonZeroUsize::MIN.saturating_add(1);

/// Why a piece of work did not come to its end.
#[derive(Debug, thiserror::Error)]
pub enum Error {
    #[error(transparent)]
    Store(#[from] store::Error),
    #[error(transparent)]
    Sql(#[from] sqlx::Error),
    #[error("the week cannot be laid out: {0}")]
    Lay(#[from] week::LayError),
    #[error("the program stopped before the work was done")]
    Stopped,
    #[error("{0}")]
    Other(String),
}

/// How far a search goes, and what ends it before.
#[derive(Clone, Debug)]
pub struct Search {
    pub steps: u64,
    pub cancel: Arc<AtomicBool>,
}

impl Search {
    /// One that nothing ends before.
    pub fn of(steps: u64) -> Self {
        Self { steps, cancel: Arc::default() }
    }
}

/// What the background needs.
#[derive(Clone)]
pub struct Worker {
    pub pool: PgPool,
    pub clock: Clock,
    pub bell: Arc<Notify>,
    pub sources: Sources,
    /// Where the pictures lie.
    pub photos: Folder,
    /// Steps of a week's search on each of its threads; the same plan comes out of the same seed and steps.
    pub steps: u64,
    /// The same of a season's search.
    pub season_steps: u64,
}

impl Worker {
    /// Works until `stop` is cancelled. A piece of work under way is finished, but for a search, which is done anew later.
    pub async fn run(self, stop: CancellationToken) {
        let cancel = Arc::new(AtomicBool::new(false));
        let (flag, stopped) = (Arc::clone(&cancel), stop.clone());
        tokio::spawn(async move {
            stopped.cancelled().await;
            flag.store(true, Ordering::Relaxed);
        });
        loop {
            if let Err(e) = self.work(&cancel).await {
                tracing::warn!(error = %e, "background work waits for the database");
            }
            tokio::select! {
                () = self.bell.notified() => {}
                () = tokio::time::sleep(REST) => {}
                () = stop.cancelled() => return,
            }
        }
    }

    /// Does everything that is waiting now. Returns how many pieces were done.
    pub async fn run_due(&self) -> Result<usize, Error> {
        self.work(&Arc::new(AtomicBool::new(false))).await
    }

    async fn work(&self, cancel: &Arc<AtomicBool>) -> Result<usize, Error> {
        self.daily().await?;
        let mut done = 0;
        while !cancel.load(Ordering::Relaxed)
            && let Some(work) = queue::take(&self.pool, self.clock.now()).await?
        {
            match self.one(&work, cancel).await {
                Ok(()) => queue::done(&self.pool, work.id, self.clock.now()).await?,
                Err(Error::Stopped) => {
                    tracing::info!(kind = work.kind, "background work is done anew when the program runs again");
                    queue::give_back(&self.pool, &work, self.clock.now()).await?;
                }
                Err(e) => {
                    tracing::error!(kind = work.kind, attempt = work.attempts, error = %e, "background work failed");
                    let mut c = self.pool.acquire().await?;
                    queue::failed(&mut c, &work, &e.to_string(), self.clock.now()).await?;
                }
            }
            done += 1;
        }
        Ok(done)
    }

    /// Once a civil day: what is due is worked out again, old sessions and lists go, and files that no photo needs.
    async fn daily(&self) -> Result<(), Error> {
        let now = self.clock.now();
        let today = dealer::get(&self.pool, now).await?.today;
        let mut tx = self.pool.begin().await?;
        if due::refresh_if_old(&mut tx, today).await? {
            tx.commit().await?;
            sessions::sweep(&self.pool, now).await?;
            lists::sweep(&self.pool, now).await?;
            photos::tidy(&self.pool, &self.photos, now).await?;
        }
        Ok(())
    }

    /// Works out anew what recorded drives say of the reckoned ones.
    async fn calibrate(&self) -> Result<(), Error> {
        let all = store::drives::recorded(&self.pool).await?;
        let mut held: Vec<uuid::Uuid> = all.iter().flat_map(|(_, closed)| closed).copied().collect();
        held.sort_unstable();
        held.dedup();
        let closed: Vec<Closure> = closures::named(&self.pool, &held).await?.iter().map(RoadClosure::closure).collect();
        let marked = all.into_iter().map(|(drive, closed)| (drive, !closed.is_empty())).collect();
        let recorded = self.sources.unhindered(marked, &closed).await?;
        let plain = self.sources.uncorrected(&recorded).await;
        let found = tokio::task::spawn_blocking(move || plain.calibrate(&recorded)).await.map_err(|e| Error::Other(e.to_string()))?;
        Ok(store::drives::keep(&self.pool, found).await?)
    }

    async fn one(&self, work: &Work, cancel: &Arc<AtomicBool>) -> Result<(), Error> {
        match work.kind.as_str() {
            queue::PLAN_WEEK => {
                let monday = work.payload["monday"].as_str().and_then(|d| crate::units::parse_date(d).ok());
                let monday = monday.ok_or_else(|| Error::Other("no week is named".to_owned()))?;
                self.calibrate().await?;
                let search = Search { steps: self.steps, cancel: Arc::clone(cancel) };
                match plan_week::plan_week(&self.pool, self.clock, &self.sources, monday, search).await {
                    // Issued since it was asked for: what technicians and customers count on stands.
                    Err(Error::Store(store::Error::Rule(rule))) if rule == "week_is_issued" => Ok(()),
                    planned => planned.map(|_| ()),
                }
            }
            queue::PLAN_SEASON => {
                self.calibrate().await?;
                let search = Search { steps: self.season_steps, cancel: Arc::clone(cancel) };
                plan_season::plan_season(&self.pool, self.clock, &self.sources, search).await
            }
            other => Err(Error::Other(format!("nobody knows how to do “{other}”"))),
        }
    }
}
