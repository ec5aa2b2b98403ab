//! From facts to due items. The rows written here can be thrown away and worked out again at any time.

use super::super::{Result, catalogue, water};
use crate::{
    season::{self, Cadence, DoseFact, DueItem, DueRules, FillState, JobKind, ProposedVisit, Request, Status, UnitFacts},
    water::{
        dose::verdict,
        forecast::{Forecast, ForecastRules},
    },
};
use sqlx::PgConnection;
use std::collections::{BTreeMap, HashMap};
use time::{Date, Duration};
use uuid::Uuid;

/// How many units are worked out at a time.
const BATCH: usize = 500;

/// Works out again what is due for these units, or for all (`None`), as of `today`.
pub async fn refresh(db: &mut PgConnection, only: Option<&[Uuid]>, today: Date) -> Result<()> {
    let treatments = catalogue::treatments(&mut *db).await?;
    let book = catalogue::job_book(&mut *db).await?;
    let ids = match only {
        Some(ids) => ids.to_vec(),
        None => sqlx::query_scalar!("SELECT id FROM units ORDER BY id").fetch_all(&mut *db).await?,
    };
    if only.is_none() {
        refresh_usual(&mut *db, &treatments, &ids, today).await?;
    }
    let usual = water::usual_losses(&mut *db).await?;
    let rules = rules(&mut *db).await?;
    for batch in ids.chunks(BATCH) {
        let waters = water::unit_waters(&mut *db, &treatments, batch).await?;
        let seen = foresee(&mut *db, &treatments, &waters, &usual, today).await?;
        water::keep_foreseen(&mut *db, batch, &seen, today).await?;
        let facts = facts(&mut *db, batch, &waters, &seen).await?;
        let mut items = Vec::new();
        for (id, facts) in &facts {
            let Some(water) = waters.get(id) else { continue };
            let kinds = kinds_for(&book, water);
            items.extend(season::due(facts, &kinds, &book.calendar, &rules, today).into_iter().map(|i| (*id, i)));
        }
        write(&mut *db, batch, &items, today).await?;
    }
    if only.is_none() {
        sqlx::query!("UPDATE dealer SET due_worked_out_on = $1 WHERE id = 1", today).execute(&mut *db).await?;
    }
    Ok(())
}

/// The dealer's rules.
async fn rules(db: &mut PgConnection) -> Result<DueRules> {
    let records_since = sqlx::query_scalar!("SELECT records_since FROM dealer WHERE id = 1").fetch_one(db).await?;
    Ok(DueRules { records_since, ..DueRules::default() })
}

/// What units of a kind usually lose, worked out again from every record.
async fn refresh_usual(db: &mut PgConnection, treatments: &catalogue::Treatments, ids: &[Uuid], today: Date) -> Result<()> {
    let mut fleet = water::Fleet::default();
    for batch in ids.chunks(BATCH) {
        let waters = water::unit_waters(&mut *db, treatments, batch).await?;
        for (id, record) in water::records(&mut *db, treatments, &waters).await? {
            fleet.add(&waters[&id], &record);
        }
    }
    fleet.keep(db, today).await
}

async fn foresee(
    db: &mut PgConnection,
    treatments: &catalogue::Treatments,
    waters: &HashMap<Uuid, water::UnitWater>,
    usual: &water::UsualLosses,
    today: Date,
) -> Result<HashMap<Uuid, water::Seen>> {
    let records = water::records(db, treatments, waters).await?;
    Ok(records.iter().filter_map(|(id, record)| Some((*id, water::foresee(waters.get(id)?, record, usual, today)))).collect())
}

/// The visits that these units need as of `day` and in the `horizon` days after it, most pressing first, and their water.
pub async fn proposals(
    db: &mut PgConnection,
    ids: &[Uuid],
    treatments: &catalogue::Treatments,
    day: Date,
    horizon: u16,
) -> Result<HashMap<Uuid, (Vec<ProposedVisit>, Option<water::UnitWater>)>> {
    let book = catalogue::job_book(&mut *db).await?;
    let rules = DueRules { horizon_days: horizon, ..rules(&mut *db).await? };
    let usual = water::usual_losses(&mut *db).await?;
    let mut all = HashMap::new();
    for batch in ids.chunks(BATCH) {
        let mut waters = water::unit_waters(&mut *db, treatments, batch).await?;
        let seen = foresee(&mut *db, treatments, &waters, &usual, day).await?;
        for (id, facts) in facts(&mut *db, batch, &waters, &seen).await? {
            let Some(water) = waters.remove(&id) else { continue };
            let kinds = kinds_for(&book, &water);
            let items = season::due(&facts, &kinds, &book.calendar, &rules, day);
            all.insert(id, (season::join(&items, &kinds), Some(water)));
        }
    }
    Ok(all)
}

/// The day on which all due items were last worked out.
pub async fn worked_out_on(db: &mut PgConnection) -> Result<Option<Date>> {
    Ok(sqlx::query_scalar!("SELECT due_worked_out_on FROM dealer WHERE id = 1").fetch_one(db).await?)
}

/// Works out everything again when that was not done today yet. Cheap when it was.
pub async fn refresh_if_old(db: &mut PgConnection, today: Date) -> Result<bool> {
    if worked_out_on(&mut *db).await? == Some(today) {
        return Ok(false);
    }
    refresh(db, None, today).await?;
    Ok(true)
}

/// The job kinds, with the re-check days of the unit's own programme.
fn kinds_for(book: &catalogue::JobBook, water: &water::UnitWater) -> Vec<JobKind> {
    let days = water.programme.recheck;
    let own = |kind: JobKind| {
        let Cadence::AfterDose { .. } = kind.cadence() else { return kind };
        let cadence = Cadence::AfterDose { first_day: days.first(), last_day: days.last() };
        let Ok(mut new) = JobKind::new(kind.code(), kind.name(), (kind.minutes(), kind.setup_minutes()), cadence) else { return kind };
        (new.joins, new.done_by_test, new.while_idle, new.lapses, new.cold, new.skills) =
            (kind.joins, kind.done_by_test, kind.while_idle, kind.lapses, kind.cold, kind.skills);
        new
    };
    book.kinds().into_iter().map(own).collect()
}

/// The job kind that lights the fire for a season.
const START_UP: &str = "fall-start-up";

struct UnitRow {
    id: Uuid,
    status: String,
    installed_on: Option<Date>,
    /// The first that is known of its water: a fill, a test, a dose.
    first_seen: Option<Date>,
    level_at_dose: Option<i32>,
    rechecked_on: Option<Date>,
}

async fn unit_rows(db: &mut PgConnection, ids: &[Uuid]) -> Result<Vec<UnitRow>> {
    let rows = sqlx::query_as!(
        UnitRow,
        r#"SELECT u.id, u.status, u.installed_on, least(
             (SELECT min(filled_on) FROM fills WHERE unit_id = u.id AND superseded_at IS NULL),
             (SELECT min(taken_on) FROM water_tests WHERE unit_id = u.id AND superseded_at IS NULL AND of_water = 'unit'),
             (SELECT min(given_on) FROM doses WHERE unit_id = u.id AND superseded_at IS NULL)) AS first_seen, b.level AS "level_at_dose?", a.taken_on AS "rechecked_on?"
           FROM units u JOIN programmes g ON g.code = u.programme_code
           LEFT JOIN LATERAL (SELECT given_on, made_at FROM doses WHERE unit_id = u.id AND superseded_at IS NULL ORDER BY given_on DESC, made_at DESC LIMIT 1) d ON true
           LEFT JOIN LATERAL (
             SELECT level_as(u.programme_code, i.basis, i.value_milli, i.programme_mg_l) AS level FROM water_tests t JOIN readings i ON i.test_id = t.id AND i.what = 'inhibitor' AND read_for(u.programme_code, i.basis)
             WHERE t.unit_id = u.id AND t.superseded_at IS NULL AND t.of_water = 'unit' AND t.taken_on BETWEEN d.given_on - 7 AND d.given_on
               AND NOT EXISTS (SELECT FROM fills f WHERE f.unit_id = u.id AND f.superseded_at IS NULL AND f.filled_on > t.taken_on AND f.filled_on <= d.given_on)
             ORDER BY t.taken_on DESC, t.made_at DESC LIMIT 1) b ON true
           LEFT JOIN LATERAL (
             SELECT t.taken_on FROM water_tests t JOIN readings i ON i.test_id = t.id AND i.what = 'inhibitor' AND read_for(u.programme_code, i.basis)
             WHERE t.unit_id = u.id AND t.superseded_at IS NULL AND t.of_water = 'unit' AND t.made_by <> 'customer'
             AND t.taken_on >= d.given_on + g.recheck_from_days ORDER BY t.taken_on DESC, t.made_at DESC LIMIT 1) a ON true
           WHERE u.id = ANY($1)"#,
        ids
    )
    .fetch_all(db)
    .await?;
    Ok(rows)
}

async fn facts(
    db: &mut PgConnection,
    ids: &[Uuid],
    waters: &HashMap<Uuid, water::UnitWater>,
    seen: &HashMap<Uuid, water::Seen>,
) -> Result<HashMap<Uuid, UnitFacts>> {
    let mut done = last_done(&mut *db, ids).await?;
    let mut requests = open_requests(&mut *db, ids).await?;
    let rows = unit_rows(db, ids).await?;
    let facts = rows.into_iter().filter_map(|r| {
        let water = waters.get(&r.id)?;
        let status = match r.status.as_str() {
            "in service" => Status::InService,
            "idle" => Status::Idle,
            _ => Status::Retired,
        };
        let last_done = done.remove(&r.id).unwrap_or_default();
        let facts = UnitFacts {
            status,
            lit_on: last_done.get(START_UP).copied(),
            installed_on: r.installed_on,
            fill: fill_state(water, &r),
            last_done,
            last_test_on: water.last_test.map(|t| t.taken_on),
            last_dose: corrective_dose(water, &r),
            requests: requests.remove(&r.id).unwrap_or_default(),
            last_verdict: water.last_test.map(|t| verdict(water.programme.levels, t.level)),
            foreseen: seen.get(&r.id).and_then(|seen| test_by(seen, water)),
        };
        Some((r.id, facts))
    });
    Ok(facts.collect())
}

/// Days from its installation to the first that is known of its water, beyond which a unit ran before anybody kept its record (our own
/// value, no source).
const LATE_RECORD: Duration = Duration::days(400);

/// A unit is there from its first fill; whoever fills it anew has missed no less. One without a written fill but with tests, doses or some
/// age has been filled at some time.
fn fill_state(water: &water::UnitWater, row: &UnitRow) -> FillState {
    match (water.filled_on, row.first_seen) {
        (Some(_), Some(first)) if row.installed_on.is_some_and(|on| on.saturating_add(LATE_RECORD) < first) => FillState::FilledSomeTime,
        (Some(day), first) => FillState::FilledOn(first.unwrap_or(day)),
        (None, _) if row.first_seen.is_some() || water.last_test.is_some() || water.last_dose.is_some() || row.installed_on.is_none() => {
            FillState::FilledSomeTime
        }
        (None, _) => FillState::NotYetFilled,
    }
}

/// Days in which a level at the minimum, with nothing put in, is to be seen to (our own value, no source).
const AT_MINIMUM_DAYS: i64 = 14;

/// The test that the forecast asks for. One that only keeps the normal interval is left to the seasons; one after which nothing may
/// be put in all the same, to whoever sees to what holds the dose (`water::held`): another drive there helps nobody.
fn test_by(seen: &water::Seen, water: &water::UnitWater) -> Option<season::TestBy> {
    let last = water.last_test?.taken_on;
    let normal = Duration::days(i64::from(ForecastRules::default().normal_interval));
    let reason = seen.forecast.words().trim_end_matches('.').to_owned();
    match &seen.forecast {
        Forecast::AtMinimum { on, by_dose } if seen.held.is_empty() => {
            let from = if *by_dose { *on } else { on.next_day()? };
            Some(season::TestBy { day: on.saturating_add(Duration::days(AT_MINIMUM_DAYS)), from, reason })
        }
        other => {
            let day = other.test_by().filter(|day| *day < last.saturating_add(normal))?;
            Some(season::TestBy::after(last, day, reason))
        }
    }
}

/// The last dose, if it has to be re-checked: it answered a reading below the minimum, or no reading at all.
/// A top-up from within the band is checked by the next season's test (common practice, no source).
fn corrective_dose(water: &water::UnitWater, row: &UnitRow) -> Option<DoseFact> {
    let (on, _) = water.last_dose?;
    let minimum = water.programme.levels.min().get();
    let top_up = row.level_at_dose.is_some_and(|level| i64::from(level) >= minimum);
    (!top_up).then_some(DoseFact { on, rechecked_on: row.rechecked_on })
}

/// The last day each job was done, by the newest version of each report or by somebody else.
async fn last_done(db: &mut PgConnection, ids: &[Uuid]) -> Result<HashMap<Uuid, BTreeMap<String, Date>>> {
    let rows = sqlx::query!(
        r#"SELECT unit_id AS "unit_id!", job_code AS "job_code!", max(day) AS "day!" FROM (
             SELECT r.unit_id, j.job_code, r.visited_on AS day
             FROM visit_reports r JOIN report_jobs j ON j.report_id = r.report_id AND j.version = r.version
             WHERE r.unit_id = ANY($1) AND r.outcome = 'done'
               AND NOT EXISTS (SELECT FROM visit_reports n WHERE n.report_id = r.report_id AND n.version = r.version + 1)
             UNION ALL SELECT unit_id, job_code, done_on FROM done_elsewhere WHERE unit_id = ANY($1) AND taken_back_at IS NULL) d
           GROUP BY unit_id, job_code"#,
        ids
    )
    .fetch_all(db)
    .await?;
    let mut done: HashMap<Uuid, BTreeMap<String, Date>> = HashMap::new();
    for r in rows {
        done.entry(r.unit_id).or_default().insert(r.job_code, r.day);
    }
    Ok(done)
}

async fn open_requests(db: &mut PgConnection, ids: &[Uuid]) -> Result<HashMap<Uuid, Vec<Request>>> {
    let rows =
        sqlx::query!("SELECT unit_id, job_code, asked_on, by_day, note FROM requests WHERE unit_id = ANY($1) AND settled_on IS NULL", ids)
            .fetch_all(db)
            .await?;
    let mut open: HashMap<Uuid, Vec<Request>> = HashMap::new();
    for r in rows {
        open.entry(r.unit_id).or_default().push(Request { kind: r.job_code, asked_on: r.asked_on, by_day: Some(r.by_day), note: r.note });
    }
    Ok(open)
}

async fn write(db: &mut PgConnection, ids: &[Uuid], items: &[(Uuid, DueItem)], today: Date) -> Result<()> {
    let units: Vec<Uuid> = items.iter().map(|i| i.0).collect();
    let jobs: Vec<String> = items.iter().map(|i| i.1.kind.clone()).collect();
    let opens: Vec<Date> = items.iter().map(|i| i.1.window.opens()).collect();
    let closes: Vec<Date> = items.iter().map(|i| i.1.window.closes()).collect();
    let causes: Vec<String> = items.iter().map(|i| cause_word(i.1.cause).to_owned()).collect();
    let reasons: Vec<String> = items.iter().map(|i| i.1.reason.chars().take(400).collect()).collect();
    let waits: Vec<bool> = items.iter().map(|i| i.1.waits).collect();
    let priorities: Vec<i32> = items.iter().map(|i| i.1.priority.rank().into()).collect();
    sqlx::query!("DELETE FROM due_items WHERE unit_id = ANY($1)", ids).execute(&mut *db).await?;
    sqlx::query!(
        "INSERT INTO due_items (unit_id, job_code, opens_on, closes_on, cause, reason, priority, waits, worked_out_on)
         SELECT *, $9::date FROM unnest($1::uuid[], $2::text[], $3::date[], $4::date[], $5::text[], $6::text[], $7::int[], $8::bool[])",
        &units,
        &jobs,
        &opens,
        &closes,
        &causes,
        &reasons,
        &priorities,
        &waits,
        today
    )
    .execute(&mut *db)
    .await?;
    Ok(())
}

fn cause_word(cause: season::Cause) -> &'static str {
    match cause {
        season::Cause::FirstFill => "first fill",
        season::Cause::Season { .. } => "season",
        season::Cause::AfterDose { .. } => "dose",
        season::Cause::Foreseen { .. } => "forecast",
        season::Cause::Requested { .. } => "request",
    }
}
