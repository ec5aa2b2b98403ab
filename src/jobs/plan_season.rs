//! Planning a season: every visit of it over its weeks, made even, by area. Issued weeks stay as they are.

use super::{
    Error, Search, THREADS,
    drafts::{self, Worth},
};
use crate::{
    clock::Clock,
    roads::Drives,
    route::{self, Effort, Season},
    sources::Sources,
    store::{
        catalogue, dealer,
        season_plan::{self, At, NewSeason, NewVisit, Week},
        staff::{self, Crew},
        week::{self, Candidate, Laid, Span},
    },
};
use sqlx::{PgConnection, PgPool};
use std::{
    collections::{BTreeMap, HashMap},
    sync::atomic::AtomicBool,
};
use time::{Date, Duration};
use uuid::Uuid;

/// The most weeks that are planned ahead.
const MOST_WEEKS: u8 = 20;
/// One area for so many visits, within [`AREAS`].
const PER_AREA: usize = 25;
const AREAS: (usize, usize) = (2, 9);

/// The season's visits on their way into the plan.
struct Gathered {
    span: Span,
    until: Date,
    crew: Crew,
    visits: Vec<NewVisit>,
    candidates: Vec<Option<Candidate>>,
    /// Told visits of weeks that are not issued, already kept elsewhere: they only take up room.
    told: Vec<Candidate>,
    towns: HashMap<Uuid, String>,
}

/// Plans the season that is open, else the next one, from tomorrow on, and keeps the plan in place of the one before.
///
/// The seed is made of the first week, so that the same facts give the same plan. Once it is cancelled it ends with [`Error::Stopped`],
/// and the plan before stays.
pub async fn plan_season(pool: &PgPool, clock: Clock, sources: &Sources, wanted: Search) -> Result<(), Error> {
    let Search { steps, cancel } = wanted;
    let now = clock.now();
    let today = dealer::get(pool, now).await?.today;
    let gathered = {
        let mut c = pool.acquire().await?;
        gather(&mut c, today).await?
    };
    let seed = u64::from(gathered.span.monday.to_julian_day().unsigned_abs());
    let candidates = gathered.candidates.iter().flatten().chain(&gathered.told);
    // A road that is closed now is open in most weeks of a season; each week goes round it when it is planned.
    let drives = sources.drives(pool, &drafts::pins(&gathered.crew, candidates), &[]).await?;
    let drive_source = drives.label();
    let effort = Effort::new(seed, steps).on(THREADS);
    let solved =
        tokio::task::spawn_blocking(move || search(gathered, &drives, &effort, &cancel)).await.map_err(|e| Error::Other(e.to_string()))?;
    let (g, weeks) = solved?;
    let plan = NewSeason {
        monday: g.span.monday,
        until: g.until,
        seed: i64::try_from(seed).unwrap_or(0),
        iterations: i64::try_from(steps).unwrap_or(i64::MAX),
        drive_source,
        weeks,
        visits: g.visits,
    };
    let mut tx = pool.begin().await?;
    season_plan::save(&mut tx, &plan, now).await?;
    tx.commit().await?;
    Ok(())
}

async fn gather(db: &mut PgConnection, today: Date) -> Result<Gathered, Error> {
    let calendar = catalogue::job_book(&mut *db).await?.calendar;
    let (_, season) = calendar.current_or_next(today).ok_or_else(|| Error::Other("the calendar has no season ahead".to_owned()))?;
    let first_day = season.opens().max(today + Duration::days(1));
    let monday = week::monday_of(first_day);
    let weeks = u8::try_from(((season.closes() - monday).whole_days() / 7 + 1).clamp(1, MOST_WEEKS.into())).unwrap_or(1);
    let until = monday + Duration::days(i64::from(weeks) * 7 - 1);
    let proposals = season_plan::candidates(&mut *db, first_day, until, today).await?;
    let mut crew = staff::crew(&mut *db, monday, weeks).await?;
    let issued = season_plan::issued(&mut *db, monday).await?;
    crew.days.retain(|d| !issued.contains(&week::monday_of(d.day)));
    let told = season_plan::told(&mut *db, monday, until).await?;
    let told = week::in_order(&mut *db, &told).await?;
    let places: Vec<Uuid> = proposals.iter().map(|p| p.place_id).collect();
    let towns = season_plan::towns(&mut *db, &places).await?;
    let worth = Worth { monday: until - Duration::days(6), prices: crew.prices, musts: Vec::new() };
    let (mut visits, mut candidates) = (Vec::new(), Vec::new());
    for p in &proposals {
        let draft = drafts::proposed(p, &worth, None, None);
        visits.push(NewVisit {
            unit_id: p.unit_id,
            at: None,
            area: towns.get(&p.place_id).cloned().unwrap_or_default(),
            minutes: draft.visit.minutes,
            jobs: draft.visit.jobs,
            opens_on: draft.visit.opens_on,
            closes_on: draft.visit.closes_on,
            why: draft.visit.why,
        });
        candidates.push(draft.candidate);
    }
    Ok(Gathered { span: Span { monday, weeks, first_day }, until, crew, visits, candidates, told, towns })
}

/// A season's visit is worth at least so much more than any way to it, seconds: it is left out only where it cannot be made.
const WORTH: i64 = 57_600;

fn search(mut g: Gathered, drives: &Drives, effort: &Effort, cancel: &AtomicBool) -> Result<(Gathered, Vec<Week>), Error> {
    let with_pin: Vec<usize> = (0..g.visits.len()).filter(|v| g.candidates[*v].is_some()).collect();
    let own = g.candidates.iter().flatten().cloned().map(|c| Candidate { penalty: c.penalty + WORTH, ..c });
    let all: Vec<Candidate> = own.chain(g.told.iter().cloned()).collect();
    let laid = week::lay(g.span, &g.crew, &all, drives)?;
    let price = i64::from(g.crew.prices.uneven_seconds);
    let season = route::season(&laid.problem, &[], 0, price, effort, cancel, &mut |_| {}).map_err(|e| Error::Other(e.to_string()))?;
    if !season.finished {
        return Err(Error::Stopped);
    }
    let timed = drafts::checked(&laid.problem, &season.routes)?;
    for r in &timed.routes {
        let (staff_id, day) = laid.shifts[r.shift];
        for stop in &r.stops {
            if let Some(v) = with_pin.get(stop.visit) {
                g.visits[*v].at = Some(At { staff_id, day, starts: stop.start / 60 });
            }
        }
    }
    for (visit, reason) in route::explain(&laid.problem, &season.routes) {
        if let Some(v) = with_pin.get(visit) {
            g.visits[*v].why = reason.to_string();
        }
    }
    name_areas(&mut g, &with_pin, &all, &laid);
    let weeks = weeks(&g, &season);
    Ok((g, weeks))
}

/// Names each area by the town that most of its visits lie in.
fn name_areas(g: &mut Gathered, with_pin: &[usize], candidates: &[Candidate], laid: &Laid) {
    let count = (with_pin.len() / PER_AREA).clamp(AREAS.0, AREAS.1);
    let areas = route::areas(&laid.problem, count);
    let mut towns: Vec<BTreeMap<&str, usize>> = vec![BTreeMap::new(); count.max(1)];
    for (k, _) in with_pin.iter().enumerate() {
        let town = g.towns.get(&candidates[k].place_id).map_or("", String::as_str);
        if !town.is_empty() {
            *towns[areas[k]].entry(town).or_default() += 1;
        }
    }
    let name = |area: usize| {
        let most = towns[area].iter().max_by_key(|(town, n)| (**n, std::cmp::Reverse(**town)));
        most.map_or_else(|| format!("area {}", area + 1), |(town, _)| format!("round {town}"))
    };
    let names: Vec<String> = (0..towns.len()).map(name).collect();
    for (k, v) in with_pin.iter().enumerate() {
        g.visits[*v].area.clone_from(&names[areas[k]]);
    }
}

/// Hours worked and planned, week by week.
fn weeks(g: &Gathered, season: &Season) -> Vec<Week> {
    (0..g.span.weeks)
        .map(|n| {
            let monday = g.span.monday + Duration::weeks(n.into());
            let own = g.crew.days.iter().filter(|d| d.day >= g.span.first_day && week::monday_of(d.day) == monday);
            let at = |all: &[i64]| all.get(usize::from(n)).copied().unwrap_or(0);
            Week {
                monday,
                hours_s: own.map(|d| i64::from(d.ends - d.starts) * 60).sum(),
                work_s: at(&season.even_s),
                before_s: at(&season.uneven_s),
            }
        })
        .collect()
}
