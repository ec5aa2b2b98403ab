//! Kinds of job and their checklists: how long each takes, who can do it, and what is looked at.

use super::{
    super::{
        app::App,
        error::{Error, Result},
        form::{Nothing, Posted},
        guard::{Owner, see_other},
        html::{Frame, html},
    },
    customers::{need, short},
};
use crate::{
    season::{Cadence, JobKind, Seasons},
    store::{
        self,
        catalogue::{self, ChecklistItem, JobSetting},
        due,
    },
};
use askama::Template;
use axum::extract::Path;
use serde::Deserialize;

struct JobView {
    job: JobSetting,
    steps: Vec<ChecklistItem>,
}

#[derive(Template)]
#[template(path = "office/jobs.html")]
struct JobsPage {
    f: Frame,
    jobs: Vec<JobView>,
}

pub(super) async fn page(who: Owner, app: App, (): ()) -> Result {
    let jobs = catalogue::job_settings(&app.pool).await?;
    let codes: Vec<String> = jobs.iter().map(|j| j.code.clone()).collect();
    let steps = catalogue::checklist(&app.pool, &codes).await?;
    let own = |job: JobSetting| JobView { steps: steps.iter().filter(|s| s.job_code == job.code).cloned().collect(), job };
    html(&JobsPage { f: Frame::of(&who, "settings"), jobs: jobs.into_iter().map(own).collect() })
}

#[derive(Debug, Deserialize)]
pub(super) struct JobForm {
    name: String,
    minutes: String,
    set_up: String,
    #[serde(default)]
    skill: String,
    #[serde(default)]
    prepare: String,
    /// Of a new kind: how it recurs.
    #[serde(default)]
    cadence: String,
    /// `yes`: only with a cold firebox.
    #[serde(default)]
    cold: String,
    #[serde(default)]
    retired: String,
    row_version: Option<i32>,
}

fn minutes(text: &str, what: &str) -> Result<u16> {
    let typed = text.trim().trim_end_matches("min").trim();
    typed.parse().map_err(|_| Error::Bad(format!("{what}: “{}” is no number of minutes.", typed.chars().take(20).collect::<String>())))
}

fn kind(form: &JobForm, code: &str) -> Result<JobKind> {
    let name = need(&form.name, "Give the job a name", 80)?;
    let times = (minutes(&form.minutes, "Minutes at the unit")?, minutes(&form.set_up, "Set-up")?);
    // How it recurs is not changed here.
    let mut kind = JobKind::new(code, &name, times, Cadence::OnRequest).map_err(|e| Error::Bad(e.to_string()))?;
    kind.skills.extend(Some(short(&form.skill, "The skill", 40)?).filter(|s| !s.is_empty()));
    kind.cold = form.cold == "yes";
    Ok(kind)
}

fn prepare(form: &JobForm) -> Result<String> {
    short(&form.prepare, "What the customer should do before", 300)
}

/// Changes a kind of job. What is due follows from it, so it is worked out again; visits that are planned keep their minutes.
pub(super) async fn change(who: Owner, app: App, (Path(code), posted): (Path<String>, Posted<JobForm>)) -> Result {
    let known = catalogue::job_settings(&app.pool).await?;
    let before = known.into_iter().find(|j| j.code == code).ok_or(Error::NotFound)?;
    let new = kind(&posted.form, &code)?;
    let retired = posted.form.retired == "yes";
    if retired && !before.may_retire() {
        return Err(Error::Bad(format!(
            "{} cannot be left out: the water’s upkeep rests on it, or somebody will ask for it.",
            before.name
        )));
    }
    let mut tx = app.pool.begin().await?;
    if posted.first_time(&mut tx, &who, "change job", app.clock.now()).await? {
        catalogue::change_job(&mut *tx, &new, &prepare(&posted.form)?, retired, posted.form.row_version.unwrap_or(0)).await?;
        due::refresh(&mut tx, None, who.dealer.today).await?;
    }
    tx.commit().await?;
    Ok(see_other(&format!("/settings/jobs#{code}")))
}

/// Checks what a new kind's cadence is called.
fn cadence(text: &str) -> Result<(&'static str, Cadence)> {
    match text {
        "every fall" => Ok(("every fall", Cadence::EverySeason(Seasons::Fall))),
        "every spring" => Ok(("every spring", Cadence::EverySeason(Seasons::Spring))),
        "every season" => Ok(("every season", Cadence::EverySeason(Seasons::SpringAndFall))),
        "on request" => Ok(("on request", Cadence::OnRequest)),
        _ => Err(Error::Bad("Choose when the job is due.".to_owned())),
    }
}

pub(super) async fn add(who: Owner, app: App, posted: Posted<JobForm>) -> Result {
    let code = format!("job-{}", &posted.id.simple().to_string()[12..]);
    let new = kind(&posted.form, &code)?;
    let (recurs, _) = cadence(&posted.form.cadence)?;
    let mut tx = app.pool.begin().await?;
    if posted.first_time(&mut tx, &who, "add job", app.clock.now()).await? {
        catalogue::add_job(&mut tx, &new, &prepare(&posted.form)?, recurs).await.map_err(full)?;
        due::refresh(&mut tx, None, who.dealer.today).await?;
    }
    tx.commit().await?;
    Ok(see_other(&format!("/settings/jobs#{code}")))
}

fn full(e: store::Error) -> Error {
    match &e {
        store::Error::Rule(rule) if rule == "too_many_jobs" => {
            Error::Bad(format!("There are {} kinds of job already.", catalogue::MOST_KINDS))
        }
        store::Error::Rule(rule) if rule == "too_many_steps" => Error::Bad(format!("There are {} steps already.", catalogue::MOST_STEPS)),
        _ => e.into(),
    }
}

#[derive(Debug, Deserialize)]
pub(super) struct StepForm {
    says: String,
    #[serde(default)]
    expect: String,
    #[serde(default)]
    caution: String,
}

fn step(form: &StepForm, code: String, job_code: &str) -> Result<ChecklistItem> {
    Ok(ChecklistItem {
        code,
        job_code: job_code.to_owned(),
        says: need(&form.says, "Say what is looked at or done", 400)?,
        expect: short(&form.expect, "What is to be found", 400)?,
        caution: short(&form.caution, "The caution", 600)?,
        figure: false,
        asked_unit: String::new(),
        only_fuel_moisture: false,
        basis: "the dealer's own".to_owned(),
        retired: false,
    })
}

pub(super) async fn add_step(who: Owner, app: App, (Path(job), posted): (Path<String>, Posted<StepForm>)) -> Result {
    let code = format!("step-{}", &posted.id.simple().to_string()[12..]);
    if !catalogue::job_settings(&app.pool).await?.iter().any(|j| j.code == job) {
        return Err(Error::NotFound);
    }
    let new = step(&posted.form, code, &job)?;
    let mut tx = app.pool.begin().await?;
    if posted.first_time(&mut tx, &who, "add step", app.clock.now()).await? {
        catalogue::add_step(&mut tx, &new, None).await.map_err(full)?;
    }
    tx.commit().await?;
    Ok(see_other(&format!("/settings/jobs#{job}")))
}

async fn old_step(app: &App, code: &str) -> Result<ChecklistItem> {
    let jobs: Vec<String> = catalogue::job_settings(&app.pool).await?.into_iter().map(|j| j.code).collect();
    let gone = || Error::Bad("Somebody else has changed or left out this step meanwhile. Look at the list again.".to_owned());
    catalogue::checklist(&app.pool, &jobs).await?.into_iter().find(|s| s.code == code).ok_or_else(gone)
}

/// Rewords a step. Reports go on to show the words that they were kept with.
pub(super) async fn change_step(who: Owner, app: App, (Path(code), posted): (Path<String>, Posted<StepForm>)) -> Result {
    let old = old_step(&app, &code).await?;
    let typed = step(&posted.form, format!("step-{}", &posted.id.simple().to_string()[12..]), &old.job_code)?;
    if typed.caution.is_empty() && !old.caution.is_empty() {
        return Err(Error::Bad("This step has a caution. Word it as you like, but leave one: it stands where the hand is.".to_owned()));
    }
    let new = ChecklistItem { figure: old.figure, asked_unit: old.asked_unit, only_fuel_moisture: old.only_fuel_moisture, ..typed };
    let mut tx = app.pool.begin().await?;
    if posted.first_time(&mut tx, &who, "change step", app.clock.now()).await? {
        catalogue::add_step(&mut tx, &new, Some(&code)).await.map_err(full)?;
    }
    tx.commit().await?;
    Ok(see_other(&format!("/settings/jobs#{}", old.job_code)))
}

pub(super) async fn leave_out_step(who: Owner, app: App, (Path(code), posted): (Path<String>, Posted<Nothing>)) -> Result {
    let old = old_step(&app, &code).await?;
    let mut tx = app.pool.begin().await?;
    if posted.first_time(&mut tx, &who, "leave out step", app.clock.now()).await? {
        catalogue::retire_step(&mut *tx, &code).await?;
    }
    tx.commit().await?;
    Ok(see_other(&format!("/settings/jobs#{}", old.job_code)))
}
