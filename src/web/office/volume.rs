//! How much water a unit and its loop hold: by the parts, by the water meter, or by the rise that a charge made.

use super::{
    super::{
        app::App,
        error::{Error, Result},
        form::{Nothing, Posted},
        guard::{Office, see_other},
        html::{Frame, html},
    },
    customers::{need, short},
    units::{VolumeForm, usual_volume},
};
use crate::{
    store::{
        catalogue, due,
        units::{self, LOOP_PARTS, LoopPartRow, Unit},
        water::{self, UnitWater},
    },
    units::{Micrometres, Millilitres, UnitsFirst, amount, parse_length, parse_volume},
    water::{
        Method, Shown, TestKit, WaterVolume,
        pipe::{LoopPart, PIPES, Pipe, PipeKind, sum},
        tracer::by_tracer,
    },
};
use askama::Template;
use axum::extract::Path;
use serde::Deserialize;
use uuid::Uuid;

struct PartView {
    id: Uuid,
    label: String,
    holds: String,
}

#[derive(Template)]
#[template(path = "office/volume.html")]
struct VolumePage {
    f: Frame,
    u: Unit,
    now: String,
    jacket: String,
    parts: Vec<PartView>,
    total: String,
    pipes: Vec<(String, String)>,
    methods: Vec<(&'static str, &'static str)>,
    product: String,
    kit: String,
    counts_drops: bool,
}

fn both(ml: i64, first: UnitsFirst) -> String {
    Millilitres::new(ml).map(|ml| ml.both(first)).unwrap_or_default()
}

/// Jacket and parts together; `None` without a jacket.
fn by_parts(jacket: Option<i64>, parts: &[LoopPartRow]) -> Option<WaterVolume> {
    let all = parts.iter().try_fold(jacket?, |sum, part| sum.checked_add(part.volume_ml))?;
    WaterVolume::by(Millilitres::new(all).ok()?, if parts.is_empty() { Method::Label } else { Method::Piping }).ok()
}

fn family(kind: PipeKind) -> &'static str {
    match kind {
        PipeKind::Pex => "PEX",
        PipeKind::CopperL => "copper type L",
        PipeKind::CopperM => "copper type M",
        PipeKind::SteelSchedule40 => "steel schedule 40",
    }
}

fn name(pipe: Pipe) -> String {
    format!("{} {} in", family(pipe.kind), pipe.nominal)
}

pub(super) async fn page(who: Office, app: App, Path(id): Path<Uuid>) -> Result {
    let first = who.dealer.units;
    let u = units::get(&app.pool, id).await?;
    let (own, kit) = own(&app, id).await?;
    let jacket = units::jacket(&app.pool, id).await?;
    let rows = units::loop_parts(&app.pool, id).await?;
    let total = by_parts(jacket, &rows).map(|v| v.text(first)).unwrap_or_default();
    html(&VolumePage {
        f: Frame::of(&who, "customers"),
        now: own.volume.map(|v| format!("{}, {}", v.text(first), v.method().words())).unwrap_or_default(),
        jacket: jacket.map(|ml| both(ml, first)).unwrap_or_default(),
        parts: rows.into_iter().map(|p| PartView { id: p.id, holds: both(p.volume_ml, first), label: p.label }).collect(),
        total,
        pipes: PIPES.iter().enumerate().map(|(at, pipe)| (at.to_string(), name(*pipe))).collect(),
        methods: Method::ALL.iter().map(|m| (m.as_str(), m.words())).collect(),
        product: own.product.as_ref().map(|p| p.1.name.clone()).unwrap_or_default(),
        counts_drops: kit.as_ref().is_some_and(|k| k.max_drops().is_some()),
        kit: kit.map(|k| k.name).unwrap_or_default(),
        u,
    })
}

async fn own(app: &App, id: Uuid) -> Result<(UnitWater, Option<TestKit>)> {
    let mut c = app.pool.acquire().await?;
    let treatments = catalogue::treatments(&mut c).await?;
    let own = water::unit_waters(&mut *c, &treatments, &[id]).await?.remove(&id).ok_or(Error::NotFound)?;
    let kit = own.kit.clone();
    Ok((own, kit))
}

#[derive(Debug, Deserialize)]
#[serde(default)]
#[derive(Default)]
pub(super) struct PartForm {
    /// Index into the pipes, or empty for a vessel.
    pipe: String,
    length: String,
    both_ways: String,
    kind: String,
    label: String,
    volume: String,
}

fn bad(e: impl std::fmt::Display) -> Error {
    Error::Bad(e.to_string())
}

fn run(form: &PartForm, first: UnitsFirst, id: Uuid) -> Result<LoopPartRow> {
    let at = form.pipe.parse::<usize>().ok();
    let pipe = at.and_then(|at| PIPES.get(at)).copied().ok_or_else(|| bad("Choose the pipe."))?;
    let length: Micrometres = parse_length(&form.length, first).map_err(bad)?;
    let both_ways = form.both_ways == "yes";
    let part = if both_ways { LoopPart::RoundTrip { pipe, distance: length } } else { LoopPart::Run { pipe, length } };
    let length_mm = i32::try_from(length.get() / 1000).ok().filter(|mm| (1..=10_000_000).contains(mm));
    Ok(LoopPartRow {
        id,
        kind: "pipe".to_owned(),
        label: format!(
            "{}, {}{}",
            form.length.trim().chars().take(40).collect::<String>(),
            name(pipe),
            if both_ways { ", there and back" } else { "" }
        ),
        length_mm: Some(length_mm.ok_or_else(|| bad("A pipe is between 1 mm and 10 km long. Check the length."))?),
        both_ways,
        volume_ml: sum(&[part]).map_err(bad)?.get(),
    })
}

const VESSELS: [&str; 4] = ["exchanger", "buffer tank", "emitters", "other"];

fn vessel(form: &PartForm, first: UnitsFirst, id: Uuid) -> Result<LoopPartRow> {
    let (volume, _) = parse_volume(&form.volume, usual_volume(first)).map_err(bad)?;
    let kind = VESSELS.into_iter().find(|k| *k == form.kind).unwrap_or("other");
    let label = short(&form.label, "The name", 100)?;
    let label = if label.is_empty() { kind.to_owned() } else { label };
    Ok(LoopPartRow { id, kind: kind.to_owned(), label, length_mm: None, both_ways: false, volume_ml: volume.get() })
}

pub(super) async fn add_part(who: Office, app: App, (Path(id), posted): (Path<Uuid>, Posted<PartForm>)) -> Result {
    let form = &posted.form;
    let part = if form.pipe.is_empty() { vessel(form, who.dealer.units, posted.id)? } else { run(form, who.dealer.units, posted.id)? };
    let mut tx = app.pool.begin().await?;
    if posted.first_time(&mut tx, &who, "loop part", app.clock.now()).await? {
        let parts = units::loop_parts(&mut *tx, id).await?.len();
        if i64::try_from(parts).unwrap_or(LOOP_PARTS) >= LOOP_PARTS {
            return Err(bad("Forty parts are kept at most. Put several into one."));
        }
        units::add_loop_part(&mut *tx, id, &part).await?;
    }
    tx.commit().await?;
    Ok(see_other(&format!("/units/{id}/volume#parts")))
}

pub(super) async fn remove_part(who: Office, app: App, (Path((id, part)), posted): (Path<(Uuid, Uuid)>, Posted<Nothing>)) -> Result {
    let mut tx = app.pool.begin().await?;
    if posted.first_time(&mut tx, &who, "remove loop part", app.clock.now()).await? {
        units::remove_loop_part(&mut *tx, id, part).await?;
    }
    tx.commit().await?;
    Ok(see_other(&format!("/units/{id}/volume#parts")))
}

/// The sum of the parts becomes the water volume.
pub(super) async fn keep_parts(who: Office, app: App, (Path(id), posted): (Path<Uuid>, Posted<Nothing>)) -> Result {
    let now = app.clock.now();
    let mut tx = app.pool.begin().await?;
    if posted.first_time(&mut tx, &who, "water volume by parts", now).await? {
        let jacket = units::jacket(&mut *tx, id).await?;
        let parts = units::loop_parts(&mut *tx, id).await?;
        let volume = by_parts(jacket, &parts).ok_or_else(|| bad("What the jacket holds is not known. Choose the unit's kind first."))?;
        units::add_volume(&mut *tx, id, &volume, (who.dealer.today, "jacket and the parts of the loop"), units::From::default(), now)
            .await?;
        due::refresh(&mut tx, Some(&[id]), who.dealer.today).await?;
    }
    tx.commit().await?;
    Ok(see_other(&format!("/units/{id}/volume")))
}

pub(super) async fn add(who: Office, app: App, (Path(id), posted): (Path<Uuid>, Posted<VolumeForm>)) -> Result {
    let (ml, _) = parse_volume(&posted.form.volume, usual_volume(who.dealer.units)).map_err(bad)?;
    let method: Method = posted.form.method.parse().map_err(bad)?;
    let volume = match posted.form.plus_minus.trim() {
        "" => WaterVolume::by(ml, method),
        typed => WaterVolume::new(ml, parse_volume(typed, usual_volume(who.dealer.units)).map_err(bad)?.0, method),
    };
    let note = short(&posted.form.note, "The note", 1000)?;
    keep(&who, &app, id, &posted, volume.map_err(bad)?, &note).await
}

async fn keep<T>(who: &Office, app: &App, id: Uuid, posted: &Posted<T>, volume: WaterVolume, note: &str) -> Result {
    let now = app.clock.now();
    let mut tx = app.pool.begin().await?;
    if posted.first_time(&mut tx, who, "water volume", now).await? {
        units::add_volume(&mut *tx, id, &volume, (who.dealer.today, note), units::From::default(), now).await?;
        due::refresh(&mut tx, Some(&[id]), who.dealer.today).await?;
    }
    tx.commit().await?;
    Ok(see_other(&format!("/units/{id}/volume")))
}

#[derive(Debug, Deserialize)]
pub(super) struct TracerForm {
    put_in: String,
    before: String,
    after: String,
}

/// What was shown by the unit's own kit before and after a charge gives the volume.
pub(super) async fn by_charge(who: Office, app: App, (Path(id), posted): (Path<Uuid>, Posted<TracerForm>)) -> Result {
    let (own, kit) = own(&app, id).await?;
    let kit = kit.ok_or_else(|| bad("No test kit is kept for this programme."))?;
    let (_, product) = own.product.as_ref().ok_or_else(|| bad("No product is kept for this programme."))?;
    let (ml, _) =
        parse_volume(&need(&posted.form.put_in, "Say how much was put in", 40)?, crate::units::VolumeUnit::Millilitre).map_err(bad)?;
    let measured = |typed: &str| -> Result<crate::water::kit::Measured> {
        let shown: Shown = kit.parse(typed).map_err(bad)?;
        kit.measure(shown, own.programme.basis).map_err(bad)
    };
    let (before, after) = (measured(&posted.form.before)?, measured(&posted.form.after)?);
    let volume = by_tracer(product, &own.programme, ml, before, after).map_err(bad)?;
    let note = format!("{} of {} raised it from {} to {}", amount(ml.get(), who.dealer.units), product.name, before.level, after.level);
    keep(&who, &app, id, &posted, volume, &note.chars().take(1000).collect::<String>()).await
}
