//! Kinds of unit: what the jacket holds and what the fire gives, for units that have no figures of their own.

use super::super::{Error, Result};
use sqlx::{PgConnection, PgExecutor};

/// A kind of unit that can be chosen.
#[derive(Clone, Debug)]
pub struct UnitKind {
    pub code: String,
    pub name: String,
    pub jacket_ml: Option<i64>,
}

/// The kinds that are offered, and `own`, the one that a unit is of already.
pub async fn unit_kinds(db: impl PgExecutor<'_>, own: Option<&str>) -> Result<Vec<UnitKind>> {
    let kinds = sqlx::query_as!(
        UnitKind,
        "SELECT code, name, jacket_ml FROM unit_kinds WHERE NOT retired OR code = $1 ORDER BY jacket_ml NULLS LAST, name LIMIT 200",
        own
    );
    Ok(kinds.fetch_all(db).await?)
}

/// A kind as its page shows it.
#[derive(Clone, Debug)]
pub struct KindSetting {
    pub code: String,
    pub name: String,
    pub jacket_ml: Option<i64>,
    pub output_w: Option<i32>,
    pub source: String,
    pub retired: bool,
    pub row_version: i32,
    /// Units of it that are not retired.
    pub units: i64,
}

/// All kinds, those that are not offered any more last.
pub async fn kind_settings(db: impl PgExecutor<'_>) -> Result<Vec<KindSetting>> {
    let kinds = sqlx::query_as!(
        KindSetting,
        r#"SELECT code, name, jacket_ml, output_w, source, retired, row_version,
             (SELECT count(*) FROM units u WHERE u.kind_code = k.code AND u.status <> 'retired') AS "units!"
           FROM unit_kinds k ORDER BY retired, jacket_ml NULLS LAST, name LIMIT 200"#
    );
    Ok(kinds.fetch_all(db).await?)
}

/// What is kept of a kind.
#[derive(Clone, Debug)]
pub struct NewKind<'a> {
    pub code: &'a str,
    pub name: &'a str,
    pub jacket_ml: Option<i64>,
    pub output_w: Option<i32>,
    /// Where the figures come from.
    pub source: &'a str,
}

/// Keeps other figures. Water volumes that are kept with units stay as they are; [`Error::Clash`] when somebody was quicker.
pub async fn change_kind(db: impl PgExecutor<'_>, k: &NewKind<'_>, retired: bool, row_version: i32) -> Result<()> {
    let done = sqlx::query!(
        "UPDATE unit_kinds SET name = $3, jacket_ml = $4, output_w = $5, source = $6, retired = $7, row_version = row_version + 1
         WHERE code = $1 AND row_version = $2",
        k.code,
        row_version,
        k.name,
        k.jacket_ml,
        k.output_w,
        k.source,
        retired
    )
    .execute(db)
    .await?;
    if done.rows_affected() == 1 { Ok(()) } else { Err(Error::Clash) }
}

/// Most kinds that are kept.
pub const MOST_UNIT_KINDS: i64 = 200;

/// Adds a kind; the rule `too_many_kinds` when there are [`MOST_UNIT_KINDS`].
pub async fn add_kind(db: &mut PgConnection, k: &NewKind<'_>) -> Result<()> {
    let done = sqlx::query!(
        "INSERT INTO unit_kinds (code, name, jacket_ml, output_w, source) SELECT $1, $2, $3, $4, $5 WHERE (SELECT count(*) FROM unit_kinds) < $6",
        k.code,
        k.name,
        k.jacket_ml,
        k.output_w,
        k.source,
        MOST_UNIT_KINDS
    )
    .execute(db)
    .await?;
    if done.rows_affected() == 1 { Ok(()) } else { Err(Error::Rule("too_many_kinds".to_owned())) }
}
