//! Roads that are closed for a while, and which of them a planned week does not know of yet.

use super::{Error, Result, corrupt};
use crate::roads::{Position, closed::Closure};
use sqlx::{PgConnection, PgExecutor};
use time::{Date, Duration, OffsetDateTime};
use uuid::Uuid;

/// So many closures may stand at once; more are refused, so that no list of them is ever cut short.
pub const MOST: i64 = 100;

/// A road that is closed.
#[derive(Clone, Debug, PartialEq)]
pub struct RoadClosure {
    pub id: Uuid,
    pub at: Position,
    /// Metres; 0: the road nearest to the pin, at the pin; else every road within so much of it.
    pub reach_m: i32,
    /// Its name by the road file; empty: it has none there.
    pub road: String,
    pub from: Date,
    /// Last day; `None`: nobody knows yet.
    pub to: Option<Date>,
    pub note: String,
    pub row_version: i32,
}

impl RoadClosure {
    /// As the roads room takes it.
    pub fn closure(&self) -> Closure {
        Closure { at: self.at, radius_m: f64::from(self.reach_m) }
    }

    /// Whether it holds on any day of the week that begins on `monday`.
    pub fn holds_in(&self, monday: Date) -> bool {
        self.from <= monday.saturating_add(Duration::days(6)) && self.to.is_none_or(|to| to >= monday)
    }
}

struct Kept {
    id: Uuid,
    lat: f64,
    lon: f64,
    reach_m: i32,
    road: String,
    from_day: Date,
    to_day: Option<Date>,
    note: String,
    row_version: i32,
}

impl Kept {
    fn read(self) -> Result<RoadClosure> {
        Ok(RoadClosure {
            at: Position::new(self.lat, self.lon).map_err(|e| corrupt("road_closures", self.id, e))?,
            id: self.id,
            reach_m: self.reach_m,
            road: self.road,
            from: self.from_day,
            to: self.to_day,
            note: self.note,
            row_version: self.row_version,
        })
    }
}

/// The closures that hold on any day from `first` to `last`, in the order in which they begin.
pub async fn holding(db: impl PgExecutor<'_>, first: Date, last: Date) -> Result<Vec<RoadClosure>> {
    let rows = sqlx::query_as!(
        Kept,
        "SELECT id, lat, lon, reach_m, road, from_day, to_day, note, row_version FROM road_closures
         WHERE lifted_at IS NULL AND from_day <= $2 AND (to_day >= $1 OR to_day IS NULL) ORDER BY from_day, id LIMIT $3",
        first,
        last,
        MOST
    )
    .fetch_all(db)
    .await?;
    rows.into_iter().map(Kept::read).collect()
}

/// The closures that hold on any day of the week that begins on `monday`: they count for the whole week.
pub async fn of_week(db: impl PgExecutor<'_>, monday: Date) -> Result<Vec<RoadClosure>> {
    holding(db, monday, monday.saturating_add(Duration::days(6))).await
}

/// Those that hold today or will, the next first.
pub async fn standing(db: impl PgExecutor<'_>, today: Date) -> Result<Vec<RoadClosure>> {
    holding(db, today, Date::MAX).await
}

/// Closures by their ids, opened again or not.
pub async fn named(db: impl PgExecutor<'_>, ids: &[Uuid]) -> Result<Vec<RoadClosure>> {
    let rows = sqlx::query_as!(
        Kept,
        "SELECT id, lat, lon, reach_m, road, from_day, to_day, note, row_version FROM road_closures WHERE id = ANY($1) ORDER BY from_day, id LIMIT 1000",
        ids
    )
    .fetch_all(db)
    .await?;
    rows.into_iter().map(Kept::read).collect()
}

/// Keeps a closure under its own id. [`Error::Rule`] `too_many_closures` when [`MOST`] stand already.
pub async fn add(db: &mut PgConnection, c: &RoadClosure, staff_id: Uuid, today: Date, now: OffsetDateTime) -> Result<()> {
    // Over before today is history, and never too many.
    let most = usize::try_from(MOST).unwrap_or(usize::MAX);
    if c.to.is_none_or(|to| to >= today) && standing(&mut *db, today).await?.len() >= most {
        return Err(Error::Rule("too_many_closures".to_owned()));
    }
    sqlx::query!(
        "INSERT INTO road_closures (id, lat, lon, reach_m, road, from_day, to_day, note, made_by, made_at) VALUES ($1, $2, $3, $4, left($5, 120), $6, $7, $8, $9, $10)",
        c.id,
        c.at.lat(),
        c.at.lon(),
        c.reach_m,
        c.road,
        c.from,
        c.to,
        c.note,
        staff_id,
        now
    )
    .execute(db)
    .await?;
    Ok(())
}

/// The road is open again, whatever its days said. Gives its name. [`Error::Clash`] when somebody changed it meanwhile.
pub async fn lift(db: impl PgExecutor<'_>, id: Uuid, row_version: i32, staff_id: Uuid, now: OffsetDateTime) -> Result<String> {
    let done = sqlx::query_scalar!(
        "UPDATE road_closures SET lifted_by = $3, lifted_at = $4, row_version = row_version + 1 WHERE id = $1 AND row_version = $2 AND lifted_at IS NULL
         RETURNING road",
        id,
        row_version,
        staff_id,
        now
    )
    .fetch_optional(db)
    .await?;
    done.ok_or(Error::Clash)
}

/// The Mondays of planned weeks from `monday` on whose routes do not go round exactly what is closed in them now.
pub async fn plans_to_mend(db: &mut PgConnection, monday: Date) -> Result<Vec<Date>> {
    let plans = sqlx::query!("SELECT monday, closed_roads FROM week_plans WHERE monday >= $1 ORDER BY monday LIMIT 60", monday)
        .fetch_all(&mut *db)
        .await?;
    let all = standing(db, monday).await?;
    let now = |monday: Date| all.iter().filter(|c| c.holds_in(monday)).map(|c| c.id).collect::<Vec<_>>();
    Ok(plans.into_iter().filter(|p| !same(&p.closed_roads, &now(p.monday))).map(|p| p.monday).collect())
}

/// Whether two lists name the same closures.
pub fn same(a: &[Uuid], b: &[Uuid]) -> bool {
    let sorted = |ids: &[Uuid]| {
        let mut ids = ids.to_vec();
        ids.sort_unstable();
        ids
    };
    sorted(a) == sorted(b)
}

/// Keeps that a week's routes go round these closures now, and where their driving times come from.
pub async fn note_plan(db: impl PgExecutor<'_>, monday: Date, ids: &[Uuid], drive_source: &str) -> Result<()> {
    sqlx::query!("UPDATE week_plans SET closed_roads = $2, drive_source = $3 WHERE monday = $1", monday, ids, drive_source)
        .execute(db)
        .await?;
    Ok(())
}
