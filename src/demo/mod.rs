//! An invented dealership.
use crate::store;
use sqlx::PgPool;
use time::OffsetDateTime;
pub async fn is_empty(_: &PgPool) -> store::Result<bool> { Ok(false) }
pub async fn fill(_: &PgPool, _: OffsetDateTime) -> store::Result<()> { Ok(()) }
pub fn sign_ins(_: &str) -> String { String::new() }
