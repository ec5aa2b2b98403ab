//! Bringing in a list from the command line.

use super::{Database, say};
use anyhow::{Context, Result, bail};
use embertide::{
    clock::Clock,
    listing::{Kind, List, MAX_BYTES, rest},
    settings::{ListKind, Place},
    store::{
        dealer,
        events::Actor,
        lists::{self, Brought, Plan},
    },
};
use std::{fs::File, io::Read, path::Path};

/// Cells to fix that are printed one by one.
const SHOWN: usize = 50;

/// Brings in a file: all of it, or with `only_good_rows` the good rows, the others written to that file.
pub(super) async fn import(place: &Place, file: &Path, list: ListKind, only_good_rows: Option<&Path>) -> Result<()> {
    let kind = match list {
        ListKind::Customers => Kind::Customers,
        ListKind::Units => Kind::Units,
        ListKind::Tests => Kind::Tests,
    };
    let list = List::by_name(kind, &read(file)?).with_context(|| format!("{} cannot be brought in", file.display()))?;
    say(&format!("{}: {} rows, {} between the cells.", file.display(), list.sheet.rows.len(), list.sheet.separator.words()));
    let unused = list.matching.unused(&list.sheet.header);
    if !unused.is_empty() {
        say(&format!("Columns that are not used: {}.", unused.join(", ")));
    }
    let db = Database::open(place, "data").await?;
    let kept = keep(&db, &list, only_good_rows).await;
    db.close().await?;
    let (plan, brought) = kept?;
    tell(&list, &plan);
    match brought {
        Some(brought) => say(&summary(&brought)),
        None if !plan.missing.is_empty() => bail!("nothing was kept: rename the columns and try again"),
        None => bail!(
            "nothing was kept: {} of {} rows need fixing. Fix them, or keep the others with --only-good-rows REST.csv",
            plan.brought().to_fix,
            list.sheet.rows.len()
        ),
    }
    Ok(())
}

/// No more than one byte over the limit is read, whatever the file is.
fn read(file: &Path) -> Result<Vec<u8>> {
    let mut bytes = Vec::new();
    let most = u64::try_from(MAX_BYTES)? + 1;
    File::open(file).and_then(|f| f.take(most).read_to_end(&mut bytes)).with_context(|| format!("{} cannot be read", file.display()))?;
    Ok(bytes)
}

/// The rows to fix are written before the others are kept: when that cannot be done, nothing is.
async fn keep(db: &Database, list: &List, only_good_rows: Option<&Path>) -> Result<(Plan, Option<Brought>)> {
    let now = Clock::System.now();
    let today = dealer::get(&db.pool, now).await?.today;
    let mut tx = db.pool.begin().await?;
    let (plan, brought) = lists::keep(&mut tx, list, only_good_rows.is_some(), &Actor::command_line(), today, now).await?;
    if let Some(path) = only_good_rows.filter(|_| brought.is_some() && !plan.complaints.is_empty()) {
        std::fs::write(path, rest(&list.sheet, &plan.complaints))
            .with_context(|| format!("{} cannot be written, so nothing was kept", path.display()))?;
        say(&format!("The rows to fix are in {}.", path.display()));
    }
    if brought.is_some() {
        tx.commit().await?;
    }
    Ok((plan, brought))
}

fn tell(list: &List, plan: &Plan) {
    for missing in &plan.missing {
        say(missing);
    }
    for remark in &plan.remarks {
        say(remark);
    }
    for c in plan.complaints.iter().take(SHOWN) {
        let cell = if c.cell.is_empty() { "nothing" } else { &c.cell };
        say(&format!("  line {}, {}: it says {cell}. {}", c.line, c.column, c.what));
    }
    if plan.complaints.len() > SHOWN {
        say(&format!("  … and {} cells more.", plan.complaints.len() - SHOWN));
    }
    if !plan.missing.is_empty() {
        let names: Vec<&str> = list.kind.columns().iter().map(|c| c.name).collect();
        say(&format!("Columns of such a list: {}.", names.join(", ")));
    }
}

fn summary(b: &Brought) -> String {
    format!("Kept: {}. New rows: {}; already here: {}; to fix: {}.", b.words(), b.new_rows(), b.already, b.to_fix)
}
