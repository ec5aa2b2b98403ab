//! Making a backup: written beside its place, read back, and moved there when it is whole.

use super::{Error, LIST, List, Photo, RECORDS, Result, all, blocking, keep::that_stay, stamp, sum_of};
use crate::{
    cluster::Cluster,
    photo::Kind,
    store::{self, copies, photos::files},
};
use std::{
    collections::HashSet,
    fs::{self, DirBuilder, File, TryLockError},
    io::Write,
    os::unix::fs::DirBuilderExt,
    path::{Path, PathBuf},
    process::Stdio,
};
use time::OffsetDateTime;

/// A backup that was made.
#[derive(Clone, Debug)]
pub struct Taken {
    pub path: PathBuf,
    pub list: List,
    pub bytes: u64,
    /// Pictures that the records name and that are not there, or damaged.
    pub missing_photos: usize,
    /// Older backups that went.
    pub removed: usize,
}

/// Copies the records of a private cluster and its photos into `folder`, while the service may run. Photos lie there once for all
/// backups. Of older backups stay those that [`that_stay`] says; the newest always does.
pub async fn take(cluster: &Cluster, photos: &files::Folder, folder: &Path, now: OffsetDateTime) -> Result<Taken> {
    let folder = folder.to_owned();
    let _lock = {
        let folder = folder.clone();
        blocking(move || lock(&folder)).await?
    };
    let mut snapshot = copies::Snapshot::open(&cluster.options()).await?;
    let tables = snapshot.tables().await?;
    let named = snapshot.photos().await?;
    let schema = snapshot.schema().await?;
    let making = folder.join(format!(".{}.making", stamp(now)));
    let mut dump = cluster.tool("pg_dump");
    dump.args(["-Fc", "--no-owner", "--snapshot", &snapshot.name, "-U", "app", "-d"])
        .arg(cluster.database())
        .arg("-h")
        .arg(cluster.socket());
    let written = {
        let making = making.clone();
        blocking(move || write_records(&making, dump)).await
    };
    snapshot.close().await?;
    let (records_bytes, records_sha256) = written?;
    let (from, to) = (photos.clone(), files::Folder::of(&folder));
    let (photos, missing_photos) = blocking(move || Ok(copy(&from, &to, named))).await??;
    let list = List {
        form: 1,
        program: env!("CARGO_PKG_VERSION").to_owned(),
        made_at: now.replace_nanosecond(0).unwrap_or(now),
        schema,
        records_bytes,
        records_sha256,
        tables,
        photos,
    };
    let taken = blocking(move || {
        let path = folder.join(stamp(now));
        finish(&making, &path, &list)?;
        let removed = tidy(&folder)?;
        Ok(Taken { path, bytes: list.records_bytes, list, missing_photos, removed })
    })
    .await?;
    note(cluster, &taken).await?;
    Ok(taken)
}

/// Lets the owner see it.
async fn note(cluster: &Cluster, taken: &Taken) -> Result<()> {
    let pool = store::pool(cluster.options(), 1);
    let (bytes, photos) = (i64::try_from(taken.bytes).unwrap_or(i64::MAX), i32::try_from(taken.list.photos.len()).unwrap_or(i32::MAX));
    let noted = store::backups::note(&pool, taken.list.made_at, &taken.path.to_string_lossy(), bytes, photos).await;
    pool.close().await;
    Ok(noted?)
}

/// One program at a time writes into the folder, which is made where it is not there.
fn lock(folder: &Path) -> Result<File> {
    DirBuilder::new().recursive(true).mode(0o700).create(folder)?;
    let lock = File::options().create(true).append(true).open(folder.join(".lock"))?;
    match lock.try_lock() {
        Ok(()) => Ok(lock),
        Err(TryLockError::WouldBlock) => Err(Error::Busy(folder.to_owned())),
        Err(TryLockError::Error(e)) => Err(e.into()),
    }
}

fn write_records(making: &Path, mut dump: std::process::Command) -> Result<(u64, String)> {
    if making.exists() {
        fs::remove_dir_all(making)?;
    }
    DirBuilder::new().mode(0o700).create(making)?;
    let path = making.join(RECORDS);
    let file = File::create_new(&path)?;
    dump.stdout(Stdio::from(file.try_clone()?)).stderr(Stdio::piped());
    let ran = dump.spawn()?.wait_with_output()?;
    if !ran.status.success() {
        let says = String::from_utf8_lossy(&ran.stderr).trim().chars().take(600).collect();
        let _ = fs::remove_dir_all(making);
        return Err(Error::Tool { step: "Writing the records out", says });
    }
    file.sync_all()?;
    Ok(sum_of(&path)?)
}

/// Copies the pictures that are not there yet. Returns what the backup holds, and how many it cannot.
fn copy(from: &files::Folder, to: &files::Folder, named: Vec<([u8; 32], Kind)>) -> Result<(Vec<Photo>, usize)> {
    let (mut held, mut missing) = (Vec::with_capacity(named.len()), 0);
    for (sum, kind) in named {
        if to.find(&sum, kind)?.is_none() {
            let whole = from.read(&sum, kind).ok().filter(|bytes| crate::secrets::sha256(bytes) == sum);
            let Some(bytes) = whole else {
                missing += 1;
                continue;
            };
            to.keep(kind, &bytes)?;
        }
        held.push(Photo::of((sum, kind)));
    }
    Ok((held, missing))
}

/// Writes the list, reads what the disk holds, and puts the backup in its place.
fn finish(making: &Path, path: &Path, list: &List) -> Result<()> {
    let mut file = File::create_new(making.join(LIST))?;
    file.write_all(&serde_json::to_vec_pretty(list).map_err(std::io::Error::other)?)?;
    file.sync_all()?;
    File::open(making)?.sync_all()?;
    if sum_of(&making.join(RECORDS))? != (list.records_bytes, list.records_sha256.clone()) || List::of(making)? != *list {
        return Err(Error::Damaged(making.to_owned(), "it reads otherwise than it was written".to_owned()));
    }
    fs::rename(making, path)?;
    if let Some(folder) = path.parent() {
        File::open(folder)?.sync_all()?;
    }
    Ok(())
}

/// Takes away backups that need not stay, halves that a crash left, and pictures that no backup names.
fn tidy(folder: &Path) -> Result<usize> {
    let backups = all(folder)?;
    let made: Vec<OffsetDateTime> = backups.iter().map(|b| b.made_at).collect();
    let stay: HashSet<usize> = that_stay(&made).into_iter().collect();
    let mut removed = 0;
    for (_, old) in backups.iter().enumerate().filter(|(i, _)| !stay.contains(i)) {
        // The list goes first: a folder without one is no backup any more, whatever else is left of it.
        fs::remove_file(old.path.join(LIST))?;
        fs::remove_dir_all(&old.path)?;
        removed += 1;
    }
    for entry in fs::read_dir(folder)? {
        let path = entry?.path();
        if path.file_name().is_some_and(|n| n.to_string_lossy().ends_with(".making")) {
            fs::remove_dir_all(&path)?;
        }
    }
    let mut named: HashSet<[u8; 32]> = HashSet::new();
    for backup in all(folder)? {
        named.extend(List::of(&backup.path)?.photos.iter().filter_map(Photo::read).map(|p| p.0));
    }
    for file in files::Folder::of(folder).files()? {
        if file.sha256.is_none_or(|sum| !named.contains(&sum)) {
            fs::remove_file(&file.path)?;
        }
    }
    Ok(removed)
}
