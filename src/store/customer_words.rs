//! What customers say on their own page, and how the office settles it.

use super::{Error, Result};
use sqlx::{PgConnection, PgExecutor};
use time::{Date, Duration, OffsetDateTime};
use uuid::Uuid;

/// What about.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// The time suits.
    Suits,
    /// Another would be better.
    AnotherTime,
    /// A test of their own, kept under the same number.
    Test,
}

impl Kind {
    fn as_str(self) -> &'static str {
        match self {
            Self::Suits => "suits",
            Self::AnotherTime => "another time",
            Self::Test => "test",
        }
    }
}

/// Something that a customer says.
#[derive(Clone, Debug)]
pub struct NewWord<'a> {
    pub id: Uuid,
    pub unit_id: Uuid,
    pub customer_id: Uuid,
    pub kind: Kind,
    pub says: &'a str,
    /// Day and minute of the visit that it is about; none for a test.
    pub about: Option<(Date, i32)>,
}

/// More than anybody who means well says of one unit in a day.
const MOST_A_DAY: i64 = 12;

/// Keeps it. [`Error::Rule`] `too_many_words` when the unit's record was written to very often lately.
pub async fn add(db: &mut PgConnection, word: &NewWord<'_>, now: OffsetDateTime) -> Result<()> {
    let (day, starts) = word.about.unzip();
    let added = sqlx::query!(
        "INSERT INTO customer_words (id, unit_id, customer_id, kind, says, day, starts, received_at)
         SELECT $1, $2, $3, $4, $5, $6, $7, $8 WHERE (SELECT count(*) FROM customer_words WHERE unit_id = $2 AND received_at > $9) < $10",
        word.id,
        word.unit_id,
        word.customer_id,
        word.kind.as_str(),
        word.says,
        day,
        starts,
        now,
        now - Duration::days(1),
        MOST_A_DAY
    )
    .execute(db)
    .await?;
    if added.rows_affected() == 1 { Ok(()) } else { Err(Error::Rule("too_many_words".to_owned())) }
}

/// One that waits for the office.
#[derive(Clone, Debug)]
pub struct Word {
    pub id: Uuid,
    pub unit_id: Uuid,
    pub unit_name: String,
    pub place_name: String,
    pub customer_name: String,
    pub customer_phone: String,
    pub test: bool,
    pub says: String,
    pub day: Option<Date>,
    pub starts: Option<i32>,
    pub received_at: OffsetDateTime,
}

/// What waits for the office, oldest first.
pub async fn open(db: impl PgExecutor<'_>) -> Result<Vec<Word>> {
    let rows = sqlx::query_as!(
        Word,
        r#"SELECT s.id, s.unit_id, u.name AS unit_name, p.name AS place_name, c.name AS customer_name, c.phone AS customer_phone, s.kind = 'test' AS "test!",
             s.says, s.day, s.starts, s.received_at
           FROM customer_words s JOIN units u ON u.id = s.unit_id JOIN places p ON p.id = u.place_id JOIN customers c ON c.id = s.customer_id
           WHERE s.settled_at IS NULL AND s.kind <> 'suits' ORDER BY s.received_at LIMIT 50"#
    );
    Ok(rows.fetch_all(db).await?)
}

/// The wish for another time of a unit that nobody has settled yet.
pub async fn wish(db: impl PgExecutor<'_>, unit_id: Uuid) -> Result<Option<String>> {
    let row = sqlx::query_scalar!(
        "SELECT says FROM customer_words WHERE unit_id = $1 AND kind = 'another time' AND settled_at IS NULL ORDER BY received_at DESC LIMIT 1",
        unit_id
    );
    Ok(row.fetch_optional(db).await?)
}

/// A customer's own test that counts, and is at the minimum or below: somebody has to test anew before anything goes in, so a test is asked
/// for, within a week.
async fn ask_for_a_test(db: &mut PgConnection, test_id: Uuid, by: Uuid, now: OffsetDateTime) -> Result<()> {
    sqlx::query!(
        "INSERT INTO requests (id, unit_id, job_code, asked_on, by_day, note, made_by)
         SELECT $1, t.unit_id, 'water-test', d.today, d.today + 7, 'their own test read ' || i.programme_mg_l || ' mg/L', $3
         FROM water_tests t JOIN readings i ON i.test_id = t.id AND i.what = 'inhibitor' JOIN units u ON u.id = t.unit_id
         JOIN programmes g ON g.code = u.programme_code CROSS JOIN (SELECT ($4::timestamptz AT TIME ZONE zone)::date AS today FROM dealer WHERE id = 1) d
         WHERE t.id = $2 AND t.made_by = 'customer' AND i.programme_mg_l <= g.min_mg_l
           AND NOT EXISTS (SELECT FROM requests q WHERE q.unit_id = t.unit_id AND q.job_code = 'water-test' AND q.settled_on IS NULL)",
        Uuid::now_v7(),
        test_id,
        by,
        now
    )
    .execute(db)
    .await?;
    Ok(())
}

/// The office has seen to it. A low test that counts brings a test of the technician's; one that does not count is superseded by nothing.
/// Answers with the unit.
pub async fn settle(db: &mut PgConnection, id: Uuid, counts: bool, by: Uuid, now: OffsetDateTime) -> Result<Uuid> {
    let unit = sqlx::query_scalar!(
        "UPDATE customer_words SET settled_at = $2, settled_by = $3 WHERE id = $1 AND settled_at IS NULL RETURNING unit_id",
        id,
        now,
        by
    )
    .fetch_optional(&mut *db)
    .await?
    .ok_or(Error::Clash)?;
    if counts {
        ask_for_a_test(&mut *db, id, by, now).await?;
    } else {
        sqlx::query!("UPDATE water_tests SET superseded_at = $2 WHERE id = $1 AND superseded_at IS NULL", id, now).execute(db).await?;
    }
    Ok(unit)
}
