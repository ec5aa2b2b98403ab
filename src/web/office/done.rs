//! What is not due any more without a report of ours: done by somebody else, done before, or not needed.

use super::{
    super::{
        app::App,
        error::{Error, Result},
        form::{Nothing, Posted},
        guard::{Office, see_other},
    },
    customers::short,
    units::date,
};
use crate::store::{
    catalogue,
    due::{self, DoneRow},
    units,
};
use axum::extract::Path;
use serde::Deserialize;
use uuid::Uuid;

/// Codes and names of what somebody else can do.
pub(super) fn elsewhere(book: &catalogue::JobBook) -> Vec<(String, String)> {
    let others = book.jobs.iter().map(|j| &j.kind).filter(|k| k.may_be_done_elsewhere());
    others.map(|k| (k.code().to_owned(), k.name().to_owned())).collect()
}

#[derive(Debug, Deserialize)]
pub(super) struct DoneForm {
    job: String,
    done_on: String,
    #[serde(default)]
    by_whom: String,
}

/// A job that somebody else did, or that was done before records were kept here.
pub(super) async fn done_already(who: Office, app: App, (Path(id), posted): (Path<Uuid>, Posted<DoneForm>)) -> Result {
    let (form, today, now) = (&posted.form, who.dealer.today, app.clock.now());
    let done_on = date(&form.done_on)?.filter(|day| *day <= today && day.year() >= 1950);
    let done_on = done_on.ok_or_else(|| Error::Bad("Say on which day it was done: today or before.".to_owned()))?;
    let by_whom = short(&form.by_whom, "By whom", 200)?;
    let mut tx = app.pool.begin().await?;
    units::get(&mut *tx, id).await?;
    let book = catalogue::job_book(&mut tx).await?;
    if !elsewhere(&book).iter().any(|(code, _)| *code == form.job) {
        return Err(Error::Bad("Choose which job was done.".to_owned()));
    }
    if posted.first_time(&mut tx, &who, "done elsewhere", now).await? {
        let row = DoneRow { id: posted.id, unit_id: id, job_code: form.job.clone(), done_on, by_whom };
        due::add_done(&mut tx, &[row], Some(who.staff_id), now).await?;
        due::refresh(&mut tx, Some(&[id]), today).await?;
    }
    tx.commit().await?;
    Ok(see_other(&format!("/units/{id}#due")))
}

pub(super) async fn not_done(who: Office, app: App, (Path((id, done)), posted): (Path<(Uuid, Uuid)>, Posted<Nothing>)) -> Result {
    let now = app.clock.now();
    let mut tx = app.pool.begin().await?;
    if posted.first_time(&mut tx, &who, "not done elsewhere", now).await? {
        due::take_back_done(&mut tx, id, done, now).await?;
        due::refresh(&mut tx, Some(&[id]), who.dealer.today).await?;
    }
    tx.commit().await?;
    Ok(see_other(&format!("/units/{id}#due")))
}

/// Nobody needs any more what was asked for.
pub(super) async fn withdraw(who: Office, app: App, (Path((id, request)), posted): (Path<(Uuid, Uuid)>, Posted<Nothing>)) -> Result {
    let mut tx = app.pool.begin().await?;
    if posted.first_time(&mut tx, &who, "request withdrawn", app.clock.now()).await? {
        due::withdraw(&mut *tx, id, request, who.dealer.today).await?;
        due::refresh(&mut tx, Some(&[id]), who.dealer.today).await?;
    }
    tx.commit().await?;
    Ok(see_other(&format!("/units/{id}#due")))
}
