//! "When could you come?": where one more visit fits into a week that stands, and what it would cost there.

use super::{
    super::{
        Result, corrupt,
        staff::{self, Crew},
    },
    change::in_order,
    lay::{Candidate, Held, Span, lay, minute_of},
    save::{NewVisit, add_visits},
    under_way::{Begun, begun},
};
use crate::{
    roads::{Drives, Position},
    route,
    season::{Suit, not_before},
};
use sqlx::{PgConnection, PgExecutor};
use std::collections::HashMap;
use time::{Date, Duration, PrimitiveDateTime};
use uuid::Uuid;

/// The visit that is asked for.
#[derive(Clone, Debug)]
pub struct Wanted {
    /// The open visit that the unit has in this week already.
    pub visit_id: Option<Uuid>,
    pub place_id: Uuid,
    pub pin: (f64, f64),
    /// At the unit, set-up included.
    pub minutes: i32,
    pub set_up: i32,
    pub skills: Vec<String>,
    pub load_ml: i64,
    /// When somebody can be met there; empty: any time.
    pub suits: Vec<Suit>,
}

/// A place in the week where it fits.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Offer {
    pub staff_id: Uuid,
    pub technician: String,
    pub day: Date,
    /// 1 is the first stop of the day.
    pub position: usize,
    /// Minutes after midnight.
    pub starts: i32,
    /// Driving that it adds, in seconds.
    pub drive_s: i64,
}

/// The cheapest places from `now` on, in the dealer's own time, cheapest first, one at most a technician and day. A day that
/// breaks a rule already is not offered.
pub async fn offers(db: &mut PgConnection, drives: &Drives, monday: Date, now: PrimitiveDateTime, wanted: &Wanted) -> Result<Vec<Offer>> {
    let first_day = monday.max(now.date());
    let runs = (monday..monday.saturating_add(Duration::days(7))).contains(&now.date());
    let suits = if runs { not_before(&wanted.suits, now.date(), minute_of(now.time())) } else { Some(wanted.suits.clone()) };
    let Some(suits) = suits else { return Ok(Vec::new()) };
    let mut standing = placed_visits(&mut *db, monday, first_day).await?;
    standing.retain(|v| Some(v.id) != wanted.visit_id);
    let mut begun = begun(&mut *db, monday, first_day, None, now).await?;
    let mut crew = staff::crew(&mut *db, monday, 1).await?;
    let mut candidates = made(&mut *db, &mut begun, &mut crew, drives, now).await?;
    candidates.extend(still_to_make(&mut *db, monday, &standing, now).await?);
    let visit = candidates.len();
    candidates.push(asked(monday, wanted, suits));
    let laid = lay(Span::week(monday, first_day), &crew, &candidates, drives).map_err(|e| corrupt("week_plans", monday, e))?;
    let index = |id: Uuid| laid.visits.iter().position(|v| *v == id);
    let route = |at: &(Uuid, Date)| {
        let last = begun.get(at).and_then(|b| b.last).and_then(|l| index(l.visit));
        last.into_iter().chain(on_day(&laid.visits, &standing, at.0, at.1)).collect()
    };
    let routes: Vec<Vec<usize>> = laid.shifts.iter().map(route).collect();
    let name = |id: Uuid| crew.technicians.iter().find(|t| t.id == id).map(|t| t.name.clone()).unwrap_or_default();
    let offer = |slot: &route::Slot| {
        let (staff_id, day) = laid.shifts[slot.shift];
        let position = slot.position + 1 + begun.get(&(staff_id, day)).map_or(0, Begun::stops_before);
        Offer { staff_id, technician: name(staff_id), day, position, starts: slot.start / 60, drive_s: slot.drive_s }
    };
    Ok(route::what_if(&laid.problem, &routes, visit).iter().map(offer).collect())
}

/// Of each day under way the stop that was made last; the days of the crew begin with it.
async fn made(
    db: &mut PgConnection,
    begun: &mut HashMap<(Uuid, Date), Begun>,
    crew: &mut Crew,
    drives: &Drives,
    now: PrimitiveDateTime,
) -> Result<Vec<Candidate>> {
    let lasts: Vec<Uuid> = begun.values().filter_map(|b| b.last).map(|l| l.visit).collect();
    let mut candidates = in_order(db, &lasts).await?;
    for (at, begun) in begun {
        let Some(c) = candidates.iter_mut().find(|c| begun.last.is_some_and(|l| l.visit == c.visit_id)) else { continue };
        begun.set_day(crew, *at, c.pin, drives, now)?;
        begun.hold(c, *at);
    }
    Ok(candidates)
}

/// What stands, where it stands: its window does not matter any more.
async fn still_to_make(db: &mut PgConnection, monday: Date, standing: &[Standing], now: PrimitiveDateTime) -> Result<Vec<Candidate>> {
    let order: Vec<Uuid> = standing.iter().map(|v| v.id).collect();
    let mut candidates = in_order(db, &order).await?;
    for (c, at) in candidates.iter_mut().zip(standing) {
        (c.opens, c.closes) = (c.opens.min(monday), c.closes.max(monday + Duration::days(6)));
        c.allow(at.day, at.starts);
        if at.day == now.date() {
            c.suits = not_before(&c.suits, at.day, at.starts.min(minute_of(now.time()))).unwrap_or_default();
        }
    }
    Ok(candidates)
}

fn asked(monday: Date, wanted: &Wanted, suits: Vec<Suit>) -> Candidate {
    Candidate {
        visit_id: Uuid::now_v7(),
        place_id: wanted.place_id,
        pin: wanted.pin,
        minutes: (wanted.minutes - wanted.set_up).max(0),
        set_up: wanted.set_up,
        opens: monday,
        closes: monday + Duration::days(6),
        penalty: 1,
        skills: wanted.skills.clone(),
        load_ml: wanted.load_ml,
        product: None,
        held: Held::Free,
        late_per_day: None,
        must: false,
        suits,
    }
}

pub(super) struct Standing {
    pub(super) id: Uuid,
    pub(super) staff_id: Uuid,
    pub(super) day: Date,
    /// Minutes after midnight.
    pub(super) starts: i32,
}

/// The visits of a week that are still to be made and have a place from `first_day` on, in the order of their days.
pub(super) async fn placed_visits(db: impl PgExecutor<'_>, monday: Date, first_day: Date) -> Result<Vec<Standing>> {
    let rows = sqlx::query_as!(
        Standing,
        r#"SELECT v.id, v.staff_id AS "staff_id!", v.day AS "day!", v.starts AS "starts!" FROM visits v JOIN week_plans w ON w.id = v.week_plan_id
           WHERE w.monday = $1 AND v.day >= $2 AND v.staff_id IS NOT NULL AND v.status IN ('planned', 'confirmed')
           ORDER BY v.day, v.staff_id, v.position LIMIT 1000"#,
        monday,
        first_day
    );
    Ok(rows.fetch_all(db).await?)
}

/// The visits of a technician's day, as indices of the laid problem.
pub(super) fn on_day(visits: &[Uuid], standing: &[Standing], staff_id: Uuid, day: Date) -> Vec<usize> {
    let own = standing.iter().filter(|v| v.staff_id == staff_id && v.day == day);
    own.filter_map(|v| visits.iter().position(|id| *id == v.id)).collect()
}

/// The open visit that a unit has in a week.
#[derive(Clone, Copy, Debug)]
pub struct OpenVisit {
    pub id: Uuid,
    pub row_version: i32,
    /// Technician and day, where it has a place.
    pub at: Option<(Uuid, Date)>,
}

pub async fn open_visit(db: impl PgExecutor<'_>, monday: Date, unit_id: Uuid) -> Result<Option<OpenVisit>> {
    let found = sqlx::query!(
        "SELECT v.id, v.row_version, v.staff_id, v.day FROM visits v JOIN week_plans w ON w.id = v.week_plan_id
         WHERE w.monday = $1 AND v.unit_id = $2 AND v.status IN ('unplaced', 'planned', 'confirmed') LIMIT 1",
        monday,
        unit_id
    )
    .fetch_optional(db)
    .await?;
    Ok(found.map(|r| OpenVisit { id: r.id, row_version: r.row_version, at: r.staff_id.zip(r.day) }))
}

/// Adds jobs to an open visit, with their minutes (set-up is there already) and why; the dose where it tests the water by now.
pub async fn add_jobs(db: &mut PgConnection, visit_id: Uuid, jobs: &[String], reason: &str, dose_ml: Option<i64>) -> Result<()> {
    let new = sqlx::query_scalar!(
        "INSERT INTO visit_jobs (visit_id, job_code) SELECT $1, * FROM unnest($2::text[]) ON CONFLICT DO NOTHING RETURNING job_code",
        visit_id,
        jobs
    );
    let new = new.fetch_all(&mut *db).await?;
    if new.is_empty() {
        return Ok(());
    }
    sqlx::query!(
        "UPDATE visits SET minutes = least(1440, minutes + (SELECT coalesce(sum(minutes - set_up_minutes), 0)::int FROM job_kinds WHERE code = ANY($2))),
           reason = left(CASE WHEN position($3 IN reason) > 0 THEN reason ELSE concat_ws('. ', nullif(reason, ''), $3) END, 1000),
           expected_dose_ml = coalesce(expected_dose_ml, $4)
         WHERE id = $1",
        visit_id,
        &new,
        reason,
        dose_ml
    )
    .execute(db)
    .await?;
    Ok(())
}

/// Adds a visit to a week that is planned, still without a place.
pub async fn add_visit(db: &mut PgConnection, plan_id: Uuid, visit: &NewVisit) -> Result<()> {
    add_visits(db, plan_id, std::iter::once(visit)).await
}

/// Pins of the depots, of all stops in the weeks that begin from `first` to `last`, and of the place of that visit.
pub async fn pins(db: impl PgExecutor<'_>, first: Date, last: Date, visit: Option<Uuid>) -> Result<Vec<Position>> {
    let rows = sqlx::query!(
        r#"SELECT p.lat AS "lat!", p.lon AS "lon!" FROM week_plans w JOIN visits v ON v.week_plan_id = w.id JOIN places p ON p.id = v.place_id
           WHERE w.monday BETWEEN $1 AND $2 AND v.status IN ('planned', 'confirmed', 'done', 'not done') AND p.lat IS NOT NULL
           UNION SELECT p.lat, p.lon FROM visits v JOIN places p ON p.id = v.place_id WHERE v.id = $3 AND p.lat IS NOT NULL
           UNION SELECT lat, lon FROM depots LIMIT 5000"#,
        first,
        last,
        visit
    )
    .fetch_all(db)
    .await?;
    Ok(rows.into_iter().filter_map(|r| Position::new(r.lat, r.lon).ok()).collect())
}
