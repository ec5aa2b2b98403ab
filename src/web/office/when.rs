//! "When could you come?", answered while the customer is on the telephone: the cheapest places in the coming weeks.

use super::super::{
    app::App,
    error::{Error, Result},
    form::Posted,
    guard::{Office, see_other},
    html::{Frame, html},
};
use crate::{
    roads::Position,
    season::{JobKind, Suit},
    store::{
        catalogue::{self, JobBook, Treatments},
        customers::{self, Place},
        due, units,
        water::{self, UnitWater},
        week::{self, Move, NewVisit, Offer, Timing, Told, Wanted},
    },
    units::{day_long, day_short, span, time_of_day},
};
use askama::Template;
use axum::extract::{Path, Query};
use serde::Deserialize;
use sqlx::PgConnection;
use time::{Date, Duration};
use uuid::Uuid;

/// Weeks that are looked at: this one and those after it.
const WEEKS: i64 = 3;

struct OfferView {
    offer: Offer,
    day: String,
    time: String,
    more: String,
    /// The unit's visit stands on this day now.
    here: bool,
}

struct WeekView {
    name: String,
    heading: String,
    issued: bool,
    offers: Vec<OfferView>,
    /// There is room only on the day where it stands.
    only_here: bool,
}

#[derive(Template)]
#[template(path = "office/when.html")]
struct WhenPage {
    f: Frame,
    u: units::Unit,
    jobs: Vec<(String, String)>,
    job: String,
    what: String,
    /// What the customer has to see to before.
    prepare: Vec<String>,
    minutes: i32,
    no_pin: bool,
    weeks: Vec<WeekView>,
    /// Weeks without a plan: name and days.
    unplanned: Vec<(String, String)>,
    /// The week that the season's plan means its visit for.
    meant: String,
}

#[derive(Debug, Default, Deserialize)]
pub(super) struct Asked {
    #[serde(default)]
    job: String,
}

/// What is to be done at the visit.
struct Work {
    jobs: Vec<String>,
    names: String,
    minutes: i32,
    set_up: i32,
    skills: Vec<String>,
    reason: String,
    /// Treatment that it is likely to take, where the water is tested and its record can tell.
    dose_ml: Option<i64>,
}

/// One job by its code; without one, what is due at the unit in that week, else a repair.
async fn work(db: &mut PgConnection, unit_id: Uuid, job: &str, monday: Date, today: Date) -> Result<Work> {
    let book = catalogue::job_book(&mut *db).await?;
    let treatments = catalogue::treatments(&mut *db).await?;
    let day = monday.max(today);
    let mut work = if job.is_empty() { due_work(&mut *db, unit_id, &treatments, &book, day).await? } else { None };
    if work.is_none() {
        let wanted = if job.is_empty() { "repair" } else { job };
        let found = book.job(wanted).or(book.jobs.first());
        work = found.map(|j| asked_work(&j.kind));
    }
    let mut work = work.ok_or(Error::NotFound)?;
    if book.tests(work.jobs.iter().map(String::as_str)) {
        let water = water::unit_waters(&mut *db, &treatments, &[unit_id]).await?.remove(&unit_id);
        let water: Vec<&UnitWater> = water.iter().collect();
        work.dose_ml = water::expected_doses(db, &treatments, &water, day).await?.remove(&unit_id);
    }
    Ok(work)
}

async fn due_work(db: &mut PgConnection, unit_id: Uuid, treatments: &Treatments, book: &JobBook, day: Date) -> Result<Option<Work>> {
    let due = due::proposals(db, &[unit_id], treatments, day, 6).await?.remove(&unit_id);
    let Some(visit) = due.and_then(|(visits, _)| visits.into_iter().next()) else { return Ok(None) };
    let reasons: Vec<&str> = visit.reasons().collect();
    Ok(Some(Work {
        names: visit.jobs.iter().map(|j| book.name(&j.kind)).collect::<Vec<_>>().join(", "),
        jobs: visit.jobs.iter().map(|j| j.kind.clone()).collect(),
        minutes: i32::try_from(visit.minutes).unwrap_or(60).max(1),
        set_up: i32::try_from(visit.setup_minutes).unwrap_or(0),
        skills: visit.skills.iter().cloned().collect(),
        reason: reasons.join(". "),
        dose_ml: None,
    }))
}

fn asked_work(kind: &JobKind) -> Work {
    Work {
        jobs: vec![kind.code().to_owned()],
        names: kind.name().to_owned(),
        minutes: i32::from(kind.minutes()),
        set_up: i32::from(kind.setup_minutes()),
        skills: kind.skills.iter().cloned().collect(),
        reason: "Asked for by telephone".to_owned(),
        dose_ml: None,
    }
}

fn wanted(place: &Place, work: &Work, suits: &[Suit], visit_id: Option<Uuid>) -> Option<Wanted> {
    Some(Wanted {
        visit_id,
        place_id: place.id,
        pin: place.pin?,
        minutes: work.minutes,
        set_up: work.set_up,
        skills: work.skills.clone(),
        load_ml: work.dose_ml.unwrap_or(0),
        suits: suits.to_vec(),
    })
}

fn view(offer: Offer, now: Option<(Uuid, Date)>) -> OfferView {
    OfferView {
        here: now == Some((offer.staff_id, offer.day)),
        day: day_long(offer.day),
        time: time_of_day(offer.starts),
        more: if offer.drive_s < 60 {
            "no driving more".to_owned()
        } else {
            format!("{} of driving more", span(i32::try_from(offer.drive_s).unwrap_or(i32::MAX)))
        },
        offer,
    }
}

pub(super) async fn page(who: Office, app: App, (Path(id), Query(asked)): (Path<Uuid>, Query<Asked>)) -> Result {
    let u = units::get(&app.pool, id).await?;
    let place = customers::place(&app.pool, u.place_id).await?;
    let today = who.dealer.today;
    let this = week::monday_of(today);
    let pin = place.pin.and_then(|p| Position::new(p.0, p.1).ok());
    let mut drives = Vec::new();
    for n in 0..WEEKS {
        drives.push(app.drives_and(this + Duration::days(7 * n), pin).await?);
    }
    let mut c = app.pool.acquire().await?;
    let suits = week::suits(&mut *c, &[place.id]).await?.remove(&place.id).unwrap_or_default();
    let work_now = work(&mut c, id, &asked.job, this, today).await?;
    let (mut weeks, mut unplanned) = (Vec::new(), Vec::new());
    for (n, drives) in (0..WEEKS).zip(&drives) {
        let monday = this + Duration::days(7 * n);
        let heading = format!("{} to {}", day_short(monday.max(today)), day_short(monday + Duration::days(6)));
        let Some(plan) = week::header(&mut *c, monday).await? else {
            unplanned.push((week::week_name(monday), heading));
            continue;
        };
        let open = week::open_visit(&mut *c, monday, id).await?;
        let Some(wanted) = wanted(&place, &work_now, &suits, open.map(|v| v.id)) else { continue };
        let offers = week::offers(&mut c, drives, monday, who.dealer.local, &wanted).await?;
        let offers: Vec<OfferView> = offers.into_iter().map(|offer| view(offer, open.and_then(|v| v.at))).collect();
        weeks.push(WeekView {
            only_here: offers.iter().all(|offer| offer.here),
            name: week::week_name(monday),
            heading,
            issued: plan.issued_at.is_some(),
            offers,
        });
    }
    let book = catalogue::job_book(&mut c).await?;
    let mut prepare = catalogue::job_settings(&mut *c).await?;
    prepare.retain(|j| !j.prepare.is_empty() && work_now.jobs.contains(&j.code));
    html(&WhenPage {
        prepare: prepare.into_iter().map(|j| j.prepare).collect(),
        f: Frame::of(&who, "week"),
        jobs: book.jobs.iter().map(|j| (j.kind.code().to_owned(), j.kind.name().to_owned())).collect(),
        job: asked.job,
        what: work_now.names,
        minutes: work_now.minutes,
        no_pin: place.pin.is_none(),
        weeks,
        unplanned,
        meant: super::season::meant(&mut *c, id, today).await?,
        u,
    })
}

#[derive(Debug, Deserialize)]
pub(super) struct Chosen {
    week: String,
    #[serde(default)]
    job: String,
    staff: Uuid,
    day: String,
    position: usize,
    /// The time that was offered, in minutes after midnight.
    starts: Option<i32>,
    /// `yes`: the customer was told this time just now.
    #[serde(default)]
    told: String,
}

/// Puts the unit's visit there; the one it has in that week moves, else a new one is added.
pub(super) async fn choose(who: Office, app: App, (Path(id), posted): (Path<Uuid>, Posted<Chosen>)) -> Result {
    let form = &posted.form;
    let monday = week::parse_week(&form.week).ok_or(Error::NotFound)?;
    let day = crate::units::parse_date(&form.day).map_err(|e| Error::Bad(e.to_string()))?;
    let today = who.dealer.today;
    let place = customers::place(&app.pool, units::get(&app.pool, id).await?.place_id).await?;
    let pin = place.pin.and_then(|p| Position::new(p.0, p.1).ok());
    let drives = app.drives_and(monday, pin).await?;
    let mut tx = app.pool.begin().await?;
    let mut visit = posted.id;
    if posted.first_time(&mut tx, &who, "place by telephone", app.clock.now()).await? {
        let row_version = if let Some(open) = week::open_visit(&mut *tx, monday, id).await? {
            visit = open.id;
            let work = work(&mut tx, id, &form.job, monday, today).await?;
            week::add_jobs(&mut tx, visit, &work.jobs, &work.reason, work.dose_ml).await?;
            open.row_version
        } else {
            add(&mut tx, posted.id, id, &form.job, monday, today).await?;
            1
        };
        let to = Move::To { staff_id: form.staff, day, position: Some(form.position) };
        week::move_visit(&mut tx, Timing { drives: &drives, now: who.dealer.local }, visit, row_version, to)
            .await
            .map_err(super::visits::words)?;
        // What was said is what was offered, also where somebody has changed the day meanwhile.
        if let Some(starts) = form.starts.filter(|s| form.told == "yes" && (0..1440).contains(s)) {
            week::tell(&mut tx, monday, &[(id, Told { day, starts })], who.staff_id, app.clock.now()).await?;
        }
    } else if let Some(open) = week::open_visit(&mut *tx, monday, id).await? {
        visit = open.id;
    }
    tx.commit().await.map_err(|e| super::visits::words(e.into()))?;
    Ok(see_other(&format!("/week/{}#v-{visit}", form.week)))
}

async fn add(db: &mut PgConnection, visit_id: Uuid, unit_id: Uuid, job: &str, monday: Date, today: Date) -> Result<()> {
    let plan =
        week::header(&mut *db, monday).await?.ok_or_else(|| Error::Bad("That week is not planned yet. Plan it first.".to_owned()))?;
    let u = units::get(&mut *db, unit_id).await?;
    let work = work(&mut *db, unit_id, job, monday, today).await?;
    let new = NewVisit {
        id: visit_id,
        confirmed: false,
        unit_id,
        customer_id: u.customer_id,
        place_id: u.place_id,
        jobs: work.jobs,
        opens_on: monday,
        closes_on: monday + Duration::days(6),
        minutes: work.minutes,
        reason: work.reason,
        expected_dose_ml: work.dose_ml,
        placed: None,
        why: String::new(),
    };
    Ok(week::add_visit(db, plan.id, &new).await?)
}
