//! Treatment as data: programmes, products and kits. Every dose follows from these figures.

use super::{
    super::{
        app::App,
        error::{Error, Result},
        form::{Nothing, Posted},
        guard::{Owner, see_other},
        html::{Frame, html},
    },
    customers::{need, short},
    shelf::LotView,
    units::date,
};
use crate::{
    store::{
        catalogue::{self, KitRow, ProductRow, Treatments, Versions},
        due, first_steps, shelf,
    },
    units::{MgPerLitre, Millilitres, Ph, VolumeUnit, amount, day_with_year, decimal, parse_mg_per_litre, parse_ph, parse_volume},
    water::{Basis, Counts, Levels, Measure, PhBand, Product, Programme, RecheckDays, Strength, TestKit},
};
use askama::Template;
use axum::extract::Path;
use serde::Deserialize;
use std::{fmt::Display, num::NonZero};
use time::Date;
use uuid::Uuid;

struct ProgrammeView {
    p: Programme,
    row_version: i32,
}

struct ProductView {
    row: ProductRow,
    row_version: i32,
    percent: String,
    density: String,
    source: String,
    left: String,
    lots: Vec<LotView>,
    /// Its programme's units are dosed with it.
    usual: bool,
}

struct KitView {
    row: KitRow,
    row_version: i32,
    per_drop: String,
    max_drops: String,
    error: String,
    steps: String,
    sample: String,
    expired: bool,
    /// Names of the programmes whose units are tested with it.
    usual_for: Vec<String>,
}

#[derive(Template)]
#[template(path = "office/treatments.html")]
struct TreatmentsPage {
    f: Frame,
    programmes: Vec<ProgrammeView>,
    products: Vec<ProductView>,
    kits: Vec<KitView>,
    /// What is not used any more: its address, and its name.
    left_out: Vec<(String, String)>,
    bases: Vec<&'static str>,
    /// When all of it was compared with the labels.
    compared: String,
}

fn version<K: PartialEq>(all: &[(K, i32)], key: &K) -> i32 {
    all.iter().find(|v| v.0 == *key).map_or(0, |v| v.1)
}

pub(super) async fn page(who: Owner, app: App, (): ()) -> Result {
    let mut c = app.pool.acquire().await?;
    let known = catalogue::treatments(&mut c).await?;
    let versions = catalogue::versions(&mut c).await?;
    let lots = shelf::lots(&mut *c).await?;
    let today = who.dealer.today;
    let left_out = left_out(&known);
    let usual: Vec<Uuid> = known.programmes.iter().filter_map(|p| known.usual_product(&p.code)).map(|p| p.id).collect();
    let tested: Vec<(String, String)> =
        known.programmes.iter().filter_map(|p| Some((known.usual_kit(p)?.code.clone(), p.name.clone()))).collect();
    let Treatments { programmes, products, kits, .. } = known;
    let left = |id: Uuid| {
        let ml: i64 = lots.iter().filter(|l| l.product_id == id).map(|l| l.left_ml).sum();
        if ml > 0 { amount(ml, who.dealer.units) } else { String::new() }
    };
    let own_lots = |id: Uuid| lots.iter().filter(|l| l.product_id == id).map(|l| LotView::of(l, who.dealer.units)).collect();
    let products = products.into_iter().filter(|row| row.active);
    let products = products
        .map(|row| ProductView { usual: usual.contains(&row.id), lots: own_lots(row.id), ..product_view(row, &versions, &left) })
        .collect();
    let usual_for = |code: &str| tested.iter().filter(|t| t.0 == code).map(|t| t.1.clone()).collect();
    let kits = kits.into_iter().filter(|row| row.active);
    html(&TreatmentsPage {
        f: Frame::of(&who, "treatments"),
        programmes: programmes.into_iter().map(|p| ProgrammeView { row_version: version(&versions.programmes, &p.code), p }).collect(),
        products,
        kits: kits.map(|row| KitView { usual_for: usual_for(&row.kit.code), ..kit_view(row, &versions, today) }).collect(),
        left_out,
        bases: Basis::ALL.iter().map(|b| b.as_str()).collect(),
        compared: first_steps::compared_on(&mut *c).await?.map(day_with_year).unwrap_or_default(),
    })
}

/// The owner has compared what is here with the labels and the kits' sheets.
pub(super) async fn compared(who: Owner, app: App, posted: Posted<Nothing>) -> Result {
    let now = app.clock.now();
    let mut tx = app.pool.begin().await?;
    if posted.first_time(&mut tx, &who, "treatment compared with labels", now).await? {
        first_steps::compared(&mut *tx, who.dealer.today).await?;
    }
    tx.commit().await?;
    Ok(see_other("/treatments"))
}

fn left_out(known: &Treatments) -> Vec<(String, String)> {
    let products = known.products.iter().filter(|p| !p.active).map(|p| (format!("products/{}", p.id), p.product.name.clone()));
    let kits = known.kits.iter().filter(|k| !k.active).map(|k| (format!("kits/{}", k.kit.code), k.kit.name.clone()));
    products.chain(kits).collect()
}

fn product_view(row: ProductRow, versions: &Versions, left: &dyn Fn(Uuid) -> String) -> ProductView {
    let found = versions.products.iter().find(|v| v.0 == row.id);
    ProductView {
        row_version: found.map_or(0, |v| v.1),
        source: found.map(|v| v.2.clone()).unwrap_or_default(),
        percent: decimal(row.product.strength.active_ppm().into(), 10_000),
        density: decimal(row.product.strength.density_g_per_l().into(), 1_000),
        left: left(row.id),
        lots: Vec::new(),
        usual: false,
        row,
    }
}

fn kit_view(row: KitRow, versions: &Versions, today: Date) -> KitView {
    let (per_drop, max_drops, error) = match row.kit.counts {
        Counts::Drops { per_drop, max_drops } => (decimal(per_drop.get().into(), 100), max_drops.to_string(), String::new()),
        Counts::Direct { relative_sd } => (String::new(), String::new(), decimal(relative_sd.into(), 10)),
    };
    KitView {
        row_version: version(&versions.kits, &row.kit.code),
        per_drop,
        max_drops,
        error,
        steps: row.kit.steps.iter().map(|step| step.get().to_string()).collect::<Vec<_>>().join(", "),
        sample: row.sample_ul.map(|ul| decimal(ul.into(), 1000)).unwrap_or_default(),
        expired: row.reagent_expires_on.is_some_and(|d| d < today),
        usual_for: Vec::new(),
        row,
    }
}

fn bad(e: impl Display) -> Error {
    Error::Bad(e.to_string())
}

fn mg_l(text: &str) -> Result<MgPerLitre> {
    parse_mg_per_litre(text).map_err(bad)
}

fn optional_mg_l(text: &str) -> Result<Option<MgPerLitre>> {
    if text.trim().is_empty() { Ok(None) } else { mg_l(text).map(Some) }
}

fn band(low: &str, high: &str) -> Result<PhBand> {
    let ph = |text: &str| -> Result<Ph> { parse_ph(text).map_err(bad) };
    PhBand::new(ph(low)?, ph(high)?).map_err(bad)
}

/// A decimal number times `per`, as a whole.
fn scaled(text: &str, per: f64, what: &str) -> Result<u32> {
    let read = text.trim().trim_end_matches('%').trim().parse::<f64>().ok().filter(|v| v.is_finite() && (0.0..=1e6).contains(v));
    let value = read.ok_or_else(|| {
        Error::Bad(format!("{what}: “{}” is no number. Write it as 20 or 1.15.", text.chars().take(20).collect::<String>()))
    })?;
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "bounded above and below")]
    let whole = (value * per).round().min(4e9) as u32;
    Ok(whole)
}

#[derive(Debug, Deserialize)]
pub(super) struct ProgrammeForm {
    name: String,
    /// Of a new programme only: readings are kept in it.
    #[serde(default)]
    basis: String,
    alarm_low: String,
    min: String,
    top_up_below: String,
    target: String,
    max: String,
    ph_min: String,
    ph_max: String,
    ph_min_aluminium: String,
    ph_max_aluminium: String,
    #[serde(default)]
    dose_ph_min: String,
    #[serde(default)]
    dose_ph_max: String,
    #[serde(default)]
    hardness_advise: String,
    #[serde(default)]
    hardness_stop: String,
    #[serde(default)]
    cl_so4_stop: String,
    recheck_from: u16,
    recheck_to: u16,
    source: String,
    row_version: i32,
}

/// Both ends, or neither.
fn dose_ph(form: &ProgrammeForm) -> Result<Option<PhBand>> {
    match (form.dose_ph_min.trim(), form.dose_ph_max.trim()) {
        ("", "") => Ok(None),
        (low, high) => band(low, high).map(Some),
    }
}

fn programme(form: &ProgrammeForm, code: &str, basis: Basis) -> Result<Programme> {
    let levels = Levels::new(mg_l(&form.alarm_low)?, mg_l(&form.min)?, mg_l(&form.target)?, mg_l(&form.max)?).map_err(bad)?;
    Ok(Programme {
        code: code.to_owned(),
        basis,
        name: need(&form.name, "Give the programme a name", 80)?,
        levels: levels.with_top_up_below(mg_l(&form.top_up_below)?).map_err(bad)?,
        ph: band(&form.ph_min, &form.ph_max)?,
        ph_with_aluminium: Some(band(&form.ph_min_aluminium, &form.ph_max_aluminium)?),
        dose_ph: dose_ph(form)?,
        hardness_stop: optional_mg_l(&form.hardness_stop)?,
        hardness_advise: optional_mg_l(&form.hardness_advise)?,
        chloride_sulfate_stop: optional_mg_l(&form.cl_so4_stop)?,
        recheck: RecheckDays::new(form.recheck_from, form.recheck_to).map_err(bad)?,
        source: need(&form.source, "Say where the limits come from", 1000)?,
    })
}

/// Changes a programme's limits. What is due follows from them, so it is worked out again.
pub(super) async fn change_programme(who: Owner, app: App, (Path(code), posted): (Path<String>, Posted<ProgrammeForm>)) -> Result {
    let mut tx = app.pool.begin().await?;
    let known = catalogue::treatments(&mut tx).await?;
    let before = known.programme(&code).ok_or(Error::NotFound)?;
    let new = programme(&posted.form, &code, before.basis)?;
    if posted.first_time(&mut tx, &who, "change programme", app.clock.now()).await? {
        catalogue::change_programme(&mut *tx, &new, posted.form.row_version).await?;
        due::refresh(&mut tx, None, who.dealer.today).await?;
    }
    tx.commit().await?;
    Ok(see_other("/treatments#programmes"))
}

/// A programme of the dealer's own, as one by its product's label.
pub(super) async fn add_programme(who: Owner, app: App, posted: Posted<ProgrammeForm>) -> Result {
    let code = format!("programme-{}", &posted.id.simple().to_string()[12..]);
    let basis = posted.form.basis.parse().map_err(bad)?;
    let new = programme(&posted.form, &code, basis)?;
    let mut tx = app.pool.begin().await?;
    if posted.first_time(&mut tx, &who, "add programme", app.clock.now()).await? {
        catalogue::add_programme(&mut tx, &new).await?;
    }
    tx.commit().await?;
    Ok(see_other("/treatments#programmes"))
}

#[derive(Debug, Deserialize)]
pub(super) struct ProductForm {
    name: String,
    programme: String,
    basis: String,
    percent: String,
    density: String,
    pack: String,
    step: String,
    #[serde(default)]
    hazards: String,
    source: String,
    /// Of a new one: its programme's units are dosed with it from now on.
    #[serde(default)]
    usual: String,
    row_version: Option<i32>,
}

fn product(form: &ProductForm, known: &Treatments) -> Result<Product> {
    let programme = known.programme(&form.programme).ok_or_else(|| bad("Choose the programme that the product serves."))?;
    let basis: Basis = form.basis.parse().map_err(bad)?;
    basis.ratio_to(programme.basis).map_err(bad)?;
    let volume = |text: &str| -> Result<Millilitres> { Ok(parse_volume(text, VolumeUnit::Millilitre).map_err(bad)?.0) };
    let hazards = short(&form.hazards, "The hazards", 2000)?;
    if hazards.is_empty() {
        return Err(bad("Write down the hazards from the label and the safety data sheet: they are shown at the dose."));
    }
    Ok(Product {
        name: need(&form.name, "Give the product a name", 80)?,
        programme: programme.code.clone(),
        basis,
        strength: Strength::new(
            scaled(&form.percent, 10_000.0, "The strength in %")?,
            scaled(&form.density, 1_000.0, "The density in kg/L")?,
        )
        .map_err(bad)?,
        measure: Measure::new(volume(&form.pack)?, volume(&form.step)?).map_err(bad)?,
        hazards: hazards.lines().map(str::to_owned).collect(),
    })
}

async fn keep_product(who: Owner, app: App, id: Uuid, posted: Posted<ProductForm>) -> Result {
    let mut tx = app.pool.begin().await?;
    let known = catalogue::treatments(&mut tx).await?;
    let new = product(&posted.form, &known)?;
    let source = need(&posted.form.source, "Say where the figures come from, as “label of 2026”", 1000)?;
    if posted.first_time(&mut tx, &who, "keep product", app.clock.now()).await? {
        catalogue::keep_product(&mut *tx, id, &new, &source, posted.form.row_version).await?;
        if posted.form.usual == "yes" {
            catalogue::make_product_usual(&mut *tx, id).await?;
        }
        due::refresh(&mut tx, None, who.dealer.today).await?;
    }
    tx.commit().await?;
    Ok(see_other("/treatments#products"))
}

pub(super) async fn add_product(who: Owner, app: App, posted: Posted<ProductForm>) -> Result {
    let id = posted.id;
    keep_product(who, app, id, posted).await
}

pub(super) async fn change_product(who: Owner, app: App, (Path(id), posted): (Path<Uuid>, Posted<ProductForm>)) -> Result {
    keep_product(who, app, id, posted).await
}

#[derive(Debug, Deserialize)]
pub(super) struct KitForm {
    name: String,
    basis: String,
    #[serde(default)]
    per_drop: String,
    #[serde(default)]
    max_drops: String,
    #[serde(default)]
    error: String,
    #[serde(default)]
    steps: String,
    #[serde(default)]
    sample: String,
    dilution: u16,
    #[serde(default)]
    reagent_lot: String,
    #[serde(default)]
    expires_on: String,
    source: String,
    row_version: Option<i32>,
    /// Of a new one: programmes that it can serve are tested with it from now on.
    #[serde(default)]
    usual: String,
}

fn kit(form: &KitForm, code: &str) -> Result<TestKit> {
    let counts = if form.per_drop.trim().is_empty() {
        Counts::Direct { relative_sd: relative_sd(&form.error)? }
    } else {
        let per_drop = NonZero::try_from(scaled(&form.per_drop, 100.0, "mg/L a drop")?)
            .map_err(|_| bad("A drop has to stand for more than nothing."))?;
        let max_drops = form
            .max_drops
            .trim()
            .parse()
            .ok()
            .filter(|d| (1..=200).contains(d))
            .ok_or_else(|| bad("Say how many drops the kit counts at most, 200 at the very most."))?;
        Counts::Drops { per_drop, max_drops }
    };
    Ok(TestKit {
        code: code.to_owned(),
        name: need(&form.name, "Give the kit a name", 80)?,
        basis: form.basis.parse().map_err(bad)?,
        counts,
        steps: if matches!(counts, Counts::Direct { .. }) { steps(&form.steps)? } else { Vec::new() },
        dilution: NonZero::new(form.dilution).ok_or_else(|| bad("The dilution is 1 when the sample is not diluted."))?,
        source: need(&form.source, "Say where the factor comes from, as “the kit's sheet”", 1000)?,
    })
}

/// ± of a figure that is read off, in ‰.
fn relative_sd(typed: &str) -> Result<u16> {
    if typed.trim().is_empty() {
        return Ok(catalogue::COMPARATOR_SD);
    }
    let pm = scaled(typed, 10.0, "The ± of a reading in %")?;
    u16::try_from(pm).ok().filter(|pm| (1..=1000).contains(pm)).ok_or_else(|| bad("The ± of a reading lies between 0.1 and 100 %."))
}

/// The sample in microlitres, from mL.
fn sample(typed: &str) -> Result<Option<i32>> {
    if typed.trim().is_empty() {
        return Ok(None);
    }
    let ul = scaled(typed.trim().trim_end_matches("mL").trim(), 1000.0, "The sample in mL")?;
    i32::try_from(ul)
        .ok()
        .filter(|ul| (1..=10_000_000).contains(ul))
        .map(Some)
        .ok_or_else(|| bad("The sample lies between 0.001 mL and 10 L."))
}

/// The fields of a comparator, as typed between commas or spaces.
fn steps(typed: &str) -> Result<Vec<MgPerLitre>> {
    let mut steps = typed.split([',', ' ', ';']).filter(|t| !t.trim().is_empty()).map(mg_l).collect::<Result<Vec<_>>>()?;
    steps.sort_unstable();
    steps.dedup();
    if steps.len() > 30 { Err(bad("A comparator has thirty fields at most.")) } else { Ok(steps) }
}

async fn keep_kit(who: Owner, app: App, code: String, posted: Posted<KitForm>) -> Result {
    let new = kit(&posted.form, &code)?;
    let expires_on = date(&posted.form.expires_on)?;
    let sample_ul = sample(&posted.form.sample)?;
    let lot = short(&posted.form.reagent_lot, "The reagent's lot", 40)?;
    let mut tx = app.pool.begin().await?;
    if posted.first_time(&mut tx, &who, "keep kit", app.clock.now()).await? {
        catalogue::keep_kit(&mut *tx, &new, sample_ul, (&lot, expires_on), posted.form.row_version).await?;
        if posted.form.usual == "yes" {
            super::in_use::kit_for_its_programmes(&mut tx, &code).await?;
        }
        due::refresh(&mut tx, None, who.dealer.today).await?;
    }
    tx.commit().await?;
    Ok(see_other("/treatments#kits"))
}

pub(super) async fn add_kit(who: Owner, app: App, posted: Posted<KitForm>) -> Result {
    // A code of the kit's own, never typed and never shown.
    let code = format!("kit-{}", &posted.id.simple().to_string()[12..]);
    keep_kit(who, app, code, posted).await
}

pub(super) async fn change_kit(who: Owner, app: App, (Path(code), posted): (Path<String>, Posted<KitForm>)) -> Result {
    keep_kit(who, app, code, posted).await
}
