//! Planning a week: what is due, what it is worth, what the solver makes of it, kept as a draft.

use super::{
    Error, Search, THREADS,
    drafts::{self, Draft, Worth},
};
use crate::{
    clock::Clock,
    roads::{Drives, closed::Closure},
    route::{self, Effort},
    sources::Sources,
    store::{
        catalogue,
        closures::{self, RoadClosure},
        dealer, season_plan,
        staff::{self, Crew},
        water::{UnitWater, expected_doses},
        week::{self, Candidate, Laid, NewPlan, NewRoute, NewVisit, Placed, Proposal, Span, Stop},
    },
};
use sqlx::PgPool;
use std::{
    collections::HashMap,
    sync::atomic::{AtomicBool, Ordering},
};
use time::{Date, Duration, PrimitiveDateTime};
use uuid::Uuid;

/// What came out, in figures.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Planned {
    pub placed: usize,
    pub unplaced: usize,
}

/// Plans the week that starts on `monday` and keeps it as a draft: what is left of today, until noon; then today is over for planning.
pub async fn plan_week(pool: &PgPool, clock: Clock, sources: &Sources, monday: Date, search: Search) -> Result<Planned, Error> {
    let local = dealer::get(pool, clock.now()).await?.local;
    let from = if local.hour() < 12 { local } else { local.date().saturating_add(Duration::days(1)).midnight() };
    plan_from(pool, clock, sources, monday, from, search).await
}

/// Plans what a week holds from `from` on, in the dealer's own time. Confirmed visits keep their technician, day and time.
///
/// The seed is made of the week, so that the same facts give the same plan. Ended before, it fails with [`Error::Stopped`], and the plan
/// before stays.
pub async fn plan_from(
    pool: &PgPool,
    clock: Clock,
    sources: &Sources,
    monday: Date,
    from: PrimitiveDateTime,
    search: Search,
) -> Result<Planned, Error> {
    let now = clock.now();
    let today = dealer::get(pool, now).await?.today;
    let made_from = week::header(pool, monday).await?.map(|p| p.row_version);
    let seed = u64::from(monday.to_julian_day().unsigned_abs());
    let from = from.max(monday.midnight());
    let (mut drafts, mut crew) = gather(pool, monday, from, today).await?;
    drafts::begin(&mut crew, drafts.iter_mut().filter_map(|d| d.candidate.as_mut()), from);
    let candidates = drafts.iter().filter_map(|d| d.candidate.as_ref());
    let shut = closures::of_week(pool, monday).await?;
    let closed: Vec<Closure> = shut.iter().map(RoadClosure::closure).collect();
    let drives = sources.drives(pool, &drafts::pins(&crew, candidates), &closed).await?;
    let drive_source = drives.label();
    let steps = search.steps;
    let (solved, drafts) = tokio::task::spawn_blocking(move || {
        let candidates: Vec<Candidate> = drafts.iter().filter_map(|d| d.candidate.clone()).collect();
        let effort = Effort::new(seed, steps).on(THREADS);
        let solved = solve(Span::week(monday, from.date()), &crew, &candidates, &drives, (&effort, &search.cancel));
        (solved, drafts)
    })
    .await
    .map_err(|e| Error::Other(e.to_string()))?;
    let solved = solved?;
    let plan = NewPlan {
        monday,
        seed: i64::try_from(seed).unwrap_or(0),
        iterations: i64::try_from(steps).unwrap_or(i64::MAX),
        drive_source,
        closed_roads: shut.iter().map(|c| c.id).collect(),
        made_from,
        first_day: from.date(),
        visits: drafts.into_iter().map(|d| solved.settle(d)).collect(),
        routes: solved.routes,
    };
    let placed = plan.visits.iter().filter(|v| v.placed.is_some()).count();
    let mut tx = pool.begin().await?;
    week::save(&mut tx, &plan, now).await?;
    tx.commit().await?;
    Ok(Planned { placed, unplaced: plan.visits.len() - placed })
}

/// The week on its way into the plan, and who works in it.
type Gathered = (Vec<Draft>, Crew);

async fn gather(pool: &PgPool, monday: Date, from: PrimitiveDateTime, today: Date) -> Result<Gathered, Error> {
    let mut c = pool.acquire().await?;
    let proposals = week::candidates(&mut c, monday, today).await?;
    let crew = staff::crew(&mut c, monday, 1).await?;
    let season = season_plan::weeks(&mut *c).await?;
    let musts = week::musts(&mut *c, monday).await?;
    let book = catalogue::job_book(&mut c).await?;
    let treatments = catalogue::treatments(&mut c).await?;
    drop(c);
    // Where the water is not tested, nothing is put in.
    let tested = |p: &&Proposal| book.tests(p.visit.jobs.iter().map(|j| j.kind.as_str()));
    let waters: Vec<&UnitWater> = proposals.iter().filter(tested).filter_map(|p| p.water.as_ref()).collect();
    let doses = expected_doses(pool, &treatments, &waters, monday).await?;
    let standing = week::stops(pool, monday, None).await?;
    let mut drafts = confirmed(pool, &standing, from.date()).await?;
    let taken: Vec<Uuid> =
        standing.iter().filter(|s| ["confirmed", "done", "not done"].contains(&s.status.as_str())).map(|s| s.unit_id).collect();
    let week = Worth { monday, prices: crew.prices, musts };
    // What opens when nobody works here any more is next week's business, not something without room in this one.
    let last = crew.days.iter().map(|d| d.day).max();
    let in_time = |p: &Proposal| last.is_none_or(|last| p.visit.window.opens() <= last) || week.musts.contains(&p.unit_id);
    let open = proposals.iter().filter(|p| !taken.contains(&p.unit_id) && in_time(p));
    drafts.extend(open.map(|p| drafts::proposed(p, &week, season.get(&p.unit_id).copied(), doses.get(&p.unit_id).copied())));
    Ok((drafts, crew))
}

/// Confirmed visits from `first_day` on that have a pin; others stay as they are.
async fn confirmed(pool: &PgPool, standing: &[Stop], first_day: Date) -> Result<Vec<Draft>, Error> {
    let kept: Vec<&Stop> =
        standing.iter().filter(|s| s.status == "confirmed" && s.lat.is_some() && s.day.is_some_and(|d| d >= first_day)).collect();
    let ids: Vec<Uuid> = kept.iter().map(|s| s.visit_id).collect();
    let candidates = week::in_order(&mut *pool.acquire().await?, &ids).await?;
    Ok(kept.into_iter().zip(candidates).filter_map(|(s, c)| drafts::confirmed(s, c)).collect())
}

/// The solver's answer, by visit.
struct Solved {
    placed: HashMap<Uuid, Placed>,
    routes: Vec<NewRoute>,
    why: HashMap<Uuid, String>,
}

impl Solved {
    fn settle(&self, draft: Draft) -> NewVisit {
        let id = draft.visit.id;
        draft.settle(self.placed.get(&id).copied(), self.why.get(&id))
    }
}

fn solve(
    span: Span,
    crew: &Crew,
    candidates: &[Candidate],
    drives: &Drives,
    (effort, cancel): (&Effort, &AtomicBool),
) -> Result<Solved, Error> {
    let laid = week::lay(span, crew, candidates, drives)?;
    let plan = route::solve(&laid.problem, effort, cancel, &mut |_| {});
    if cancel.load(Ordering::Relaxed) {
        return Err(Error::Stopped);
    }
    let timed = drafts::checked(&laid.problem, &plan.routes)?;
    Ok(read(&laid, &timed, &plan.routes))
}

fn read(laid: &Laid, timed: &route::TimedPlan, routes: &[Vec<usize>]) -> Solved {
    let mut placed = HashMap::new();
    let mut kept = Vec::new();
    for r in &timed.routes {
        let (staff_id, day) = laid.shifts[r.shift];
        for (position, stop) in (1_i16..).zip(&r.stops) {
            placed.insert(laid.visits[stop.visit], week::placed(staff_id, day, position, stop));
        }
        kept.push(week::new_route(staff_id, day, r, String::new()));
    }
    let why = route::explain(&laid.problem, routes).into_iter().map(|(v, reason)| (laid.visits[v], reason.to_string())).collect();
    Solved { placed, routes: kept, why }
}
