//! Planning a week: what is due, what it is worth, what the solver makes of it, kept as a draft.

use super::{Error, expected};
use crate::{
    clock::Clock,
    roads::Drives,
    route::{self, Effort},
    season::{Penalties, penalty},
    store::{
        dealer, staff,
        water::UnitWater,
        week::{self, Candidate, Held, Laid, NewPlan, NewRoute, NewVisit, Placed, Proposal, Stop},
    },
    water::dose::verdict,
};
use sqlx::PgPool;
use std::{collections::HashMap, sync::atomic::AtomicBool};
use time::Date;
use uuid::Uuid;

/// What came out, in figures.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Planned {
    pub placed: usize,
    pub unplaced: usize,
}

/// Plans the week that starts on `monday` and keeps it as a draft. From noon on, today is over for planning.
pub async fn plan_week(pool: &PgPool, clock: Clock, drives: Drives, monday: Date, steps: u64) -> Result<Planned, Error> {
    let local = dealer::get(pool, clock.now()).await?.local;
    let first_day = if local.hour() < 12 { local.date() } else { local.date().saturating_add(time::Duration::days(1)) };
    plan_days(pool, clock, drives, monday, first_day, steps).await
}

/// Plans the days of a week from `first_day` on. Confirmed visits keep their technician, day and time.
///
/// The seed is made of the week, so that the same facts give the same plan.
pub async fn plan_days(pool: &PgPool, clock: Clock, drives: Drives, monday: Date, first_day: Date, steps: u64) -> Result<Planned, Error> {
    let now = clock.now();
    let today = dealer::get(pool, now).await?.today;
    let made_from = week::header(pool, monday).await?.map(|p| p.row_version);
    let seed = u64::from(monday.to_julian_day().unsigned_abs());
    let (drafts, days, technicians) = gather(pool, monday, today).await?;
    let first_day = first_day.max(monday);
    let drive_source = drives.label().to_owned();
    let (solved, drafts) = tokio::task::spawn_blocking(move || {
        let candidates: Vec<Candidate> = drafts.iter().filter_map(|d| d.candidate.clone()).collect();
        let solved = search(monday, first_day, &technicians, &days, &candidates, &drives, Effort { seed, iterations: steps });
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
        made_from,
        visits: drafts.into_iter().map(|d| d.settle(&solved)).collect(),
        routes: solved.routes,
    };
    let placed = plan.visits.iter().filter(|v| v.placed.is_some()).count();
    let mut tx = pool.begin().await?;
    week::save(&mut tx, &plan, now).await?;
    tx.commit().await?;
    Ok(Planned { placed, unplaced: plan.visits.len() - placed })
}

/// A visit on its way into the plan.
struct Draft {
    visit: NewVisit,
    candidate: Option<Candidate>,
}

impl Draft {
    fn settle(mut self, solved: &Solved) -> NewVisit {
        self.visit.placed = solved.placed.get(&self.visit.id).copied();
        if self.visit.placed.is_none() && self.candidate.is_some() {
            self.visit.why = solved.why.get(&self.visit.id).cloned().unwrap_or_default();
        }
        self.visit
    }
}

type Gathered = (Vec<Draft>, Vec<staff::WorkingDay>, Vec<staff::Technician>);

async fn gather(pool: &PgPool, monday: Date, today: Date) -> Result<Gathered, Error> {
    let mut c = pool.acquire().await?;
    let proposals = week::candidates(&mut c, monday, today).await?;
    let technicians = staff::technicians(&mut *c).await?;
    let days = staff::working_days(&mut *c, monday).await?;
    drop(c);
    let waters: Vec<&UnitWater> = proposals.iter().filter_map(|p| p.water.as_ref()).collect();
    let doses = expected::doses(pool, &waters, monday).await?;
    let standing = week::stops(pool, monday, None).await?;
    let mut drafts: Vec<Draft> = standing.iter().filter(|s| s.status == "confirmed").filter_map(confirmed).collect();
    let taken: Vec<Uuid> =
        standing.iter().filter(|s| ["confirmed", "done", "not done"].contains(&s.status.as_str())).map(|s| s.unit_id).collect();
    drafts.extend(proposals.iter().filter(|p| !taken.contains(&p.unit_id)).map(|p| proposed(p, monday, doses.get(&p.unit_id).copied())));
    Ok((drafts, days, technicians))
}

/// A confirmed visit: it stays where the customer was told.
fn confirmed(s: &Stop) -> Option<Draft> {
    let (staff_id, day, starts) = (s.staff_id?, s.day?, s.starts?);
    let candidate = s.lat.zip(s.lon).map(|pin| Candidate {
        visit_id: s.visit_id,
        place_id: s.place_id,
        pin,
        minutes: s.minutes,
        set_up: 0,
        opens: s.opens_on.min(day),
        closes: s.closes_on.max(day),
        penalty: i64::from(Penalties::default().overdue),
        skills: Vec::new(),
        load_ml: s.expected_dose_ml.unwrap_or(0),
        held: Held::At { staff_id, day, starts },
    });
    let visit = NewVisit {
        id: s.visit_id,
        confirmed: true,
        unit_id: s.unit_id,
        customer_id: Uuid::nil(),
        place_id: s.place_id,
        jobs: Vec::new(),
        opens_on: s.opens_on,
        closes_on: s.closes_on,
        minutes: s.minutes,
        reason: String::new(),
        expected_dose_ml: s.expected_dose_ml,
        placed: None,
        why: String::new(),
    };
    Some(Draft { visit, candidate })
}

fn proposed(p: &Proposal, monday: Date, dose: Option<i64>) -> Draft {
    let id = Uuid::now_v7();
    let minutes = i32::try_from(p.visit.minutes).unwrap_or(i32::MAX).max(1);
    let set_up = i32::try_from(p.visit.setup_minutes).unwrap_or(0).min(minutes);
    let last = p.water.as_ref().and_then(|w| w.last_test.map(|t| verdict(w.programme.levels, t.level)));
    let candidate = p.pin.map(|pin| Candidate {
        visit_id: id,
        place_id: p.place_id,
        pin,
        minutes: minutes - set_up,
        set_up,
        opens: p.visit.window.opens(),
        closes: p.visit.window.closes(),
        penalty: i64::from(penalty(p.visit.window, monday, last, &Penalties::default())),
        skills: p.visit.skills.iter().cloned().collect(),
        load_ml: dose.unwrap_or(0),
        held: Held::Free,
    });
    let reasons: Vec<&str> = p.visit.reasons().collect();
    let no_pin = format!("{} has no pin on the map. Set one on the customer’s page.", p.place_name);
    let visit = NewVisit {
        id,
        confirmed: false,
        unit_id: p.unit_id,
        customer_id: p.customer_id,
        place_id: p.place_id,
        jobs: p.visit.jobs.iter().map(|j| j.kind.clone()).collect(),
        opens_on: p.visit.window.opens(),
        closes_on: p.visit.window.closes(),
        minutes,
        reason: reasons.join(". "),
        expected_dose_ml: dose,
        placed: None,
        why: if candidate.is_none() { no_pin } else { String::new() },
    };
    Draft { visit, candidate }
}

/// The solver's answer, by visit.
struct Solved {
    placed: HashMap<Uuid, Placed>,
    routes: Vec<NewRoute>,
    why: HashMap<Uuid, String>,
}

fn search(
    monday: Date,
    first_day: Date,
    technicians: &[staff::Technician],
    days: &[staff::WorkingDay],
    candidates: &[Candidate],
    drives: &Drives,
    effort: Effort,
) -> Result<Solved, Error> {
    let laid = week::lay(monday, first_day, technicians, days, candidates, drives)?;
    let plan = route::solve(&laid.problem, &effort, &AtomicBool::new(false), &mut |_| {});
    let timed = route::check(&laid.problem, &plan.routes).map_err(|against| {
        let said: Vec<String> = against.iter().map(ToString::to_string).collect();
        Error::Other(format!("the checker refuses the plan: {}", said.join(" ")))
    })?;
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
