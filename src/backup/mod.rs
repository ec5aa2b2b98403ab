//! Copies of everything that is kept, and the way back: the records as PostgreSQL writes them out, the photos as files, and a list of both
//! that a copy is compared with. For the private cluster; a database of the owner's is copied where it runs.

mod export;
mod keep;
mod restore;
mod take;

pub use export::{Exported, export};
pub use keep::{TRY_EVERY, is_time, that_stay};
pub use restore::{Restored, restore, try_out};
pub use take::{Taken, take};

use crate::{cluster, photo::Kind, secrets::hex, store::copies::Table};
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};
use std::{
    fs::{self, File},
    io::{self, Read},
    path::{Path, PathBuf},
    process::Command,
};
use time::{OffsetDateTime, UtcOffset, format_description::well_known::Rfc3339};

/// The folder of the backups inside the data folder, where none is named.
pub const NAME: &str = "backups";
const RECORDS: &str = "records.dump";
const LIST: &str = "list.json";
/// Beside the list when the records were put back from it to try it out.
const TRIED: &str = "tried";

/// Why there is no copy, or no way back. Every message says what to do.
#[derive(Debug, thiserror::Error)]
pub enum Error {
    #[error("{0} is no backup: it holds no {LIST} that can be read. A backup is a folder with that file in it, and {RECORDS} beside it.")]
    NoBackup(PathBuf),
    #[error("The backup in {0} is damaged: {1}. Nothing was changed. Take another one.")]
    Damaged(PathBuf, String),
    #[error(
        "The backup was made by a newer program (its tables are at {theirs}, this program knows {ours}). Nothing was changed. Restore it with that program."
    )]
    Newer { theirs: i64, ours: i64 },
    #[error("What came back is not what was kept: {0}. Nothing was changed.")]
    Differs(String),
    #[error("Another program is making a backup in {0} just now.")]
    Busy(PathBuf),
    #[error("{step} failed: {says}")]
    Tool { step: &'static str, says: String },
    #[error(transparent)]
    Cluster(#[from] cluster::Error),
    #[error(transparent)]
    Store(#[from] crate::store::Error),
    #[error("{0}")]
    Io(#[from] io::Error),
}

pub type Result<T> = std::result::Result<T, Error>;

/// What a backup holds.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct List {
    /// 1
    form: u32,
    /// The program that made it.
    program: String,
    #[serde(with = "time::serde::rfc3339")]
    pub made_at: OffsetDateTime,
    /// The newest migration of its tables.
    schema: i64,
    records_bytes: u64,
    records_sha256: String,
    pub tables: Vec<Table>,
    pub photos: Vec<Photo>,
}

/// A picture, which lies in the folder `photos` beside all backups.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Photo {
    pub sha256: String,
    pub kind: String,
}

impl Photo {
    fn of((sum, kind): ([u8; 32], Kind)) -> Self {
        Self { sha256: hex(&sum), kind: kind.as_str().to_owned() }
    }

    fn read(&self) -> Option<([u8; 32], Kind)> {
        Some((crate::secrets::fingerprint(&self.sha256)?, Kind::parse(&self.kind)?))
    }
}

impl List {
    pub fn rows(&self) -> i64 {
        self.tables.iter().map(|t| t.rows).sum()
    }

    fn of(backup: &Path) -> Result<Self> {
        let text = fs::read(backup.join(LIST)).map_err(|_| Error::NoBackup(backup.to_owned()))?;
        let list: Self = serde_json::from_slice(&text).map_err(|_| Error::NoBackup(backup.to_owned()))?;
        if list.form == 1 { Ok(list) } else { Err(Error::Newer { theirs: list.schema, ours: crate::store::copies::newest_schema() }) }
    }
}

/// One backup of a folder.
#[derive(Clone, Debug)]
pub struct Backup {
    pub path: PathBuf,
    pub made_at: OffsetDateTime,
    /// When its records were put back last, to try it out.
    pub tried_at: Option<OffsetDateTime>,
}

/// The backups in a folder, oldest first. A folder that is not there holds none.
pub fn all(folder: &Path) -> io::Result<Vec<Backup>> {
    let entries = match fs::read_dir(folder) {
        Err(e) if e.kind() == io::ErrorKind::NotFound => return Ok(Vec::new()),
        other => other?,
    };
    let mut found = Vec::new();
    for entry in entries {
        let path = entry?.path();
        let hidden = path.file_name().is_none_or(|n| n.to_string_lossy().starts_with('.'));
        if let Some(list) = List::of(&path).ok().filter(|_| !hidden) {
            let tried = fs::read_to_string(path.join(TRIED)).ok();
            let tried_at = tried.and_then(|text| OffsetDateTime::parse(text.trim(), &Rfc3339).ok());
            found.push(Backup { path, made_at: list.made_at, tried_at });
        }
    }
    found.sort_by_key(|b| b.made_at);
    Ok(found)
}

/// The newest backup of a folder, or the folder itself where it is one.
pub fn newest(folder: &Path) -> Result<PathBuf> {
    if folder.join(LIST).is_file() {
        return Ok(folder.to_owned());
    }
    all(folder)?.pop().map(|b| b.path).ok_or_else(|| Error::NoBackup(folder.to_owned()))
}

/// "2026-11-30T16-05-12Z", which sorts by time and suits every file system.
fn stamp(at: OffsetDateTime) -> String {
    let at = at.to_offset(UtcOffset::UTC);
    format!("{}T{:02}-{:02}-{:02}Z", at.date(), at.hour(), at.minute(), at.second())
}

/// Length and SHA-256 of a file.
fn sum_of(path: &Path) -> io::Result<(u64, String)> {
    let (mut file, mut sum, mut length, mut piece) = (File::open(path)?, Sha256::new(), 0, vec![0; 1 << 16]);
    loop {
        let read = file.read(&mut piece)?;
        if read == 0 {
            return Ok((length, hex(&sum.finalize())));
        }
        length += read as u64;
        sum.update(&piece[..read]);
    }
}

/// Runs a tool of PostgreSQL's to its end.
fn run(step: &'static str, mut command: Command) -> Result<()> {
    let out = command.output()?;
    if out.status.success() {
        return Ok(());
    }
    let says = String::from_utf8_lossy(&out.stderr).trim().chars().take(600).collect();
    Err(Error::Tool { step, says })
}

/// Work with files and other programs, off the async threads.
async fn blocking<T: Send + 'static>(work: impl FnOnce() -> Result<T> + Send + 'static) -> Result<T> {
    tokio::task::spawn_blocking(work).await.map_err(|e| Error::Io(io::Error::other(e)))?
}
