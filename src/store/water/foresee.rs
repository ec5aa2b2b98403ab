//! What is foreseen of a unit's water, and what units of its kind usually lose.

use super::{super::Result, UnitWater, record::UnitRecord};
use crate::water::forecast::{Forecast, ForecastRules, LossPerDay, Rate, Use, forecast, loss_per_day, own_rate, used_now, usual_rate};
use sqlx::{PgConnection, PgExecutor};
use std::collections::HashMap;
use time::Date;
use uuid::Uuid;

/// Which units lose alike: a kind of unit under one programme in one use.
type Alike = (String, String, &'static str);

/// The usual losses by kind of unit, programme and use.
#[derive(Clone, Debug, Default)]
pub struct UsualLosses(HashMap<Alike, Rate>);

/// The usual losses as they were last worked out.
pub async fn usual_losses(db: &mut PgConnection) -> Result<UsualLosses> {
    let rows = sqlx::query!("SELECT kind_code, programme_code, used, per_day, sd FROM usual_losses LIMIT 2000").fetch_all(db).await?;
    let losses = rows.into_iter().map(|r| {
        let used = if r.used == Use::Resting.as_str() { Use::Resting } else { Use::Heating };
        ((r.kind_code, r.programme_code, used.as_str()), Rate { per_day: r.per_day, sd: r.sd })
    });
    Ok(UsualLosses(losses.collect()))
}

/// What can be said of one unit.
#[derive(Clone, Debug)]
pub struct Seen {
    pub forecast: Forecast,
    /// Its own loss in the use it is in now, over all its runs; only where it is more than the error of the tests.
    pub loss: Option<Loss>,
    /// Why no dose can be worked out, in sentences; empty where one can.
    pub held: Vec<String>,
    /// The last test is at the minimum or below.
    pub low: bool,
}

/// Inhibitor lost, as water.
#[derive(Clone, Copy, Debug)]
pub struct Loss {
    pub per_day: LossPerDay,
    pub rate: Rate,
    pub used: Use,
}

impl Loss {
    /// Thousandths of the water volume in a year.
    pub fn share_of_a_year(self) -> i32 {
        #[expect(clippy::cast_possible_truncation, reason = "held to a million")]
        let pm = (self.rate.per_day * 365.0 * 1000.0).round().clamp(0.0, 1e6) as i32;
        pm
    }
}

/// The forecast of one unit from its record, as of `today`.
pub fn foresee(water: &UnitWater, record: &UnitRecord, usual: &UsualLosses, today: Date) -> Seen {
    let rules = ForecastRules::default();
    let history = record.history(water);
    let used = used_now(&history);
    let kind = usual.0.get(&(water.kind_code.clone(), water.programme.code.clone(), used.as_str())).copied();
    let prior = usual_rate(own_rate(&history, used, false, &rules), kind);
    let own = own_rate(&history, used, true, &rules).filter(|rate| rate.significance() >= rules.significance);
    let loss = own.zip(water.volume).and_then(|(rate, volume)| Some(Loss { per_day: loss_per_day(rate, volume)?, rate, used }));
    let forecast = forecast(&history, water.programme.levels.min(), prior, &rules);
    Seen { forecast, loss, held: water.held(today), low: water.is_low() }
}

/// Gathers the rates of many units and keeps what is usual.
#[derive(Debug, Default)]
pub struct Fleet {
    rates: Vec<(String, Rate)>,
}

/// Parts a key that `fleet` reads as one text; a code never holds it.
const PART: char = '|';

impl Fleet {
    pub fn add(&mut self, water: &UnitWater, record: &UnitRecord) {
        let history = record.history(water);
        for used in [Use::Heating, Use::Resting] {
            if let Some(rate) = own_rate(&history, used, true, &ForecastRules::default()) {
                self.rates.push((format!("{}{PART}{}{PART}{}", water.kind_code, water.programme.code, used.as_str()), rate));
            }
        }
    }

    /// Replaces the kept losses by these.
    pub async fn keep(self, db: &mut PgConnection, today: Date) -> Result<()> {
        let found = crate::water::forecast::fleet(self.rates.iter().map(|(key, rate)| (key.as_str(), *rate)));
        sqlx::query!("DELETE FROM usual_losses").execute(&mut *db).await?;
        for (key, rate) in found {
            let mut parts = key.split(PART);
            let (Some(kind), Some(programme), Some(used)) = (parts.next(), parts.next(), parts.next()) else { continue };
            let units = self.rates.iter().filter(|(other, _)| other == key).count();
            sqlx::query!(
                "INSERT INTO usual_losses (kind_code, programme_code, used, per_day, sd, units, worked_out_on)
                 VALUES ($1, $2, $3, least(greatest($4::float8, -1), 1), least($5::float8, 1), $6, $7)",
                kind,
                programme,
                used,
                rate.per_day,
                rate.sd,
                i32::try_from(units).unwrap_or(i32::MAX),
                today
            )
            .execute(&mut *db)
            .await?;
        }
        Ok(())
    }
}

/// Keeps what is foreseen for these units, in place of what was.
pub async fn keep_foreseen(db: &mut PgConnection, ids: &[Uuid], seen: impl IntoIterator<Item = (&Uuid, &Seen)>, today: Date) -> Result<()> {
    let all: Vec<(&Uuid, &Seen)> = seen.into_iter().collect();
    let units: Vec<Uuid> = all.iter().map(|(id, _)| **id).collect();
    let says: Vec<String> = all.iter().map(|(_, seen)| seen.forecast.words().chars().take(400).collect()).collect();
    let expected: Vec<Option<Date>> = all.iter().map(|(_, seen)| seen.forecast.expected()).collect();
    let test_by: Vec<Option<Date>> = all.iter().map(|(_, seen)| seen.forecast.test_by()).collect();
    let loss: Vec<Option<i64>> = all.iter().map(|(_, seen)| seen.loss.map(|loss| loss.per_day.ml.get())).collect();
    let spread: Vec<Option<i64>> = all.iter().map(|(_, seen)| seen.loss.map(|loss| loss.per_day.plus_minus.get())).collect();
    let share: Vec<Option<i32>> = all.iter().map(|(_, seen)| seen.loss.map(Loss::share_of_a_year)).collect();
    let held: Vec<String> = all.iter().map(|(_, seen)| seen.held.join(" ").chars().take(600).collect()).collect();
    let low: Vec<bool> = all.iter().map(|(_, seen)| seen.low).collect();
    sqlx::query!("DELETE FROM foreseen WHERE unit_id = ANY($1)", ids).execute(&mut *db).await?;
    sqlx::query!(
        "INSERT INTO foreseen (unit_id, says, expected_on, test_by, loss_ml_a_day, loss_plus_minus_ml, loss_share_pm, held, low, worked_out_on)
         SELECT *, $10::date FROM unnest($1::uuid[], $2::text[], $3::date[], $4::date[], $5::bigint[], $6::bigint[], $7::int[], $8::text[], $9::bool[])",
        &units,
        &says,
        &expected as &[Option<Date>],
        &test_by as &[Option<Date>],
        &loss as &[Option<i64>],
        &spread as &[Option<i64>],
        &share as &[Option<i32>],
        &held,
        &low,
        today
    )
    .execute(&mut *db)
    .await?;
    Ok(())
}

/// A unit that loses water, for the office's list.
#[derive(Clone, Debug)]
pub struct Loser {
    pub unit_id: Uuid,
    pub unit_name: String,
    pub customer_name: String,
    pub town: String,
    pub loss_ml_a_day: i64,
    pub loss_plus_minus_ml: i64,
    pub loss_share_pm: i32,
    pub says: String,
}

/// Units that lose at least `from_pm` thousandths of their water in a year, the worst first.
pub async fn losing(db: &mut PgConnection, from_pm: i32, limit: i64) -> Result<Vec<Loser>> {
    let rows = sqlx::query_as!(
        Loser,
        r#"SELECT s.unit_id, u.name AS unit_name, c.name AS customer_name, p.town, s.loss_ml_a_day AS "loss_ml_a_day!",
             s.loss_plus_minus_ml AS "loss_plus_minus_ml!", s.loss_share_pm AS "loss_share_pm!", s.says
           FROM foreseen s JOIN units u ON u.id = s.unit_id JOIN places p ON p.id = u.place_id JOIN customers c ON c.id = u.customer_id
           WHERE s.loss_share_pm >= $1 AND u.status <> 'retired' ORDER BY s.loss_share_pm DESC, s.unit_id LIMIT $2"#,
        from_pm,
        limit
    )
    .fetch_all(db)
    .await?;
    Ok(rows)
}

/// A unit for which no dose can be worked out, for the office's list.
#[derive(Clone, Debug)]
pub struct HeldUnit {
    pub unit_id: Uuid,
    pub unit_name: String,
    pub customer_name: String,
    pub customer_phone: String,
    pub town: String,
    /// Why, in sentences.
    pub held: String,
    /// Its last test asks for a dose.
    pub low: bool,
}

/// Units for which no dose can be worked out, those that need one first.
pub async fn held(db: impl PgExecutor<'_>, limit: i64) -> Result<Vec<HeldUnit>> {
    let rows = sqlx::query_as!(
        HeldUnit,
        "SELECT s.unit_id, u.name AS unit_name, c.name AS customer_name, c.phone AS customer_phone, p.town, s.held, s.low
         FROM foreseen s JOIN units u ON u.id = s.unit_id JOIN places p ON p.id = u.place_id JOIN customers c ON c.id = u.customer_id
         WHERE s.held <> '' AND u.status <> 'retired' ORDER BY s.low DESC, s.unit_id LIMIT $1",
        limit
    )
    .fetch_all(db)
    .await?;
    Ok(rows)
}

/// How many units are low and cannot be dosed.
pub async fn low_and_held(db: impl PgExecutor<'_>) -> Result<i64> {
    let count = sqlx::query_scalar!(
        r#"SELECT count(*) AS "n!" FROM foreseen s JOIN units u ON u.id = s.unit_id WHERE s.held <> '' AND s.low AND u.status <> 'retired'"#
    );
    Ok(count.fetch_one(db).await?)
}
