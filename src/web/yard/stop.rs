//! One stop: read it, do it, keep it. Kept once, whatever the line does.

use super::{
    super::{
        app::App,
        error::{Error, Result},
        form::Posted,
        guard::{Technician, see_other},
        html::{html, html_with},
        words,
    },
    sheet::{self, About, Dress},
    typed::{self, Read, Typed, Wrong, instant},
};
use crate::{
    store::{
        reports::{self, NewReport, Outcome, Submission},
        sessions::SignedIn,
        submissions::{self, Arrived},
        visits,
        week::{self, Stop},
    },
    units::time_of_day,
    water::Renewed,
};
use axum::{extract::Path, http::StatusCode};
use time::{Date, OffsetDateTime};
use uuid::Uuid;

pub(super) async fn own_stop(who: &SignedIn, app: &App, id: Uuid) -> Result<Stop> {
    let (day, _) = visits::own(&app.pool, who.staff_id, id).await?;
    let stops = week::stops(&app.pool, week::monday_of(day), Some((who.staff_id, day))).await?;
    stops.into_iter().find(|s| s.visit_id == id).ok_or(Error::NotFound)
}

fn dress(s: &Stop, form_id: Uuid, today: Date) -> Dress {
    let times = s.starts.zip(s.ends).map_or_else(String::new, |(a, b)| format!("{} to {}", time_of_day(a), time_of_day(b)));
    let told = match s.to_call() {
        Some(told) => format!(". The customer was told {}", words::told(told)),
        None if s.status == "confirmed" => ". The customer was told this time".to_owned(),
        None => String::new(),
    };
    Dress {
        title: s.place_name.clone(),
        action: format!("/stop/{}", s.visit_id),
        not_done_action: format!("/stop/{}/not-done", s.visit_id),
        back: s.day.map(|d| format!("/route/{d}")).unwrap_or_default(),
        when: format!("Stop {}, {times}{told}", s.position.unwrap_or(0)),
        reason_planned: why_now(s),
        fill: format!("/stop/{}/fill", s.visit_id),
        form_id,
        about: ("visit", s.visit_id),
        day_ahead: s.day.is_some_and(|day| day > today),
    }
}

/// Why the visit is planned, and what of it somebody else has done meanwhile.
fn why_now(s: &Stop) -> String {
    if s.done_already.is_empty() {
        return s.reason.clone();
    }
    format!("{}. Done already, by somebody else: {}", s.reason, s.done_already.join(", "))
}

fn about(s: &Stop, who: &SignedIn) -> About {
    let day = s.day.filter(|d| *d <= who.dealer.today).unwrap_or(who.dealer.today);
    About { unit_id: s.unit_id, usual_day: day, correcting: false }
}

pub(super) async fn page(who: Technician, app: App, Path(id): Path<Uuid>) -> Result {
    let stop = own_stop(&who, &app, id).await?;
    if let Some(report) = reports::of_visit(&app.pool, id).await? {
        return Ok(see_other(&format!("/kept/{report}")));
    }
    let loaded = sheet::load(&app, &about(&stop, &who)).await?;
    html(
        &sheet::sheet(&app, &who, loaded, &stop.job_codes, dress(&stop, Uuid::now_v7(), who.dealer.today), Typed::default(), Vec::new())
            .await?,
    )
}

pub(super) async fn keep(who: Technician, app: App, (Path(id), posted): (Path<Uuid>, Posted<Vec<(String, String)>>)) -> Result {
    let stop = own_stop(&who, &app, id).await?;
    let loaded = sheet::load(&app, &about(&stop, &who)).await?;
    let typed = Typed(posted.form.clone());
    match typed::read(&typed, &loaded.against(who.dealer.today, who.dealer.units)) {
        Ok(read) => {
            let worked = loaded.worked(&read);
            let new = report(&who, posted.id, 1, Some(id), stop.unit_id, read, worked, loaded.jug_step());
            store(&app, &who, &posted, new).await?;
            Ok(see_other(&format!("/kept/{}?new=1", posted.id)))
        }
        Err(wrong) => again(&app, &who, loaded, &stop.job_codes, dress(&stop, posted.id, who.dealer.today), typed, wrong).await,
    }
}

/// The sheet again, with what was typed and what is wrong with it.
pub(super) async fn again(
    app: &App,
    who: &SignedIn,
    loaded: sheet::Loaded,
    planned: &[String],
    dress: Dress,
    typed: Typed,
    wrong: Vec<Wrong>,
) -> Result {
    html_with(StatusCode::UNPROCESSABLE_ENTITY, &sheet::sheet(app, who, loaded, planned, dress, typed, wrong).await?)
}

/// A report from a sheet that was read. The dose that was put in is compared with the one worked out on arrival.
#[expect(clippy::too_many_arguments, reason = "one report, made in two places")]
pub(super) fn report(
    who: &SignedIn,
    report_id: Uuid,
    version: i32,
    visit_id: Option<Uuid>,
    unit_id: Uuid,
    read: Read,
    worked: Option<i64>,
    step: i64,
) -> NewReport {
    let put_in = read.dose.as_ref().map_or(0, |d| d.amount_ml);
    let flag = match worked {
        Some(worked) if (worked - put_in).abs() > step => {
            let units = who.dealer.units;
            let some = |ml: i64| if ml == 0 { "nothing".to_owned() } else { crate::units::amount(ml, units) };
            format!("Put in {}; the test asks for {}.", some(put_in), some(worked))
        }
        None if put_in > 0 => "A dose was put in without a test.".to_owned(),
        _ => String::new(),
    };
    NewReport {
        report_id,
        version,
        visit_id,
        unit_id,
        staff_id: Some(who.staff_id),
        visited_on: read.visited_on,
        outcome: Outcome::Done,
        who_was_there: read.who,
        note: read.note,
        jobs: read.jobs,
        answers: read.answers,
        readings: read.readings,
        dose: read.dose,
        events: read.events,
        amendments: read.amendments,
        dose_shown_ml: read.dose_shown_ml,
        dose_worked_ml: worked,
        flag,
        reason: read.reason,
        made_at: made_at(report_id),
        arrived_at: read.arrived_at,
        kept_at: read.kept_at,
    }
}

/// When the form was made, by the clock inside its own id.
fn made_at(id: Uuid) -> Option<OffsetDateTime> {
    let (seconds, nanos) = id.get_timestamp()?.to_unix();
    OffsetDateTime::from_unix_timestamp(i64::try_from(seconds).ok()?).ok()?.replace_nanosecond(nanos).ok()
}

/// Stores the form's bytes and everything that follows from them in one transaction; the same form again changes nothing.
pub(super) async fn store(app: &App, who: &SignedIn, posted: &Posted<Vec<(String, String)>>, report: NewReport) -> Result<()> {
    let now = app.clock.now();
    let mut tx = app.pool.begin().await?;
    let submission = Submission { id: posted.id, kind: "visit report", staff_id: Some(who.staff_id), body: &posted.body };
    let answer = serde_json::json!({ "report": report.report_id, "version": report.version });
    if reports::take_in(&mut tx, &submission, &answer, now).await?.is_none() {
        let open = reports::keep(&mut tx, &report, who.dealer.today, now).await?;
        if !open.is_empty() {
            let arrived = Arrived { id: posted.id, kind: submission.kind, staff_id: who.staff_id, phone_id: None, body: &posted.body };
            submissions::to_settle(&mut tx, &arrived, &open.join(" "), now).await?;
        }
    }
    tx.commit().await?;
    Ok(())
}

/// Reasons that the form offers.
const WHYS: [&str; 6] = ["Gate shut", "Nobody home", "Fire out, water cold", "Not safe", "No time left", "Other"];

/// Why it could not be done, and what else was typed; the day is the planned one.
pub(super) fn why_not(typed: &Typed, day: Date) -> Result<(&'static str, Read)> {
    let why = WHYS.into_iter().find(|w| *w == typed.get("why")).unwrap_or("Other");
    let note: String = typed.get("note").chars().take(4000).collect();
    if why == "Other" && note.is_empty() {
        return Err(Error::Bad("Say in the note what kept you from it.".to_owned()));
    }
    let read = Read {
        visited_on: day,
        jobs: Vec::new(),
        answers: Vec::new(),
        readings: Vec::new(),
        dose: None,
        events: Vec::new(),
        renewed: Renewed::None,
        amendments: Vec::new(),
        who: String::new(),
        note,
        dose_shown_ml: None,
        reason: String::new(),
        arrived_at: instant(typed.get("arrived_at")),
        kept_at: instant(typed.get("made_at")),
    };
    Ok((why, read))
}

pub(super) async fn not_done(who: Technician, app: App, (Path(id), posted): (Path<Uuid>, Posted<Vec<(String, String)>>)) -> Result {
    let stop = own_stop(&who, &app, id).await?;
    let (why, read) = why_not(&Typed(posted.form.clone()), about(&stop, &who).usual_day)?;
    let mut report = report(&who, posted.id, 1, Some(id), stop.unit_id, read, None, 0);
    report.outcome = Outcome::NotDone(why.to_owned());
    store(&app, &who, &posted, report).await?;
    Ok(see_other(&format!("/kept/{}?new=1", posted.id)))
}
