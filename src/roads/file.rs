//! The road file on disk, and the roads in memory that follow it. The one place of this room that touches the outside.

use super::{
    encode::{self, RoadFileError},
    graph::Network,
    ready::Roads,
};
use std::{
    fs::{self, File},
    io::{self, Write},
    os::unix::fs::MetadataExt,
    path::{Path, PathBuf},
    sync::{Arc, Mutex, PoisonError, RwLock},
};

/// The road file's name in the data folder.
pub const NAME: &str = "roads.net";

/// Why the road file cannot be read or written.
#[derive(Debug, thiserror::Error)]
pub enum FileError {
    #[error("{path}: {source}", path = path.display())]
    Io { path: PathBuf, source: io::Error },
    #[error("{path}: {source}", path = path.display())]
    Content { path: PathBuf, source: RoadFileError },
}

/// Writes the road file: under another name, to the disk, and then in the place of the old one. Whoever reads sees the old or the new, whole. Gives its size.
pub fn save(path: &Path, network: &Network) -> Result<usize, FileError> {
    let bytes = encode::encode(network);
    let written = write(path, &bytes);
    written.map(|()| bytes.len()).map_err(|source| FileError::Io { path: path.to_owned(), source })
}

fn write(path: &Path, bytes: &[u8]) -> io::Result<()> {
    let folder = path.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
    let new = path.with_extension(format!("net.{}.new", std::process::id()));
    let whole = File::create(&new).and_then(|mut file| {
        file.write_all(bytes)?;
        file.sync_all()
    });
    let moved = whole.and_then(|()| fs::rename(&new, path)).and_then(|()| File::open(folder)?.sync_all());
    if moved.is_err() {
        // What is left of it is of no use to anybody.
        let _ = fs::remove_file(&new);
    }
    moved
}

/// Reads a road file.
pub fn load(path: &Path) -> Result<Network, FileError> {
    let bytes = fs::read(path).map_err(|source| FileError::Io { path: path.to_owned(), source })?;
    encode::decode(&bytes).map_err(|source| FileError::Content { path: path.to_owned(), source })
}

/// What tells one state of the file from another: device, number, size, time of change in nanoseconds.
type Stamp = (u64, u64, u64, i64, i64);

fn stamp(path: &Path) -> io::Result<Option<Stamp>> {
    match fs::metadata(path) {
        Ok(m) => Ok(Some((m.dev(), m.ino(), m.size(), m.mtime(), m.mtime_nsec()))),
        Err(e) if e.kind() == io::ErrorKind::NotFound => Ok(None),
        Err(e) => Err(e),
    }
}

/// The roads in use, swapped whole when the file changes. Shared by all who serve.
#[derive(Debug)]
pub struct Current {
    path: PathBuf,
    roads: RwLock<Option<Arc<Roads>>>,
    /// state of the file that was read last, good or not; held while reading, so that only one reads
    seen: Mutex<Option<Stamp>>,
}

/// No file: drives are estimated.
impl Default for Current {
    fn default() -> Self {
        Self::new(PathBuf::new())
    }
}

impl Current {
    /// For the file at `path`, which need not be there. Reads nothing yet: see [`Current::refresh`].
    pub fn new(path: PathBuf) -> Self {
        Self { path, roads: RwLock::new(None), seen: Mutex::new(None) }
    }

    /// The roads in use; `None` when there is no road file, and drives are estimated.
    pub fn roads(&self) -> Option<Arc<Roads>> {
        self.roads.read().unwrap_or_else(PoisonError::into_inner).clone()
    }

    /// Reads the file if it has changed since it was read last; true when the roads in use are others now.
    ///
    /// Takes a fraction of a second for a region: not for an async thread. Who asks meanwhile has the old roads.
    ///
    /// # Errors
    /// [`FileError`] when the new file cannot be read or used; the old roads stay in use, and the same file is not tried again.
    pub fn refresh(&self) -> Result<bool, FileError> {
        let mut seen = self.seen.lock().unwrap_or_else(PoisonError::into_inner);
        let now = stamp(&self.path).map_err(|source| FileError::Io { path: self.path.clone(), source })?;
        if *seen == now {
            return Ok(false);
        }
        *seen = now;
        let roads = if now.is_some() { Some(Arc::new(Roads::new(load(&self.path)?))) } else { None };
        *self.roads.write().unwrap_or_else(PoisonError::into_inner) = roads;
        Ok(true)
    }
}
