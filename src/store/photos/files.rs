//! The pictures themselves: files in the data folder, each named by the SHA-256 of what is in it. Blocking: call it off the async threads.

use crate::{
    photo::Kind,
    secrets::{fingerprint, hex, sha256},
};
use std::{
    fs::{self, DirBuilder, File},
    io::{self, Seek, SeekFrom, Write},
    os::unix::fs::DirBuilderExt,
    path::{Path, PathBuf},
    sync::Arc,
};
use time::OffsetDateTime;
use uuid::Uuid;

/// Name of the folder inside the data folder.
pub const NAME: &str = "photos";
/// Pictures that have come in part.
const COMING: &str = "coming";
/// How the name of a file ends that is just being written.
const NEW: &str = "new";

/// Where the pictures lie. Several programs on one database have to share it.
#[derive(Clone, Debug, Default)]
pub struct Folder(Option<Arc<Path>>);

/// A file of the folder that is none of the kept pictures' or may be one's.
#[derive(Clone, Debug)]
pub struct Found {
    pub path: PathBuf,
    /// When it was written last.
    pub at: OffsetDateTime,
    pub length: u64,
    /// `None`: half a picture, or one that was being written when the program ended.
    pub sha256: Option<[u8; 32]>,
}

impl Folder {
    /// Inside this data folder, which need not be there yet.
    pub fn of(data: &Path) -> Self {
        Self(Some(data.join(NAME).into()))
    }

    pub fn path(&self) -> Option<&Path> {
        self.0.as_deref()
    }

    fn root(&self) -> io::Result<&Path> {
        self.path().ok_or_else(|| io::Error::new(io::ErrorKind::NotFound, "there is no folder for photos"))
    }

    fn file(&self, sha256: &[u8; 32], kind: Kind) -> io::Result<PathBuf> {
        let name = hex(sha256);
        Ok(self.root()?.join(&name[..2]).join(format!("{name}.{}", kind.ending())))
    }

    /// What is known of a kept picture's file, if it is there.
    pub fn find(&self, sha256: &[u8; 32], kind: Kind) -> io::Result<Option<Found>> {
        let path = self.file(sha256, kind)?;
        let Some(about) = absent(fs::metadata(&path))? else { return Ok(None) };
        Ok(Some(Found { path, at: about.modified()?.into(), length: about.len(), sha256: Some(*sha256) }))
    }

    /// Makes sure that photos can be kept here; else says why not.
    pub fn try_out(&self) -> io::Result<()> {
        let file = make(&self.root()?.join(COMING))?.join(format!("trial-{}", Uuid::now_v7().simple()));
        write_whole(&file, b"trial")?;
        fs::remove_file(&file)
    }

    /// Keeps a picture: when this is over it is on the disk whole, under its name, and so is the name. The same picture again is the same file.
    pub fn keep(&self, kind: Kind, bytes: &[u8]) -> io::Result<[u8; 32]> {
        let sum = sha256(bytes);
        let file = self.file(&sum, kind)?;
        let folder = make(parent(&file)?)?;
        // One that a failing disk has changed is written anew.
        if fs::read(&file).is_ok_and(|there| sha256(&there) == sum) {
            sync(folder)?;
            return Ok(sum);
        }
        let new = folder.join(format!("{}.{}.{NEW}", hex(&sum), Uuid::now_v7().simple()));
        let written = write_whole(&new, bytes).and_then(|()| fs::rename(&new, &file));
        if written.is_err() {
            let _ = fs::remove_file(&new);
        }
        written?;
        sync(folder)?;
        Ok(sum)
    }

    pub fn read(&self, sha256: &[u8; 32], kind: Kind) -> io::Result<Vec<u8>> {
        fs::read(self.file(sha256, kind)?)
    }

    /// Takes a file away. The caller has seen to it that no photo needs it.
    pub fn remove(&self, sha256: &[u8; 32], kind: Kind) -> io::Result<()> {
        absent(fs::remove_file(self.file(sha256, kind)?)).map(drop)
    }

    fn part(&self, id: Uuid, sent: &[u8; 32]) -> io::Result<PathBuf> {
        Ok(self.root()?.join(COMING).join(format!("{}.{}", id.simple(), hex(sent))))
    }

    /// How much of a picture has come.
    pub fn come(&self, id: Uuid, sent: &[u8; 32]) -> io::Result<u64> {
        Ok(absent(fs::metadata(self.part(id, sent)?))?.map_or(0, |m| m.len()))
    }

    /// Adds the next bytes of a picture, if they are the next ones. Answers with how much is there now.
    pub fn add(&self, id: Uuid, sent: &[u8; 32], at: u64, bytes: &[u8]) -> io::Result<u64> {
        let path = self.part(id, sent)?;
        let folder = make(parent(&path)?)?;
        let mut file = File::options().create(true).append(true).open(&path)?;
        let there = file.seek(SeekFrom::End(0))?;
        if there != at || bytes.is_empty() {
            return Ok(there);
        }
        // Half of it is worse than none: the phone would go on behind a hole of its own making.
        if let Err(e) = file.write_all(bytes).and_then(|()| file.sync_all()) {
            let _ = file.set_len(there);
            return Err(e);
        }
        if there == 0 {
            sync(folder)?;
        }
        Ok(there + bytes.len() as u64)
    }

    /// What has come of a picture.
    pub fn so_far(&self, id: Uuid, sent: &[u8; 32]) -> io::Result<Vec<u8>> {
        fs::read(self.part(id, sent)?)
    }

    /// Forgets what has come of a picture.
    pub fn forget(&self, id: Uuid, sent: &[u8; 32]) -> io::Result<()> {
        absent(fs::remove_file(self.part(id, sent)?)).map(drop)
    }

    /// Every file of the folder.
    pub fn files(&self) -> io::Result<Vec<Found>> {
        let mut found = Vec::new();
        let Some(folders) = self.path().map(fs::read_dir).map(absent).transpose()?.flatten() else { return Ok(found) };
        for folder in folders {
            let folder = folder?;
            if !folder.file_type()?.is_dir() {
                continue;
            }
            for file in fs::read_dir(folder.path())? {
                let file = file?;
                // Whoever else tidies up may have been quicker.
                let Some(about) = absent(file.metadata())?.filter(fs::Metadata::is_file) else { continue };
                found.push(Found { sha256: sum_in(&file.path()), at: about.modified()?.into(), length: about.len(), path: file.path() });
            }
        }
        Ok(found)
    }
}

/// The fingerprint in the name of a kept picture.
fn sum_in(path: &Path) -> Option<[u8; 32]> {
    let kinds = [Kind::Jpeg, Kind::Png];
    let name = path.file_name()?.to_str()?;
    let text = kinds.into_iter().find_map(|k| name.strip_suffix(k.ending())?.strip_suffix('.'))?;
    fingerprint(text)
}

fn absent<T>(found: io::Result<T>) -> io::Result<Option<T>> {
    match found {
        Ok(it) => Ok(Some(it)),
        Err(e) if e.kind() == io::ErrorKind::NotFound => Ok(None),
        Err(e) => Err(e),
    }
}

fn parent(path: &Path) -> io::Result<&Path> {
    path.parent().ok_or_else(|| io::Error::new(io::ErrorKind::InvalidInput, "a file without a folder"))
}

/// Makes a folder, for its owner alone, and the ones above it; each name is on the disk when this is over.
fn make(folder: &Path) -> io::Result<&Path> {
    if folder.is_dir() {
        return Ok(folder);
    }
    let above = folder.parent().filter(|p| !p.as_os_str().is_empty());
    if let Some(above) = above {
        make(above)?;
    }
    match DirBuilder::new().mode(0o700).create(folder) {
        Err(e) if e.kind() != io::ErrorKind::AlreadyExists => return Err(e),
        _ => {}
    }
    sync(above.unwrap_or(Path::new(".")))?;
    Ok(folder)
}

fn write_whole(path: &Path, bytes: &[u8]) -> io::Result<()> {
    let mut file = File::create_new(path)?;
    file.write_all(bytes)?;
    file.sync_all()
}

/// Puts a folder's names on the disk.
fn sync(folder: &Path) -> io::Result<()> {
    File::open(folder)?.sync_all()
}

/// Reads a file and compares it with its name.
pub fn is_whole(found: &Found) -> bool {
    fs::read(&found.path).is_ok_and(|bytes| found.sha256 == Some(sha256(&bytes)))
}

/// Blocking work on files, off the async threads.
pub async fn on_disk<T: Send + 'static>(work: impl FnOnce() -> io::Result<T> + Send + 'static) -> io::Result<T> {
    tokio::task::spawn_blocking(work).await.unwrap_or_else(|e| Err(io::Error::other(e)))
}
