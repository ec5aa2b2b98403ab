//! The private cluster, the pool, the accept loop and the program itself, under what a farm office does to them:
//! started twice, killed, cut off, put in odd places. Runs as root and as an ordinary user.
#![expect(clippy::unwrap_used, reason = "a test that cannot go on fails")]

mod backup;
mod killed;
mod opening;
mod places;
mod pool;
mod program;
mod serving;

use embertide::cluster::{Cluster, DURABLE};
use sqlx::{AssertSqlSafe, Connection, PgConnection};
use std::{
    fs,
    path::{Path, PathBuf},
    process::Command,
    sync::atomic::{AtomicU32, Ordering},
    time::Duration,
};

/// A data folder of one test's own. Whatever runs in it is ended, and it is gone, when the test is over.
pub(crate) struct Folder(PathBuf);

impl Folder {
    pub(crate) fn new() -> Self {
        static COUNT: AtomicU32 = AtomicU32::new(0);
        let count = COUNT.fetch_add(1, Ordering::Relaxed);
        let path = std::env::temp_dir().join(format!("embertide-cluster-{}-{count}", std::process::id()));
        fs::create_dir(&path).unwrap();
        Self(path)
    }

    pub(crate) fn path(&self) -> &Path {
        &self.0
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        let mut open = vec![self.0.clone()];
        while let Some(folder) = open.pop() {
            if let Some(server) = postmaster(&folder) {
                kill(&family(server));
            }
            if !folder.join("postgres").exists() {
                open.extend(fs::read_dir(&folder).into_iter().flatten().filter_map(|e| Some(e.ok()?.path())).filter(|p| p.is_dir()));
            }
        }
        let _ = fs::remove_dir_all(&self.0);
    }
}

pub(crate) async fn open(root: &Path) -> Cluster {
    Cluster::open(root, DURABLE).await.unwrap()
}

pub(crate) async fn connect(cluster: &Cluster) -> PgConnection {
    PgConnection::connect_with(&cluster.options()).await.unwrap()
}

/// Runs a statement that gives one whole number.
pub(crate) async fn number(c: &mut PgConnection, sql: &str) -> i64 {
    sqlx::query_scalar(AssertSqlSafe(sql.to_owned())).fetch_one(c).await.unwrap()
}

pub(crate) async fn run(c: &mut PgConnection, sql: &str) {
    sqlx::raw_sql(AssertSqlSafe(sql.to_owned())).execute(c).await.unwrap();
}

/// Process id of the server in a data folder.
pub(crate) fn postmaster(root: &Path) -> Option<u32> {
    fs::read_to_string(root.join("postgres/postmaster.pid")).ok()?.lines().next()?.trim().parse().ok()
}

/// Whether a process is there and no zombie.
pub(crate) fn lives(pid: u32) -> bool {
    status(pid).is_some_and(|(state, _)| state != 'Z')
}

/// State and parent of a process, by what follows the name in /proc/PID/stat (proc(5)).
fn status(pid: u32) -> Option<(char, u32)> {
    let text = fs::read_to_string(format!("/proc/{pid}/stat")).ok()?;
    let mut rest = text.rsplit_once(") ")?.1.split(' ');
    Some((rest.next()?.chars().next()?, rest.next()?.parse().ok()?))
}

/// A server and its children.
pub(crate) fn family(server: u32) -> Vec<u32> {
    let all = fs::read_dir("/proc").unwrap().filter_map(|e| e.ok()?.file_name().to_str()?.parse::<u32>().ok());
    let children = all.filter(|pid| status(*pid).is_some_and(|(_, parent)| parent == server));
    std::iter::once(server).chain(children).collect()
}

/// kill -9 of all of them at once.
pub(crate) fn kill(pids: &[u32]) {
    let pids: Vec<String> = pids.iter().map(u32::to_string).collect();
    // One that has just ended is no fault.
    let _ = Command::new("sh").arg("-c").arg(format!("kill -9 {}", pids.join(" "))).output().unwrap();
}

/// Waits until something is so; fails when that takes absurdly long.
pub(crate) async fn until(what: &str, is_so: impl Fn() -> bool) {
    for _ in 0..6000 {
        if is_so() {
            return;
        }
        tokio::time::sleep(Duration::from_millis(10)).await;
    }
    panic!("waited a minute in vain: {what}");
}
