//! A report as it was kept, and its correction: a new version with a reason, never an overwrite.

use super::{
    super::{
        app::App,
        error::{Error, Result},
        form::Posted,
        guard::{Staff, see_other},
        html::{Frame, html},
        photos::{PhotoView, view},
        report_view::{self, ReportView},
        words::{self, State},
    },
    sheet::{self, About, Dress},
    stop,
    typed::{self, Typed},
};
use crate::{
    store::{
        catalogue::Treatments,
        due, photos,
        reports::{self, AnswerLine, ReportLine, WaterEvent},
        sessions::Role,
        units::{self, Unit},
        visits,
        water::Event,
    },
    units::{day_long, day_with_year},
    water::{Renewed, Shown},
};
use askama::Template;
use axum::extract::{Path, Query};
use serde::Deserialize;
use uuid::Uuid;

struct NextView {
    job: String,
    state: State,
    window: String,
}

#[derive(Template)]
#[template(path = "yard/kept.html")]
struct KeptPage {
    /// May be corrected by who looks at it.
    mine: bool,
    f: Frame,
    new: bool,
    u: Unit,
    v: ReportView,
    next: Vec<NextView>,
    photos: Vec<PhotoView>,
    route: String,
}

#[derive(Debug, Deserialize)]
pub(super) struct Asked {
    #[serde(default)]
    new: String,
}

/// The newest version, for its maker and for the office; to anyone else there is nothing here.
pub(super) async fn own(who: &Staff, app: &App, id: Uuid) -> Result<ReportLine> {
    let reports::Newest { unit_id, staff_id: maker, .. } = reports::newest(&app.pool, id).await?;
    if who.role == Role::Technician && maker != Some(who.staff_id) {
        return Err(Error::NotFound);
    }
    report_view::newest(&app.pool, unit_id, id).await
}

/// The same to read only, also for whoever has its visit on their route, where somebody else made it.
async fn readable(who: &Staff, app: &App, id: Uuid) -> Result<(ReportLine, bool)> {
    let newest = reports::newest(&app.pool, id).await?;
    let mine = who.role != Role::Technician || newest.staff_id == Some(who.staff_id);
    if !mine {
        let visit = newest.visit_id.ok_or(Error::NotFound)?;
        visits::own(&app.pool, who.staff_id, visit).await?;
    }
    Ok((report_view::newest(&app.pool, newest.unit_id, id).await?, mine))
}

pub(super) async fn page(who: Staff, app: App, (Path(id), Query(asked)): (Path<Uuid>, Query<Asked>)) -> Result {
    let (r, mine) = readable(&who, &app, id).await?;
    let today = who.dealer.today;
    let next = due::of_unit(&app.pool, r.unit_id).await?.into_iter().map(|d| NextView {
        state: words::due(&d, today),
        window: format!("{} to {}", day_with_year(d.opens_on), day_with_year(d.closes_on)),
        job: d.job_name,
    });
    html(&KeptPage {
        mine,
        f: Frame::of(&who, "route"),
        new: !asked.new.is_empty(),
        photos: photos::of_report(&app.pool, id).await?.into_iter().map(view).collect(),
        u: units::get(&app.pool, r.unit_id).await?,
        next: next.collect(),
        route: if who.role == Role::Office { format!("/reports/{id}") } else { format!("/route/{}", r.visited_on) },
        v: report_view::view(&app.pool, r, &who.dealer).await?,
    })
}

fn dress(id: Uuid, r: &ReportLine, form_id: Uuid) -> Dress {
    Dress {
        title: "Correct the report".to_owned(),
        action: format!("/kept/{id}/correct"),
        not_done_action: String::new(),
        back: format!("/kept/{id}"),
        when: format!("Visit of {}", day_long(r.visited_on)),
        reason_planned: String::new(),
        fill: String::new(),
        form_id,
        about: ("report", id),
        day_ahead: false,
    }
}

async fn loaded(app: &App, r: &ReportLine) -> Result<(sheet::Loaded, Vec<String>)> {
    let jobs = reports::job_codes(&app.pool, r.report_id, r.version).await?;
    let loaded = sheet::load(app, &About { unit_id: r.unit_id, usual_day: r.visited_on, correcting: true }).await?;
    Ok((loaded, jobs))
}

pub(super) async fn correct_page(who: Staff, app: App, Path(id): Path<Uuid>) -> Result {
    let r = own(&who, &app, id).await?;
    let (loaded, jobs) = loaded(&app, &r).await?;
    let events = reports::events(&app.pool, id, r.version).await?;
    let volume = loaded.water.volume.map(|v| v.volume().get());
    let typed = as_typed(&r, &loaded.treatments, &jobs, &reports::answers(&app.pool, id, r.version).await?, (&events, volume));
    html(&sheet::sheet(&app, &who, loaded, &jobs, dress(id, &r, Uuid::now_v7()), typed, Vec::new()).await?)
}

/// The version before, as if it had just been typed.
fn as_typed(
    r: &ReportLine,
    treatments: &Treatments,
    jobs: &[String],
    answers: &[AnswerLine],
    (events, volume): (&[WaterEvent], Option<i64>),
) -> Typed {
    let pair = |k: &str, v: String| (k.to_owned(), v);
    let mut pairs: Vec<(String, String)> = jobs.iter().map(|j| pair("job", j.clone())).collect();
    pairs.push(pair("version", r.version.to_string()));
    pairs.push(pair("visited_on", r.visited_on.to_string()));
    if let Some(kit) = r.kit_code.as_deref().and_then(|code| treatments.kit(code)) {
        let drops = r.drops.and_then(|n| u16::try_from(n).ok());
        let shown = r.own_milli.and_then(|own| kit.shown(drops, own).ok());
        pairs.push(pair("kit", kit.code.clone()));
        pairs.push(pair("drops", shown.map(Shown::typed).unwrap_or_default()));
    }
    pairs.push(pair("ph", r.ph_milli.map(words::ph).unwrap_or_default()));
    pairs.extend(r.dose_product_id.map(|id| pair("product", id.to_string())));
    pairs.extend(r.dose_lot_id.map(|id| pair("lot", id.to_string())));
    pairs.push(pair("put_in", r.dose_ml.map(|ml| ml.to_string()).unwrap_or_default()));
    for e in events {
        // What was let out is a share of the water, where it fits: the dose was for what the water came to.
        let share = |r: &Renewed| *r != Renewed::None && volume.is_some_and(|ml| ml * i64::from(r.quarters()) / 4 == e.amount_ml);
        if let Some(renewed) = Renewed::ALL.iter().find(|r| e.what == Event::Drained && share(r)) {
            pairs.push(pair("renewed", renewed.quarters().to_string()));
            pairs.push(pair("drained_to", e.where_to.clone()));
            continue;
        }
        let text = format!("{} mL", e.amount_ml);
        pairs.push(pair(if e.what == Event::Meter { "meter" } else { "drained" }, text));
        if e.what == Event::Drained {
            pairs.push(pair("drained_to", e.where_to.clone()));
        }
    }
    pairs.push(pair("who_was_there", r.who_was_there.clone()));
    pairs.push(pair("note", r.note.clone()));
    for a in answers {
        if let Some(figure) = a.figure {
            pairs.push(pair(&format!("figure.{}", a.item_code), figure.to_string()));
        } else if a.done {
            pairs.push(pair("done", a.item_code.clone()));
        }
    }
    Typed(pairs)
}

pub(super) async fn correct(who: Staff, app: App, (Path(id), posted): (Path<Uuid>, Posted<Vec<(String, String)>>)) -> Result {
    let r = own(&who, &app, id).await?;
    let (loaded, jobs) = loaded(&app, &r).await?;
    let typed = Typed(posted.form.clone());
    let version: i32 = typed.get("version").parse().unwrap_or(r.version);
    match typed::read(&typed, &loaded.against(who.dealer.today, who.dealer.units)) {
        Ok(read) => {
            let worked = loaded.worked(&read);
            let mut report = stop::report(&who, id, version + 1, r.visit_id, r.unit_id, read, worked, loaded.jug_step());
            // The visit stays its maker's, whoever corrects the words.
            report.staff_id = r.staff_id;
            stop::store(&app, &who, &posted, report).await.map_err(two_corrections)?;
            Ok(see_other(&format!("/kept/{id}")))
        }
        Err(wrong) => stop::again(&app, &who, loaded, &jobs, dress(id, &r, posted.id), typed, wrong).await,
    }
}

/// Two corrections of one version collide on its number; the second is told.
fn two_corrections(e: Error) -> Error {
    match e {
        Error::Bad(_) => {
            Error::Clash("Somebody else corrected this report meanwhile. Look at it again before you correct it once more.".to_owned())
        }
        other => other,
    }
}
