//! Takes in what phones kept. Bytes first: whatever comes under an id of its own is stored once, and answered with the fingerprint
//! of what was stored. What cannot be worked into the records waits for the office; nothing is refused for being late or strange.

use super::{
    super::{
        app::App,
        error::{Error, Result},
        fill_keep::{self, Ready},
        fill_view::{self, Asked},
        form,
        guard::Technician,
    },
    item::{self, Form, Item},
    sheet::{self, About},
    stop,
    typed::{self, Read},
};
use crate::{
    secrets::hex,
    store::{
        phones::{self, Reached},
        photos,
        reports::{self, NewReport, Outcome},
        staff,
        submissions::{self, Arrived, Before},
        units, visits,
        water::Maker,
    },
    units::{day_short, parse_date},
};
use axum::{
    Json,
    body::Bytes,
    extract::Path,
    http::HeaderMap,
    response::{IntoResponse, Response},
};
use serde_json::{Value, json};
use sqlx::Acquire;
use time::{Date, Duration};
use uuid::Uuid;

/// Largest body of a kept item; the table holds as much.
pub(super) const LARGEST: usize = 2_097_152;
/// A phone's clock may be ahead by this much before it is spoken of.
const CLOCK_SLACK: Duration = Duration::hours(12);

/// The id in `Idempotency-Key` has to be the address's own. The header is also what another site's page cannot send.
pub(super) fn check_key(id: Uuid, headers: &HeaderMap) -> Result<()> {
    let key = headers.get("idempotency-key").and_then(|v| v.to_str().ok()).map(|v| v.trim_matches('"'));
    if key.and_then(|k| k.parse().ok()) == Some(id) {
        return Ok(());
    }
    Err(Error::Bad("The item's own number is missing or is another one's. Send it as Idempotency-Key.".to_owned()))
}

/// What an item comes to.
enum Made {
    Report(Box<NewReport>),
    Fill(Box<Ready>),
    /// For the office to put with its unit.
    WrittenDown,
}

/// Why an item was not worked in.
enum Trouble {
    /// For the office to settle, in words.
    Settle(Vec<String>),
    /// It may work in a moment; the phone tries again.
    Later(Error),
}

impl From<Error> for Trouble {
    fn from(e: Error) -> Self {
        match e {
            Error::Away => Self::Later(e),
            Error::Bad(says) | Error::Clash(says) => Self::Settle(vec![says]),
            Error::NotFound => Self::Settle(vec!["What it is about is not in the records, or not this technician's.".to_owned()]),
            other => {
                tracing::error!(error = ?other, "a kept item could not be worked in");
                Self::Settle(vec!["It could not be worked in. Its bytes are kept.".to_owned()])
            }
        }
    }
}

pub(super) async fn take(who: Technician, app: App, (Path(id), headers, body): (Path<Uuid>, HeaderMap, Bytes)) -> Result {
    check_key(id, &headers)?;
    let kind = item::kind(&body);
    let phone_id = headers.get("phone").and_then(|v| v.to_str().ok()).and_then(|v| v.parse().ok());
    let arrived = Arrived { id, kind: &kind, staff_id: who.staff_id, phone_id, body: &body };
    let answer = take_in(&who, &app, &arrived).await?;
    answered(&app, answer).await
}

/// Keeps what arrived, works it in where it can be, and answers; the same again is answered as before.
pub(super) async fn take_in(who: &Technician, app: &App, arrived: &Arrived<'_>) -> Result<Value> {
    let mut c = app.pool.acquire().await?;
    let before = submissions::before(&mut c, arrived).await?;
    drop(c);
    let made = if before == Before::Nothing { made(who, app, arrived).await } else { Ok(None) };
    let made = match made {
        Err(Trouble::Later(e)) => return Err(e),
        Err(Trouble::Settle(says)) => Err(says),
        Ok(made) => Ok(made),
    };
    keep(who, app, arrived, made).await
}

/// The stored answer and, beside it, which copy of the records gave it.
async fn answered(app: &App, mut answer: Value) -> Result<Response> {
    answer["epoch"] = phones::epoch(&app.pool).await?.into();
    Ok(Json(answer).into_response())
}

/// In one transaction: the bytes, what follows from them or what the office has to settle, and the answer.
async fn keep(who: &Technician, app: &App, arrived: &Arrived<'_>, made: Result<Option<(Item, Made)>, Vec<String>>) -> Result<Value> {
    let now = app.clock.now();
    let mut tx = app.pool.begin().await?;
    submissions::take_turns(&mut tx, arrived.id).await?;
    match submissions::before(&mut tx, arrived).await? {
        Before::Same(answer) => return Ok(answer),
        Before::Other => {
            let says = "Something else was kept under this number before. Both are here; the first one stands.".to_owned();
            submissions::add_beside(&mut tx, arrived, now).await?;
            submissions::to_settle(&mut tx, arrived, &says, now).await?;
            tx.commit().await?;
            return Ok(answer(arrived, None, &[says]));
        }
        Before::Nothing => {}
    }
    let worked = match made {
        Ok(Some((item, made))) => work_in(&mut tx, who, &item, &made, now).await.map(|open| (made, open)),
        Ok(None) => Err(Trouble::Later(Error::Away)),
        Err(says) => Err(Trouble::Settle(says)),
    };
    let (made, says, open) = match worked {
        Ok((made, open)) => (Some(made), Vec::new(), open),
        Err(Trouble::Settle(says)) => (None, says.clone(), says),
        Err(Trouble::Later(e)) => return Err(e),
    };
    let answer = answer(arrived, made.as_ref(), &says);
    submissions::add(&mut tx, arrived, &answer, now).await?;
    if !open.is_empty() {
        submissions::to_settle(&mut tx, arrived, &open.join(" "), now).await?;
    }
    tx.commit().await?;
    Ok(answer)
}

fn answer(arrived: &Arrived<'_>, made: Option<&Made>, says: &[String]) -> Value {
    let mut answer =
        json!({ "id": arrived.id, "sha256": hex(&arrived.sha256()), "state": if says.is_empty() { "kept" } else { "to settle" } });
    if let Some(Made::Report(r)) = made {
        answer["report"] = r.report_id.to_string().into();
        answer["version"] = r.version.into();
    }
    if !says.is_empty() {
        answer["says"] = says.into();
    }
    answer
}

/// The effect, behind a savepoint: when it fails, the bytes are stored all the same. Answers with what the office has to
/// settle though it was worked in.
async fn work_in(
    tx: &mut sqlx::PgConnection,
    who: &Technician,
    item: &Item,
    made: &Made,
    now: time::OffsetDateTime,
) -> Result<Vec<String>, Trouble> {
    let mut inner = tx.begin().await.map_err(Error::from)?;
    let kept = match made {
        Made::Report(report) => reports::keep(&mut inner, report, who.dealer.today, now).await.map_err(|e| match &e {
            crate::store::Error::Rule(rule) if rule.starts_with("visit_reports") => corrected_meanwhile(),
            _ => Error::from(e).into(),
        }),
        Made::WrittenDown => Ok(vec!["A visit to a unit that was not found. Find the unit and keep its figures there.".to_owned()]),
        Made::Fill(ready) => fill_keep::keep(&mut inner, ready).await.map(|()| Vec::new()).map_err(Trouble::from),
    };
    let open = match kept {
        Ok(open) => open,
        Err(trouble) => {
            inner.rollback().await.map_err(Error::from)?;
            return Err(trouble);
        }
    };
    if let Some(instead) = item.instead {
        submissions::take_turns(&mut inner, instead).await.map_err(Error::from)?;
        if let Made::Report(report) = made {
            photos::join_instead(&mut inner, instead, item.visit, report.report_id).await.map_err(Error::from)?;
        }
        submissions::settle_by_another(&mut inner, instead, who.staff_id, now).await.map_err(Error::from)?;
    }
    inner.commit().await.map_err(Error::from)?;
    Ok(open)
}

fn corrected_meanwhile() -> Trouble {
    Trouble::Settle(vec!["Somebody else corrected this report meanwhile. Theirs stands; this one is kept to compare.".to_owned()])
}

/// Reads an item against the records as they are now.
async fn made(who: &Technician, app: &App, arrived: &Arrived<'_>) -> Result<Option<(Item, Made)>, Trouble> {
    let item = item::read(arrived.body).map_err(|why| Trouble::Settle(vec![why]))?;
    let by = maker(app, who, &item).await?;
    let mut report = match item.form {
        Form::Report => first(who, by, app, arrived.id, &item).await?,
        Form::NotDone => not_done(who, by, app, arrived.id, &item).await?,
        Form::Correct => correction(who, by, app, &item).await?,
        Form::Fill => {
            let ready = fill(who, by, app, arrived, &item).await?;
            return Ok(Some((item, Made::Fill(Box::new(ready)))));
        }
        Form::WrittenDown => return Ok(Some((item, Made::WrittenDown))),
    };
    if by != who.staff_id {
        report.staff_id = Some(by);
        note(&mut report.flag, &format!("Sent by {}, from the same phone.", who.name));
    }
    if arrived.id.get_timestamp().is_some_and(|t| ahead(t.to_unix().0, app.clock.now())) {
        note(&mut report.flag, "The phone's clock was ahead when this was kept.");
        (report.made_at, report.arrived_at, report.kept_at) = (None, None, None);
    }
    Ok(Some((item, Made::Report(Box::new(report)))))
}

/// Whose sheet it is: two technicians may share a phone, and whoever signs in next sends what is on it.
async fn maker(app: &App, who: &Technician, item: &Item) -> Result<Uuid, Trouble> {
    let Some(by) = item.typed.get("by").parse().ok().filter(|by| *by != who.staff_id) else { return Ok(who.staff_id) };
    let known = staff::technicians(&app.pool).await.map_err(Error::from)?.iter().any(|t| t.id == by);
    Ok(if known { by } else { who.staff_id })
}

/// A fill that was kept without a signal; its day, where none was typed, is the visit's.
async fn fill(who: &Technician, by: Uuid, app: &App, arrived: &Arrived<'_>, item: &Item) -> Result<Ready, Trouble> {
    let at = reached(by, app, item).await?;
    let unreadable = |e: serde_html_form::de::Error| Trouble::Settle(vec![format!("The fill's form cannot be read ({e}).")]);
    let mut asked: Asked = form::read(arrived.body).map_err(unreadable)?;
    if asked.filled_on.trim().is_empty() {
        asked.filled_on = usual_day(who, &at, item).to_string();
    }
    let mut c = app.pool.acquire().await.map_err(Error::from)?;
    let sheet = fill_view::sheet(&mut c, at.unit_id, asked, &who.dealer).await?;
    if !sheet.wrong.is_empty() {
        return Err(Trouble::Settle(vec![sheet.wrong]));
    }
    Ready::of(app, who, Maker::Technician, arrived.id, sheet).map_err(|(_, wrong)| Trouble::Settle(vec![wrong]))
}

pub(super) fn ahead(made: u64, now: time::OffsetDateTime) -> bool {
    i64::try_from(made).is_ok_and(|made| made > (now + CLOCK_SLACK).unix_timestamp())
}

/// Adds a sentence to a flag, as long as there is room.
fn note(flag: &mut String, says: &str) {
    if !flag.is_empty() {
        flag.push(' ');
    }
    flag.push_str(says);
    *flag = flag.chars().take(400).collect();
}

async fn reached(by: Uuid, app: &App, item: &Item) -> Result<Reached, Trouble> {
    if let (None, Some(unit_id)) = (item.visit, item.unit) {
        units::get(&app.pool, unit_id).await.map_err(Error::from)?;
        return Ok(Reached { unit_id, visit_id: None, day: None, on_route: true });
    }
    let Some(visit) = item.visit else { return Err(Trouble::Settle(vec!["It does not say which visit it is of.".to_owned()])) };
    let mut c = app.pool.acquire().await.map_err(Error::from)?;
    let found = phones::reached(&mut c, by, visit).await.map_err(Error::from)?;
    found.ok_or_else(|| Trouble::Settle(vec!["This visit was never on this technician's route or phone.".to_owned()]))
}

/// The day of what was kept, where none was typed: the planned one, that of the phone's calendar where it was made a few days sooner or
/// nobody planned it; unless it lies ahead.
fn usual_day(who: &Technician, at: &Reached, item: &Item) -> Date {
    let sooner = |on: &Date| at.day.is_none_or(|day| *on >= day - Duration::days(7));
    let by_phone = parse_date(item.typed.get("kept_day")).ok().filter(sooner);
    at.day.into_iter().chain(by_phone).min().filter(|day| *day <= who.dealer.today).unwrap_or(who.dealer.today)
}

/// What the office should know of a visit that changed since it was packed.
async fn changes(app: &App, at: &Reached, report: &mut NewReport) -> Result<(), Trouble> {
    if !at.on_route {
        note(&mut report.flag, "The visit is not on this technician's route any more.");
    }
    if let Some(visit) = at.visit_id
        && reports::of_visit(&app.pool, visit).await.map_err(Error::from)?.is_some()
    {
        note(&mut report.flag, "A second report of the same visit.");
    }
    Ok(())
}

async fn first(who: &Technician, by: Uuid, app: &App, id: Uuid, item: &Item) -> Result<NewReport, Trouble> {
    let at = reached(by, app, item).await?;
    let day = usual_day(who, &at, item);
    let loaded = sheet::load(app, &About { unit_id: at.unit_id, usual_day: day, correcting: false }).await?;
    let read = read(&loaded, item, who)?;
    let worked = loaded.worked(&read);
    let mut report = stop::report(who, id, 1, at.visit_id, at.unit_id, read, worked, loaded.jug_step());
    if item.visit.is_none() {
        note_unplanned(app, who, &mut report).await?;
    }
    changes(app, &at, &mut report).await?;
    Ok(report)
}

/// A visit that nobody planned, where one is planned soon: the office should look whether that is still needed.
pub(super) async fn note_unplanned(app: &App, who: &Technician, report: &mut NewReport) -> Result<()> {
    let ahead = visits::ahead(&app.pool, report.unit_id, who.dealer.today).await?;
    if let Some(day) = ahead.and_then(|a| a.day) {
        note(&mut report.flag, &format!("It was not on the route, and a visit is planned for {}: still needed?", day_short(day)));
    }
    Ok(())
}

fn read(loaded: &sheet::Loaded, item: &Item, who: &Technician) -> Result<Read, Trouble> {
    let read = typed::read(&item.typed, &loaded.against(who.dealer.today, who.dealer.units));
    read.map_err(|wrong| Trouble::Settle(wrong.into_iter().map(|w| w.says).collect()))
}

async fn not_done(who: &Technician, by: Uuid, app: &App, id: Uuid, item: &Item) -> Result<NewReport, Trouble> {
    let at = reached(by, app, item).await?;
    let day = usual_day(who, &at, item);
    let (why, read) = stop::why_not(&item.typed, day)?;
    let mut report = stop::report(who, id, 1, at.visit_id, at.unit_id, read, None, 0);
    report.outcome = Outcome::NotDone(why.to_owned());
    changes(app, &at, &mut report).await?;
    Ok(report)
}

async fn correction(who: &Technician, by: Uuid, app: &App, item: &Item) -> Result<NewReport, Trouble> {
    let Some(report_id) = item.report else { return Err(Trouble::Settle(vec!["It does not say which report it corrects.".to_owned()])) };
    let newest = reports::newest(&app.pool, report_id).await.map_err(Error::from)?;
    if newest.staff_id != Some(by) {
        return Err(Error::NotFound.into());
    }
    let version: i32 = item.typed.get("version").parse().unwrap_or(newest.version);
    if version != newest.version {
        return Err(corrected_meanwhile());
    }
    let loaded = sheet::load(app, &About { unit_id: newest.unit_id, usual_day: newest.visited_on, correcting: true }).await?;
    let read = read(&loaded, item, who)?;
    let worked = loaded.worked(&read);
    Ok(stop::report(who, report_id, version + 1, newest.visit_id, newest.unit_id, read, worked, loaded.jug_step()))
}
