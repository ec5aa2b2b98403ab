//! Drawings of drives: a technician's day, the whole week, one place. By road where there is a road file.

use super::{
    app::App,
    error::{Error, Result},
};
use crate::{
    roads::{
        Drives, Point, Position, Quality,
        closed::Closure,
        sketch::{Barred, Line, Mark, Size, Sketch},
    },
    store::{
        closures::{self, RoadClosure},
        week::{RouteRow, Stop, monday_of},
    },
    units::day_short,
};
use time::Date;

/// One day with its stops in order, ready to be drawn.
struct Day {
    name: String,
    depot: (Position, String),
    stops: Vec<(Position, String, String)>,
}

fn position(lat: f64, lon: f64) -> Option<Position> {
    Position::new(lat, lon).ok()
}

fn day(r: &RouteRow, stops: &[Stop], with_who: bool) -> Option<Day> {
    let depot = (position(r.depot_lat, r.depot_lon)?, r.depot_name.clone());
    let own = stops.iter().filter(|s| s.staff_id == Some(r.staff_id) && s.day == Some(r.day));
    let stops = own.filter_map(|s| {
        let at = position(s.lat?, s.lon?)?;
        Some((at, s.position.unwrap_or(0).to_string(), s.place_name.clone()))
    });
    let name = if with_who { format!("{}, {}", r.technician, day_short(r.day)) } else { day_short(r.day) };
    Some(Day { name, depot, stops: stops.collect() })
}

fn line(drives: &Drives, day: &Day) -> Line {
    let home = std::iter::once(day.depot.0);
    let path: Vec<Position> = home.clone().chain(day.stops.iter().map(|s| s.0)).chain(home).collect();
    let depot = Mark { at: day.depot.0.into(), label: "D".to_owned(), name: day.depot.1.clone(), depot: true };
    let marks = day.stops.iter().map(|(at, n, name)| Mark { at: (*at).into(), label: n.clone(), name: name.clone(), depot: false });
    Line { name: day.name.clone(), legs: drives.route(&path), marks: std::iter::once(depot).chain(marks).collect() }
}

/// Draws with the roads that are open, and a mark where one of `shut` is not.
pub(super) async fn drawn(app: &App, shut: &[RoadClosure], make: impl FnOnce(&Drives) -> Sketch + Send + 'static) -> String {
    let closed: Vec<Closure> = shut.iter().map(RoadClosure::closure).collect();
    // Without its closed roads a drawing still helps.
    let roads = app.sources.roads_round(&closed).await.unwrap_or_else(|_| app.sources.roads());
    let marks = shut.iter().map(|c| Barred { at: c.at.into(), reach_m: c.reach_m.into(), name: shut_roads(c) }).collect();
    let drives = Drives::of(roads);
    let work = move || make(&drives).barred(marks).draw(drives.roads().map(AsRef::as_ref));
    // A drawing is a help beside the list: without it the page still says everything.
    tokio::task::spawn_blocking(work).await.unwrap_or_default()
}

/// A road's name, or words for one that has none.
pub(super) fn road_name(name: &str) -> &str {
    if name.is_empty() { "a road without a name" } else { name }
}

/// "Larch Road, Tue Oct 6 to Fri Oct 9: bridge deck".
pub(super) fn shut_words(c: &RoadClosure) -> String {
    let note = if c.note.is_empty() { String::new() } else { format!(": {}", c.note) };
    format!("{}, {}{note}", upper(&shut_roads(c)), shut_days(c))
}

/// "Larch Road and what lies round it".
fn shut_roads(c: &RoadClosure) -> String {
    let round = if c.reach_m == 0 { "" } else { " and what lies round it" };
    format!("{}{round}", road_name(&c.road))
}

pub(super) fn upper(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

pub(super) fn shut_days(c: &RoadClosure) -> String {
    match c.to {
        Some(to) if to == c.from => day_short(to),
        Some(to) => format!("{} to {}", day_short(c.from), day_short(to)),
        None => format!("from {} until it is opened", day_short(c.from)),
    }
}

/// What is closed in the week of that day.
async fn shut(app: &App, day: Date) -> Vec<RoadClosure> {
    closures::of_week(&app.pool, monday_of(day)).await.unwrap_or_default()
}

/// A technician's day, at a phone's width or a desk's; empty without a stop that has a pin.
pub(super) async fn route(app: &App, id: &str, r: &RouteRow, stops: &[Stop], size: Size) -> String {
    let Some(day) = day(r, stops, false).filter(|day| !day.stops.is_empty()) else { return String::new() };
    let (id, shut) = (id.to_owned(), shut(app, r.day).await);
    drawn(app, &shut, move |drives| Sketch::route(&id, &format!("The drive of {}", day.name), line(drives, &day)).sized(size)).await
}

/// Every day of a week on one drawing; empty when nobody drives.
pub(super) async fn week(app: &App, routes: &[RouteRow], stops: &[Stop]) -> String {
    let days: Vec<Day> = routes.iter().filter_map(|r| day(r, stops, true)).filter(|day| !day.stops.is_empty()).collect();
    let Some(first) = routes.first().filter(|_| !days.is_empty()) else { return String::new() };
    let shut = shut(app, first.day).await;
    let make = move |drives: &Drives| {
        let lines = days.iter().map(|day| Line { marks: unnumbered(line(drives, day).marks), ..line(drives, day) });
        Sketch::week("wk", "All drives of the week", lines.collect())
    };
    drawn(app, &shut, make).await
}

/// On the drawing of a week only the depots are marked; a number would stand for many stops.
fn unnumbered(marks: Vec<Mark>) -> Vec<Mark> {
    marks.into_iter().filter(|m| m.depot).collect()
}

/// The places of these stops that no open road leads to while `shut` are closed, though one does otherwise.
pub(super) async fn cut_off(app: &App, shut: &[RoadClosure], routes: &[RouteRow], stops: &[Stop]) -> Result<Vec<String>> {
    let closed: Vec<Closure> = shut.iter().map(RoadClosure::closure).collect();
    let (Some(open), Some(round)) = (app.sources.roads(), app.sources.roads_round(&closed).await?) else { return Ok(Vec::new()) };
    let own = stops.iter().filter_map(|s| Some((s.place_name.clone(), position(s.lat?, s.lon?)?)));
    let mut places: Vec<(String, Position)> = own.collect();
    places.sort_by(|a, b| a.0.cmp(&b.0).then(Point::from(a.1).cmp(&Point::from(b.1))));
    places.dedup();
    if shut.is_empty() || places.is_empty() {
        return Ok(Vec::new());
    }
    let mut pins: Vec<Position> = places.iter().map(|p| p.1).collect();
    pins.extend(routes.iter().filter_map(|r| position(r.depot_lat, r.depot_lon)));
    let tables = move || [open, round].map(|roads| Drives::of(Some(roads)).table(&pins).quality);
    let [before, now] = tokio::task::spawn_blocking(tables).await.map_err(|e| Error::Inside(e.into()))?;
    let lost =
        places.into_iter().zip(before.iter().zip(&now)).filter(|(_, (before, now))| **before == Quality::Road && **now != Quality::Road);
    let mut names: Vec<String> = lost.map(|((name, _), _)| name).collect();
    names.dedup();
    Ok(names)
}

/// One place with the roads round it, and where its pin lies in words; empty without a road file.
pub(super) async fn place(app: &App, id: &str, name: &str, pin: (f64, f64)) -> (String, String) {
    let (Some(roads), Some(at)) = (app.sources.roads(), position(pin.0, pin.1)) else { return Default::default() };
    let words = match roads.nearest_road(at) {
        Some(("", metres)) => format!("{} off a road without a name", short_way(metres)),
        Some((road, metres)) => format!("{} off {road}", short_way(metres)),
        None => "no road of the road file is near: drives there are estimated".to_owned(),
    };
    let (id, name) = (id.to_owned(), name.to_owned());
    (drawn(app, &[], move |_| Sketch::place(&id, &name, at)).await, words)
}

/// Feet, or miles from about a tenth on.
pub(super) fn short_way(metres: f64) -> String {
    if metres < 160.0 { format!("{:.0} ft", metres / 0.3048) } else { format!("{:.1} mi", metres / 1609.344) }
}
