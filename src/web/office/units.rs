//! One unit: its water, its record, what is due, who may see it.

use super::{
    super::{
        app::App,
        draw,
        error::{Error, Result},
        fill_view,
        form::{Nothing, Posted},
        guard::{Office, see_other},
        html::{Frame, html},
        photos::{PhotoView, view},
        water_view::{self, WaterView},
        words::{self, State},
    },
    coming::ComingView,
    customers::{need, short},
};
use crate::{
    store::{
        catalogue,
        customers::{self, Place},
        due::{self, DoneLine, RequestLine},
        events::{self, Actor},
        links,
        lists::{self, UnitRow},
        photos,
        reports::{self, ReportLine},
        units::{self, Unit, UnitChange},
        water::{self, Event, Maker, NewEvent, NewReading, NewTest, What},
        week,
    },
    units::{UnitsFirst, VolumeUnit, day_with_year, parse_date, parse_mg_per_litre, parse_ph, parse_volume},
};
use askama::Template;
use axum::extract::Path;
use serde::Deserialize;
use sqlx::PgConnection;
use time::Date;
use uuid::Uuid;

/// Tests, doses and reports that the page shows.
const LINES: i64 = 30;
/// The newest photos; older ones stand on their reports.
const PHOTOS: i64 = 24;

struct DueView {
    job: String,
    state: State,
    window: String,
    drawing: String,
    reason: String,
}

struct LinkView {
    id: Uuid,
    label: String,
    ends_with: String,
    made: String,
    open: bool,
}

#[derive(Template)]
#[template(path = "office/unit.html")]
struct UnitPage {
    f: Frame,
    u: Unit,
    installed: String,
    place: Place,
    water: WaterView,
    due: Vec<DueView>,
    requests: Vec<RequestLine>,
    /// What was done by somebody else: number, words, day.
    done: Vec<(Uuid, String, String)>,
    /// What somebody else can do.
    elsewhere: Vec<(String, String)>,
    coming: Vec<ComingView>,
    /// The week that the season's plan means its visit for.
    meant: String,
    reports: Vec<ReportLine>,
    photos: Vec<PhotoView>,
    back: String,
    links: Vec<LinkView>,
    /// A link that was made just now: shown once, stored nowhere.
    new_link: String,
    kinds: Vec<catalogue::UnitKind>,
    /// What its programme can be dosed with, where that is more than one.
    products: Vec<(Uuid, String)>,
    /// The customer's places.
    places: Vec<Place>,
    /// Its own, as it stands in the form.
    jacket: String,
    programmes: Vec<(String, String)>,
    kits: Vec<(String, String)>,
    /// Kits that measure the programme's inhibitor, and the one that its tests are read by.
    test_kits: Vec<(String, String)>,
    test_kit: String,
    jobs: Vec<(String, String)>,
    today: Date,
}

fn done(d: &DoneLine) -> (Uuid, String, String) {
    let by = if d.by_whom.is_empty() { String::new() } else { format!(", by {}", d.by_whom) };
    (d.id, format!("{}{by}", d.job_name), day_with_year(d.done_on))
}

async fn show(who: &Office, app: &App, id: Uuid, new_link: String) -> Result {
    let u = units::get(&app.pool, id).await?;
    let today = who.dealer.today;
    let mut c = app.pool.acquire().await?;
    let treatments = catalogue::treatments(&mut c).await?;
    let book = catalogue::job_book(&mut c).await?;
    let water = water_view::load(&mut c, &treatments, id, &who.dealer, LINES).await?;
    let due = due::of_unit(&mut *c, id).await?.into_iter().map(|d| DueView {
        state: words::due(&d, today),
        window: format!("{} to {}", day_with_year(d.opens_on), day_with_year(d.closes_on)),
        drawing: draw::window(d.opens_on, d.closes_on, today),
        job: d.job_name,
        reason: d.reason,
    });
    let due = due.collect();
    let links = links::of_unit(&mut *c, id).await?.into_iter().map(|l| LinkView {
        open: l.revoked_at.is_none() && l.ends_at > app.clock.now(),
        made: day_with_year(l.made_at.date()),
        id: l.id,
        label: l.label,
        ends_with: l.ends_with,
    });
    let programme = treatments.programme(&u.programme_code);
    let own_kit = u.kit_code.as_deref().and_then(|code| treatments.kit_in_use(code));
    let page = UnitPage {
        test_kits: programme.map(|p| treatments.kits_for(p).map(|k| (k.code.clone(), k.name.clone())).collect()).unwrap_or_default(),
        test_kit: own_kit.or_else(|| treatments.usual_kit(programme?)).map(|k| k.code.clone()).unwrap_or_default(),
        f: Frame::of(who, "customers"),
        installed: u.installed_on.map(day_with_year).unwrap_or_default(),
        place: customers::place(&mut *c, u.place_id).await?,
        water,
        requests: due::requests_of_unit(&mut *c, id).await?,
        done: due::done_of_unit(&mut *c, id, LINES).await?.iter().map(done).collect(),
        elsewhere: super::done::elsewhere(&book),
        meant: super::season::meant(&mut *c, id, today).await?,
        due,
        coming: week::coming(&mut *c, &[id], today).await?.into_iter().map(ComingView::from).collect(),
        reports: reports::of_unit(&mut *c, id, None, LINES).await?,
        photos: photos::of_unit(&mut *c, id, PHOTOS).await?.into_iter().map(view).collect(),
        back: format!("/units/{id}#photos"),
        links: links.collect(),
        new_link,
        kinds: catalogue::unit_kinds(&mut *c, Some(&u.kind_code)).await?,
        products: treatments.products_for(&u.programme_code).map(|p| (p.id, p.product.name.clone())).collect(),
        places: customers::places(&mut *c, u.customer_id).await?,
        jacket: super::kinds::jacket_typed(u.jacket_ml, who.dealer.units),
        programmes: treatments.programmes.iter().map(|p| (p.code.clone(), p.name.clone())).collect(),
        kits: treatments.kits_in_use().map(|k| (k.code.clone(), k.name.clone())).collect(),
        jobs: book.jobs.iter().map(|j| (j.kind.code().to_owned(), j.kind.name().to_owned())).collect(),
        u,
        today,
    };
    html(&page)
}

pub(super) async fn page(who: Office, app: App, Path(id): Path<Uuid>) -> Result {
    show(&who, &app, id, String::new()).await
}

#[derive(Debug, Deserialize)]
pub(super) struct UnitForm {
    name: String,
    kind: String,
    #[serde(default)]
    serial: String,
    #[serde(default)]
    installed_on: String,
    /// Missing: as it is.
    reference: Option<String>,
    #[serde(default)]
    status: String,
    #[serde(default)]
    aluminium: String,
    #[serde(default)]
    stainless: String,
    #[serde(default)]
    copper: String,
    programme: String,
    #[serde(default)]
    kit: String,
    #[serde(default)]
    fuel_moisture: String,
    /// Of a unit that is here already: what it is dosed with, and where it stands.
    #[serde(default)]
    product: String,
    place: Option<Uuid>,
    #[serde(default)]
    jacket: String,
    #[serde(default)]
    row_version: i32,
}

pub(super) fn date(text: &str) -> Result<Option<Date>> {
    if text.trim().is_empty() {
        return Ok(None);
    }
    parse_date(text).map(Some).map_err(|e| Error::Bad(e.to_string()))
}

fn reference(form: &UnitForm) -> Result<Option<String>> {
    let typed = short(form.reference.as_deref().unwrap_or(""), "The reference", 40)?;
    Ok(Some(typed).filter(|r| !r.is_empty()))
}

/// The product of the unit's own that was chosen, if it serves the programme.
async fn own_product(db: &mut PgConnection, form: &UnitForm) -> Result<Option<Uuid>> {
    let Ok(id) = form.product.parse::<Uuid>() else { return Ok(None) };
    let known = catalogue::treatments(db).await?;
    if known.products_for(&form.programme).any(|p| p.id == id) {
        return Ok(Some(id));
    }
    Err(Error::Bad("That product does not serve the unit’s programme. Choose “the usual one”, or another programme.".to_owned()))
}

/// The kit of the unit's own that was chosen, if it measures what the programme counts.
async fn own_kit(db: &mut PgConnection, form: &UnitForm) -> Result<()> {
    let known = catalogue::treatments(db).await?;
    match (known.kit(&form.kit), known.programme(&form.programme)) {
        (Some(kit), Some(programme)) if !kit.serves(programme) => Err(Error::Bad(format!(
            "{} does not measure what {} counts. Choose “the usual one”, or another kit.",
            kit.name, programme.name
        ))),
        _ => Ok(()),
    }
}

pub(super) async fn change(who: Office, app: App, (Path(id), posted): (Path<Uuid>, Posted<UnitForm>)) -> Result {
    let form = &posted.form;
    let name = need(&form.name, "Give the unit a name", 120)?;
    let serial = short(&form.serial, "The serial number", 60)?;
    let mut tx = app.pool.begin().await?;
    if posted.first_time(&mut tx, &who, "change unit", app.clock.now()).await? {
        own_kit(&mut tx, form).await?;
        let before = units::get(&mut *tx, id).await?;
        let reference = reference(form)?.or(before.reference.filter(|_| form.reference.is_none()));
        let change = UnitChange {
            id,
            reference: reference.as_deref(),
            place_id: form.place.unwrap_or(before.place_id),
            jacket_ml: super::kinds::own_jacket(&form.jacket, before.jacket_ml, who.dealer.units)?,
            name: &name,
            kind_code: &form.kind,
            serial: &serial,
            installed_on: date(&form.installed_on)?,
            status: &form.status,
            aluminium: form.aluminium == "yes",
            stainless: form.stainless == "yes",
            copper: form.copper == "yes",
            programme_code: &form.programme,
            kit_code: Some(form.kit.as_str()).filter(|k| !k.is_empty()),
            product_id: own_product(&mut tx, form).await?,
            ask_fuel_moisture: form.fuel_moisture == "yes",
            row_version: form.row_version,
        };
        units::change(&mut tx, &change).await?;
        due::refresh(&mut tx, Some(&[id]), who.dealer.today).await?;
    }
    tx.commit().await?;
    Ok(see_other(&format!("/units/{id}")))
}

#[derive(Template)]
#[template(path = "office/new_unit.html")]
struct NewUnitPage {
    f: Frame,
    place: Place,
    kinds: Vec<catalogue::UnitKind>,
    programmes: Vec<(String, String)>,
    kits: Vec<(String, String)>,
}

pub(super) async fn new_page(who: Office, app: App, Path(place_id): Path<Uuid>) -> Result {
    let place = customers::place(&app.pool, place_id).await?;
    let mut c = app.pool.acquire().await?;
    let treatments = catalogue::treatments(&mut c).await?;
    html(&NewUnitPage {
        f: Frame::of(&who, "customers"),
        place,
        kinds: catalogue::unit_kinds(&mut *c, None).await?,
        programmes: treatments.programmes.iter().map(|p| (p.code.clone(), p.name.clone())).collect(),
        kits: treatments.kits_in_use().map(|k| (k.code.clone(), k.name.clone())).collect(),
    })
}

pub(super) async fn add(who: Office, app: App, (Path(place_id), posted): (Path<Uuid>, Posted<UnitForm>)) -> Result {
    let place = customers::place(&app.pool, place_id).await?;
    let form = &posted.form;
    let id = posted.id;
    let (name, serial) = (need(&form.name, "Give the unit a name", 120)?, short(&form.serial, "The serial number", 60)?);
    let reference = reference(form)?;
    let mut tx = app.pool.begin().await?;
    if posted.first_time(&mut tx, &who, "add unit", app.clock.now()).await? {
        own_kit(&mut tx, form).await?;
        let unit = UnitRow {
            id,
            place_id,
            customer_id: place.customer_id,
            reference,
            name,
            kind_code: form.kind.clone(),
            serial,
            installed_on: date(&form.installed_on)?,
            jacket_ml: super::kinds::own_jacket(&form.jacket, None, who.dealer.units)?,
            aluminium: form.aluminium == "yes",
            programme_code: form.programme.clone(),
            kit_code: Some(form.kit.clone()).filter(|k| !k.is_empty()),
        };
        lists::add_units(&mut tx, &[unit]).await?;
        due::refresh(&mut tx, Some(&[id]), who.dealer.today).await?;
    }
    tx.commit().await?;
    Ok(see_other(&format!("/units/{id}")))
}

#[derive(Debug, Deserialize)]
pub(super) struct VolumeForm {
    pub(super) volume: String,
    pub(super) method: String,
    #[serde(default)]
    pub(super) plus_minus: String,
    #[serde(default)]
    pub(super) note: String,
}

pub(super) fn usual_volume(units: UnitsFirst) -> VolumeUnit {
    if units == UnitsFirst::Metric { VolumeUnit::Litre } else { VolumeUnit::UsGallon }
}

#[derive(Debug, Deserialize)]
pub(super) struct TestForm {
    taken_on: String,
    maker: String,
    kit: String,
    reading: String,
    #[serde(default)]
    ph: String,
    #[serde(default)]
    hardness: String,
    #[serde(default)]
    conductivity: String,
    #[serde(default)]
    chloride: String,
    #[serde(default)]
    sulfate: String,
    #[serde(default)]
    iron: String,
    #[serde(default)]
    ammonium: String,
    #[serde(default)]
    nitrate: String,
    #[serde(default)]
    molybdenum: String,
    #[serde(default)]
    boron: String,
    #[serde(default)]
    meter: String,
    #[serde(default)]
    note: String,
}

pub(super) async fn add_test(who: Office, app: App, (Path(id), posted): (Path<Uuid>, Posted<TestForm>)) -> Result {
    let form = &posted.form;
    let now = app.clock.now();
    let taken_on = date(&form.taken_on)?.ok_or_else(|| Error::Bad("Give the day of the test.".to_owned()))?;
    if taken_on > who.dealer.today {
        return Err(Error::Bad("The day of the test lies ahead. Check the date.".to_owned()));
    }
    let maker = match form.maker.as_str() {
        "laboratory" => Maker::Laboratory,
        "customer" => Maker::Customer,
        _ => Maker::Office,
    };
    let mut tx = app.pool.begin().await?;
    let treatments = catalogue::treatments(&mut tx).await?;
    let unit = units::get(&mut *tx, id).await?;
    let programme = treatments.programme(&unit.programme_code).ok_or(Error::NotFound)?;
    let mut readings = vec![water_view::inhibitor(&treatments, programme, &form.kit, &form.reading)?];
    readings.extend(plain_readings(form)?);
    if posted.first_time(&mut tx, &who, "water test", now).await? {
        let note = short(&form.note, "The note", 1000)?;
        let test = NewTest {
            id: posted.id,
            unit_id: id,
            taken_on,
            maker,
            staff_id: Some(who.staff_id),
            report: None,
            fill_id: None,
            note: &note,
            readings: &readings,
        };
        water::add_test(&mut tx, &test, now).await?;
        if !form.meter.trim().is_empty() {
            let (ml, _) = parse_volume(&form.meter, usual_volume(who.dealer.units)).map_err(|e| Error::Bad(e.to_string()))?;
            let event = NewEvent {
                unit_id: id,
                happened_on: taken_on,
                what: Event::Meter,
                amount_ml: ml.get(),
                where_to: "",
                staff_id: Some(who.staff_id),
                report: None,
            };
            water::add_event(&mut *tx, &event, now).await?;
        }
        due::refresh(&mut tx, Some(&[id]), who.dealer.today).await?;
    }
    tx.commit().await?;
    Ok(see_other(&format!("/units/{id}#water")))
}

fn plain_readings(form: &TestForm) -> Result<Vec<NewReading>> {
    let mut readings = Vec::new();
    if !form.ph.trim().is_empty() {
        let ph = parse_ph(&form.ph).map_err(|e| Error::Bad(e.to_string()))?;
        readings.push(NewReading::ph(ph));
    }
    if !form.hardness.trim().is_empty() {
        let hardness = parse_mg_per_litre(&form.hardness).map_err(|e| Error::Bad(e.to_string()))?;
        readings.push(NewReading::mg_l(What::Hardness, hardness));
    }
    let more = [
        (What::Conductivity, "The conductivity", &form.conductivity, 50_000.0),
        (What::Chloride, "Chloride", &form.chloride, 100_000.0),
        (What::Sulfate, "Sulfate", &form.sulfate, 100_000.0),
        (What::Iron, "Iron", &form.iron, 10_000.0),
        (What::Ammonium, "Ammonium", &form.ammonium, 10_000.0),
        (What::Nitrate, "Nitrate", &form.nitrate, 100_000.0),
        (What::Molybdenum, "Molybdenum", &form.molybdenum, 10_000.0),
        (What::Boron, "Boron", &form.boron, 10_000.0),
    ];
    for (what, name, typed, most) in more {
        if let Some(value) = fill_view::figure(typed, name, 0.0..=most).map_err(Error::Bad)? {
            #[expect(clippy::cast_possible_truncation, reason = "bounded above and below")]
            let milli = (value * 1000.0).round() as i64;
            readings.push(NewReading::figure(what, milli));
        }
    }
    Ok(readings)
}

#[derive(Debug, Deserialize)]
pub(super) struct Request {
    job: String,
    by_day: String,
    #[serde(default)]
    note: String,
}

/// Asks for a job at this unit, as a repair that a customer rang about.
pub(super) async fn ask(who: Office, app: App, (Path(id), posted): (Path<Uuid>, Posted<Request>)) -> Result {
    let today = who.dealer.today;
    let by_day = date(&posted.form.by_day)?.unwrap_or(today + time::Duration::days(14));
    if by_day < today {
        return Err(Error::Bad("The last good day is over already. Choose today or a later one.".to_owned()));
    }
    let note = short(&posted.form.note, "The note", 1000)?;
    let mut tx = app.pool.begin().await?;
    if posted.first_time(&mut tx, &who, "request", app.clock.now()).await? {
        due::ask(&mut *tx, posted.id, id, &posted.form.job, today, by_day, &note, who.staff_id).await?;
        due::refresh(&mut tx, Some(&[id]), today).await?;
    }
    tx.commit().await?;
    Ok(see_other(&format!("/units/{id}#due")))
}

#[derive(Debug, Deserialize)]
pub(super) struct LinkForm {
    #[serde(default)]
    label: String,
}

/// Makes a link to the record. It is shown on this answer only: what is stored is a fingerprint.
pub(super) async fn make_link(who: Office, app: App, (Path(id), posted): (Path<Uuid>, Posted<LinkForm>)) -> Result {
    let label = Some(short(&posted.form.label, "The name of the link", 80)?).filter(|l| !l.is_empty()).unwrap_or_else(|| "Link".to_owned());
    units::get(&app.pool, id).await?;
    let now = app.clock.now();
    let mut tx = app.pool.begin().await?;
    let mut made = String::new();
    if posted.first_time(&mut tx, &who, "record link", now).await? {
        let token = links::make(&mut *tx, id, &label, Some(who.staff_id), now).await?;
        let actor = Actor { id: Some(who.staff_id), words: who.name.clone() };
        events::note(&mut *tx, now, &actor, "made a record link", &id.to_string()).await?;
        made = format!("{}/w/{token}", app.public_url);
    }
    tx.commit().await?;
    show(&who, &app, id, made).await
}

pub(super) async fn revoke_link(who: Office, app: App, (Path((id, link)), posted): (Path<(Uuid, Uuid)>, Posted<Nothing>)) -> Result {
    let now = app.clock.now();
    let mut tx = app.pool.begin().await?;
    if posted.first_time(&mut tx, &who, "close link", now).await? {
        links::revoke(&mut *tx, id, link, now).await?;
        let actor = Actor { id: Some(who.staff_id), words: who.name.clone() };
        events::note(&mut *tx, now, &actor, "closed a record link", &id.to_string()).await?;
    }
    tx.commit().await?;
    Ok(see_other(&format!("/units/{id}#links")))
}
