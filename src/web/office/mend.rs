//! A technician cannot work a day, a customer says no, a repair cannot wait, a road closes: what would change, in words, and only then kept.

use super::super::{
    app::App,
    error::{Error, Result},
    form::Posted,
    guard::{Office, see_other},
    html::{Frame, html},
    map, words,
};
use super::roads::Closing;
use crate::{
    roads::Drives,
    secrets::{hex, sha256},
    store::{
        closures::{self, RoadClosure},
        dealer::Dealer,
        events::{self, Actor},
        staff::{self, Person},
        week::{self, At, Happened, MendedWeek, Moved, Plan, Stop},
    },
    units::{day_long, day_short, time_of_day},
};
use askama::Template;
use axum::extract::{Path, Query};
use serde::Deserialize;
use time::{Date, Duration};
use uuid::Uuid;

struct LineView {
    what: String,
    phone: String,
    /// the day and time, or nothing
    told: Option<String>,
    says: String,
}

#[derive(Template)]
#[template(path = "office/mend.html")]
struct MendPage {
    f: Frame,
    week: String,
    heading: String,
    /// What happened, as the form says it again.
    fields: Vec<(&'static str, String)>,
    row_version: i32,
    /// Fingerprint of all that is shown.
    seen: String,
    lines: Vec<LineView>,
    without: usize,
    /// Closed roads that the plan does not go round yet, and those that are open again.
    closed: Vec<String>,
    opened: Vec<String>,
    /// Days that break a rule already, with who drives: left as they stand.
    left: Vec<String>,
    /// Places that no open road leads to.
    cut_off: Vec<String>,
}

/// What happened: a technician's day, or a visit that is refused, or one that is urgent, or roads.
#[derive(Debug, Deserialize)]
pub(super) struct Asked {
    /// "now": roads closed or opened since the week was planned.
    roads: Option<String>,
    /// A road that closes, not kept yet.
    #[serde(flatten)]
    closing: Closing,
    staff: Option<Uuid>,
    day: Option<String>,
    refused: Option<Uuid>,
    urgent: Option<Uuid>,
    /// Version of the week that was looked at, when it is to be kept.
    #[serde(default)]
    row_version: i32,
    /// Fingerprint of what was looked at.
    #[serde(default)]
    seen: String,
}

impl Asked {
    fn happened(&self) -> Result<Happened> {
        let day = self.day.as_deref().and_then(|day| crate::units::parse_date(day).ok());
        let roads = (self.roads.as_deref() == Some("now") || self.closing.is_asked()).then_some(());
        match (self.staff.zip(day), self.refused, self.urgent, roads) {
            (Some((staff_id, day)), None, None, None) => Ok(Happened::Lost { staff_id, day }),
            (None, Some(visit), None, None) => Ok(Happened::Refused(visit)),
            (None, None, Some(visit), None) => Ok(Happened::Urgent(visit)),
            (None, None, None, Some(())) => Ok(Happened::Roads),
            _ => Err(Error::NotFound),
        }
    }
}

fn fields(happened: Happened, closing: &Closing) -> Vec<(&'static str, String)> {
    match happened {
        Happened::Roads if closing.is_asked() => closing.fields(),
        Happened::Roads => vec![("roads", "now".to_owned())],
        Happened::Lost { staff_id, day } => vec![("staff", staff_id.to_string()), ("day", day.to_string())],
        Happened::Refused(visit) => vec![("refused", visit.to_string())],
        Happened::Urgent(visit) => vec![("urgent", visit.to_string())],
    }
}

/// Until this hour today's routes can still be changed; then the technicians are on the road.
const UNDER_WAY: u8 = 6;

/// The closed roads that a week was planned round, and those that it has to go round now.
struct ShutRoads {
    planned: Vec<RoadClosure>,
    now: Vec<RoadClosure>,
}

impl ShutRoads {
    async fn of(app: &App, plan: &Plan, closing: Option<RoadClosure>) -> Result<Self> {
        let mut now = closures::of_week(&app.pool, plan.monday).await?;
        if closing.as_ref().is_some_and(|c| !c.holds_in(plan.monday)) {
            return Err(Error::Bad(
                "The road is open all of that week. Close it for a day of the week, or on the page of closed roads.".to_owned(),
            ));
        }
        now.extend(closing);
        Ok(Self { planned: closures::named(&app.pool, &plan.closed_roads).await?, now })
    }

    fn ids(&self) -> Vec<Uuid> {
        self.now.iter().map(|c| c.id).collect()
    }

    /// Those of `a` that are not among `b`, in words.
    fn only(a: &[RoadClosure], b: &[RoadClosure]) -> Vec<String> {
        a.iter().filter(|c| b.iter().all(|d| d.id != c.id)).map(map::shut_words).collect()
    }

    fn closed(&self) -> Vec<String> {
        Self::only(&self.now, &self.planned)
    }

    fn opened(&self) -> Vec<String> {
        Self::only(&self.planned, &self.now)
    }
}

/// What would change, and by which drives.
struct Answer {
    week: MendedWeek,
    row_version: i32,
    drives: Drives,
    roads: ShutRoads,
}

impl Answer {
    /// The same as long as the office would be shown the same.
    fn fingerprint(&self) -> String {
        let shown = format!("{:?}", (&self.week.moved, &self.week.left, self.roads.closed(), self.roads.opened()));
        hex(&sha256(shown.as_bytes())[..8])
    }
}

async fn mended(app: &App, monday: Date, happened: Happened, closing: Option<RoadClosure>, dealer: &Dealer) -> Result<Answer> {
    let today = dealer.today;
    let over = match happened {
        Happened::Lost { day, .. } => day < today,
        Happened::Refused(_) | Happened::Urgent(_) | Happened::Roads => monday + Duration::days(6) < today,
    };
    if over {
        return Err(Error::Bad("That day is over.".to_owned()));
    }
    let open = if dealer.local.hour() < UNDER_WAY { today } else { today + Duration::days(1) };
    let plan = week::header(&app.pool, monday).await?.ok_or(Error::NotFound)?;
    let roads = ShutRoads::of(app, &plan, closing).await?;
    let planned = app.drives_round(monday, happened.visit(), None, &roads.planned).await?;
    let now = if closures::same(&plan.closed_roads, &roads.ids()) {
        None
    } else {
        Some(app.drives_round(monday, happened.visit(), None, &roads.now).await?)
    };
    let mut c = app.pool.acquire().await?;
    let drives = week::Roads { planned: &planned, now: now.as_ref() };
    let torn = week::torn(&mut c, drives, monday, open.max(monday), happened).await.map_err(unmended)?;
    drop(c);
    let row_version = torn.row_version;
    let week = tokio::task::spawn_blocking(move || torn.mend()).await.map_err(|e| Error::Inside(e.into()))?;
    Ok(Answer { week, row_version, drives: now.unwrap_or(planned), roads })
}

fn unmended(e: crate::store::Error) -> Error {
    match e {
        crate::store::Error::Rule(rule) if rule == "week_is_odd" => Error::Bad(
            "The day that this is about breaks a rule already (see “Look at this” on the week), so it cannot be mended by itself. Take the visit off with \
             “Not this week”, or move the visits by hand."
                .to_owned(),
        ),
        other => other.into(),
    }
}

fn at(at: &At) -> String {
    format!("{}, {} with {}", day_short(at.day), time_of_day(at.starts), at.technician)
}

fn line(m: &Moved, stops: &[Stop], refused: Option<Uuid>) -> Option<LineView> {
    let stop = stops.iter().find(|s| s.visit_id == m.visit_id)?;
    let says = match (&m.before, &m.now) {
        (Some(before), Some(now)) if now.day != before.day => format!("from {} to {}", at(before), at(now)),
        (Some(before), Some(now)) if now.technician != before.technician => {
            format!("{}: {} comes instead of {}, at {}", day_short(now.day), now.technician, before.technician, time_of_day(now.starts))
        }
        (Some(before), Some(now)) => {
            format!("{}: at {} instead of {}", day_short(now.day), time_of_day(now.starts), time_of_day(before.starts))
        }
        (None, Some(now)) => format!("gets a place: {}", at(now)),
        (Some(before), None) if refused == Some(m.visit_id) => format!("called off (was {})", at(before)),
        (Some(before), None) => format!("no room any more this week (was {})", at(before)),
        (None, None) => "finds no room this week even so".to_owned(),
    };
    Some(LineView {
        what: format!("{}: {}", stop.place_name, stop.unit_name),
        phone: stop.customer_phone.clone(),
        told: stop.told().map(words::told),
        says,
    })
}

/// What happened, as a heading.
fn heading(happened: Happened, closing: Option<&RoadClosure>, people: &[Person], stops: &[Stop]) -> Result<String> {
    let what = |visit: Uuid| stops.iter().find(|s| s.visit_id == visit).map(|s| format!("{}: {}", s.place_name, s.unit_name));
    let says = match happened {
        Happened::Lost { staff_id, day } => {
            people.iter().find(|p| p.id == staff_id).map(|p| format!("{} cannot work on {}", p.name, day_long(day)))
        }
        Happened::Refused(visit) => what(visit).map(|what| format!("{what} is not wanted this week")),
        Happened::Urgent(visit) => what(visit).map(|what| format!("{what} cannot wait")),
        Happened::Roads => {
            Some(closing.map_or("Roads closed or opened".to_owned(), |c| format!("{} closes", map::upper(map::road_name(&c.road)))))
        }
    };
    says.ok_or(Error::NotFound)
}

/// The road that closes, if the form names one.
fn closing(app: &App, form: &Closing, id: Uuid, today: Date) -> Result<Option<RoadClosure>> {
    form.is_asked().then(|| form.read(app.sources.roads().as_deref(), id, today)).transpose()
}

pub(super) async fn page(who: Office, app: App, (Path(name), Query(asked)): (Path<String>, Query<Asked>)) -> Result {
    let monday = super::week::monday(&name)?;
    let happened = asked.happened()?;
    let closing = closing(&app, &asked.closing, Uuid::now_v7(), who.dealer.today)?;
    // Whoever works here no more may still stand on a route.
    let people = staff::all(&app.pool).await?;
    let mut stops = week::stops(&app.pool, monday, None).await?;
    stops.extend(week::unplaced(&app.pool, monday, 1000).await?);
    let heading = heading(happened, closing.as_ref(), &people, &stops)?;
    let answer = mended(&app, monday, happened, closing, &who.dealer).await?;
    let seen = answer.fingerprint();
    let Answer { week, row_version, roads, .. } = answer;
    let routes = week::routes(&app.pool, monday, None).await?;
    let cut_off = map::cut_off(&app, &roads.now, &routes, &stops).await?;
    let refused = if let Happened::Refused(visit) = happened { Some(visit) } else { None };
    html(&MendPage {
        f: Frame::of(&who, "week"),
        week: name,
        heading,
        fields: fields(happened, &asked.closing),
        closed: roads.closed(),
        opened: roads.opened(),
        left: week.left.iter().map(|(technician, day)| format!("{}, {technician}", day_short(*day))).collect(),
        cut_off,
        row_version,
        seen,
        without: week.moved.iter().filter(|m| m.now.is_none() && Some(m.visit_id) != refused).count(),
        lines: week.moved.iter().filter_map(|m| line(m, &stops, refused)).collect(),
    })
}

pub(super) async fn keep(who: Office, app: App, (Path(name), posted): (Path<String>, Posted<Asked>)) -> Result {
    let monday = super::week::monday(&name)?;
    let happened = posted.form.happened()?;
    let now = app.clock.now();
    let closing = closing(&app, &posted.form.closing, posted.id, who.dealer.today)?;
    let answer = mended(&app, monday, happened, closing.clone(), &who.dealer).await?;
    let as_seen = answer.fingerprint() == posted.form.seen;
    let Answer { week, drives, roads, .. } = answer;
    let actor = Actor { id: Some(who.staff_id), words: who.name.clone() };
    let mut tx = app.pool.begin().await?;
    if posted.first_time(&mut tx, &who, "mend week", now).await? {
        if !as_seen {
            return Err(Error::Clash(
                "The week, or something that it is planned by, has changed since you looked: it would turn out otherwise now. \
                 Nothing was kept; go back and look at it again."
                    .to_owned(),
            ));
        }
        let why = match happened {
            Happened::Lost { day, .. } => format!("No room after {} fell out", day_short(day)),
            Happened::Refused(_) => "The customer does not want it this week".to_owned(),
            Happened::Urgent(_) => "No room after something that could not wait".to_owned(),
            Happened::Roads => "No room after a road closed".to_owned(),
        };
        week::keep_mended(&mut tx, &week, posted.form.row_version, &why).await?;
        closures::note_plan(&mut *tx, monday, &roads.ids(), &drives.label()).await?;
        if let Some(closure) = &closing {
            closures::add(&mut tx, closure, who.staff_id, who.dealer.today, now).await?;
            events::note(&mut *tx, now, &actor, "closed a road", &map::shut_words(closure)).await?;
        }
        events::note(&mut *tx, now, &actor, "mended a week", &name).await?;
    }
    tx.commit().await.map_err(|e| super::visits::words(e.into()))?;
    Ok(see_other(&format!("/week/{name}?said=mended")))
}
