//! Killed and started again: nothing that was acknowledged may be missing.

use crate::{Folder, connect, family, kill, lives, number, open, postmaster, run, until};
use embertide::cluster::{Cluster, DURABLE};
use sqlx::PgConnection;
use std::path::Path;
use tokio::sync::watch;

/// Inserts 1, 2, 3 … from `next` on and notes each after its commit, until the connection is lost.
async fn write(mut c: PgConnection, next: i64, noted: watch::Sender<i64>) {
    for n in next.. {
        if sqlx::query("INSERT INTO written VALUES ($1)").bind(n).execute(&mut c).await.is_err() {
            return;
        }
        noted.send_replace(n);
    }
}

/// What a round kills.
#[derive(Clone, Copy, Debug)]
enum Victim {
    /// The server and every one of its processes, at once.
    Everything,
    /// The server alone; its children notice by themselves.
    Server,
    /// One child: the server ends the others and recovers by itself.
    Backend,
}

/// One round: writes, kills, opens again. Returns what was noted, how many rows are there, and the highest.
async fn round(root: &Path, settings: &[&str], victim: Victim, writes: i64) -> (i64, i64, i64) {
    let cluster = Cluster::open(root, settings).await.unwrap();
    let mut c = connect(&cluster).await;
    // The table itself is never lost, whatever the server was told.
    run(&mut c, "SET synchronous_commit = on").await;
    run(&mut c, "CREATE TABLE IF NOT EXISTS written (n bigint PRIMARY KEY)").await;
    run(&mut c, "RESET synchronous_commit").await;
    let before = number(&mut c, "SELECT coalesce(max(n), 0) FROM written").await;
    let backend = u32::try_from(number(&mut c, "SELECT pg_backend_pid()::bigint").await).unwrap();
    let (sender, mut noted) = watch::channel(before);
    let writing = tokio::spawn(write(c, before + 1, sender));
    noted.wait_for(|n| *n >= before + writes).await.unwrap();

    let server = postmaster(root).unwrap();
    let all = family(server);
    match victim {
        Victim::Everything => kill(&all),
        Victim::Server => kill(&[server]),
        Victim::Backend => kill(&[backend]),
    }
    writing.await.unwrap();
    let noted = *noted.borrow();
    if !matches!(victim, Victim::Backend) {
        until("the server is gone", || !lives(server)).await;
    }
    // As when the program is killed too: the lock is free, nothing is stopped in order.
    drop(cluster);

    let again = Cluster::open(root, settings).await.unwrap();
    let mut c = connect(&again).await;
    let found =
        (noted, number(&mut c, "SELECT count(*) FROM written").await, number(&mut c, "SELECT coalesce(max(n), 0) FROM written").await);
    again.stop().unwrap();
    found
}

#[tokio::test]
async fn nothing_acknowledged_is_lost() {
    let folder = Folder::new();
    open(folder.path()).await.stop().unwrap();
    let rounds = [Victim::Everything, Victim::Server, Victim::Backend];
    for (n, victim) in (1..).zip(rounds.into_iter().cycle().take(6)) {
        let (noted, rows, highest) = round(folder.path(), DURABLE, victim, 20 + 15 * n).await;
        assert_eq!(rows, highest, "a gap after {victim:?}: {rows} rows up to {highest}");
        assert!(noted <= highest, "{victim:?}: {noted} were acknowledged, {highest} are there");
        // The one under way may have reached the disk before its answer reached the writer.
        assert!(highest <= noted + 1, "{victim:?}: {noted} were acknowledged, {highest} are there");
    }
}

/// The same round must find losses where commits are acknowledged before they reach the disk; else it proves nothing.
#[tokio::test]
async fn without_waiting_for_the_disk_the_same_check_finds_losses() {
    const HASTY: &[&str] = &["synchronous_commit=off", "wal_writer_delay=10s"];
    let folder = Folder::new();
    open(folder.path()).await.stop().unwrap();
    // Once in a long while the server writes by chance just before it is killed.
    for _ in 0..3 {
        let (noted, _, highest) = round(folder.path(), HASTY, Victim::Everything, 40).await;
        if highest < noted {
            return;
        }
    }
    panic!("no loss was found where there must be some");
}
