//! Serving the pages, on the owner's data or on the demo's.

use super::{DEMO_STEPS, Database, SEASON_STEPS, STEPS, backup, coming_week, database::beside, plan_and_print, say};
use anyhow::{Context, Result};
use embertide::{
    clock::Clock,
    demo,
    jobs::{
        Search, Worker,
        plan_week::{plan_from, plan_week},
    },
    roads::{
        Network,
        file::{self, Current},
    },
    settings::{Listen, Place},
    store::{dealer, photos::files::on_disk, queue, staff, week},
    web::{self, app::App},
};
use std::{sync::Arc, time::Duration};
use time::Date;
use tokio::{
    net::TcpListener,
    signal::unix::{Signal, SignalKind, signal},
    sync::Notify,
};
use tokio_util::sync::CancellationToken;

pub(super) async fn demo(place: &Place, listen: &Listen) -> Result<()> {
    say("Embertide demo: an invented dealership. Starting its database …");
    let listener = bind(listen).await?;
    if !listener.local_addr()?.ip().is_loopback() {
        say(
            "Note: the demo's password is in this program's source, and you let other machines reach it. Its data are invented; keep it that way.",
        );
    }
    let db = Database::open(place, "data/demo").await?;
    tell_folder(&db);
    let run = demo_on(&db, place, listener, listen).await;
    db.close().await?;
    say("Stopped.");
    run
}

async fn demo_on(db: &Database, place: &Place, listener: TcpListener, listen: &Listen) -> Result<()> {
    let now = Clock::System.now();
    if demo::is_empty(&db.pool).await? {
        say("Filling it with invented customers, units and five seasons of water tests …");
        let network = Arc::new(tokio::task::spawn_blocking(demo::county::roads).await?);
        demo::fill(&db.pool, network.as_ref().as_ref(), now).await?;
        keep_roads(db, place, network).await?;
        issue_a_week(db).await?;
    }
    let today = dealer::get(&db.pool, now).await?.today;
    let monday = coming_week(today);
    plan_and_print(db, Some(&week::week_name(monday)), false).await?;
    let end = End::listen()?;
    say(&demo::sign_ins(&address(&listener, listen)?));
    run(db, listener, listen, end).await
}

/// The demo's own roads, unless somebody has put others there.
async fn keep_roads(db: &Database, place: &Place, network: Arc<Option<Network>>) -> Result<()> {
    let folder = db.folder.clone().unwrap_or_else(|| beside(place, "data/demo"));
    let path = folder.join(file::NAME);
    if path.exists() {
        return Ok(());
    }
    let save = move || -> Result<()> {
        std::fs::create_dir_all(&folder)?;
        if let Some(network) = network.as_ref() {
            file::save(&path, network)?;
        }
        Ok(())
    };
    tokio::task::spawn_blocking(save).await?.context("The invented roads cannot be written")
}

/// The demo's technicians have stops: the rest of this week is planned and issued, or the coming week when nobody works any more in this one.
async fn issue_a_week(db: &Database) -> Result<()> {
    let now = Clock::System.now();
    let today = dealer::get(&db.pool, now).await?.today;
    let (monday, coming) = (week::monday_of(today), coming_week(today));
    plan_from(&db.pool, Clock::System, db.fresh_sources().await?, monday, today.midnight(), Search::of(DEMO_STEPS)).await?;
    issue(db, monday).await?;
    if coming != monday && week::routes(&db.pool, monday, None).await?.is_empty() {
        plan_week(&db.pool, Clock::System, db.fresh_sources().await?, coming, Search::of(DEMO_STEPS)).await?;
        issue(db, coming).await?;
    }
    // The season takes longer; it is planned while the pages are served already.
    queue::ask(&mut *db.pool.acquire().await?, queue::PLAN_SEASON, &serde_json::json!({}), now, None).await?;
    Ok(())
}

async fn issue(db: &Database, monday: Date) -> Result<()> {
    let plan = week::header(&db.pool, monday).await?.context("the week's plan is gone")?;
    Ok(week::issue(&db.pool, monday, plan.row_version, Clock::System.now()).await?)
}

pub(super) async fn serve(place: &Place, listen: &Listen) -> Result<()> {
    let listener = bind(listen).await?;
    let db = Database::open(place, "data").await?;
    tell_folder(&db);
    let run = serve_on(&db, place, listener, listen).await;
    db.close().await?;
    run
}

async fn serve_on(db: &Database, place: &Place, listener: TcpListener, listen: &Listen) -> Result<()> {
    let address = address(&listener, listen)?;
    let end = End::listen()?;
    if staff::any_owner(&db.pool).await? {
        say(&format!("Embertide serves at {address}"));
    } else {
        let token = staff::make_setup_link(&db.pool, None, Clock::System.now()).await?;
        say(&format!(
            "Embertide serves at {address}\n\nThis is a new installation. Make the owner's account here, within two days:\n  {address}/setup/{token}\n"
        ));
    }
    let nights = backup::every_night(db, place.backups.as_deref());
    tokio::select! {
        ran = run(db, listener, listen, end) => ran,
        () = nights => Ok(()),
    }
}

fn tell_folder(db: &Database) {
    let Some(folder) = &db.folder else { return };
    let why = if db.moved { " (the database's own user cannot reach the folder you are in)" } else { "" };
    let shared = if db.is_shared() { ", attached to the database that another program started" } else { "" };
    say(&format!("Data folder: {}{why}{shared}", folder.display()));
}

/// Everything but photos works without a folder to write to; whoever serves should know.
async fn tell_photos(db: &Database) {
    let folder = db.photos.clone();
    if let Err(e) = on_disk(move || folder.try_out()).await {
        let place = db.photos.path().map(|p| p.display().to_string()).unwrap_or_default();
        say(&format!(
            "Note: photos cannot be kept in {place} ({e}). They stay on the phones until they can; name a data folder with --data."
        ));
    }
}

async fn bind(listen: &Listen) -> Result<TcpListener> {
    let why = || format!("Cannot listen on {}. Is another Embertide running? Choose another with --listen 127.0.0.1:8081", listen.listen);
    TcpListener::bind(listen.listen).await.with_context(why)
}

fn address(listener: &TcpListener, listen: &Listen) -> Result<String> {
    let own = format!("http://{}", listener.local_addr()?);
    Ok(listen.public_url.clone().unwrap_or(own).trim_end_matches('/').to_owned())
}

/// Serves until Ctrl-C or SIGTERM; then running requests and writes are finished, for ten seconds at most.
async fn run(db: &Database, listener: TcpListener, listen: &Listen, end: End) -> Result<()> {
    let stop = CancellationToken::new();
    let bell = Arc::new(Notify::new());
    tell_photos(db).await;
    let app = App::new(db.pool.clone(), Clock::System, &address(&listener, listen)?, Arc::clone(&bell))
        .with_sources(db.sources.clone())
        .with_photos(db.photos.clone());
    let writes = app.writes.clone();
    let worker = Worker {
        pool: db.pool.clone(),
        clock: Clock::System,
        bell,
        sources: db.sources.clone(),
        photos: db.photos.clone(),
        steps: STEPS,
        season_steps: SEASON_STEPS,
    };
    let roads = tokio::spawn(follow_roads(Arc::clone(db.sources.file()), stop.clone()));
    let background = tokio::spawn(worker.run(stop.clone()));
    let (router, _) = web::router(app);
    let serving = tokio::spawn(web::serve::serve(listener, router, stop.clone()));
    end.wait().await;
    stop.cancel();
    let _ = serving.await;
    let _ = roads.await;
    writes.close();
    let _ = tokio::time::timeout(Duration::from_secs(10), writes.wait()).await;
    let _ = tokio::time::timeout(Duration::from_secs(10), background).await;
    Ok(())
}

/// A road file that is put in place while serving is in use within half a minute.
async fn follow_roads(roads: Arc<Current>, stop: CancellationToken) {
    loop {
        let current = Arc::clone(&roads);
        match tokio::task::spawn_blocking(move || current.refresh()).await {
            Ok(Ok(true)) => tracing::info!(by_road = roads.roads().is_some(), "driving times come from another road file now"),
            Ok(Err(e)) => tracing::warn!(error = %e, "the road file is not used; the roads from before stay"),
            Ok(Ok(false)) | Err(_) => {}
        }
        tokio::select! {
            () = tokio::time::sleep(Duration::from_secs(30)) => {}
            () = stop.cancelled() => return,
        }
    }
}

/// The signals that end the program. They are listened for before its address is told, so that whoever knows it can end it cleanly.
struct End {
    interrupt: Signal,
    terminate: Signal,
}

impl End {
    fn listen() -> Result<Self> {
        Ok(Self { interrupt: signal(SignalKind::interrupt())?, terminate: signal(SignalKind::terminate())? })
    }

    async fn wait(mut self) {
        tokio::select! {
            _ = self.interrupt.recv() => {}
            _ = self.terminate.recv() => {}
        }
    }
}
