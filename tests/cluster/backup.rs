//! A backup is worth what comes back from it: everything as it was, or nothing is touched.

use crate::{Folder, connect, number, open, run};
use embertide::{
    backup::{self, NAME},
    cluster::Cluster,
    photo::Kind,
    store::{self, photos::files},
};
use sqlx::Connection;
use std::{
    fs,
    path::{Path, PathBuf},
};
use time::{Duration, OffsetDateTime, macros::datetime};

const NOW: OffsetDateTime = datetime!(2026-10-05 07:00 UTC);
const CUSTOMERS: &str = "SELECT count(*) FROM customers";

/// An installation with three customers and two photos.
async fn installation(root: &Path) -> (Cluster, files::Folder) {
    let cluster = open(root).await;
    let pool = store::pool(cluster.options(), 2);
    store::migrate(&pool).await.unwrap();
    pool.close().await;
    let mut c = connect(&cluster).await;
    run(
        &mut c,
        "INSERT INTO customers (id, name, ref, made_at) SELECT gen_random_uuid(), 'Customer ' || n, 'C' || n, now() FROM generate_series(1, 3) n",
    )
    .await;
    let photos = files::Folder::of(root);
    for picture in ["first", "second"] {
        let sum = photos.keep(Kind::Jpeg, picture.as_bytes()).unwrap();
        sqlx::query("INSERT INTO photos (id, sha256, bytes, received_at, kind) VALUES (gen_random_uuid(), $1, $2, now(), 'jpeg')")
            .bind(sum.as_slice())
            .bind(i32::try_from(picture.len()).unwrap())
            .execute(&mut c)
            .await
            .unwrap();
    }
    c.close().await.unwrap();
    (cluster, photos)
}

async fn taken(cluster: &Cluster, photos: &files::Folder, folder: &Path, now: OffsetDateTime) -> PathBuf {
    let taken = backup::take(cluster, photos, folder, now).await.unwrap();
    assert_eq!((taken.missing_photos, taken.list.photos.len()), (0, 2));
    taken.path
}

async fn customers(cluster: &Cluster) -> i64 {
    let mut c = connect(cluster).await;
    let n = number(&mut c, CUSTOMERS).await;
    c.close().await.unwrap();
    n
}

#[tokio::test]
async fn everything_comes_back_on_a_new_machine_and_on_the_old_one() {
    let folder = Folder::new();
    let (cluster, photos) = installation(&folder.path().join("data")).await;
    let backups = folder.path().join("data").join(NAME);
    let kept = taken(&cluster, &photos, &backups, NOW).await;

    // Meanwhile somebody works on, and then loses it all.
    let mut c = connect(&cluster).await;
    let epoch = store::phones::epoch(&mut c).await.unwrap();
    run(&mut c, "INSERT INTO customers (id, name, made_at) VALUES (gen_random_uuid(), 'Late', now()); ALTER TABLE photos DISABLE TRIGGER ALL; DELETE FROM photos").await;
    c.close().await.unwrap();
    fs::remove_dir_all(photos.path().unwrap()).unwrap();
    let back = backup::restore(&cluster, &photos, &kept, NOW + Duration::days(1)).await.unwrap();
    assert_eq!((customers(&cluster).await, back.photos), (3, 2));
    let mut c = connect(&cluster).await;
    assert_ne!(store::phones::epoch(&mut c).await.unwrap(), epoch, "phones hear that these are older records");
    assert_eq!(store::photos::faults(&mut c, &photos).await.unwrap(), Vec::<String>::new());
    c.close().await.unwrap();
    let mut before = sqlx::PgConnection::connect_with(&cluster.options_for(&back.before)).await.unwrap();
    assert_eq!(number(&mut before, CUSTOMERS).await, 4, "what was in use is still there");
    before.close().await.unwrap();
    cluster.stop().unwrap();

    // A new machine has the folder of the backups, and nothing else.
    let other = open(&folder.path().join("new")).await;
    let there = files::Folder::of(other.root());
    let back = backup::restore(&other, &there, &backup::newest(&backups).unwrap(), NOW).await.unwrap();
    assert_eq!((customers(&other).await, back.photos), (3, 2));
    other.stop().unwrap();
}

#[tokio::test]
async fn a_backup_is_one_moment_while_people_write() {
    let folder = Folder::new();
    let (cluster, photos) = installation(folder.path()).await;
    let options = cluster.options();
    let (stop, stopped) = tokio::sync::oneshot::channel::<()>();
    let writer = tokio::spawn(async move {
        let mut c = sqlx::PgConnection::connect_with(&options).await.unwrap();
        let mut written = 0_i64;
        tokio::pin!(stopped);
        while stopped.try_recv().is_err() {
            run(&mut c, "INSERT INTO customers (id, name, made_at) VALUES (gen_random_uuid(), 'Busy', now())").await;
            written += 1;
            tokio::task::yield_now().await;
        }
        written
    });
    let kept = taken(&cluster, &photos, &folder.path().join(NAME), NOW).await;
    // Whatever was written between the sums and the end of the dump, they are of one moment.
    backup::try_out(&cluster, &kept, NOW).await.unwrap();
    stop.send(()).unwrap();
    assert!(writer.await.unwrap() > 0);
    let tried = backup::all(&folder.path().join(NAME)).unwrap();
    assert_eq!(tried.iter().map(|b| b.tried_at).collect::<Vec<_>>(), [Some(NOW)]);
    let mut c = connect(&cluster).await;
    let known = store::backups::newest(&mut c).await.unwrap().unwrap();
    assert_eq!((known.made_at, known.tried_at), (NOW, Some(NOW)));
    c.close().await.unwrap();
    cluster.stop().unwrap();
}

/// Each of these backups is refused, and the records in use stay as they are.
#[tokio::test]
async fn what_is_damaged_is_refused_and_nothing_is_touched() {
    let folder = Folder::new();
    let (cluster, photos) = installation(&folder.path().join("data")).await;
    let backups = folder.path().join(NAME);
    let kept = taken(&cluster, &photos, &backups, NOW).await;
    let (list, records) = (kept.join("list.json"), kept.join("records.dump"));
    let (text, bytes) = (fs::read_to_string(&list).unwrap(), fs::read(&records).unwrap());
    let refused = async |what: &str, words: &str| {
        let refused = backup::restore(&cluster, &photos, &kept, NOW).await.map(|_| ()).unwrap_err().to_string();
        assert!(refused.contains(words), "{what}: {refused}");
        assert_eq!(customers(&cluster).await, 3, "{what}");
        fs::write(&list, &text).unwrap();
        fs::write(&records, &bytes).unwrap();
    };
    let mut flipped = bytes.clone();
    let middle = flipped.len() / 2;
    flipped[middle] ^= 1;
    fs::write(&records, &flipped).unwrap();
    refused("one bit", "damaged").await;
    fs::write(&records, &bytes[..middle]).unwrap();
    refused("half of it", "damaged").await;
    fs::write(&list, "{}").unwrap();
    refused("no list", "is no backup").await;
    let table = text.split("\"name\": \"customers\"").nth(1).unwrap().split("\"rows\": 3").next().unwrap();
    assert!(table.len() < 40, "{table}");
    fs::write(&list, text.replace("\"rows\": 3", "\"rows\": 4")).unwrap();
    refused("other rows", "customers").await;
    fs::write(&list, text.replace("\"schema\": ", "\"schema\": 9")).unwrap();
    refused("a newer program", "newer program").await;
    let picture = files::Folder::of(&backups).files().unwrap().remove(0).path;
    fs::write(&picture, "other").unwrap();
    fs::remove_dir_all(photos.path().unwrap()).unwrap();
    refused("a photo", "photo").await;
    assert!(backup::try_out(&cluster, &kept, NOW).await.is_err(), "trying it out finds that too");
    cluster.stop().unwrap();
}

#[tokio::test]
async fn old_backups_and_their_photos_go_and_a_half_one_never_counts() {
    let folder = Folder::new();
    let (cluster, photos) = installation(&folder.path().join("data")).await;
    let backups = folder.path().join(NAME);
    let first = taken(&cluster, &photos, &backups, NOW).await;
    // The same day: the newer one stays.
    let second = taken(&cluster, &photos, &backups, NOW + Duration::hours(1)).await;
    assert!(!first.exists() && second.exists());
    // A crash left half a backup, and a stranger left a folder of his own.
    fs::create_dir(backups.join(".2026-10-04T07-00-00Z.making")).unwrap();
    fs::create_dir(backups.join("my own")).unwrap();
    let mut c = connect(&cluster).await;
    run(&mut c, "ALTER TABLE photos DISABLE TRIGGER ALL; DELETE FROM photos").await;
    c.close().await.unwrap();
    assert_eq!(backup::newest(&backups).unwrap(), second);
    let later = backup::take(&cluster, &photos, &backups, NOW + Duration::days(1)).await.unwrap();
    assert_eq!(later.list.photos, []);
    assert_eq!(files::Folder::of(&backups).files().unwrap().len(), 2, "the older backup names them still");
    assert!(!backups.join(".2026-10-04T07-00-00Z.making").exists() && backups.join("my own").exists());
    cluster.stop().unwrap();
}

#[tokio::test]
async fn an_export_holds_every_row_for_other_programs_and_opens_no_door() {
    let folder = Folder::new();
    let (cluster, photos) = installation(&folder.path().join("data")).await;
    let mut c = connect(&cluster).await;
    let hash = "the hash of a password that nobody may see";
    sqlx::query("INSERT INTO customers (id, name, note, made_at) VALUES (gen_random_uuid(), '=1+1, \"quoted\"', $1, now())")
        .bind("two\r\nlines, ж")
        .execute(&mut c)
        .await
        .unwrap();
    sqlx::query("INSERT INTO staff (id, name, sign_in, role, password_hash, made_at) VALUES (gen_random_uuid(), 'Owner', 'owner', 'owner', $1, now())")
        .bind(hash)
        .execute(&mut c)
        .await
        .unwrap();
    c.close().await.unwrap();
    let all = backup::export(&cluster.options(), &photos, &folder.path().join("out"), NOW).await.unwrap();
    assert_eq!(all.photos, 2);
    // Read by another library.
    let mut rows = 0;
    for list in fs::read_dir(all.path.join("tables")).unwrap() {
        let path = list.unwrap().path();
        rows += csv::Reader::from_path(&path).unwrap().into_records().map(Result::unwrap).count();
        assert!(!fs::read_to_string(path).unwrap().contains(hash));
    }
    assert_eq!(u64::try_from(rows).unwrap(), all.rows);
    let mut customers = csv::Reader::from_path(all.path.join("tables/customers.csv")).unwrap();
    let mut at = |name: &str| customers.headers().unwrap().iter().position(|h| h == name).unwrap();
    let (name, note) = (at("name"), at("note"));
    let read: Vec<csv::StringRecord> = customers.into_records().map(Result::unwrap).collect();
    let odd = read.iter().find(|r| r[name].contains("quoted")).unwrap();
    assert_eq!((read.len(), &odd[name], &odd[note]), (4, "'=1+1, \"quoted\"", "two\r\nlines, ж"));
    let checked = std::process::Command::new("sha256sum").args(["-c", "--quiet", "SHA256SUMS"]).current_dir(&all.path).status().unwrap();
    assert!(checked.success());
    let guide = fs::read_to_string(all.path.join("README.txt")).unwrap();
    assert!(guide.contains("customers (4 rows)") && guide.contains("  phone (text)"), "{guide}");
    assert!(!guide.contains("password_hash") && !guide.contains("sessions ("), "{guide}");
    cluster.stop().unwrap();
}
