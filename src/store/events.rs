//! What happened that somebody may ask about later. Appended, never changed; no readings, no secrets.

use super::Result;
use sqlx::PgExecutor;
use time::OffsetDateTime;
use uuid::Uuid;

/// Who did it.
#[derive(Clone, Debug)]
pub struct Actor {
    pub id: Option<Uuid>,
    pub words: String,
}

impl Actor {
    /// The program itself, on behalf of nobody.
    pub fn program() -> Self {
        Self { id: None, words: "the program".to_owned() }
    }
    /// Somebody at the machine's own command line.
    pub fn command_line() -> Self {
        Self { id: None, words: "the command line".to_owned() }
    }
}

pub async fn note(db: impl PgExecutor<'_>, now: OffsetDateTime, actor: &Actor, what: &str, subject: &str) -> Result<()> {
    sqlx::query!(
        "INSERT INTO events (at, actor, actor_words, what, subject) VALUES ($1, $2, $3, $4, left($5, 120))",
        now,
        actor.id,
        actor.words,
        what,
        subject
    )
    .execute(db)
    .await?;
    Ok(())
}
