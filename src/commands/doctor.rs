//! What is wrong with an installation, in plain sentences.

use super::{Database, say};
use anyhow::{Context, Result, bail};
use embertide::{
    clock::Clock,
    settings::Place,
    store::{backups, catalogue, dealer, doctor, first_steps, photos, queue, staff, week},
};
use std::{net::SocketAddr, path::Path, time::Duration};
use time::OffsetDateTime;
use tokio::{
    io::{AsyncReadExt, AsyncWriteExt},
    net::TcpStream,
};

/// Prints one line a finding; fails when something needs the owner's hand.
pub(super) async fn doctor(place: &Place) -> Result<()> {
    let db = Database::open(place, "data").await?;
    let found = findings(&db).await;
    let folder = db.folder.as_ref().map_or_else(|| "the database in DATABASE_URL".to_owned(), |f| f.display().to_string());
    db.close().await?;
    let found = found?;
    say(&format!("Looked at {folder}."));
    for line in &found {
        say(&format!("- {line}"));
    }
    if found.is_empty() {
        say("All is well.");
        return Ok(());
    }
    bail!("{} thing(s) to see to", found.len())
}

async fn findings(db: &Database) -> Result<Vec<String>> {
    let now = Clock::System.now();
    let mut found = Vec::new();
    let dealer = dealer::get(&db.pool, now).await?;
    if !staff::any_owner(&db.pool).await? {
        found.push("Nobody owns this installation yet. Run `embertide serve` and open the link it prints.".to_owned());
    }
    if staff::depots(&db.pool).await?.is_empty() {
        found.push("No depot is kept, so no route can start anywhere. Add one under Settings.".to_owned());
    }
    if staff::technicians(&db.pool).await?.is_empty() {
        found.push("No technician is kept. Add one under Settings.".to_owned());
    }
    if !dealer.invented && first_steps::compared_on(&db.pool).await?.is_none() {
        found.push(
            "Nobody has said yet that products, kits and programmes are as on your labels. Look at Treatment before anybody doses."
                .to_owned(),
        );
    }
    for far in first_steps::far_places(&db.pool).await? {
        found.push(format!("{}, {}: the pin lies far from every depot. Is a minus missing?", far.customer, far.place));
    }
    found.extend(backup_trouble(db, &dealer, now).await?);
    found.extend(engine_trouble(db, dealer.today).await?);
    let mut c = db.pool.acquire().await?;
    let treatments = catalogue::treatments(&mut c).await?;
    let late = |d: &time::Date| *d < dealer.today;
    for kit in treatments.kits.iter().filter(|k| k.active && k.reagent_expires_on.as_ref().is_some_and(late)) {
        found.push(format!("The reagent of “{}” has expired: its readings cannot be trusted.", kit.kit.name));
    }
    let given_up = queue::given_up(&db.pool).await?;
    if given_up > 0 {
        found.push(format!("{given_up} piece(s) of background work were given up after {} tries; the log says why.", queue::TRIES));
    }
    found.extend(doctor::broken_promises(&mut c, dealer.today).await?);
    found.extend(photos::faults(&mut c, &db.photos).await?);
    if let Some(free) = db.folder.as_deref().and_then(free_mebibytes).filter(|f| *f < 500) {
        found.push(format!("Only {free} MiB are free where the data lies. Make room."));
    }
    Ok(found)
}

/// A private cluster with an owner is to have a backup of the last days. The demo's data can be made anew.
async fn backup_trouble(db: &Database, dealer: &dealer::Dealer, now: OffsetDateTime) -> Result<Option<String>> {
    if db.cluster().is_none() || dealer.invented || !staff::any_owner(&db.pool).await? {
        return Ok(None);
    }
    Ok(match backups::newest(&db.pool).await? {
        None => Some("No backup was made yet. `embertide serve` makes one every night; `embertide backup` does it now.".to_owned()),
        Some(known) if (now - known.made_at).whole_days() >= 3 => Some(format!(
            "The newest backup is {} days old. `embertide serve` makes one every night while it runs; its log says what was in the way.",
            (now - known.made_at).whole_days()
        )),
        Some(known) if !Path::new(&known.path).exists() => {
            Some(format!("The newest backup is not where it was put: {}. Look for that disk, or run `embertide backup`.", known.path))
        }
        Some(known) if known.tried_at.is_none_or(|at| (now - at).whole_days() >= 60) => Some(
            "No backup was tried out in the last 60 days. `embertide serve` does it every 30; `embertide restore --only-try FOLDER` does it now."
                .to_owned(),
        ),
        Some(_) => None,
    })
}

/// Asks the road engine, if one is named, for the drives between a few pins.
async fn engine_trouble(db: &Database, today: time::Date) -> Result<Option<String>> {
    let Some(engine) = db.sources.engine() else { return Ok(None) };
    let monday = week::monday_of(today);
    let mut pins = week::pins(&db.pool, monday, monday, None).await?;
    pins.truncate(10);
    let heard = engine.heard(&pins, &pins).await;
    let silent = heard
        .is_silent()
        .then(|| format!("The road engine at {} knows no way between your places: is its map of your county?", engine.client().base()));
    Ok(heard.trouble().map(str::to_owned).or(silent))
}

/// Free space by `df`, which every Debian has.
fn free_mebibytes(folder: &std::path::Path) -> Option<u64> {
    let out = std::process::Command::new("df").args(["-Pm"]).arg(folder).output().ok()?;
    String::from_utf8(out.stdout).ok()?.lines().nth(1)?.split_whitespace().nth(3)?.parse().ok()
}

/// Asks a running server whether it can reach its records.
pub(super) async fn health(listen: SocketAddr) -> Result<()> {
    let ip = if listen.ip().is_unspecified() { std::net::IpAddr::from([127, 0, 0, 1]) } else { listen.ip() };
    let ask = async {
        let mut stream = TcpStream::connect((ip, listen.port())).await?;
        stream.write_all(format!("GET /ready HTTP/1.1\r\nHost: {listen}\r\nConnection: close\r\n\r\n").as_bytes()).await?;
        let mut answer = String::new();
        stream.read_to_string(&mut answer).await?;
        Ok::<_, std::io::Error>(answer)
    };
    let answer = tokio::time::timeout(Duration::from_secs(3), ask).await.context("no answer within three seconds")??;
    if answer.starts_with("HTTP/1.1 200") {
        return Ok(());
    }
    bail!("not ready: {}", answer.lines().next().unwrap_or("no answer"))
}
