//! Closed roads: which ones, from when to when; closing one by the road file, and opening it again.

use super::super::{
    app::App,
    error::{Error, Result},
    form::Posted,
    guard::{Office, see_other},
    html::{Frame, html},
    map,
};
use crate::{
    roads::{
        Position, Roads,
        closed::{self, Choice},
        sketch::{Mark, Sketch},
    },
    store::{
        closures::{self, RoadClosure},
        events::{self, Actor},
        week,
    },
    units::{day_short, parse_date},
};
use askama::Template;
use axum::extract::{Path, Query};
use serde::Deserialize;
use time::{Date, Duration};
use uuid::Uuid;

/// Roads and addresses offered.
const OFFERED: usize = 4;
/// How much a closure takes in, in metres, and how that is said.
const REACHES: [(i32, &str); 4] = [
    (0, "This road only, at the mark"),
    (50, "Every road within 50 yards of it (both sides of a divided road)"),
    (400, "Every road within a quarter mile"),
    (1600, "Every road within a mile (high water)"),
];

struct LineView {
    id: Uuid,
    row_version: i32,
    road: String,
    pin: String,
    days: String,
    /// It holds today.
    now: bool,
    note: String,
    reach: &'static str,
}

struct ChoiceView {
    pin: String,
    words: String,
}

#[derive(Template)]
#[template(path = "office/roads.html")]
struct RoadsPage {
    f: Frame,
    has_roads: bool,
    has_engine: bool,
    lines: Vec<LineView>,
    /// Weeks that are planned and do not know of what is closed now.
    to_mend: Vec<(String, String)>,
    said: String,
    asked: Asked,
    /// Roads near the pin that was asked for, and where they lie.
    choices: Vec<ChoiceView>,
    map: String,
    /// Addresses like what was asked for: pin, words.
    hits: Vec<(String, String)>,
    reaches: [(i32, &'static str); 4],
    from: String,
}

#[derive(Debug, Default, Deserialize)]
pub(super) struct Asked {
    /// A position, or an address.
    #[serde(default)]
    at: String,
    /// The week that the answer is for.
    #[serde(default)]
    week: String,
    #[serde(default)]
    said: String,
}

/// A road that closes, as a form says it.
#[derive(Debug, Default, Deserialize)]
pub(super) struct Closing {
    #[serde(default)]
    pin: String,
    #[serde(default)]
    reach: String,
    #[serde(default)]
    from: String,
    #[serde(default)]
    to: String,
    #[serde(default)]
    note: String,
}

impl Closing {
    pub(super) fn is_asked(&self) -> bool {
        !self.pin.is_empty()
    }

    /// What the form said, to be said again.
    pub(super) fn fields(&self) -> Vec<(&'static str, String)> {
        let own = [("pin", &self.pin), ("reach", &self.reach), ("from", &self.from), ("to", &self.to), ("note", &self.note)];
        own.into_iter().map(|(name, value)| (name, value.clone())).collect()
    }

    /// The closure under this id; its road has the name that the road file has for it.
    pub(super) fn read(&self, roads: Option<&Roads>, id: Uuid, today: Date) -> Result<RoadClosure> {
        let bad = |says: &str| Error::Bad(says.to_owned());
        let roads = roads.ok_or_else(|| {
            bad("There is no road file, and without one nobody knows which road that is. README says how to take one in.")
        })?;
        let (lat, lon) = super::customers::pin(&self.pin)?.ok_or_else(|| bad("Choose the road that is closed."))?;
        let at = Position::new(lat, lon).map_err(|e| Error::Bad(e.to_string()))?;
        let (road, _) =
            roads.nearest_road(at).ok_or_else(|| bad("The road file knows no road near that position, so nothing would be closed."))?;
        let reach_m = self.reach.parse().ok().filter(|m| REACHES.iter().any(|r| r.0 == *m));
        let day = |text: &str| parse_date(text).map_err(|e| Error::Bad(e.to_string()));
        if self.from.trim().is_empty() {
            return Err(bad("Give the first day on which the road is closed."));
        }
        let from = day(&self.from)?;
        let to = if self.to.trim().is_empty() { None } else { Some(day(&self.to)?) };
        if to.is_some_and(|to| to < from) {
            return Err(bad("The last day lies before the first. Give the last day on which the road is still closed, or leave it empty."));
        }
        if to.is_some_and(|to| to < today) || from > today + Duration::days(1000) {
            return Err(bad("Those days are over, or too far ahead. A closure counts for the weeks that are still to be driven."));
        }
        Ok(RoadClosure {
            id,
            at,
            reach_m: reach_m.ok_or_else(|| bad("Choose how much is closed."))?,
            road: road.to_owned(),
            from,
            to,
            note: self.note.trim().chars().take(400).collect(),
            row_version: 1,
        })
    }
}

fn line(c: &RoadClosure, today: Date) -> LineView {
    LineView {
        id: c.id,
        row_version: c.row_version,
        road: map::upper(map::road_name(&c.road)),
        pin: format!("{:.5}, {:.5}", c.at.lat(), c.at.lon()),
        days: map::shut_days(c),
        now: c.from <= today,
        note: c.note.clone(),
        reach: REACHES.iter().find(|r| r.0 == c.reach_m).map_or("", |r| r.1),
    }
}

fn choice(n: usize, c: &Choice) -> ChoiceView {
    ChoiceView {
        // Seven places: a metre off, it might be the next road.
        pin: format!("{:.7}, {:.7}", c.at.lat(), c.at.lon()),
        words: format!("{n}: {}, {} away", map::upper(map::road_name(&c.road)), map::short_way(c.off_m)),
    }
}

/// The roads round a pin, drawn: the pin, a number on each road, and what is closed already.
async fn drawing(app: &App, pin: Position, choices: &[Choice], shut: &[RoadClosure]) -> String {
    let mut sketch = Sketch::place("near", "The roads near the position that was asked for", pin);
    sketch.marks.extend((1..).zip(choices).map(|(n, c): (usize, _)| Mark {
        at: c.at.into(),
        label: n.to_string(),
        name: format!("{n}: {}", map::road_name(&c.road)),
        depot: false,
    }));
    map::drawn(app, shut, move |_| sketch).await
}

pub(super) async fn page(who: Office, app: App, Query(asked): Query<Asked>) -> Result {
    let today = who.dealer.today;
    let standing = closures::standing(&app.pool, today).await?;
    let to_mend = {
        let mut c = app.pool.acquire().await?;
        closures::plans_to_mend(&mut c, week::monday_of(today)).await?
    };
    let roads = app.sources.roads();
    let at: String = asked.at.trim().chars().take(200).collect();
    let pin = super::customers::pin(&at).ok().flatten().and_then(|p| Position::new(p.0, p.1).ok());
    let (mut choices, mut map, mut hits) = (Vec::new(), String::new(), Vec::new());
    if let (Some(roads), Some(pin)) = (&roads, pin) {
        let found = closed::choices(roads.network(), roads.grid(), pin, OFFERED);
        if !found.is_empty() {
            map = drawing(&app, pin, &found, &standing).await;
        }
        choices = (1..).zip(&found).map(|(n, c)| choice(n, c)).collect();
    } else if let Some(roads) = roads.as_ref().filter(|_| !at.is_empty()) {
        let found = roads.addresses().find(&at, OFFERED).into_iter().map(|hit| (Position::from(hit.at), hit.text));
        hits = found.map(|(at, text)| (format!("{:.5},{:.5}", at.lat(), at.lon()), text)).collect();
    }
    let week = week::parse_week(&asked.week);
    html(&RoadsPage {
        f: Frame::of(&who, "week"),
        has_roads: roads.is_some(),
        has_engine: app.sources.engine().is_some(),
        lines: standing.iter().map(|c| line(c, today)).collect(),
        to_mend: to_mend
            .into_iter()
            .map(|m| (week::week_name(m), format!("{} to {}", day_short(m), day_short(m + Duration::days(6)))))
            .collect(),
        said: asked.said.clone(),
        choices,
        map,
        hits,
        reaches: REACHES,
        from: week.map_or(today, |monday| monday.max(today)).to_string(),
        asked: Asked { at, week: week.map(week::week_name).unwrap_or_default(), said: String::new() },
    })
}

pub(super) async fn close(who: Office, app: App, posted: Posted<Closing>) -> Result {
    let closure = posted.form.read(app.sources.roads().as_deref(), posted.id, who.dealer.today)?;
    let now = app.clock.now();
    let mut tx = app.pool.begin().await?;
    if posted.first_time(&mut tx, &who, "close road", now).await? {
        closures::add(&mut tx, &closure, who.staff_id, who.dealer.today, now).await?;
        let actor = Actor { id: Some(who.staff_id), words: who.name.clone() };
        events::note(&mut *tx, now, &actor, "closed a road", &map::shut_words(&closure)).await?;
    }
    tx.commit().await?;
    Ok(see_other("/roads?said=closed"))
}

#[derive(Debug, Deserialize)]
pub(super) struct Version {
    row_version: i32,
}

pub(super) async fn open(who: Office, app: App, (Path(id), posted): (Path<Uuid>, Posted<Version>)) -> Result {
    let now = app.clock.now();
    let mut tx = app.pool.begin().await?;
    if posted.first_time(&mut tx, &who, "open road", now).await? {
        let road = closures::lift(&mut *tx, id, posted.form.row_version, who.staff_id, now).await?;
        let actor = Actor { id: Some(who.staff_id), words: who.name.clone() };
        events::note(&mut *tx, now, &actor, "opened a road again", map::road_name(&road)).await?;
    }
    tx.commit().await?;
    Ok(see_other("/roads?said=open"))
}
