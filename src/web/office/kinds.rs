//! Kinds of unit: what a jacket holds and what a fire gives, from the makers' sheets.

use super::{
    super::{
        app::App,
        error::{Error, Result},
        form::Posted,
        guard::{Owner, see_other},
        html::{Frame, html},
    },
    customers::need,
    units::usual_volume,
};
use crate::{
    store::catalogue::{self, KindSetting, NewKind},
    units::{Millilitres, UnitsFirst, output, parse_output, parse_volume},
    water::JACKET_ML,
};
use askama::Template;
use axum::extract::Path;
use serde::Deserialize;

struct KindView {
    k: KindSetting,
    /// In both units.
    jacket: String,
    /// As they stand in the form.
    jacket_typed: String,
    output: String,
}

#[derive(Template)]
#[template(path = "office/kinds.html")]
struct KindsPage {
    f: Frame,
    kinds: Vec<KindView>,
    /// In which units figures without one are read.
    bare: &'static str,
}

/// A jacket as it stands in a form; empty where there is none.
pub(super) fn jacket_typed(ml: Option<i64>, first: UnitsFirst) -> String {
    ml.and_then(|ml| Millilitres::new(ml).ok()).map(|v| v.in_first(first)).unwrap_or_default()
}

/// What was typed for a jacket; `before` where it was left as it stood in the form, which is rounded.
pub(super) fn own_jacket(typed: &str, before: Option<i64>, first: UnitsFirst) -> Result<Option<i64>> {
    if typed.trim() == jacket_typed(before, first) { Ok(before) } else { jacket(typed, first) }
}

fn view(k: KindSetting, first: UnitsFirst) -> KindView {
    let jacket = k.jacket_ml.and_then(|ml| Millilitres::new(ml).ok());
    KindView {
        jacket: jacket.map(|v| v.both(first)).unwrap_or_default(),
        jacket_typed: jacket_typed(k.jacket_ml, first),
        output: k.output_w.map(|w| output(w, first)).unwrap_or_default(),
        k,
    }
}

pub(super) async fn page(who: Owner, app: App, (): ()) -> Result {
    let first = who.dealer.units;
    let kinds = catalogue::kind_settings(&app.pool).await?.into_iter().map(|k| view(k, first)).collect();
    let bare = if first == UnitsFirst::Us { "US gallons and Btu/h" } else { "litres and kW" };
    html(&KindsPage { f: Frame::of(&who, "settings"), kinds, bare })
}

#[derive(Debug, Deserialize)]
pub(super) struct KindForm {
    name: String,
    #[serde(default)]
    jacket: String,
    #[serde(default)]
    output: String,
    source: String,
    #[serde(default)]
    retired: String,
    #[serde(default)]
    row_version: i32,
}

fn jacket(typed: &str, first: UnitsFirst) -> Result<Option<i64>> {
    if typed.trim().is_empty() {
        return Ok(None);
    }
    let (volume, _) = parse_volume(typed, usual_volume(first)).map_err(|e| Error::Bad(e.to_string()))?;
    if !JACKET_ML.contains(&volume.get()) {
        return Err(Error::Bad(format!("A jacket holds something between 40 and 20,000 L; {} is not.", volume.both(first))));
    }
    Ok(Some(volume.get()))
}

fn watts(typed: &str, first: UnitsFirst) -> Result<Option<i32>> {
    if typed.trim().is_empty() { Ok(None) } else { parse_output(typed, first).map(Some).map_err(|e| Error::Bad(e.to_string())) }
}

/// What was typed, as it is kept; `old` where the figures were left as they stood in the form, which is rounded.
fn kind<'a>(form: &'a KindForm, code: &'a str, old: Option<&KindView>, first: UnitsFirst) -> Result<NewKind<'a>> {
    let jacket_ml = own_jacket(&form.jacket, old.and_then(|o| o.k.jacket_ml), first)?;
    let output_w = match old.filter(|o| o.output == form.output.trim()) {
        Some(o) => o.k.output_w,
        None => watts(&form.output, first)?,
    };
    need(&form.name, "Give the kind a name", 80)?;
    need(&form.source, "Say where the figures come from: the maker’s sheet, a measurement", 400)?;
    Ok(NewKind { code, name: form.name.trim(), jacket_ml, output_w, source: form.source.trim() })
}

pub(super) async fn add(who: Owner, app: App, posted: Posted<KindForm>) -> Result {
    let code = format!("kind-{}", &posted.id.simple().to_string()[12..]);
    let new = kind(&posted.form, &code, None, who.dealer.units)?;
    let mut tx = app.pool.begin().await?;
    if posted.first_time(&mut tx, &who, "kind of unit", app.clock.now()).await? {
        catalogue::add_kind(&mut tx, &new).await?;
    }
    tx.commit().await?;
    Ok(see_other(&format!("/settings/kinds#{code}")))
}

/// Units of the kind whose volume was kept go on with it.
pub(super) async fn change(who: Owner, app: App, (Path(code), posted): (Path<String>, Posted<KindForm>)) -> Result {
    let first = who.dealer.units;
    let old = catalogue::kind_settings(&app.pool).await?.into_iter().find(|k| k.code == code).ok_or(Error::NotFound)?;
    let new = kind(&posted.form, &code, Some(&view(old, first)), first)?;
    let mut tx = app.pool.begin().await?;
    if posted.first_time(&mut tx, &who, "kind of unit", app.clock.now()).await? {
        catalogue::change_kind(&mut *tx, &new, posted.form.retired == "yes", posted.form.row_version).await?;
    }
    tx.commit().await?;
    Ok(see_other(&format!("/settings/kinds#{code}")))
}
