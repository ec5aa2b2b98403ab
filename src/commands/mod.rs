//! What each command does.

mod backup;
mod database;
mod doctor;
mod import;
mod import_roads;
mod print_week;
mod serve;

use anyhow::{Context, Result, bail};
use database::Database;
use embertide::{
    clock::Clock,
    jobs::{Search, plan_week::plan_week},
    settings::{Command, Place, Settings},
    store::{dealer, staff, week},
};
use std::io::Write;
use time::{Date, Duration};

/// Steps of the search for one week on each of its threads: a few seconds for a hundred visits. With a tenth of them a week of four
/// technicians costs about a hundredth more (`cargo bench --bench routes`).
pub(crate) const STEPS: u64 = 600_000;

/// The same for a season: about ten seconds.
pub(crate) const SEASON_STEPS: u64 = 900_000;

/// The same for the weeks that the demo begins with.
pub(crate) const DEMO_STEPS: u64 = 100_000;

pub(crate) async fn run(settings: Settings) -> Result<()> {
    match settings.command {
        Command::Demo(listen) => serve::demo(&settings.place, &listen).await,
        Command::Serve(listen) => serve::serve(&settings.place, &listen).await,
        Command::Backup { folder } => backup::backup(&settings.place, folder).await,
        Command::Export { folder } => backup::export(&settings.place, &folder).await,
        Command::Restore { backup, only_try: false } => backup::restore(&settings.place, &backup).await,
        Command::Restore { backup, only_try: true } => backup::try_out(&settings.place, &backup).await,
        Command::Plan { week, again } => plan(&settings.place, week.as_deref(), again).await,
        Command::Import { file, list, only_good_rows } => import::import(&settings.place, &file, list, only_good_rows.as_deref()).await,
        Command::ImportRoads { file, around, miles } => {
            let part = around.as_deref().zip(miles);
            import_roads::import_roads(&settings.place, &file, part).await
        }
        Command::Doctor => doctor::doctor(&settings.place).await,
        Command::Health { listen } => doctor::health(listen).await,
        Command::Unlock { sign_in } => unlock(&settings.place, &sign_in).await,
    }
}

/// Writes to the terminal. A reader who goes away (`| head`) is no error.
pub(crate) fn say(text: &str) {
    let _ = writeln!(std::io::stdout(), "{text}");
}

async fn plan(place: &Place, wanted: Option<&str>, again: bool) -> Result<()> {
    let db = Database::open(place, "data").await?;
    let done = plan_and_print(&db, wanted, again).await;
    db.close().await?;
    done
}

async fn plan_and_print(db: &Database, wanted: Option<&str>, again: bool) -> Result<()> {
    let today = dealer::get(&db.pool, Clock::System.now()).await?.today;
    let monday = match wanted {
        Some(text) => week::parse_week(text).with_context(|| format!("“{text}” names no week. Write it as 2026-W40."))?,
        None => coming_week(today),
    };
    let held = week::header(&db.pool, monday).await?;
    let issued = held.as_ref().is_some_and(|p| p.issued_at.is_some());
    if again && issued {
        bail!("Week {} is issued: technicians and customers count on it. Move single visits on its page instead.", week::week_name(monday));
    }
    if held.is_none() || again {
        plan_week(&db.pool, Clock::System, db.fresh_sources().await?, monday, Search::of(STEPS)).await?;
    }
    print_week::print(&db.pool, monday).await
}

/// The Monday after today, or today when it is one.
pub(crate) fn coming_week(today: Date) -> Date {
    let monday = week::monday_of(today);
    if monday == today { monday } else { monday.saturating_add(Duration::days(7)) }
}

async fn unlock(place: &Place, sign_in: &str) -> Result<()> {
    let db = Database::open(place, "data").await?;
    let now = Clock::System.now();
    let sign_in = sign_in.trim().to_lowercase();
    let Ok(id) = staff::id_of(&db.pool, &sign_in).await else {
        db.close().await?;
        bail!("Nobody signs in as “{sign_in}”.");
    };
    embertide::store::sessions::forget_failures(&db.pool, &format!("name {sign_in}")).await?;
    let mut c = db.pool.acquire().await?;
    embertide::store::second_factor::off(&mut c, id).await?;
    drop(c);
    let token = staff::make_setup_link(&db.pool, Some(id), now).await?;
    db.close().await?;
    say(&format!("Good once, for two days, on your server's address:\n  /setup/{token}"));
    Ok(())
}
