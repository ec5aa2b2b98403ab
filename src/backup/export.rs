//! Everything as lists: one CSV a table, the photos as pictures, and a page that says what is what. For leaving, for a spreadsheet, for the
//! tax office; a backup is something else.

use super::{Result, blocking, stamp, sum_of};
use crate::{
    listing::{Separator, write_cells},
    store::{
        copies::{Shape, Snapshot},
        photos::files,
    },
};
use sqlx::postgres::PgConnectOptions;
use std::{
    fmt::Write as _,
    fs::{self, DirBuilder, File},
    io::{self, BufWriter, Write},
    os::unix::fs::DirBuilderExt,
    path::{Path, PathBuf},
};
use time::OffsetDateTime;

/// What was written.
#[derive(Clone, Debug)]
pub struct Exported {
    pub path: PathBuf,
    pub tables: usize,
    pub rows: u64,
    pub photos: usize,
}

/// Writes everything into a new folder inside `folder`, all of one moment, while the service may run. Passwords, links and sessions stay here.
pub async fn export(options: &PgConnectOptions, photos: &files::Folder, folder: &Path, now: OffsetDateTime) -> Result<Exported> {
    let path = folder.join(format!("embertide-export-{}", stamp(now)));
    DirBuilder::new().recursive(true).mode(0o700).create(path.join("tables"))?;
    let mut snapshot = Snapshot::open(options).await?;
    let shapes = snapshot.shapes().await?;
    let mut counts = Vec::with_capacity(shapes.len());
    for shape in &shapes {
        counts.push(table(&mut snapshot, shape, &path).await?);
    }
    let named = snapshot.photos().await?;
    snapshot.close().await?;
    let from = photos.clone();
    blocking(move || {
        let pictures = path.join("photos");
        fs::create_dir(&pictures)?;
        let mut copied = 0;
        for (sum, kind) in &named {
            let Ok(bytes) = from.read(sum, *kind) else { continue };
            fs::write(pictures.join(format!("{}.{}", crate::secrets::hex(sum), kind.ending())), bytes)?;
            copied += 1;
        }
        fs::write(path.join("README.txt"), guide(&shapes, &counts, now))?;
        sums(&path)?;
        Ok(Exported { path, tables: shapes.len(), rows: counts.iter().sum(), photos: copied })
    })
    .await
}

async fn table(snapshot: &mut Snapshot, shape: &Shape, path: &Path) -> Result<u64> {
    let mut file = BufWriter::new(File::create_new(path.join("tables").join(format!("{}.csv", shape.name)))?);
    let mut line = String::new();
    write_cells(&mut line, Separator::Comma, shape.columns.iter().map(|c| (c.name.as_str(), false)));
    file.write_all(line.as_bytes())?;
    let write = |cells: &[Option<String>]| {
        line.clear();
        let typed = cells.iter().zip(&shape.columns).map(|(cell, c)| (cell.as_deref().unwrap_or_default(), c.kind == "text"));
        write_cells(&mut line, Separator::Comma, typed);
        file.write_all(line.as_bytes())
    };
    let rows = snapshot.rows(shape, write).await?;
    file.flush()?;
    Ok(rows)
}

fn guide(shapes: &[Shape], counts: &[u64], now: OffsetDateTime) -> String {
    let mut text = format!(
        "Everything that Embertide kept, as of {}\r\n\r\n\
         tables/   one list a table: CSV (RFC 4180) in UTF-8, column names on the first line, empty where nothing is known.\r\n\
         photos/   the pictures, named by the column sha256 of photos.csv.\r\n\
         SHA256SUMS   fingerprints of all files: sha256sum -c SHA256SUMS\r\n\r\n\
         Amounts are whole numbers in base units: columns that end in _ml hold millilitres, _mg_l milligrams a litre, _s seconds, _m metres.\r\n\
         Times are UTC. A text that begins with = + - @ has an apostrophe before it, so that no spreadsheet takes it for a formula.\r\n\
         Passwords, links and sessions are left out.\r\n",
        now.date()
    );
    for (shape, rows) in shapes.iter().zip(counts) {
        let about = if shape.about.is_empty() { String::new() } else { format!(": {}", shape.about) };
        let _ = write!(text, "\r\n{} ({rows} rows){about}\r\n", shape.name);
        for c in &shape.columns {
            let about = if c.about.is_empty() { String::new() } else { format!(": {}", c.about) };
            let _ = write!(text, "  {} ({}){about}\r\n", c.name, c.kind);
        }
    }
    text
}

/// One line a file, in the form of `sha256sum`.
fn sums(path: &Path) -> io::Result<()> {
    let mut lines = Vec::new();
    for folder in ["", "tables", "photos"] {
        let within = path.join(folder);
        for entry in fs::read_dir(&within)? {
            let file = entry?.path();
            if let Some(name) = file.strip_prefix(path).ok().and_then(Path::to_str).filter(|_| file.is_file()) {
                lines.push(format!("{}  {name}\n", sum_of(&file)?.1));
            }
        }
    }
    lines.sort_by(|a, b| a[64..].cmp(&b[64..]));
    File::create_new(path.join("SHA256SUMS"))?.write_all(lines.concat().as_bytes())
}
