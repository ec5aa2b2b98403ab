//! Made once, started, attached to, stopped, started again.

use crate::{Folder, connect, lives, number, open, postmaster, run, until};
use embertide::cluster::{Cluster, DURABLE};
use sqlx::Connection;
use std::fs;

#[tokio::test]
async fn the_first_makes_it_the_second_attaches_and_a_stop_keeps_the_rows() {
    let folder = Folder::new();
    let root = folder.path().join("data");
    let first = open(&root).await;
    assert!(first.is_ours());
    let server = postmaster(&root).unwrap();
    let mut c = connect(&first).await;
    run(&mut c, "CREATE TABLE kept (n integer); INSERT INTO kept VALUES (1)").await;

    let second = open(&root).await;
    assert!(!second.is_ours());
    let mut d = connect(&second).await;
    run(&mut d, "INSERT INTO kept VALUES (2)").await;
    d.close().await.unwrap();
    second.stop().unwrap();
    assert!(lives(server), "the second must not stop what the first started");
    assert_eq!(number(&mut c, "SELECT count(*) FROM kept").await, 2);

    c.close().await.unwrap();
    first.stop().unwrap();
    until("the server ends with the first", || !lives(server)).await;

    let third = open(&root).await;
    assert!(third.is_ours());
    let mut c = connect(&third).await;
    assert_eq!(number(&mut c, "SELECT count(*) FROM kept").await, 2);
    third.stop().unwrap();
}

/// A server that still reads its log refuses connections with 57P03; so does one that follows another and may not be read from, for as
/// long as it is told to.
#[tokio::test]
async fn a_server_that_still_reads_its_log_is_waited_for() {
    let folder = Folder::new();
    let first = open(folder.path()).await;
    let data = first.data();
    let mut promote = first.tool("pg_ctl");
    promote.args(["promote", "-s", "-D"]).arg(&data);
    let mut c = connect(&first).await;
    run(&mut c, "CREATE TABLE kept (n integer)").await;
    run(&mut c, "ALTER SYSTEM SET hot_standby = off").await;
    c.close().await.unwrap();
    first.stop().unwrap();
    fs::write(data.join("standby.signal"), "").unwrap();

    let root = folder.path().to_owned();
    let opening = tokio::spawn(async move { Cluster::open(&root, DURABLE).await });
    let refused = || fs::read_to_string(data.join("server.log")).unwrap_or_default().matches("not accepting connections").count();
    until("it was refused again and again", || refused() > 10).await;
    assert!(promote.status().unwrap().success());
    let again = opening.await.unwrap().unwrap();
    assert_eq!(number(&mut connect(&again).await, "SELECT count(*) FROM kept").await, 0);
    again.stop().unwrap();
}

#[tokio::test]
async fn nothing_of_durability_is_switched_off() {
    let folder = Folder::new();
    let cluster = open(folder.path()).await;
    let mut c = connect(&cluster).await;
    for name in ["fsync", "full_page_writes", "synchronous_commit", "data_checksums"] {
        let on = format!("SELECT (current_setting('{name}') = 'on')::integer::bigint");
        assert_eq!(number(&mut c, &on).await, 1, "{name}");
    }
    let deaf = "SELECT (current_setting('listen_addresses') = '' AND current_setting('unix_socket_permissions') = '0700')::integer::bigint";
    assert_eq!(number(&mut c, deaf).await, 1);
    cluster.stop().unwrap();
}

#[tokio::test]
async fn several_at_once_on_a_new_folder_share_one_server() {
    let folder = Folder::new();
    let all = tokio::join!(open(folder.path()), open(folder.path()), open(folder.path()));
    let all = [all.0, all.1, all.2];
    assert_eq!(all.iter().filter(|c| c.is_ours()).count(), 1);
    for cluster in &all {
        assert_eq!(number(&mut connect(cluster).await, "SELECT 7::bigint").await, 7);
    }
    let (ours, others): (Vec<Cluster>, Vec<Cluster>) = all.into_iter().partition(Cluster::is_ours);
    drop(others);
    for cluster in ours {
        cluster.stop().unwrap();
    }
}

#[tokio::test]
async fn a_folder_whose_program_was_killed_is_taken_over_with_its_server() {
    let folder = Folder::new();
    // Dropped without a stop: as when the program alone is killed.
    drop(open(folder.path()).await);
    let server = postmaster(folder.path()).unwrap();
    assert!(lives(server));
    let next = open(folder.path()).await;
    assert!(next.is_ours());
    assert_eq!(postmaster(folder.path()), Some(server));
    next.stop().unwrap();
    until("the server ends", || !lives(server)).await;
}

#[tokio::test]
async fn a_half_made_cluster_is_made_anew() {
    let folder = Folder::new();
    let root = folder.path().join("data");
    let making = root.join("postgres.making");
    fs::create_dir_all(making.join("base")).unwrap();
    fs::write(making.join("PG_VERSION"), "15\n").unwrap();
    let cluster = open(&root).await;
    assert_eq!(number(&mut connect(&cluster).await, "SELECT 7::bigint").await, 7);
    assert!(!making.exists());
    cluster.stop().unwrap();
}

#[tokio::test]
async fn a_server_that_cannot_start_says_why() {
    let folder = Folder::new();
    open(folder.path()).await.stop().unwrap();
    let log = folder.path().join("postgres/server.log");
    let damaged = Cluster::open(folder.path(), &["shared_buffers=nonsense"]).await.unwrap_err().to_string();
    assert!(damaged.contains("Starting PostgreSQL failed") && damaged.contains("shared_buffers"), "{damaged}");
    assert!(log.exists());
    Cluster::open(folder.path(), DURABLE).await.unwrap().stop().unwrap();
}
