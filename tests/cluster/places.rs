//! Where a data folder may lie, and what is said where it may not.

use crate::{Folder, connect, number, open};
use embertide::cluster::{self, Cluster, DURABLE, Error};
use std::{
    fs,
    os::unix::fs::{PermissionsExt, symlink},
    path::{Path, PathBuf},
};

#[tokio::test]
async fn a_path_too_long_for_a_socket() {
    let folder = Folder::new();
    // 107 bytes are all a socket's path may have (unix(7): 108 with the zero at the end).
    let root = folder.path().join("a-very-long-name-".repeat(8));
    let cluster = open(&root).await;
    let mut c = connect(&cluster).await;
    let socket: String = sqlx::query_scalar("SHOW unix_socket_directories").fetch_one(&mut c).await.unwrap();
    let socket = PathBuf::from(socket.trim_matches('"'));
    assert!(!socket.starts_with(folder.path()), "{}", socket.display());
    assert_eq!(fs::metadata(&socket).unwrap().permissions().mode() & 0o777, 0o700);
    assert!(!open(&root).await.is_ours(), "a second program finds the same socket");
    cluster.stop().unwrap();

    // Somebody puts a link in the way, to make us close a folder that is not ours to close.
    fs::remove_dir_all(&socket).unwrap();
    let bait = folder.path().join("bait");
    fs::create_dir(&bait).unwrap();
    fs::set_permissions(&bait, fs::Permissions::from_mode(0o755)).unwrap();
    symlink(&bait, &socket).unwrap();
    let refused = Cluster::open(&root, DURABLE).await.unwrap_err();
    fs::remove_file(&socket).unwrap();
    assert!(matches!(refused, Error::NotOurs { .. }), "{refused}");
    assert_eq!(fs::metadata(&bait).unwrap().permissions().mode() & 0o777, 0o755);
}

#[tokio::test]
async fn a_name_with_blanks_commas_and_an_apostrophe() {
    let folder = Folder::new();
    let cluster = open(&folder.path().join("Pennifold's heaters, water & all")).await;
    assert_eq!(number(&mut connect(&cluster).await, "SELECT 7::bigint").await, 7);
    cluster.stop().unwrap();
}

#[tokio::test]
async fn a_home_that_the_servers_user_cannot_enter() {
    let folder = Folder::new();
    let home = folder.path().join("home");
    fs::create_dir(&home).unwrap();
    fs::set_permissions(&home, fs::Permissions::from_mode(0o700)).unwrap();
    let wanted = home.join("data");
    if cluster::owner().unwrap().is_none() {
        // The server runs as we do, so our own closed home is no obstacle.
        assert_eq!(cluster::reachable(&wanted).unwrap(), wanted);
        open(&wanted).await.stop().unwrap();
        return;
    }
    assert_eq!(cluster::reachable(&wanted).unwrap(), Path::new("/var/lib/embertide/data"));
    assert_eq!(cluster::reachable(&home.join("deep/er/demo")).unwrap(), Path::new("/var/lib/embertide/demo"));
    let open = folder.path().join("data");
    assert_eq!(cluster::reachable(&open).unwrap(), open);
    let refused = Cluster::open(&wanted, DURABLE).await.unwrap_err();
    let says = refused.to_string();
    assert!(matches!(refused, Error::Unreachable { .. }), "{says}");
    for word in ["`postgres`", &*wanted.to_string_lossy(), "--data /var/lib/embertide"] {
        assert!(says.contains(word), "{says}");
    }
}

#[tokio::test]
async fn data_of_a_version_that_is_not_installed() {
    let folder = Folder::new();
    fs::create_dir(folder.path().join("postgres")).unwrap();
    fs::write(folder.path().join("postgres/PG_VERSION"), "9\n").unwrap();
    let refused = Cluster::open(folder.path(), DURABLE).await.unwrap_err();
    let says = refused.to_string();
    assert!(matches!(refused, Error::OtherVersion { made: 9, .. }), "{says}");
    assert!(says.contains("made by PostgreSQL 9") && says.contains("Install postgresql-9"), "{says}");
    assert_eq!(fs::read_to_string(folder.path().join("postgres/PG_VERSION")).unwrap(), "9\n", "nothing of it is touched");
}
