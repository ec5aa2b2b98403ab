//! Taking the roads from an extract of the map.

use super::{Database, say};
use anyhow::{Context, Result, bail};
use embertide::{
    cluster,
    roads::{
        Extent, Grid, Position, file, import,
        report::{Report, Served, sentence, served},
    },
    settings::Place,
    store::customers,
};
use std::{
    fs::File,
    io::BufReader,
    path::{Path, PathBuf},
};

/// Places that are told one by one.
const SHOWN: usize = 30;

/// Reads the extract, tells what is in it, and puts the road file into the data folder. Nothing is changed when it cannot be used.
pub(super) async fn import_roads(place: &Place, extract: &Path, part: Option<(&str, f64)>) -> Result<()> {
    let within = part.map(|(around, miles)| within(around, miles)).transpose()?;
    let from = File::open(extract).with_context(|| format!("{} cannot be read", extract.display()))?;
    let name = extract.display().to_string();
    say(&format!("Reading {name} …"));
    let (network, report) = tokio::task::spawn_blocking(move || import(BufReader::new(from), within))
        .await?
        .with_context(|| format!("{name} cannot be used"))?;
    tell(&report);
    let folder = folder(place)?;
    std::fs::create_dir_all(&folder).with_context(|| format!("{} cannot be made", folder.display()))?;
    let path = folder.join(file::NAME);
    let bytes = file::save(&path, &network).context("The road file cannot be written, so nothing was changed")?;
    say(&format!("Kept as {} ({} kB).", path.display(), bytes.div_ceil(1000)));
    say(network.parts().origin.credit());
    let pins = pins(place).await.context("The roads are kept, but your places could not be looked up")?;
    tell_pins(&pins, &served(&network, &Grid::new(&network), &pins.iter().map(|p| p.1).collect::<Vec<_>>()));
    Ok(())
}

/// The box round a point written as latitude, comma, longitude.
fn within(around: &str, miles: f64) -> Result<Extent> {
    let read = |text: &str| text.trim().parse::<f64>().ok();
    let Some((lat, lon)) = around.split_once(',').and_then(|(lat, lon)| read(lat).zip(read(lon))) else {
        bail!("“{around}” is no point. Write latitude and longitude with a comma between, as --around 44.62,-74.95");
    };
    if !(1.0..=1_000.0).contains(&miles) {
        bail!("--miles must be from 1 to 1000");
    }
    Ok(Extent::around(Position::new(lat, lon)?, miles))
}

fn folder(place: &Place) -> Result<PathBuf> {
    match &place.data {
        Some(named) => Ok(named.clone()),
        None if place.database_url.is_some() || place.database_url_file.is_some() => Ok(PathBuf::from("data")),
        None => Ok(cluster::reachable(Path::new("data"))?),
    }
}

fn tell(report: &Report) {
    for line in report.lines() {
        say(&line);
    }
}

/// Every place with a pin, by name.
async fn pins(place: &Place) -> Result<Vec<(String, Position)>> {
    let db = Database::open(place, "data").await?;
    let pins = all_pins(&db).await;
    db.close().await?;
    pins
}

async fn all_pins(db: &Database) -> Result<Vec<(String, Position)>> {
    let mut pins = Vec::new();
    let mut after: Option<(String, uuid::Uuid)> = None;
    loop {
        let page = customers::browse(&db.pool, after.as_ref().map(|(name, id)| (name.as_str(), *id)), 200).await?;
        let Some(last) = page.last() else { return Ok(pins) };
        after = Some((last.name.clone(), last.id));
        for customer in &page {
            for p in customers::places(&db.pool, customer.id).await? {
                if let Some((lat, lon)) = p.pin {
                    pins.push((format!("{}, {}", customer.name, p.name), Position::new(lat, lon)?));
                }
            }
        }
    }
}

fn tell_pins(pins: &[(String, Position)], all: &[Served]) {
    let well = all.iter().filter(|s| **s == Served::Well).count();
    say(&format!("{well} of {} places with a pin lie within 500 m of a road.", pins.len()));
    let far: Vec<String> = pins.iter().zip(all).filter_map(|(p, s)| sentence(&p.0, *s)).collect();
    for line in far.iter().take(SHOWN) {
        say(&format!("  {line}"));
    }
    if far.len() > SHOWN {
        say(&format!("  … and {} places more.", far.len() - SHOWN));
    }
}
