//! Backups, the way back, and what happens every night.

use super::{Database, say};
use anyhow::{Context, Result, bail};
use embertide::{
    backup::{self, NAME, Restored, Taken},
    clock::Clock,
    cluster::{self, Cluster},
    settings::Place,
    store::{self, backups, dealer, photos::files::Folder, staff},
    units::thousands,
};
use std::{
    path::{Path, PathBuf},
    time::Duration,
};
use time::OffsetDateTime;

const ELSEWHERE: &str = "This installation uses the database in DATABASE_URL. Back that up where it runs, with PostgreSQL's own pg_dump, and copy the data folder with the photos; README says how.";

pub(super) async fn backup(place: &Place, folder: Option<PathBuf>) -> Result<()> {
    let db = Database::open(place, "data").await?;
    let done = backup_of(&db, folder.or_else(|| place.backups.clone())).await;
    db.close().await?;
    done
}

async fn backup_of(db: &Database, folder: Option<PathBuf>) -> Result<()> {
    let Some(cluster) = db.cluster() else { bail!(ELSEWHERE) };
    let inside = folder.is_none();
    let folder = folder.unwrap_or_else(|| cluster.root().join(NAME));
    let taken = backup::take(cluster, &db.photos, &folder, Clock::System.now()).await?;
    say(&told(&taken));
    if inside {
        say("It lies on the same disk as the records. Keep a copy elsewhere: `embertide backup FOLDER` writes to another disk.");
    }
    if taken.missing_photos > 0 {
        bail!("{} photo(s) are missing or damaged and could not be copied; `embertide doctor` names them", taken.missing_photos);
    }
    Ok(())
}

fn told(taken: &Taken) -> String {
    let gone = if taken.removed > 0 { format!(" Older ones that went: {}.", taken.removed) } else { String::new() };
    format!(
        "Backup made and read back: {}\n{} rows in {} tables ({} kB), {} photos.{gone}",
        taken.path.display(),
        thousands(taken.list.rows()),
        taken.list.tables.len(),
        thousands(i64::try_from(taken.bytes / 1024).unwrap_or(i64::MAX)),
        taken.list.photos.len()
    )
}

pub(super) async fn export(place: &Place, folder: &Path) -> Result<()> {
    let db = Database::open(place, "data").await?;
    let done = backup::export(&db.pool.connect_options(), &db.photos, folder, Clock::System.now()).await;
    db.close().await?;
    let all = done?;
    let rows = thousands(i64::try_from(all.rows).unwrap_or(i64::MAX));
    say(&format!(
        "{}: {rows} rows in {} lists, {} photos. README.txt there says what is what.",
        all.path.display(),
        all.tables,
        all.photos
    ));
    Ok(())
}

/// The private cluster alone: what is in use may be in any state.
async fn cluster(place: &Place) -> Result<Cluster> {
    if place.database_url.is_some() || place.database_url_file.is_some() {
        bail!(ELSEWHERE);
    }
    let folder = if let Some(named) = &place.data { named.clone() } else { cluster::reachable(Path::new("data"))? };
    Ok(Cluster::open(&folder, cluster::DURABLE).await?)
}

pub(super) async fn restore(place: &Place, from: &Path) -> Result<()> {
    let cluster = cluster(place).await?;
    let done = restore_into(&cluster, from).await;
    cluster.stop()?;
    let restored = done?;
    say(&format!(
        "Everything came back as it was: {} rows in {} tables, {} photos ({} of them had to be brought).\nThe records that were in use are kept as the database {} until the next restore.",
        thousands(restored.list.rows()),
        restored.list.tables.len(),
        restored.list.photos.len(),
        restored.photos,
        restored.before
    ));
    say(
        "Start the service again. Phones then offer once more what they sent lately, so that what was kept after the backup comes back too.",
    );
    Ok(())
}

async fn restore_into(cluster: &Cluster, from: &Path) -> Result<Restored> {
    if !cluster.is_ours() {
        bail!("The service runs on this data folder. Stop it first, so that nothing is kept meanwhile that would be lost.");
    }
    let chosen = backup::newest(from)?;
    say(&format!("Putting {} back …", chosen.display()));
    let photos = Folder::of(cluster.root());
    let restored = backup::restore(cluster, &photos, &chosen, Clock::System.now()).await?;
    let pool = store::pool(cluster.options(), 2);
    let migrated = store::migrate(&pool).await.context("The tables could not be brought up to date");
    pool.close().await;
    migrated?;
    Ok(restored)
}

pub(super) async fn try_out(place: &Place, from: &Path) -> Result<()> {
    let cluster = cluster(place).await?;
    let chosen = backup::newest(from)?;
    let tried = backup::try_out(&cluster, &chosen, Clock::System.now()).await;
    cluster.stop()?;
    let list = tried?;
    let (rows, tables, photos) = (thousands(list.rows()), list.tables.len(), list.photos.len());
    say(&format!("{}: everything would come back as it was: {rows} rows in {tables} tables, {photos} photos.", chosen.display()));
    Ok(())
}

/// How often the clock is looked at.
const LOOK: Duration = Duration::from_mins(10);

/// Makes a backup every night and tries one out every thirty days; does not end. A database of the owner's is not its business.
pub(super) async fn every_night(db: &Database, folder: Option<&Path>) {
    let Some(cluster) = db.cluster() else { return std::future::pending().await };
    let folder = folder.map_or_else(|| cluster.root().join(NAME), Path::to_owned);
    loop {
        match tonight(db, cluster, &folder, Clock::System.now()).await {
            Ok(()) => {}
            Err(backup::Error::Busy(_)) => tracing::info!("another program makes the backup"),
            Err(e) => tracing::error!(error = %e, "no backup was made; it is tried again in ten minutes"),
        }
        tokio::time::sleep(LOOK).await;
    }
}

async fn tonight(db: &Database, cluster: &Cluster, folder: &Path, now: OffsetDateTime) -> Result<(), backup::Error> {
    let local = dealer::get(&db.pool, now).await?.local;
    let known = backups::newest(&db.pool).await?;
    if !staff::any_owner(&db.pool).await? || !backup::is_time(known.as_ref().map(|k| now - k.made_at), local.hour()) {
        return Ok(());
    }
    let taken = backup::take(cluster, &db.photos, folder, now).await?;
    tracing::info!(path = %taken.path.display(), missing_photos = taken.missing_photos, "backup made and read back");
    if known.and_then(|k| k.tried_at).is_none_or(|at| now - at > backup::TRY_EVERY) {
        backup::try_out(cluster, &taken.path, now).await?;
        tracing::info!(path = %taken.path.display(), "backup tried out: everything would come back as it was");
    }
    Ok(())
}
