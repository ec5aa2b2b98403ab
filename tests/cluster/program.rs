//! The program as its owner starts it: shows its address, answers, ends on a signal, finds its data again.

use crate::{Folder, connect, lives, number, open, postmaster, until};
use std::{path::Path, process::Stdio, time::Duration};
use tokio::{
    io::{AsyncBufReadExt, AsyncReadExt, AsyncWriteExt, BufReader, Lines},
    net::TcpStream,
    process::{Child, ChildStdout, Command},
    time::timeout,
};

fn embertide(arguments: &[&str], data: &Path) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_embertide"));
    for name in ["DATABASE_URL", "DATABASE_URL_FILE", "EMBERTIDE_DATA", "EMBERTIDE_LOG", "LISTEN", "PUBLIC_URL"] {
        command.env_remove(name);
    }
    command.args(arguments).arg("--data").arg(data);
    command.stdin(Stdio::null()).kill_on_drop(true);
    command
}

struct Running {
    child: Child,
    lines: Lines<BufReader<ChildStdout>>,
    address: String,
    said: String,
}

/// Starts the program and reads what it says until the line that holds its address.
async fn start(command: &str, data: &Path, before_address: &str) -> Running {
    let mut child = embertide(&[command, "--listen", "127.0.0.1:0"], data).stdout(Stdio::piped()).spawn().unwrap();
    let mut lines = BufReader::new(child.stdout.take().unwrap()).lines();
    let mut said = String::new();
    while let Some(line) = lines.next_line().await.unwrap() {
        said.push_str(&line);
        said.push('\n');
        if let Some((_, address)) = line.split_once(before_address) {
            let address = address.trim().trim_start_matches("http://").to_owned();
            return Running { child, lines, address, said };
        }
    }
    panic!("it ended before it served:\n{said}");
}

impl Running {
    async fn get(&self, path: &str) -> String {
        let mut stream = TcpStream::connect(&self.address).await.unwrap();
        let ask = format!("GET {path} HTTP/1.1\r\nHost: {}\r\nConnection: close\r\n\r\n", self.address);
        stream.write_all(ask.as_bytes()).await.unwrap();
        let mut answer = Vec::new();
        stream.read_to_end(&mut answer).await.unwrap();
        String::from_utf8_lossy(&answer).into_owned()
    }

    /// SIGTERM; then a clean end within ten seconds. Returns what was said after the address.
    async fn end(mut self) -> String {
        let pid = self.child.id().unwrap();
        assert!(std::process::Command::new("sh").arg("-c").arg(format!("kill -TERM {pid}")).status().unwrap().success());
        let mut rest = String::new();
        let ended = timeout(Duration::from_secs(10), async {
            while let Some(line) = self.lines.next_line().await.unwrap() {
                rest.push_str(&line);
                rest.push('\n');
            }
            self.child.wait().await.unwrap()
        });
        assert!(ended.await.expect("it ends within ten seconds").success());
        rest
    }
}

/// How many technicians see stops of an issued week, today or later.
async fn technicians_with_stops(data: &Path) -> i64 {
    let cluster = open(data).await;
    let ahead = "SELECT count(DISTINCT v.staff_id) FROM visits v JOIN week_plans w ON w.id = v.week_plan_id JOIN dealer d ON true
                 WHERE w.status = 'issued' AND v.day >= (now() AT TIME ZONE d.zone)::date";
    let technicians = number(&mut connect(&cluster).await, ahead).await;
    assert!(!cluster.is_ours());
    technicians
}

#[tokio::test]
async fn the_demo_serves_ends_on_a_signal_and_finds_its_data_again() {
    let folder = Folder::new();
    let data = folder.path().join("demo");
    let first = start("demo", &data, "Look round at ").await;
    assert!(first.said.contains("Filling it") && first.said.contains("In all: "), "{}", first.said);
    let front = first.get("/").await;
    assert!(front.starts_with("HTTP/1.1 200") || front.starts_with("HTTP/1.1 303"), "{front}");
    assert!(first.get("/health").await.ends_with("well\n"));
    assert!(first.get("/ready").await.ends_with("ready\n"));
    assert_eq!(technicians_with_stops(&data).await, 3, "whatever day it is, a weekend too");

    // A second program on the same folder looks in and leaves; the first goes on.
    let looked = embertide(&["doctor"], &data).output().await.unwrap();
    let says = String::from_utf8_lossy(&looked.stdout).into_owned();
    assert!(looked.status.success(), "{says}{}", String::from_utf8_lossy(&looked.stderr));
    // Nothing listens on port 1: the engine, and that alone, is something to see to.
    let asked = ["doctor", "--drives-from", "http://127.0.0.1:1", "--drives-kind", "table"];
    let looked = embertide(&asked, &data).output().await.unwrap();
    let says = String::from_utf8_lossy(&looked.stdout).into_owned();
    let lines: Vec<&str> = says.lines().filter(|l| l.starts_with("- ")).collect();
    assert!(!looked.status.success() && lines.len() == 1, "{says}");
    assert!(lines[0].starts_with("- The road engine at http://127.0.0.1:1 told not all: "), "{says}");
    // 192.0.2.1 as one number: a name that stands for an address outside is refused before anything is sent.
    let outside = ["doctor", "--drives-from", "http://3221225985:5000", "--drives-kind", "table"];
    let refused = embertide(&outside, &data).output().await.unwrap();
    let why = String::from_utf8_lossy(&refused.stderr).into_owned();
    assert!(!refused.status.success() && why.contains("192.0.2.1 lies outside"), "{why}");
    assert!(first.get("/ready").await.ends_with("ready\n"));

    let server = postmaster(&data).unwrap();
    assert!(first.end().await.contains("Stopped."));
    until("the database it started ends with it", || !lives(server)).await;

    let second = start("demo", &data, "Look round at ").await;
    assert!(!second.said.contains("Filling it"), "{}", second.said);
    assert!(second.get("/health").await.ends_with("well\n"));
    second.end().await;

    // ended as soon as its address is known
    start("demo", &data, "Look round at ").await.end().await;
}

#[tokio::test]
async fn a_killed_program_is_followed_by_one_that_takes_over() {
    let folder = Folder::new();
    let mut first = start("serve", folder.path(), "serves at ").await;
    let server = postmaster(folder.path()).unwrap();
    let mut link = first.lines.next_line().await.unwrap();
    while !link.as_deref().is_some_and(|l| l.contains("/setup/")) {
        assert!(link.is_some(), "a new installation prints the owner's link");
        link = first.lines.next_line().await.unwrap();
    }
    let (_, path) = link.unwrap().trim().split_once(&first.address).map(|(a, b)| (a.to_owned(), b.to_owned())).unwrap();
    first.child.kill().await.unwrap();
    assert!(lives(server), "the database lives on");

    let second = start("serve", folder.path(), "serves at ").await;
    assert_eq!(postmaster(folder.path()), Some(server));
    assert!(second.get(&path).await.starts_with("HTTP/1.1 200"), "what the first one kept is there");
    second.end().await;
    until("the database ends with the one that took over", || !lives(server)).await;
}

#[tokio::test]
async fn a_backup_is_made_while_it_serves_and_put_back_when_it_does_not() {
    let folder = Folder::new();
    let data = folder.path().join("data");
    let serving = start("serve", &data, "serves at ").await;
    let made = embertide(&["backup"], &data).output().await.unwrap();
    let says = String::from_utf8_lossy(&made.stdout).into_owned();
    assert!(made.status.success() && says.contains("Backup made and read back"), "{says}{}", String::from_utf8_lossy(&made.stderr));
    let backups = data.join("backups");
    let from = backups.to_str().unwrap();
    let tried = embertide(&["restore", from, "--only-try"], &data).output().await.unwrap();
    let says = String::from_utf8_lossy(&tried.stdout).into_owned();
    assert!(tried.status.success() && says.contains("everything would come back as it was"), "{says}");
    let refused = embertide(&["restore", from], &data).output().await.unwrap();
    let why = String::from_utf8_lossy(&refused.stderr).into_owned();
    assert!(!refused.status.success() && why.contains("Stop it first"), "{why}");
    assert!(serving.get("/ready").await.ends_with("ready\n"));
    serving.end().await;
    let back = embertide(&["restore", from], &data).output().await.unwrap();
    let says = String::from_utf8_lossy(&back.stdout).into_owned();
    assert!(back.status.success() && says.contains("Everything came back"), "{says}{}", String::from_utf8_lossy(&back.stderr));
    let again = start("serve", &data, "serves at ").await;
    assert!(again.get("/ready").await.ends_with("ready\n"));
    again.end().await;
}
