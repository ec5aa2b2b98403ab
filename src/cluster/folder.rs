//! Where the data may lie, and whose it is.

use super::Error;
use std::{
    fs, io,
    os::unix::{
        fs::{MetadataExt, PermissionsExt, chown},
        process::CommandExt,
    },
    path::{Path, PathBuf},
    process::{Command, Stdio},
};

/// The user who runs the server when this program runs as root.
#[derive(Clone, Debug)]
pub struct Owner {
    pub name: String,
    pub uid: u32,
    pub gid: u32,
}

/// Longest path of a Unix socket, and the name Postgres gives its own.
const SOCKET_LIMIT: usize = 107;
const SOCKET_NAME: &str = "/.s.PGSQL.5432";

/// `None` when this program is an ordinary user and runs the server itself.
pub fn owner() -> Result<Option<Owner>, Error> {
    if fs::metadata("/proc/self")?.uid() != 0 {
        return Ok(None);
    }
    passwd("postgres").map(Some).ok_or(Error::NoOwner)
}

fn passwd(name: &str) -> Option<Owner> {
    let text = fs::read_to_string("/etc/passwd").ok()?;
    let line = text.lines().find(|l| l.split(':').next() == Some(name))?;
    let mut fields = line.split(':').skip(2);
    let uid = fields.next()?.parse().ok()?;
    let gid = fields.next()?.parse().ok()?;
    Some(Owner { name: name.to_owned(), uid, gid })
}

/// Makes `root`, and sees to it that the server's user can get there.
pub(super) fn prepare(root: &Path, owner: Option<&Owner>) -> Result<PathBuf, Error> {
    fs::create_dir_all(root)?;
    let root = fs::canonicalize(root)?;
    if let Some(owner) = owner
        && !reaches(owner, &root)?
    {
        return Err(Error::Unreachable { folder: root, user: owner.name.clone() });
    }
    Ok(root)
}

/// Whether `owner` may enter `folder`: asked of the system itself, as that user.
pub(super) fn reaches(owner: &Owner, folder: &Path) -> io::Result<bool> {
    let mut ask = Command::new("/usr/bin/test");
    ask.arg("-x").arg(folder).uid(owner.uid).gid(owner.gid).current_dir("/");
    Ok(ask.stdin(Stdio::null()).status()?.success())
}

/// The folder to use when the wanted one lies where the server's user cannot go, as under root's own home.
///
/// Only for a folder that nobody named: a named one is never swapped silently.
pub fn reachable(wanted: &Path) -> Result<PathBuf, Error> {
    let Some(owner) = owner()? else { return Ok(wanted.to_owned()) };
    let mut there = std::path::absolute(wanted)?;
    while !there.exists() {
        if !there.pop() {
            break;
        }
    }
    if reaches(&owner, &there)? {
        return Ok(wanted.to_owned());
    }
    let name = wanted.file_name().map_or_else(|| "data".into(), |n| n.to_string_lossy().into_owned());
    Ok(Path::new("/var/lib/embertide").join(name))
}

/// Makes a folder that only the server's user may enter.
pub(super) fn close(folder: &Path, owner: Option<&Owner>) -> Result<(), Error> {
    fs::create_dir_all(folder)?;
    let not_ours = |why| Error::NotOurs { folder: folder.to_owned(), why };
    fs::set_permissions(folder, fs::Permissions::from_mode(0o700)).map_err(not_ours)?;
    if let Some(owner) = owner {
        chown(folder, Some(owner.uid), Some(owner.gid)).map_err(not_ours)?;
    }
    Ok(())
}

/// Major version that made the data, if there is any.
pub(super) fn made_by(data: &Path) -> Option<u32> {
    fs::read_to_string(data.join("PG_VERSION")).ok()?.trim().parse().ok()
}

/// The installed programs: of the version that made the data, else the newest.
pub(super) fn binaries(root: &Path, made: Option<u32>) -> Result<PathBuf, Error> {
    let mut found: Vec<(u32, PathBuf)> = fs::read_dir("/usr/lib/postgresql")
        .into_iter()
        .flatten()
        .filter_map(|entry| {
            let dir = entry.ok()?.path();
            let version = dir.file_name()?.to_str()?.parse().ok()?;
            let bin = dir.join("bin");
            (bin.join("initdb").exists() && bin.join("postgres").exists()).then_some((version, bin))
        })
        .collect();
    found.sort();
    let Some(made) = made else { return found.pop().map(|f| f.1).ok_or(Error::NoServer) };
    if let Some((_, bin)) = found.iter().find(|f| f.0 == made) {
        return Ok(bin.clone());
    }
    let versions: Vec<String> = found.iter().map(|f| f.0.to_string()).collect();
    let found = if versions.is_empty() { "none".to_owned() } else { versions.join(", ") };
    Err(Error::OtherVersion { data: root.to_owned(), made, found })
}

/// The socket's folder: in the data folder, or in a short place outside when that path would be too long for a socket.
pub(super) fn socket(root: &Path, owner: Option<&Owner>) -> Result<PathBuf, Error> {
    let inside = root.join("run");
    if inside.as_os_str().len() + SOCKET_NAME.len() <= SOCKET_LIMIT {
        close(&inside, owner)?;
        return Ok(inside);
    }
    // Root takes /run, where nobody else can put anything in the way; others have only /tmp, so they look who made it.
    let base = if owner.is_some() { "/run" } else { "/tmp" };
    let outside = Path::new(base).join(format!("embertide-{:016x}", key(root)));
    if let Ok(there) = fs::symlink_metadata(&outside)
        && (!there.is_dir() || owner.is_none() && there.uid() != fs::metadata("/proc/self")?.uid())
    {
        return Err(Error::NotOurs { folder: outside, why: io::ErrorKind::AlreadyExists.into() });
    }
    close(&outside, owner)?;
    Ok(outside)
}

/// FNV-1a of the path: the same folder gives the same socket in every build.
fn key(root: &Path) -> u64 {
    let bytes = root.as_os_str().as_encoded_bytes();
    bytes.iter().fold(0xcbf2_9ce4_8422_2325, |h, b| (h ^ u64::from(*b)).wrapping_mul(0x0100_0000_01b3))
}
