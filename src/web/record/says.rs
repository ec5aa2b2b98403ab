//! What customers say on their page: a time suits, another would be better, a test of their own.

use super::{
    super::{
        app::App,
        error::{Error, Result},
        form::Sent,
        guard::{RecordHolder, see_other},
        water_view,
    },
    Typed, own, show,
};
use crate::{
    store::{
        catalogue,
        customer_words::{self, Kind, NewWord},
        dealer, due,
        links::Holder,
        units::Unit,
        water::{self, Maker, NewReading, NewTest, What},
        week::{self, Told},
    },
    units::{MgPerLitre, Ph, day_with_year, parse_date, parse_ph},
    water::{Levels, is_doubtful_ph},
};
use axum::{extract::Path, response::Response};
use serde::Deserialize;
use sqlx::PgConnection;
use time::{Date, Duration};

/// How the log calls them.
const WHO: &str = "the customer";

#[derive(Debug, Deserialize)]
pub(super) struct Visit {
    /// As it stood on the page.
    day: String,
    starts: i32,
    #[serde(default)]
    says: String,
}

impl Visit {
    fn told(&self) -> Result<Told> {
        let day = parse_date(&self.day).map_err(|_| Error::Bad("Load the page again and send it once more.".to_owned()))?;
        Ok(Told { day, starts: self.starts.clamp(0, 1440) })
    }
}

fn word<'a>(holder: &Holder, id: uuid::Uuid, kind: Kind, about: Option<Told>, says: &'a str) -> NewWord<'a> {
    NewWord { id, unit_id: holder.unit_id, customer_id: holder.customer_id, kind, says, about: about.map(|t| (t.day, t.starts)) }
}

fn back(token: &str, said: &str) -> Response {
    see_other(&format!("/w/{}?said={said}", crate::secrets::tidy_token(token)))
}

/// The time that stands on the page suits: it counts as told.
pub(super) async fn suits(RecordHolder(holder): RecordHolder, app: App, (Path(token), sent): (Path<String>, Sent<Visit>)) -> Result {
    let now = app.clock.now();
    let told = sent.form.told()?;
    let mut tx = app.pool.begin().await?;
    own(&mut tx, &holder).await?;
    if sent.first_time(&mut tx, WHO, "a time suits", now).await? {
        customer_words::add(&mut tx, &word(&holder, sent.id, Kind::Suits, Some(told), ""), now).await?;
        if !week::agree(&mut tx, holder.unit_id, told, now).await? {
            return Ok(back(&token, "moved"));
        }
    }
    tx.commit().await?;
    Ok(back(&token, "suits"))
}

/// Another time would be better; the office calls.
pub(super) async fn another_time(RecordHolder(holder): RecordHolder, app: App, (Path(token), sent): (Path<String>, Sent<Visit>)) -> Result {
    let now = app.clock.now();
    let told = sent.form.told()?;
    let says = sent.form.says.trim();
    if says.is_empty() || says.chars().count() > 400 {
        let wrong_wish = "Say which days or times would suit, in 400 characters at most.".to_owned();
        return show(&holder, &app, &token, String::new(), Typed { wrong_wish, says: says.to_owned(), ..Typed::default() }).await;
    }
    let mut tx = app.pool.begin().await?;
    own(&mut tx, &holder).await?;
    if sent.first_time(&mut tx, WHO, "another time, please", now).await? {
        customer_words::add(&mut tx, &word(&holder, sent.id, Kind::AnotherTime, Some(told), says), now).await?;
    }
    tx.commit().await?;
    Ok(back(&token, "asked"))
}

#[derive(Debug, Deserialize)]
pub(super) struct OwnTest {
    taken_on: String,
    reading: String,
    #[serde(default)]
    ph: String,
    /// `yes`: a figure that was asked about is what was read.
    #[serde(default)]
    sure: String,
}

/// A test may be so many days old; older ones come through the office.
const OLDEST: Duration = Duration::days(60);

fn taken_on(text: &str, today: Date) -> Result<Date> {
    let day = parse_date(text).map_err(|e| Error::Bad(e.to_string()))?;
    if day > today || day < today - OLDEST {
        return Err(Error::Bad("The day of the test has to lie within the last two months. For an older one, call us.".to_owned()));
    }
    Ok(day)
}

/// What was read: the inhibitor with the unit's own kit, and the pH where one is typed; with the levels of its programme.
async fn readings(db: &mut PgConnection, unit: &Unit, form: &OwnTest) -> Result<(Levels, Vec<NewReading>)> {
    let treatments = catalogue::treatments(db).await?;
    let programme = treatments.programme(&unit.programme_code).ok_or(Error::NotFound)?;
    let mut readings = vec![water_view::inhibitor(&treatments, programme, unit.kit_code.as_deref().unwrap_or(""), &form.reading)?];
    if !form.ph.trim().is_empty() {
        readings.push(NewReading::ph(parse_ph(&form.ph).map_err(|e| Error::Bad(e.to_string()))?));
    }
    Ok((programme.levels, readings))
}

/// What the customer is asked about before a test is kept that is likelier a slip.
fn doubt(levels: Levels, readings: &[NewReading]) -> Option<&'static str> {
    let high = readings.iter().filter_map(|r| MgPerLitre::new(r.programme_mg_l?.into()).ok()).any(|level| levels.is_doubtful(level));
    let ph = readings.iter().any(|r| matches!(r.what, What::Ph) && Ph::new(r.value_milli / 10).is_ok_and(is_doubtful_ph));
    if high {
        Some("That is more than there ever should be. Did you really read that?")
    } else if ph {
        Some("A heater’s water hardly ever has that pH. Did you really read that?")
    } else {
        None
    }
}

/// A test that the customer made. It stands in the record until the office says otherwise.
pub(super) async fn test(RecordHolder(holder): RecordHolder, app: App, (Path(token), sent): (Path<String>, Sent<OwnTest>)) -> Result {
    let typed = match keep_test(&holder, &app, &sent).await {
        Ok(None) => return Ok(back(&token, "test")),
        Ok(Some(ask)) => Typed { ask, ..Typed::default() },
        Err(Error::Bad(wrong_test)) => Typed { wrong_test, ..Typed::default() },
        Err(other) => return Err(other),
    };
    let OwnTest { taken_on, reading, ph, .. } = sent.form;
    show(&holder, &app, &token, String::new(), Typed { taken_on, reading, ph, ..typed }).await
}

/// Keeps the test, or says what has to be asked first.
async fn keep_test(holder: &Holder, app: &App, sent: &Sent<OwnTest>) -> Result<Option<&'static str>> {
    let now = app.clock.now();
    let today = dealer::get(&app.pool, now).await?.today;
    let mut tx = app.pool.begin().await?;
    let unit = own(&mut tx, holder).await?;
    let day = taken_on(&sent.form.taken_on, today)?;
    let (levels, readings) = readings(&mut tx, &unit, &sent.form).await?;
    if sent.form.sure != "yes"
        && let Some(ask) = doubt(levels, &readings)
    {
        return Ok(Some(ask));
    }
    if sent.first_time(&mut tx, WHO, "a test of their own", now).await? {
        let ph = if sent.form.ph.trim().is_empty() { String::new() } else { format!(", pH {}", sent.form.ph.trim()) };
        let says: String = format!("{}: {}{ph}", day_with_year(day), sent.form.reading.trim()).chars().take(400).collect();
        customer_words::add(&mut tx, &word(holder, sent.id, Kind::Test, None, &says), now).await?;
        let test = NewTest {
            id: sent.id,
            unit_id: unit.id,
            taken_on: day,
            maker: Maker::Customer,
            staff_id: None,
            report: None,
            fill_id: None,
            note: "",
            readings: &readings,
        };
        water::add_test(&mut tx, &test, now).await?;
        due::refresh(&mut tx, Some(&[unit.id]), today).await?;
    }
    tx.commit().await?;
    Ok(None)
}
