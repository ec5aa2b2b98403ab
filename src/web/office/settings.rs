//! The owner's settings: the dealer, the seasons, who works here, where days begin.

use super::{
    super::{
        app::App,
        error::{Error, Result},
        form::Posted,
        guard::{Owner, see_other},
        html::{Frame, html},
    },
    customers::{need, short},
    technicians::{self, TechnicianView},
    units::date,
};
use crate::{
    roads::is_far,
    season::{
        MonthlyNormals, OnsetRules,
        onset::{OnsetError, day_of_year, service_windows},
    },
    store::{
        backups,
        catalogue::{self, Climate, SeasonDays},
        dealer::{self, Change},
        drives, due,
        events::{self, Actor},
        second_factor,
        sessions::Role,
        staff::{self, Depot, Person, Prices},
    },
    units::{UnitsFirst, day_with_year, month_day},
};
use askama::Template;
use axum::extract::Path;
use serde::Deserialize;
use time::Date;
use uuid::Uuid;

#[derive(Template)]
#[template(path = "office/settings.html")]
struct SettingsPage {
    f: Frame,
    d: dealer::Dealer,
    metric: bool,
    people: Vec<Person>,
    /// Who of them is asked for a code.
    guarded: Vec<Uuid>,
    /// Whether the office and the owner have to have a second factor.
    code_needed: bool,
    depots: Vec<Depot>,
    /// Those so far from all others that a slip is likely.
    far_depots: Vec<Uuid>,
    technicians: Vec<TechnicianView>,
    /// Owners who could drive routes and do not yet.
    drives_too: Vec<Person>,
    seasons: Vec<SeasonDays>,
    prices: Prices,
    roads: drives::Standing,
    /// Where driving times come from, and what the road engine did not answer.
    source: (String, String),
    climate: ClimateView,
    /// When the last backup was made and one was tried out; where it lies.
    backup: Option<(String, String)>,
    new_link: String,
}

/// The climate in the dealer's own scale, and the season that follows from it.
struct ClimateView {
    c: Climate,
    normals: String,
    threshold: String,
    degree: &'static str,
    season: String,
}

fn climate_view(c: Climate, units: UnitsFirst) -> ClimateView {
    let us = units == UnitsFirst::Us;
    let own = |celsius: f64| {
        let text = format!("{:.1}", if us { celsius * 1.8 + 32.0 } else { celsius });
        text.trim_end_matches(".0").to_owned()
    };
    let season = <[f64; 12]>::try_from(c.normals.clone()).ok().and_then(|twelve| {
        let season = MonthlyNormals::new(twelve).ok()?.season(c.rules.threshold).ok()?;
        let day = |number: f64| {
            let day = day_of_year(number).ok()?;
            Date::from_calendar_date(2025, day.month().try_into().ok()?, day.day()).ok().map(month_day)
        };
        Some(format!("Heating from about {} to about {}.", day(season.onset)?, day(season.end)?))
    });
    ClimateView {
        normals: c.normals.iter().map(|t| own(*t)).collect::<Vec<_>>().join(", "),
        threshold: own(c.rules.threshold),
        degree: if us { "°F" } else { "°C" },
        season: season.unwrap_or_default(),
        c,
    }
}

fn backup_words(known: &backups::Known) -> String {
    let tried = known.tried_at.map(|at| format!(" One was tried out on {}: everything would come back.", day_with_year(at.date())));
    format!("The last one was made on {}.{}", day_with_year(known.made_at.date()), tried.unwrap_or_default())
}

fn far_apart(depots: &[Depot]) -> Vec<Uuid> {
    let others = |id: Uuid| depots.iter().filter(|d| d.id != id).map(|d| (d.lat, d.lon)).collect::<Vec<_>>();
    depots.iter().filter(|d| is_far((d.lat, d.lon), &others(d.id))).map(|d| d.id).collect()
}

pub(super) async fn show(who: &Owner, app: &App, new_link: String) -> Result {
    let depots = staff::depots(&app.pool).await?;
    let technicians = technicians::views(app, who.dealer.today).await?;
    let people = staff::all(&app.pool).await?;
    let drives_too = people.iter().filter(|p| p.active && p.role == Role::Owner && technicians.iter().all(|v| v.t.id != p.id));
    html(&SettingsPage {
        drives_too: drives_too.cloned().collect(),
        f: Frame::of(who, "settings"),
        metric: who.dealer.units == UnitsFirst::Metric,
        d: who.dealer.clone(),
        people,
        guarded: second_factor::holders(&app.pool).await?,
        code_needed: second_factor::is_needed(&app.pool).await?,
        far_depots: far_apart(&depots),
        depots,
        technicians,
        seasons: catalogue::season_days(&app.pool).await?,
        prices: staff::prices(&app.pool).await?,
        roads: drives::standing(&app.pool).await?,
        source: (app.sources.sentence(), app.sources.trouble()),
        climate: climate_view(catalogue::climate(&app.pool).await?, who.dealer.units),
        backup: backups::newest(&app.pool).await?.map(|known| (backup_words(&known), known.path)),
        new_link,
    })
}

pub(super) async fn page(who: Owner, app: App, (): ()) -> Result {
    show(&who, &app, String::new()).await
}

#[derive(Debug, Deserialize)]
pub(super) struct DealerForm {
    name: String,
    #[serde(default)]
    phone: String,
    #[serde(default)]
    email: String,
    zone: String,
    units: String,
    #[serde(default)]
    records_since: String,
    row_version: i32,
}

pub(super) fn actor(who: &Owner) -> Actor {
    Actor { id: Some(who.staff_id), words: who.name.clone() }
}

pub(super) async fn change(who: Owner, app: App, posted: Posted<DealerForm>) -> Result {
    let form = &posted.form;
    let name = need(&form.name, "Give the business a name", 120)?;
    let (phone, email) = (short(&form.phone, "The phone number", 40)?, short(&form.email, "The mail address", 200)?);
    let zone = form.zone.trim();
    if !dealer::zone_exists(&app.pool, zone).await? {
        return Err(Error::Bad(format!("“{zone}” is no time zone. Write it as America/New_York.")));
    }
    let records_since = date(&form.records_since)?;
    let units = if form.units == "metric" { UnitsFirst::Metric } else { UnitsFirst::Us };
    let now = app.clock.now();
    let mut tx = app.pool.begin().await?;
    if posted.first_time(&mut tx, &who, "settings", now).await? {
        let row_version = form.row_version;
        dealer::change(&mut *tx, &Change { name: &name, phone: &phone, email: &email, zone, units, records_since, row_version }).await?;
        if records_since != who.dealer.records_since {
            due::refresh(&mut tx, None, who.dealer.today).await?;
        }
        events::note(&mut *tx, now, &actor(&who), "changed the settings", "").await?;
    }
    tx.commit().await?;
    Ok(see_other("/settings"))
}

#[derive(Debug, Deserialize)]
pub(super) struct SeasonForm {
    opens: String,
    closes: String,
}

/// Moves a season: every year from now on. What is due is worked out again.
pub(super) async fn change_season(who: Owner, app: App, (Path(name), posted): (Path<String>, Posted<SeasonForm>)) -> Result {
    let year = who.dealer.today.year();
    let day = |text: &str| {
        let full =
            if text.chars().filter(char::is_ascii_digit).count() <= 2 { format!("{}, {year}", text.trim()) } else { text.to_owned() };
        date(&full)?.ok_or_else(|| Error::Bad("Give both days, as Sep 1 and Oct 26.".to_owned()))
    };
    let (opens, closes) = (day(&posted.form.opens)?, day(&posted.form.closes)?);
    if (opens.month() as u8, opens.day()) >= (closes.month() as u8, closes.day()) {
        return Err(Error::Bad("A season opens before it closes, within one year.".to_owned()));
    }
    let mut tx = app.pool.begin().await?;
    if posted.first_time(&mut tx, &who, "season", app.clock.now()).await? {
        catalogue::change_season(&mut *tx, &name, opens, closes).await?;
        due::refresh(&mut tx, None, who.dealer.today).await?;
    }
    tx.commit().await?;
    Ok(see_other("/settings#seasons"))
}

#[derive(Debug, Deserialize)]
pub(super) struct ClimateForm {
    normals: String,
    threshold: String,
    fall_opens_before: u16,
    fall_closes_before: u16,
    spring_days: u16,
    source: String,
    row_version: i32,
}

/// °C from what was typed in the dealer's own scale.
fn celsius(typed: &str, units: UnitsFirst) -> Result<f64> {
    let read = typed.trim().trim_end_matches(['°', 'F', 'C', 'f', 'c']).trim().parse::<f64>().ok().filter(|t| t.is_finite());
    let degrees = read.ok_or_else(|| {
        Error::Bad(format!("“{}” is no temperature. Write it as 57.2, without a unit.", typed.chars().take(20).collect::<String>()))
    })?;
    Ok(if units == UnitsFirst::Us { (degrees - 32.0) / 1.8 } else { degrees })
}

fn climate(form: &ClimateForm, units: UnitsFirst) -> Result<Climate> {
    let parts = form.normals.split([',', ';', ' ', '\n', '\t', '\r']).filter(|t| !t.trim().is_empty());
    let normals = parts.map(|t| celsius(t, units)).collect::<Result<Vec<f64>>>()?;
    if normals.len() != 12 {
        return Err(Error::Bad(format!("Twelve monthly means are needed, January first; {} were read.", normals.len())));
    }
    let rules = OnsetRules {
        threshold: celsius(&form.threshold, units)?,
        fall_opens_before: form.fall_opens_before,
        fall_closes_before: form.fall_closes_before,
        spring_days: form.spring_days,
    };
    let days = (1..=180).contains(&rules.fall_opens_before) && (1..=180).contains(&rules.spring_days);
    if !days || rules.fall_closes_before >= rules.fall_opens_before {
        return Err(Error::Bad(
            "The fall window opens more days before the season than it closes, 180 at most; spring is open for 1 to 180 days.".to_owned(),
        ));
    }
    if !(-20.0..=30.0).contains(&rules.threshold) {
        return Err(Error::Bad("Heating begins somewhere between -4 °F and 86 °F (-20 and 30 °C).".to_owned()));
    }
    Ok(Climate {
        normals,
        rules,
        source: need(&form.source, "Say where the means come from: station and years", 300)?,
        row_version: form.row_version,
    })
}

/// Works the heating season out of monthly means, and moves both service windows to it.
pub(super) async fn change_climate(who: Owner, app: App, posted: Posted<ClimateForm>) -> Result {
    let bad = |e: OnsetError| Error::Bad(e.to_string());
    let new = climate(&posted.form, who.dealer.units)?;
    let twelve: [f64; 12] = new.normals.clone().try_into().unwrap_or([0.0; 12]);
    let season = MonthlyNormals::new(twelve).map_err(bad)?.season(new.rules.threshold).map_err(bad)?;
    let windows = service_windows(season, &new.rules).map_err(bad)?;
    let mut tx = app.pool.begin().await?;
    if posted.first_time(&mut tx, &who, "climate", app.clock.now()).await? {
        catalogue::change_climate(&mut *tx, &new).await?;
        let source = format!("from the monthly means ({})", new.source);
        let source: String = source.chars().take(400).collect();
        catalogue::change_season_from(&mut *tx, "fall", windows.fall, &source).await?;
        catalogue::change_season_from(&mut *tx, "spring", windows.spring, &source).await?;
        due::refresh(&mut tx, None, who.dealer.today).await?;
    }
    tx.commit().await?;
    Ok(see_other("/settings#seasons"))
}
