//! Limits for source water as data: profiles that decide, and others kept for comparison. The dealer picks, changes and adds.

use super::{
    super::{
        app::App,
        error::{Error, Result},
        fill_view::figure,
        form::Posted,
        guard::{Owner, see_other},
        html::{Frame, html},
    },
    customers::need,
};
use crate::{
    store::catalogue::{self, ProfileRow},
    water::fill::profile::{Bounds, FillVerdict, Limit, Parameter, Profile, Remedy},
};
use askama::Template;
use axum::extract::Path;
use std::collections::HashMap;

struct LimitView {
    code: String,
    words: String,
    ok_from: String,
    ok_to: String,
    caution_from: String,
    caution_to: String,
    remedy: String,
    why: String,
    source: String,
}

struct ProfileView {
    row: ProfileRow,
    limits: Vec<LimitView>,
}

#[derive(Template)]
#[template(path = "office/fill_limits.html")]
struct FillLimitsPage {
    f: Frame,
    profiles: Vec<ProfileView>,
    remedies: Vec<(String, &'static str)>,
    verdicts: [&'static str; 3],
}

fn number(value: Option<f64>) -> String {
    value.map(|v| v.to_string()).unwrap_or_default()
}

fn limit_view(parameter: Parameter, limit: Option<&Limit>) -> LimitView {
    let open = Bounds { from: None, to: None };
    let (ok, caution) = limit.map_or((open, open), |l| (l.ok(), l.caution()));
    LimitView {
        code: catalogue::parameter_text(parameter),
        words: format!("{}{}", parameter.words(), parameter.unit()),
        ok_from: number(ok.from),
        ok_to: number(ok.to),
        caution_from: number(caution.from),
        caution_to: number(caution.to),
        remedy: catalogue::remedy_text(limit.map_or(Remedy::OtherSource, Limit::remedy)),
        why: limit.map(|l| l.why.clone()).unwrap_or_default(),
        source: limit.map(|l| l.source.clone()).unwrap_or_default(),
    }
}

pub(super) async fn page(who: Owner, app: App, (): ()) -> Result {
    let mut c = app.pool.acquire().await?;
    let view = |row: ProfileRow| {
        let limit = |parameter: Parameter| row.profile.limits.iter().find(|l| l.parameter() == parameter);
        let limits = Parameter::ALL.iter().map(|p| limit_view(*p, limit(*p))).collect();
        ProfileView { row, limits }
    };
    html(&FillLimitsPage {
        f: Frame::of(&who, "treatments"),
        profiles: catalogue::profiles(&mut c).await?.into_iter().map(view).collect(),
        remedies: Remedy::ALL.iter().map(|r| (catalogue::remedy_text(*r), r.words())).collect(),
        verdicts: [FillVerdict::Ok.word(), FillVerdict::Caution.word(), FillVerdict::Act.word()],
    })
}

type Fields = HashMap<String, String>;

fn text<'a>(fields: &'a Fields, name: &str) -> &'a str {
    fields.get(name).map_or("", |v| v.trim())
}

/// One limit as typed; `None` where no bound was.
fn limit(fields: &Fields, parameter: Parameter) -> Result<Option<Limit>> {
    let code = catalogue::parameter_text(parameter);
    let bound = |end: &str| figure(text(fields, &format!("{end}.{code}")), parameter.words(), 0.0..=200_000.0).map_err(Error::Bad);
    let ok = Bounds { from: bound("ok_from")?, to: bound("ok_to")? };
    let caution = Bounds { from: bound("caution_from")?, to: bound("caution_to")? };
    if [ok.from, ok.to, caution.from, caution.to].iter().all(Option::is_none) {
        return Ok(None);
    }
    let typed = text(fields, &format!("remedy.{code}"));
    let remedy = Remedy::ALL.into_iter().find(|r| catalogue::remedy_text(*r) == typed).unwrap_or(Remedy::OtherSource);
    let made = Limit::new(parameter, ok, caution, remedy).map_err(|e| Error::Bad(format!("{}: {e}", parameter.words())))?;
    let why = need(text(fields, &format!("why.{code}")), &format!("Say why there is a limit on {}", parameter.words()), 300)?;
    let source = need(
        text(fields, &format!("source.{code}")),
        &format!("Say where the limit on {} comes from, as “common practice, no source”", parameter.words()),
        400,
    )?;
    Ok(Some(made.because(&why, &source)))
}

fn profile(fields: &Fields) -> Result<Profile> {
    let limits = Parameter::ALL.into_iter().filter_map(|p| limit(fields, p).transpose()).collect::<Result<Vec<_>>>()?;
    if limits.is_empty() {
        return Err(Error::Bad("A profile needs one limit at least.".to_owned()));
    }
    Ok(Profile {
        name: need(text(fields, "name"), "Give the profile a name, with its edition", 120)?,
        decides: text(fields, "decides") == "yes",
        limits,
    })
}

async fn keep(who: &Owner, app: &App, code: &str, posted: &Posted<Fields>, row_version: Option<i32>) -> Result {
    let new = profile(&posted.form)?;
    let mut tx = app.pool.begin().await?;
    if posted.first_time(&mut tx, who, "fill limits", app.clock.now()).await? {
        catalogue::keep_profile(&mut tx, code, &new, row_version).await?;
    }
    tx.commit().await?;
    Ok(see_other("/treatments/fill-limits"))
}

pub(super) async fn change(who: Owner, app: App, (Path(code), posted): (Path<String>, Posted<Fields>)) -> Result {
    // The same figures under another name: kept beside, not instead.
    if text(&posted.form, "act") == "copy" {
        let own = format!("profile-{}", &posted.id.simple().to_string()[12..]);
        return keep(&who, &app, &own, &posted, None).await;
    }
    let row_version = text(&posted.form, "row_version").parse().ok().or(Some(0));
    keep(&who, &app, &code, &posted, row_version).await
}
