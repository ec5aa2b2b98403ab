//! From an extract to a road network: two passes over the file, first the ways, then the nodes that they use.

use super::{
    build::{self, Run},
    extract::{self, ExtractError, Header, Sink},
    graph::{House, Misfit, Network, Origin, Size, Town, Water},
    point::{Extent, LONGEST, Point, index},
    report::Report,
    speeds::{self, Driven, SPEEDS, Tags},
};
use std::{
    collections::HashMap,
    io::{Read, Seek},
};

/// Two neighbouring points of a road further apart than this are a mistake in the data, in metres; the road is cut there.
const LONGEST_STEP_M: f64 = 50_000.0;
/// Longest name, house number or town that is kept, in characters.
const LONGEST_TEXT: usize = 120;

/// Why an extract does not become a road network.
#[derive(Debug, thiserror::Error)]
pub enum ImportError {
    #[error(transparent)]
    Extract(#[from] ExtractError),
    #[error("the extract holds no road that a van may use{}. Take an extract that covers your county", .0)]
    NoRoads(&'static str),
    #[error("the extract holds more roads than one file can hold. Take only the part round you, with --around and --miles")]
    TooLarge,
    #[error(transparent)]
    Misfit(#[from] Misfit),
}

/// A way of the extract that a van may use.
struct Road {
    refs: Vec<i64>,
    driven: Driven,
    name: String,
}

/// Something drawn or looked up that is a way, and so has its points elsewhere in the file.
struct Outline<T> {
    refs: Vec<i64>,
    what: T,
}

/// What the first pass gathers.
#[derive(Default)]
struct Ways {
    roads: Vec<Road>,
    buildings: Vec<Outline<(String, String, String)>>,
    waters: Vec<Outline<String>>,
    towns: Vec<Town>,
    houses: Vec<House>,
    blocked: Vec<i64>,
    seen: u64,
}

fn text(s: Option<&str>) -> String {
    s.unwrap_or_default().trim().chars().filter(|c| !c.is_control()).take(LONGEST_TEXT).collect()
}

/// House number, street, town.
fn address(tags: Tags<'_>) -> Option<(String, String, String)> {
    let number = tags.get("addr:housenumber")?;
    let street = tags.get("addr:street").or_else(|| tags.get("addr:place"))?;
    let town = tags.get("addr:city").or_else(|| tags.get("addr:postcode"));
    Some((text(Some(number)), text(Some(street)), text(town)))
}

impl Sink for Ways {
    const EVERY_NODE: bool = false;
    const WAYS: bool = true;

    fn node(&mut self, id: i64, at: Option<Point>, tags: Tags<'_>) {
        if speeds::blocks(tags) {
            self.blocked.push(id);
        }
        let Some(at) = at else { return };
        if let (Some(size), Some(name)) = (tags.get("place").and_then(Size::parse), tags.get("name")) {
            self.towns.push(Town { at, size, name: text(Some(name)) });
        }
        if let Some((number, street, town)) = address(tags) {
            self.houses.push(House { at, number, street, town });
        }
    }

    fn way(&mut self, refs: &[i64], tags: Tags<'_>) {
        self.seen += 1;
        if tags.get("highway").is_some() {
            if let Some(driven) = speeds::driven(tags, &SPEEDS) {
                let name = text(tags.get("name").or_else(|| tags.get("ref")));
                self.roads.push(Road { refs: refs.to_vec(), driven, name });
            }
            return;
        }
        if let Some(what) = address(tags) {
            self.buildings.push(Outline { refs: refs.to_vec(), what });
        }
        let wet = tags.get("natural") == Some("water") || matches!(tags.get("waterway"), Some("river" | "riverbank"));
        if wet {
            self.waters.push(Outline { refs: refs.to_vec(), what: text(tags.get("name")) });
        }
    }
}

impl Ways {
    fn add(&mut self, more: Self) {
        self.roads.extend(more.roads);
        self.buildings.extend(more.buildings);
        self.waters.extend(more.waters);
        self.towns.extend(more.towns);
        self.houses.extend(more.houses);
        self.blocked.extend(more.blocked);
        self.seen += more.seen;
    }

    /// The nodes that the second pass must find, in rising order.
    fn needed(&self) -> Vec<i64> {
        let roads = self.roads.iter().flat_map(|w| &w.refs);
        let rest = self.buildings.iter().map(|w| &w.refs).chain(self.waters.iter().map(|w| &w.refs)).flatten();
        let mut ids: Vec<i64> = roads.chain(rest).copied().collect();
        ids.sort_unstable();
        ids.dedup();
        ids.shrink_to_fit();
        ids
    }
}

/// What the second pass gathers of one block.
#[derive(Default)]
struct Nodes(Vec<(i64, Point)>);

impl Sink for Nodes {
    const EVERY_NODE: bool = true;
    const WAYS: bool = false;

    fn node(&mut self, id: i64, at: Option<Point>, _: Tags<'_>) {
        if let Some(at) = at {
            self.0.push((id, at));
        }
    }

    fn way(&mut self, _: &[i64], _: Tags<'_>) {}
}

/// Where the needed nodes lie.
pub(super) struct Found {
    ids: Vec<i64>,
    at: Vec<Option<Point>>,
    within: Option<Extent>,
}

impl Found {
    fn new(ids: Vec<i64>, within: Option<Extent>) -> Self {
        Self { at: vec![None; ids.len()], ids, within }
    }

    /// Ids mostly rise, so the next is looked for just after the last.
    fn put(&mut self, nodes: &Nodes) {
        let mut from = 0;
        let mut last = i64::MIN;
        for &(id, at) in &nodes.0 {
            if id < last {
                from = 0;
            }
            last = id;
            from += gallop(&self.ids[from..], id);
            if self.ids.get(from) == Some(&id) && self.within.is_none_or(|e| e.holds(at)) {
                self.at[from] = Some(at);
            }
        }
    }

    fn place(&self, id: i64) -> Option<(u32, Point)> {
        let i = self.ids.binary_search(&id).ok()?;
        self.at[i].map(|p| (index(i), p))
    }
}

/// How many of a rising list are less than `id`, with steps that double.
fn gallop(ids: &[i64], id: i64) -> usize {
    let mut high = 1;
    while high < ids.len() && ids[high - 1] < id {
        high *= 2;
    }
    let low = high / 2;
    let high = high.min(ids.len());
    low + ids[low..high].partition_point(|&x| x < id)
}

/// Reads an extract into a network and a report on what was read. `within` leaves out what lies outside a box.
///
/// Deterministic: the same file gives the same network, however many threads read it. Source of the format: see `extract`.
///
/// # Errors
/// [`ImportError`] when the file cannot be read as an extract or holds no usable road.
pub fn import(mut file: impl Read + Seek, within: Option<Extent>) -> Result<(Network, Report), ImportError> {
    let mut ways = Ways::default();
    let header = extract::read(&mut file, |part: Ways| ways.add(part))?;
    if ways.roads.is_empty() {
        return Err(ImportError::NoRoads(""));
    }
    let needed = ways.needed();
    if needed.len() > LONGEST {
        return Err(ImportError::TooLarge);
    }
    let mut found = Found::new(needed, within);
    file.rewind().map_err(ExtractError::from)?;
    extract::read(&mut file, |nodes: Nodes| found.put(&nodes))?;
    network(ways, &found, &header)
}

fn network(ways: Ways, found: &Found, header: &Header) -> Result<(Network, Report), ImportError> {
    let mut report = Report { data_of: header.data_of, ways_seen: ways.seen, ways_kept: ways.roads.len(), ..Report::default() };
    report.posted = ways.roads.iter().filter(|w| w.driven.posted).count();
    let (houses, waters) = background(&ways, found);
    let blocked = build::sorted(ways.blocked.iter().filter_map(|id| found.place(*id)).map(|p| p.0));
    let mut names = Names::default();
    let runs: Vec<Run> = ways.roads.into_iter().flat_map(|road| runs(&road, found, &mut names, &mut report)).collect();
    if runs.is_empty() {
        return Err(ImportError::NoRoads(if found.within.is_some() { " in the part round you" } else { "" }));
    }
    let mut parts = build::parts(&runs, &blocked, &found.at);
    if parts.edges.len() > LONGEST || parts.shape.len() > LONGEST {
        return Err(ImportError::TooLarge);
    }
    let inside = |p: &Point| found.within.is_none_or(|e| e.holds(*p));
    parts.names = names.list;
    parts.towns = ways.towns.into_iter().filter(|t| inside(&t.at)).collect();
    parts.houses = houses.into_iter().chain(ways.houses).filter(|h| inside(&h.at)).collect();
    parts.waters = waters;
    parts.origin = Origin { data_of: header.data_of, invented: header.written_by == super::invent::WRITER };
    let network = build::largest_part(parts, &mut report)?;
    report.finish(&network);
    Ok((network, report))
}

/// Names, each kept once, in the order in which they come.
struct Names {
    list: Vec<String>,
    place: HashMap<String, u32>,
}

impl Default for Names {
    fn default() -> Self {
        Self { list: vec![String::new()], place: HashMap::from([(String::new(), 0)]) }
    }
}

impl Names {
    fn of(&mut self, name: String) -> u32 {
        if let Some(&i) = self.place.get(&name) {
            return i;
        }
        let i = index(self.list.len());
        self.list.push(name.clone());
        self.place.insert(name, i);
        i
    }
}

/// A way's stretches between nodes that are missing, outside the box, or absurdly far from the one before.
fn runs(road: &Road, found: &Found, names: &mut Names, report: &mut Report) -> Vec<Run> {
    let name = names.of(road.name.clone());
    let mut runs = Vec::new();
    let mut nodes: Vec<u32> = Vec::new();
    let mut last: Option<Point> = None;
    let mut close = |nodes: &mut Vec<u32>| {
        let nodes = std::mem::take(nodes);
        if nodes.len() > 1 {
            runs.push(Run { nodes, driven: road.driven, name });
        }
    };
    for &id in &road.refs {
        let Some((place, at)) = found.place(id) else {
            report.missing_nodes += 1;
            close(&mut nodes);
            last = None;
            continue;
        };
        if nodes.last() == Some(&place) {
            continue;
        }
        if last.is_some_and(|l| l.metres_to(at) > LONGEST_STEP_M) {
            report.absurd_steps += 1;
            close(&mut nodes);
        }
        nodes.push(place);
        last = Some(at);
    }
    close(&mut nodes);
    runs
}

/// Houses that are buildings (at the middle of their corners), and lakes and rivers.
fn background(ways: &Ways, found: &Found) -> (Vec<House>, Vec<Water>) {
    let points = |refs: &[i64]| -> Vec<Point> { refs.iter().filter_map(|r| found.place(*r)).map(|p| p.1).collect() };
    let houses = ways.buildings.iter().filter_map(|b| {
        let closed = b.refs.len() > 1 && b.refs.first() == b.refs.last();
        let corners = points(&b.refs[usize::from(closed)..]);
        let (number, street, town) = b.what.clone();
        middle(&corners).map(|at| House { at, number, street, town })
    });
    let waters = ways.waters.iter().filter_map(|w| {
        let line = points(&w.refs);
        (line.len() > 1).then(|| Water { name: w.what.clone(), line })
    });
    (houses.collect(), waters.collect())
}

fn middle(points: &[Point]) -> Option<Point> {
    let n = i64::try_from(points.len()).ok().filter(|n| *n > 0)?;
    let sum = |of: fn(Point) -> i32| points.iter().map(|p| i64::from(of(*p))).sum::<i64>() / n;
    Point::new(sum(Point::lat), sum(Point::lon))
}
