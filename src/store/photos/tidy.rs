//! Files without a row go after a while; rows without a file are told.

use super::{
    super::Result,
    File, Needed,
    files::{self, Folder, Found, on_disk},
    needed, take_turns,
};
use sqlx::{PgConnection, PgPool};
use time::{Duration, OffsetDateTime};
use uuid::Uuid;

/// A file that no row needs stays so long: older records may have been put back, and a phone offers its photo again.
const GRACE: Duration = Duration::days(30);
/// Rows that are read at a time.
const BATCH: i64 = 500;
/// The newest pictures are read whole and compared with their names.
const READ: usize = 200;

/// Takes files away that no photo needs: at once where the photo was taken out, else when they are older than thirty days, and so with
/// pictures of which only a part has come. Returns how many went. A file that cannot be looked at is left for the next day.
pub async fn tidy(pool: &PgPool, folder: &Folder, now: OffsetDateTime) -> Result<usize> {
    let all = folder.clone();
    let Ok(found) = on_disk(move || all.files()).await else { return Ok(0) };
    let mut gone = 0;
    for file in found {
        let is_old = file.at < now - GRACE;
        let Some(sum) = file.sha256 else {
            gone += usize::from(is_old && remove(file).await);
            continue;
        };
        // Held to the end, so that nobody counts on the file meanwhile.
        let mut tx = pool.begin().await?;
        take_turns(&mut tx, &sum).await?;
        if is_of_no_use(needed(&mut *tx, &sum).await?, is_old) {
            gone += usize::from(remove(file).await);
        }
        tx.commit().await?;
    }
    Ok(gone)
}

/// Takes the file of a photo away that was taken out, unless another photo shows the same picture.
pub async fn let_go(pool: &PgPool, folder: &Folder, file: File) -> Result<()> {
    let mut tx = pool.begin().await?;
    take_turns(&mut tx, &file.sha256).await?;
    if !needed(&mut *tx, &file.sha256).await?.shown {
        let folder = folder.clone();
        on_disk(move || folder.remove(&file.sha256, file.kind)).await?;
    }
    tx.commit().await?;
    Ok(())
}

fn is_of_no_use(needed: Needed, is_old: bool) -> bool {
    !needed.shown && (needed.withdrawn || is_old)
}

async fn remove(file: Found) -> bool {
    on_disk(move || std::fs::remove_file(file.path)).await.is_ok()
}

struct Row {
    id: Uuid,
    sha256: Vec<u8>,
    kind: String,
    bytes: i32,
}

async fn rows(db: &mut PgConnection, after: Uuid) -> Result<Vec<Row>> {
    let rows = sqlx::query_as!(
        Row,
        "SELECT id, sha256, kind, bytes FROM photos WHERE id > $1 AND withdrawn_at IS NULL ORDER BY id LIMIT $2",
        after,
        BATCH
    )
    .fetch_all(db)
    .await?;
    Ok(rows)
}

/// What is wrong with the pictures, in sentences for `doctor`: folders that cannot be written, photos without their file, damaged files.
pub async fn faults(db: &mut PgConnection, folder: &Folder) -> Result<Vec<String>> {
    let mut told = Vec::new();
    let here = folder.clone();
    if let Err(e) = on_disk(move || here.try_out()).await {
        let place = folder.path().map(|p| p.display().to_string()).unwrap_or_default();
        told.push(format!("Photos cannot be kept in {place} ({e}). They stay on the phones until they can; make the folder writable."));
    }
    let (missing, damaged) = compare(db, folder).await?;
    if missing > 0 {
        told.push(format!(
            "{missing} photo(s) have no file, or one of another length. Bring the folder “{}” back from the backup.",
            files::NAME
        ));
    }
    if damaged > 0 {
        told.push(format!(
            "{damaged} file(s) among the newest photos are damaged: the disk may be failing. Bring them back from the backup."
        ));
    }
    Ok(told)
}

/// How many photos lack their file, and how many of the newest files are not what their name says.
async fn compare(db: &mut PgConnection, folder: &Folder) -> Result<(usize, usize)> {
    let (mut missing, mut after) = (0, Uuid::nil());
    let mut newest: Vec<Found> = Vec::new();
    loop {
        let batch = rows(&mut *db, after).await?;
        let Some(last) = batch.last() else { break };
        after = last.id;
        let wanted = batch.iter().map(|r| Ok((super::file(r.id, r.sha256.clone(), &r.kind)?, r.bytes))).collect::<Result<Vec<_>>>()?;
        let (many, here) = (wanted.len(), folder.clone());
        let files = on_disk(move || Ok(present(&here, &wanted))).await?;
        missing += many - files.len();
        newest.extend(files);
        newest.drain(..newest.len().saturating_sub(READ));
    }
    let damaged = on_disk(move || Ok(newest.iter().filter(|f| !files::is_whole(f)).count())).await?;
    Ok((missing, damaged))
}

/// Of these files those that are there and as long as they should be.
fn present(folder: &Folder, wanted: &[(File, i32)]) -> Vec<Found> {
    let found = wanted.iter().filter_map(|(file, bytes)| {
        let found = folder.find(&file.sha256, file.kind).ok()??;
        (i64::try_from(found.length) == Ok(i64::from(*bytes))).then_some(found)
    });
    found.collect()
}
