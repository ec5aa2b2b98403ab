//! Customers and their places.

use super::{
    super::{
        app::App,
        error::{Error, Result},
        form::Posted,
        guard::{Office, see_other},
        html::{Frame, html},
        map,
        words::{self, State},
    },
    coming::ComingView,
};
use crate::{
    roads::is_far,
    season::{parse_suits, suits_text},
    store::{
        customers::{self, Customer, CustomerLine, PinOrigin, Place},
        due,
        forget::{self, MayGo},
        staff,
        units::{self, Unit},
        week,
    },
};
use askama::Template;
use axum::extract::{Path, Query};
use serde::Deserialize;
use time::Date;
use uuid::Uuid;

/// Customers a page.
const LINES: i64 = 50;

#[derive(Debug, Default, Deserialize)]
pub(super) struct Asked {
    #[serde(default)]
    q: String,
    #[serde(default)]
    after: String,
    after_id: Option<Uuid>,
    #[serde(default)]
    said: String,
}

#[derive(Template)]
#[template(path = "office/customers.html")]
struct ListPage {
    f: Frame,
    q: String,
    lines: Vec<CustomerLine>,
    /// Name and id of the last line, when there are more.
    next: Option<(String, Uuid)>,
    said: String,
}

pub(super) async fn list(who: Office, app: App, Query(asked): Query<Asked>) -> Result {
    let after = asked.after_id.map(|id| (asked.after.as_str(), id));
    let searching = !asked.q.trim().is_empty();
    let lines =
        if searching { customers::search(&app.pool, &asked.q, LINES).await? } else { customers::browse(&app.pool, after, LINES).await? };
    // Somebody is on the telephone: whom else could be meant?
    if let ([only], true) = (lines.as_slice(), searching) {
        return Ok(see_other(&format!("/customers/{}", only.id)));
    }
    let full = i64::try_from(lines.len()).unwrap_or(0) == LINES;
    let next = lines.last().filter(|_| full && !searching).map(|l| (l.name.clone(), l.id));
    html(&ListPage { f: Frame::of(&who, "customers"), q: asked.q, lines, next, said: asked.said })
}

/// A place with its units.
struct PlaceView {
    place: Place,
    pin: String,
    /// The pin is so far from every depot that it may be a slip.
    far: bool,
    /// Where the pin lies beside the roads, in words and drawn; both empty without a road file.
    lies: String,
    map: String,
    /// When somebody can be met there, as it is typed.
    suits: String,
    units: Vec<UnitView>,
}

/// A unit with what somebody on the telephone asks about.
struct UnitView {
    unit: Unit,
    /// Jobs whose window is open or past.
    due: Vec<(String, State)>,
    coming: Vec<ComingView>,
}

/// The units with what is due and who comes.
async fn with_due(app: &App, units: Vec<Unit>, today: Date) -> Result<Vec<UnitView>> {
    let ids: Vec<Uuid> = units.iter().map(|u| u.id).collect();
    let mut due = due::of_units(&app.pool, &ids).await?;
    due.retain(|d| d.opens_on <= today);
    let mut coming: Vec<ComingView> = week::coming(&app.pool, &ids, today).await?.into_iter().map(ComingView::from).collect();
    let view = |unit: Unit| UnitView {
        due: due.iter().filter(|d| d.unit_id == unit.id).map(|d| (d.job_name.clone(), words::due(d, today))).collect(),
        coming: coming.extract_if(.., |v| v.unit_id == unit.id).collect(),
        unit,
    };
    Ok(units.into_iter().map(view).collect())
}

#[derive(Template)]
#[template(path = "office/customer.html")]
struct CustomerPage {
    f: Frame,
    c: Customer,
    places: Vec<PlaceView>,
    may_go: MayGo,
}

pub(super) async fn page(who: Office, app: App, Path(id): Path<Uuid>) -> Result {
    let c = customers::get(&app.pool, id).await?;
    let units = units::of_customer(&app.pool, id).await?;
    let mut units = with_due(&app, units, who.dealer.today).await?;
    let mut places = Vec::new();
    let all = customers::places(&app.pool, id).await?;
    let suits = week::suits(&app.pool, &all.iter().map(|p| p.id).collect::<Vec<_>>()).await?;
    let depots: Vec<(f64, f64)> = staff::depots(&app.pool).await?.iter().map(|d| (d.lat, d.lon)).collect();
    for place in all {
        let (own, rest) = units.drain(..).partition(|u: &UnitView| u.unit.place_id == place.id);
        units = rest;
        let (map, lies) = match place.pin {
            Some(pin) => map::place(&app, &format!("p{}", place.id.simple()), &place.name, pin).await,
            None => Default::default(),
        };
        let pin = place.pin.map(|(lat, lon)| format!("{lat:.5}, {lon:.5}")).unwrap_or_default();
        let suits = suits.get(&place.id).map(|s| suits_text(s)).unwrap_or_default();
        let far = place.pin.is_some_and(|pin| is_far(pin, &depots));
        places.push(PlaceView { far, pin, lies, map, suits, place, units: own });
    }
    let may_go = forget::may_go(&mut *app.pool.acquire().await?, id).await?;
    html(&CustomerPage { f: Frame::of(&who, "customers"), c, places, may_go })
}

#[derive(Debug, Deserialize)]
pub(super) struct CustomerForm {
    name: String,
    /// Missing: as it is.
    reference: Option<String>,
    #[serde(default)]
    phone: String,
    #[serde(default)]
    email: String,
    #[serde(default)]
    note: String,
    #[serde(default)]
    row_version: i32,
}

fn customer(form: &CustomerForm, id: Uuid) -> Result<Customer> {
    let name = need(&form.name, "Give the customer a name", 120)?;
    let reference = Some(short(form.reference.as_deref().unwrap_or(""), "The reference", 40)?).filter(|r| !r.is_empty());
    let (phone, email) = (short(&form.phone, "The phone number", 40)?, short(&form.email, "The mail address", 200)?);
    Ok(Customer {
        id,
        reference,
        name,
        phone,
        email,
        note: short(&form.note, "The note", 4000)?,
        row_version: form.row_version,
        forgotten: false,
    })
}

/// A text that must be there.
pub(in crate::web) fn need(text: &str, what: &str, most: usize) -> Result<String> {
    match text.trim() {
        "" => Err(Error::Bad(format!("{what}."))),
        t if t.chars().count() > most => Err(Error::Bad(format!("{what} of {most} characters at most."))),
        t => Ok(t.to_owned()),
    }
}

/// A text that may be empty.
pub(super) fn short(text: &str, what: &str, most: usize) -> Result<String> {
    let text = text.trim();
    if text.chars().count() > most { Err(Error::Bad(format!("{what} may have {most} characters at most."))) } else { Ok(text.to_owned()) }
}

pub(super) async fn add(who: Office, app: App, posted: Posted<CustomerForm>) -> Result {
    let customer = customer(&posted.form, posted.id)?;
    let now = app.clock.now();
    let mut tx = app.pool.begin().await?;
    if posted.first_time(&mut tx, &who, "add customer", now).await? {
        customers::add(&mut *tx, &customer, now).await?;
    }
    tx.commit().await?;
    Ok(see_other(&format!("/customers/{}", customer.id)))
}

pub(super) async fn change(who: Office, app: App, (Path(id), posted): (Path<Uuid>, Posted<CustomerForm>)) -> Result {
    let mut customer = customer(&posted.form, id)?;
    let mut tx = app.pool.begin().await?;
    if posted.form.reference.is_none() {
        customer.reference = customers::get(&mut *tx, id).await?.reference;
    }
    if posted.first_time(&mut tx, &who, "change customer", app.clock.now()).await? {
        customers::change(&mut *tx, &customer).await?;
    }
    tx.commit().await?;
    Ok(see_other(&format!("/customers/{id}")))
}

#[derive(Debug, Deserialize)]
pub(super) struct PlaceForm {
    name: String,
    #[serde(default)]
    address: String,
    #[serde(default)]
    town: String,
    #[serde(default)]
    pin: String,
    #[serde(default)]
    access_note: String,
    #[serde(default)]
    hazards: String,
    /// When somebody can be met there.
    #[serde(default)]
    suits: String,
    #[serde(default)]
    row_version: i32,
}

fn place(form: &PlaceForm, id: Uuid, customer_id: Uuid) -> Result<Place> {
    let pin = pin(&form.pin)?;
    Ok(Place {
        id,
        customer_id,
        name: need(&form.name, "Give the place a name", 120)?,
        address: short(&form.address, "The address", 300)?,
        town: short(&form.town, "The town", 80)?,
        pin,
        pin_origin: if pin.is_some() { PinOrigin::Office } else { PinOrigin::None },
        access_note: short(&form.access_note, "The note on access", 2000)?,
        hazards: short(&form.hazards, "The hazards", 2000)?,
        row_version: form.row_version,
    })
}

/// Latitude and longitude as a map shows them: "44.612, -73.201". Empty for none.
pub(super) fn pin(text: &str) -> Result<Option<(f64, f64)>> {
    let text = text.trim();
    if text.is_empty() {
        return Ok(None);
    }
    let parts: Vec<&str> = text.split([',', ' ', ';']).filter(|p| !p.is_empty()).collect();
    let numbers: Vec<f64> = parts.iter().filter_map(|p| p.parse().ok()).collect();
    match numbers[..] {
        [lat, lon] if parts.len() == 2 && (-90.0..=90.0).contains(&lat) && (-180.0..=180.0).contains(&lon) => Ok(Some((lat, lon))),
        _ => Err(Error::Bad(format!(
            "“{}” is no position. Write latitude, then longitude, as in 44.612, -73.201.",
            text.chars().take(40).collect::<String>()
        ))),
    }
}

pub(super) async fn add_place(who: Office, app: App, (Path(id), posted): (Path<Uuid>, Posted<PlaceForm>)) -> Result {
    let place = place(&posted.form, posted.id, id)?;
    let suits = parse_suits(&posted.form.suits).map_err(|e| Error::Bad(e.to_string()))?;
    customers::get(&app.pool, id).await?;
    let mut tx = app.pool.begin().await?;
    if posted.first_time(&mut tx, &who, "add place", app.clock.now()).await? {
        customers::add_place(&mut *tx, &place).await?;
        week::set_suits(&mut tx, place.id, &suits).await?;
    }
    tx.commit().await?;
    Ok(see_other(&format!("/customers/{id}#place-{}", place.id)))
}

pub(super) async fn change_place(who: Office, app: App, (Path(id), posted): (Path<Uuid>, Posted<PlaceForm>)) -> Result {
    let before = customers::place(&app.pool, id).await?;
    let mut place = place(&posted.form, id, before.customer_id)?;
    let suits = parse_suits(&posted.form.suits).map_err(|e| Error::Bad(e.to_string()))?;
    // A pin that was set in the yard and only looked at here keeps its origin.
    let same = before.pin.zip(place.pin).is_some_and(|(a, b)| (a.0 - b.0).abs() < 1e-5 && (a.1 - b.1).abs() < 1e-5);
    if same {
        (place.pin, place.pin_origin) = (before.pin, before.pin_origin);
    }
    let mut tx = app.pool.begin().await?;
    if posted.first_time(&mut tx, &who, "change place", app.clock.now()).await? {
        customers::change_place(&mut *tx, &place).await?;
        week::set_suits(&mut tx, id, &suits).await?;
    }
    tx.commit().await?;
    Ok(see_other(&format!("/customers/{}#place-{id}", before.customer_id)))
}
