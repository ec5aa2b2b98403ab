//! Entries that were a slip, and customers who are gone.

use super::super::{
    app::App,
    error::{Error, Result},
    form::Posted,
    guard::{Office, see_other},
};
use crate::store::{
    self, customers,
    events::{self, Actor},
    forget::{self, MayGo},
    sessions::Role,
};
use axum::extract::Path;
use serde::Deserialize;
use uuid::Uuid;

#[derive(Debug, Deserialize)]
pub(super) struct Version {
    row_version: i32,
    #[serde(default)]
    sure: String,
}

impl Version {
    fn need_sure(&self) -> Result<()> {
        if self.sure == "yes" { Ok(()) } else { Err(Error::Bad("Mark that you are sure. It cannot be taken back.".to_owned())) }
    }
}

/// A place that was a slip.
pub(super) async fn place(who: Office, app: App, (Path(id), posted): (Path<Uuid>, Posted<Version>)) -> Result {
    posted.form.need_sure()?;
    let now = app.clock.now();
    let mut tx = app.pool.begin().await?;
    // Sent twice, the place is gone already.
    let customer = customers::place(&mut *tx, id).await.map(|p| p.customer_id);
    if posted.first_time(&mut tx, &who, "remove place", now).await? {
        forget::remove_place(&mut tx, id, posted.form.row_version).await?;
    }
    tx.commit().await?;
    Ok(see_other(&customer.map_or_else(|_| "/customers".to_owned(), |id| format!("/customers/{id}"))))
}

/// A customer who was a slip, or is gone.
pub(super) async fn customer(who: Office, app: App, (Path(id), posted): (Path<Uuid>, Posted<Version>)) -> Result {
    posted.form.need_sure()?;
    let now = app.clock.now();
    let mut tx = app.pool.begin().await?;
    let may = forget::may_go(&mut tx, id).await?;
    if may == MayGo::Forgotten && who.role != Role::Owner {
        return Err(Error::Bad("Records are kept of this customer, so only the owner can have them forgotten.".to_owned()));
    }
    if posted.first_time(&mut tx, &who, "forget customer", now).await? {
        let gone = forget::forget(&mut tx, id, posted.form.row_version, now).await.map_err(words)?;
        let actor = Actor { id: Some(who.staff_id), words: who.name.clone() };
        let what = if gone == forget::Gone::Removed { "removed a customer" } else { "forgot a customer" };
        events::note(&mut *tx, now, &actor, what, &id.to_string()).await?;
    }
    tx.commit().await?;
    Ok(see_other("/customers?said=gone"))
}

fn words(e: store::Error) -> Error {
    match &e {
        store::Error::Rule(rule) if rule == "units_in_use" => {
            Error::Bad("A unit of theirs is not retired yet. Retire it, or give its place to the new owner.".to_owned())
        }
        _ => e.into(),
    }
}
