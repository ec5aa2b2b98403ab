//! The way back: into a database beside the one in use, compared with the list, and only then put in its place.

use super::{Error, List, Photo, RECORDS, Result, TRIED, blocking, run, stamp, sum_of};
use crate::{
    cluster::{Cluster, SCRATCH},
    store::{self, copies, photos::files},
};
use std::{
    fs::{self, File},
    path::Path,
    process::Stdio,
};
use time::{OffsetDateTime, format_description::well_known::Rfc3339};

/// What was put back.
#[derive(Clone, Debug)]
pub struct Restored {
    pub list: List,
    /// The database that was in use before is still there, under this name.
    pub before: String,
    /// Pictures that came back.
    pub photos: usize,
}

/// Puts the records and photos of a backup in place of those in use. The service must not run.
///
/// # Errors
/// Whatever is wrong is found before anything that is in use is touched.
pub async fn restore(cluster: &Cluster, photos: &files::Folder, backup: &Path, now: OffsetDateTime) -> Result<Restored> {
    let list = put_back(cluster, backup).await?;
    let beside = files::Folder::of(backup.parent().unwrap_or(Path::new(".")));
    let (to, named) = (photos.clone(), list.photos.clone());
    let came = blocking(move || bring(&beside, &to, &named)).await;
    let photos = match came {
        Ok(photos) => photos,
        Err(e) => {
            cluster.drop_scratch().await?;
            return Err(e);
        }
    };
    let before = cluster.put_scratch_in_place(&stamp(now).trim_end_matches('Z').replace(['-', 'T'], "_")).await?;
    Ok(Restored { list, before, photos })
}

/// Puts the records of a backup back beside those in use, compares them with its list, and takes them away again. The service may run.
pub async fn try_out(cluster: &Cluster, backup: &Path, now: OffsetDateTime) -> Result<List> {
    let list = put_back(cluster, backup).await?;
    cluster.drop_scratch().await?;
    let beside = files::Folder::of(backup.parent().unwrap_or(Path::new(".")));
    let (named, path) = (list.photos.clone(), backup.to_owned());
    blocking(move || {
        if let Some(lost) = named.iter().find(|p| !is_whole(&beside, p)) {
            return Err(Error::Damaged(path, format!("the photo {} is missing or changed", lost.sha256)));
        }
        let at = now.format(&Rfc3339).map_err(std::io::Error::other)?;
        Ok(fs::write(path.join(TRIED), at)?)
    })
    .await?;
    let pool = store::pool(cluster.options(), 1);
    let noted = store::backups::tried(&pool, list.made_at, now).await;
    pool.close().await;
    noted?;
    Ok(list)
}

/// Leaves the records of a backup in the scratch database, as they were when it was made; else nothing.
async fn put_back(cluster: &Cluster, backup: &Path) -> Result<List> {
    let path = backup.to_owned();
    let list = blocking(move || {
        let list = List::of(&path)?;
        let sum = sum_of(&path.join(RECORDS)).map_err(|e| Error::Damaged(path.clone(), e.to_string()))?;
        if sum != (list.records_bytes, list.records_sha256.clone()) {
            return Err(Error::Damaged(path, format!("{RECORDS} is not what was written")));
        }
        Ok(list)
    })
    .await?;
    let ours = copies::newest_schema();
    if list.schema > ours {
        return Err(Error::Newer { theirs: list.schema, ours });
    }
    cluster.make_scratch().await?;
    let filled = fill(cluster, backup, &list).await;
    if filled.is_err() {
        cluster.drop_scratch().await?;
    }
    filled.map(|()| list)
}

async fn fill(cluster: &Cluster, backup: &Path, list: &List) -> Result<()> {
    let records = File::open(backup.join(RECORDS))?;
    let mut put = cluster.tool("pg_restore");
    put.args(["--exit-on-error", "--no-owner", "--single-transaction", "-U", "app", "-d", SCRATCH, "-h"]).arg(cluster.socket());
    put.stdin(Stdio::from(records));
    blocking(move || run("Putting the records back", put)).await?;
    let scratch = cluster.options_for(SCRATCH);
    copies::analyze(&scratch).await?;
    let mut snapshot = copies::Snapshot::open(&scratch).await?;
    let tables = snapshot.tables().await?;
    snapshot.close().await?;
    let differing: Vec<&str> = list.tables.iter().filter(|t| !tables.contains(t)).map(|t| t.name.as_str()).collect();
    if differing.is_empty() && tables.len() == list.tables.len() {
        return Ok(());
    }
    let said = if differing.is_empty() { "there are more tables than were kept".to_owned() } else { differing.join(", ") };
    Err(Error::Differs(said))
}

fn is_whole(folder: &files::Folder, photo: &Photo) -> bool {
    let Some((sum, kind)) = photo.read() else { return false };
    folder.read(&sum, kind).is_ok_and(|bytes| crate::secrets::sha256(&bytes) == sum)
}

/// Brings the pictures that are not there any more, or damaged.
fn bring(from: &files::Folder, to: &files::Folder, named: &[Photo]) -> Result<usize> {
    let mut came = 0;
    for photo in named.iter().filter(|p| !is_whole(to, p)) {
        let lost = || {
            Error::Differs(format!(
                "the photo {} is missing or changed; photos lie in the folder `photos` beside the backups",
                photo.sha256
            ))
        };
        let (sum, kind) = photo.read().ok_or_else(lost)?;
        let bytes = from.read(&sum, kind).map_err(|_| lost())?;
        if to.keep(kind, &bytes)? != sum {
            return Err(lost());
        }
        came += 1;
    }
    Ok(came)
}
