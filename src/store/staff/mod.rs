//! Staff, the technicians among them, where their days begin, and the links that let somebody choose a password.

mod crew;
mod depots;

pub use crew::{
    Behind, Crew, Hours, Prices, Technician, TechnicianChange, VanLoad, WorkingDay, add_days_off, add_technician, change_prices,
    change_technician, crew, days_off, hours, may_drive_too, prices, set_van_loads, take_back_days_off, technicians, van_loads,
    working_days, working_weeks,
};
pub use depots::{Depot, add_depot, change_depot, depots, leave_out_depot};

use super::{Result, sessions::Role};
use crate::secrets;
use sqlx::{PgConnection, PgExecutor};
use time::{Duration, OffsetDateTime};
use uuid::Uuid;

#[derive(Clone, Debug)]
pub struct Person {
    pub id: Uuid,
    pub name: String,
    pub sign_in: String,
    pub role: Role,
    pub active: bool,
    pub row_version: i32,
}

/// What is needed to check a sign-in.
#[derive(Debug)]
pub struct Account {
    pub id: Uuid,
    pub role: Role,
    pub sign_in: String,
    pub password_hash: String,
}

fn role(text: &str, id: Uuid) -> Result<Role> {
    Role::parse(text).ok_or_else(|| super::corrupt("staff", id, "unknown role"))
}

pub async fn account(db: impl PgExecutor<'_>, sign_in: &str) -> Result<Option<Account>> {
    let row = sqlx::query!("SELECT id, role, sign_in, password_hash FROM staff WHERE sign_in = $1 AND active", sign_in)
        .fetch_optional(db)
        .await?;
    row.map(|r| Ok(Account { role: role(&r.role, r.id)?, id: r.id, sign_in: r.sign_in, password_hash: r.password_hash })).transpose()
}

/// The same by its number.
pub async fn account_of(db: impl PgExecutor<'_>, id: Uuid) -> Result<Option<Account>> {
    let row = sqlx::query!("SELECT id, role, sign_in, password_hash FROM staff WHERE id = $1 AND active", id).fetch_optional(db).await?;
    row.map(|r| Ok(Account { role: role(&r.role, r.id)?, id: r.id, sign_in: r.sign_in, password_hash: r.password_hash })).transpose()
}

pub async fn all(db: impl PgExecutor<'_>) -> Result<Vec<Person>> {
    let rows = sqlx::query!("SELECT id, name, sign_in, role, active, row_version FROM staff ORDER BY active DESC, lower(name) LIMIT 200")
        .fetch_all(db)
        .await?;
    rows.into_iter()
        .map(|r| {
            Ok(Person {
                role: role(&r.role, r.id)?,
                id: r.id,
                name: r.name,
                sign_in: r.sign_in,
                active: r.active,
                row_version: r.row_version,
            })
        })
        .collect()
}

pub async fn add(db: impl PgExecutor<'_>, p: &Person, password_hash: &str, now: OffsetDateTime) -> Result<()> {
    sqlx::query!(
        "INSERT INTO staff (id, name, sign_in, role, password_hash, active, made_at) VALUES ($1, $2, $3, $4, $5, $6, $7)",
        p.id,
        p.name,
        p.sign_in,
        p.role.as_str(),
        password_hash,
        p.active,
        now
    )
    .execute(db)
    .await?;
    Ok(())
}

pub async fn set_password(db: impl PgExecutor<'_>, id: Uuid, password_hash: &str) -> Result<()> {
    sqlx::query!("UPDATE staff SET password_hash = $2, active = true, row_version = row_version + 1 WHERE id = $1", id, password_hash)
        .execute(db)
        .await?;
    Ok(())
}

/// Keeps another name, and another one to sign in with; [`super::Error::Clash`] when somebody was quicker.
pub async fn rename(db: impl PgExecutor<'_>, id: Uuid, name: &str, sign_in: &str, row_version: i32) -> Result<()> {
    let done = sqlx::query!(
        "UPDATE staff SET name = $2, sign_in = $3, row_version = row_version + 1 WHERE id = $1 AND row_version = $4",
        id,
        name,
        sign_in,
        row_version
    )
    .execute(db)
    .await?;
    if done.rows_affected() == 1 { Ok(()) } else { Err(super::Error::Clash) }
}

/// Lets somebody in or out. The last active owner stays.
pub async fn set_active(db: &mut PgConnection, id: Uuid, active: bool) -> Result<()> {
    let done = sqlx::query!(
        "UPDATE staff SET active = $2, row_version = row_version + 1 WHERE id = $1
         AND ($2 OR role <> 'owner' OR EXISTS (SELECT FROM staff o WHERE o.role = 'owner' AND o.active AND o.id <> $1))",
        id,
        active
    )
    .execute(&mut *db)
    .await?;
    if done.rows_affected() == 0 {
        return Err(super::Error::Rule("last_owner".to_owned()));
    }
    if !active {
        super::sessions::close_all(db, id).await?;
    }
    Ok(())
}

pub async fn any_owner(db: impl PgExecutor<'_>) -> Result<bool> {
    let there = sqlx::query_scalar!(r#"SELECT EXISTS (SELECT FROM staff WHERE role = 'owner') AS "there!""#).fetch_one(db).await?;
    Ok(there)
}

pub async fn id_of(db: impl PgExecutor<'_>, sign_in: &str) -> Result<Uuid> {
    Ok(sqlx::query_scalar!("SELECT id FROM staff WHERE sign_in = $1", sign_in).fetch_one(db).await?)
}

/// Makes a link that lets one person choose a password, once, within two days. `None`: the first owner.
pub async fn make_setup_link(db: impl PgExecutor<'_>, staff_id: Option<Uuid>, now: OffsetDateTime) -> Result<String> {
    let token = secrets::token();
    let hash = secrets::sha256(token.as_bytes());
    sqlx::query!(
        "INSERT INTO setup_links (token_hash, staff_id, made_at, ends_at) VALUES ($1, $2, $3, $4)",
        &hash[..],
        staff_id,
        now,
        now + Duration::days(2)
    )
    .execute(db)
    .await?;
    Ok(token)
}

/// Whose link this is, if it is still good. The outer `None`: no such link; the inner one: the first owner's.
pub async fn setup_link(db: impl PgExecutor<'_>, token: &str, now: OffsetDateTime) -> Result<Option<Option<Person>>> {
    let hash = secrets::sha256(token.as_bytes());
    let row = sqlx::query!(
        r#"SELECT l.staff_id, s.name AS "name?", s.sign_in AS "sign_in?", s.role AS "role?", s.active AS "active?", s.row_version AS "row_version?"
           FROM setup_links l LEFT JOIN staff s ON s.id = l.staff_id
           WHERE l.token_hash = $1 AND l.used_at IS NULL AND l.ends_at > $2"#,
        &hash[..],
        now
    )
    .fetch_optional(db)
    .await?;
    let Some(r) = row else { return Ok(None) };
    let Some(id) = r.staff_id else { return Ok(Some(None)) };
    let person = Person {
        id,
        name: r.name.unwrap_or_default(),
        sign_in: r.sign_in.unwrap_or_default(),
        role: role(r.role.as_deref().unwrap_or_default(), id)?,
        active: r.active.unwrap_or(false),
        row_version: r.row_version.unwrap_or(1),
    };
    Ok(Some(Some(person)))
}

/// Uses the link up; [`super::Error::NotFound`] when it was used meanwhile.
pub async fn use_setup_link(db: impl PgExecutor<'_>, token: &str, now: OffsetDateTime) -> Result<()> {
    let hash = secrets::sha256(token.as_bytes());
    let done =
        sqlx::query!("UPDATE setup_links SET used_at = $2 WHERE token_hash = $1 AND used_at IS NULL AND ends_at > $2", &hash[..], now)
            .execute(db)
            .await?;
    if done.rows_affected() == 1 { Ok(()) } else { Err(super::Error::NotFound) }
}
