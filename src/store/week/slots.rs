//! "When could you come?": where one more visit fits into a week that stands, and what it would cost there.

use super::{
    super::{Result, corrupt, staff},
    change::{OPEN, OVER, in_order},
    lay::{Candidate, Held, Span, lay, minute_of},
    save::{NewVisit, add_visits},
};
use crate::{
    roads::{Drives, Position},
    route,
    season::{Suit, not_before},
};
use sqlx::{PgConnection, PgExecutor};
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
    let standing = placed_visits(&mut *db, monday, first_day, &[OPEN, OVER].concat()).await?;
    let order: Vec<Uuid> = standing.iter().filter(|v| Some(v.id) != wanted.visit_id).map(|v| v.id).collect();
    let mut candidates = in_order(&mut *db, &order).await?;
    for c in &mut candidates {
        (c.opens, c.closes) = (c.opens.min(monday), c.closes.max(monday + Duration::days(6)));
        if let Some(at) = standing.iter().find(|v| v.id == c.visit_id) {
            c.allow(at.day, at.starts);
            if at.over {
                c.skills.clear();
            }
        }
    }
    let asked = Uuid::now_v7();
    candidates.push(Candidate {
        visit_id: asked,
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
    });
    let crew = staff::crew(db, monday, 1).await?;
    let laid = lay(Span::week(monday, first_day), &crew, &candidates, drives).map_err(|e| corrupt("week_plans", monday, e))?;
    let routes: Vec<Vec<usize>> = laid.shifts.iter().map(|(staff_id, day)| on_day(&laid.visits, &standing, *staff_id, *day)).collect();
    let visit = candidates.len() - 1;
    let name = |id: Uuid| crew.technicians.iter().find(|t| t.id == id).map(|t| t.name.clone()).unwrap_or_default();
    let offer = |slot: &route::Slot| {
        let (staff_id, day) = laid.shifts[slot.shift];
        Offer { staff_id, technician: name(staff_id), day, position: slot.position + 1, starts: slot.start / 60, drive_s: slot.drive_s }
    };
    Ok(route::what_if(&laid.problem, &routes, visit).iter().map(offer).collect())
}

pub(super) struct Standing {
    pub(super) id: Uuid,
    pub(super) staff_id: Uuid,
    pub(super) day: Date,
    /// Minutes after midnight.
    pub(super) starts: i32,
    pub(super) over: bool,
}

/// The visits of a week in one of these states that have a place from `first_day` on, in the order of their days; of a day those
/// that are over first.
pub(super) async fn placed_visits(db: impl PgExecutor<'_>, monday: Date, first_day: Date, states: &[&str]) -> Result<Vec<Standing>> {
    let rows = sqlx::query!(
        r#"SELECT v.id, v.staff_id AS "staff_id!", v.day AS "day!", v.starts AS "starts!", v.status IN ('done', 'not done') AS "over!" FROM visits v JOIN week_plans w ON w.id = v.week_plan_id
           WHERE w.monday = $1 AND v.day >= $2 AND v.staff_id IS NOT NULL AND v.status = ANY($3) ORDER BY v.day, v.staff_id, v.status IN ('done', 'not done') DESC, v.position LIMIT 1000"#,
        monday,
        first_day,
        states as &[&str]
    )
    .fetch_all(db)
    .await?;
    Ok(rows.into_iter().map(|r| Standing { id: r.id, staff_id: r.staff_id, day: r.day, starts: r.starts, over: r.over }).collect())
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

/// Adds a visit to a week that is planned, still without a place.
pub async fn add_visit(db: &mut PgConnection, plan_id: Uuid, visit: &NewVisit) -> Result<()> {
    add_visits(db, plan_id, std::iter::once(visit)).await
}

/// Pins of the depots, of all stops in the weeks that begin from `first` to `last`, and of the place of that visit.
pub async fn pins(db: impl PgExecutor<'_>, first: Date, last: Date, visit: Option<Uuid>) -> Result<Vec<Position>> {
    let rows = sqlx::query!(
        r#"SELECT p.lat AS "lat!", p.lon AS "lon!" FROM week_plans w JOIN visits v ON v.week_plan_id = w.id JOIN places p ON p.id = v.place_id
           WHERE w.monday BETWEEN $1 AND $2 AND v.status IN ('planned', 'confirmed') AND p.lat IS NOT NULL
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
