//! What a service van may drive on, and how fast: a table, and the reading of a road's tags against it.

/// Kinds of road, the greatest first. The words are those of the OpenStreetMap key `highway`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[repr(u8)]
pub enum Class {
    Motorway,
    Trunk,
    Primary,
    Secondary,
    Tertiary,
    Unclassified,
    Residential,
    Living,
    Service,
    Track,
}

impl Class {
    pub const ALL: [Self; 10] = [
        Self::Motorway,
        Self::Trunk,
        Self::Primary,
        Self::Secondary,
        Self::Tertiary,
        Self::Unclassified,
        Self::Residential,
        Self::Living,
        Self::Service,
        Self::Track,
    ];

    /// Plain words for a report.
    pub fn words(self) -> &'static str {
        [
            "motorways",
            "trunk roads",
            "primary roads",
            "secondary roads",
            "tertiary roads",
            "other public roads",
            "residential streets",
            "living streets",
            "driveways and service roads",
            "tracks",
        ][self as usize]
    }

    /// The class and whether it is a link (a ramp) to one.
    fn parse(highway: &str) -> Option<(Self, bool)> {
        let (base, link) = highway.strip_suffix("_link").map_or((highway, false), |base| (base, true));
        let class = match base {
            "motorway" => Self::Motorway,
            "trunk" => Self::Trunk,
            "primary" => Self::Primary,
            "secondary" => Self::Secondary,
            "tertiary" => Self::Tertiary,
            "unclassified" | "road" => Self::Unclassified,
            "residential" => Self::Residential,
            "living_street" => Self::Living,
            "service" => Self::Service,
            "track" => Self::Track,
            _ => return None,
        };
        (!link || class <= Self::Tertiary).then_some((class, link))
    }
}

/// Speeds driven where a road's own tags say nothing else, in km/h.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SpeedTable {
    /// in the order of [`Class::ALL`]
    pub by_class: [f64; 10],
    /// ramps of any class
    pub link: f64,
    /// speed driven over speed posted
    pub of_limit: f64,
    /// most on a private road: the customer's own lane
    pub private: f64,
    /// most on gravel and other made, unpaved ground
    pub unpaved: f64,
    /// most on bare earth, grass or sand
    pub earth: f64,
}

/// The table in use.
///
/// Source: posted limits that hold on rural roads without a sign in most northern states of the US are 55 mph, residential streets 25 to
/// 30 mph, unpaved roads 35 to 55 mph (the OpenStreetMap wiki's table "Default speed limits", revision 2607051 of 2023-10-21, which names
/// the statutes). Speeds driven below those limits, on ramps, lanes, tracks and bare earth, and the 90 % of a posted limit: common practice, no source.
pub const SPEEDS: SpeedTable = SpeedTable {
    by_class: [105.0, 90.0, 80.0, 75.0, 65.0, 55.0, 40.0, 15.0, 20.0, 15.0],
    link: 50.0,
    of_limit: 0.9,
    private: 15.0,
    unpaved: 55.0,
    earth: 30.0,
};

/// Slowest speed given to any road, so that no piece takes for ever. km/h.
const SLOWEST: f64 = 5.0;
const MPH: f64 = 1.609_344;
const KNOT: f64 = 1.852;

/// A road that a van may use, with km/h each way; `None` = not that way.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Driven {
    pub class: Class,
    pub link: bool,
    pub private: bool,
    /// a posted limit was read
    pub posted: bool,
    pub forward: Option<f64>,
    pub backward: Option<f64>,
}

/// A road's or node's tags, as key and value.
#[derive(Clone, Copy, Debug)]
pub struct Tags<'a>(pub &'a [(&'a str, &'a str)]);

impl<'a> Tags<'a> {
    pub fn get(self, key: &str) -> Option<&'a str> {
        self.0.iter().find(|t| t.0 == key).map(|t| t.1)
    }

    fn first(self, keys: &[&str]) -> Option<&'a str> {
        keys.iter().find_map(|k| self.get(k))
    }
}

/// A posted limit in km/h. `None` for what is no number of its own ("signals", "RU:urban", nonsense).
pub fn posted_kmh(text: &str) -> Option<f64> {
    let text = text.split(';').next()?.trim().to_ascii_lowercase();
    match text.as_str() {
        // Where no limit is posted a van drives what it can.
        "none" => return Some(130.0),
        "walk" => return Some(7.0),
        _ => {}
    }
    let digits = text.find(|c: char| !c.is_ascii_digit() && c != '.').unwrap_or(text.len());
    let number: f64 = text[..digits].parse().ok()?;
    let kmh = match text[digits..].trim() {
        "" | "km/h" | "kmh" | "kph" => number,
        "mph" => number * MPH,
        "knots" => number * KNOT,
        _ => return None,
    };
    (1.0..=200.0).contains(&kmh).then_some(kmh)
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum Access {
    Open,
    Private,
    Closed,
}

/// The most specific key that is there decides.
fn access(tags: Tags<'_>) -> Access {
    match tags.first(&["motorcar", "motor_vehicle", "vehicle", "access"]) {
        Some("private") => Access::Private,
        Some("no" | "agricultural" | "forestry" | "emergency" | "psv" | "bus" | "military" | "use_sidepath") => Access::Closed,
        _ => Access::Open,
    }
}

fn passable(tags: Tags<'_>) -> bool {
    tags.get("area") != Some("yes")
        && tags.get("service") != Some("emergency_access")
        && !matches!(tags.get("tracktype"), Some("grade4" | "grade5"))
        && !matches!(tags.get("smoothness"), Some("horrible" | "very_horrible" | "impassable"))
        && tags.get("ice_road") != Some("yes")
        && tags.get("winter_road") != Some("yes")
}

/// What the ground lets a van drive, km/h.
fn ground(tags: Tags<'_>, table: &SpeedTable) -> f64 {
    match tags.get("surface") {
        Some("unpaved" | "gravel" | "fine_gravel" | "compacted" | "pebblestone" | "dirt/sand") => table.unpaved,
        Some("dirt" | "earth" | "ground" | "grass" | "sand" | "mud" | "rock" | "woodchips") => table.earth,
        _ => f64::INFINITY,
    }
}

/// Which ways may be driven: forward, backward.
fn directions(tags: Tags<'_>, class: Class, link: bool) -> (bool, bool) {
    let implied = (class == Class::Motorway && !link) || matches!(tags.get("junction"), Some("roundabout" | "circular"));
    match tags.first(&["oneway:motorcar", "oneway:motor_vehicle", "oneway"]) {
        Some("yes" | "1" | "true") => (true, false),
        Some("-1" | "reverse") => (false, true),
        Some("no" | "0" | "false" | "reversible" | "alternating") => (true, true),
        _ => (true, !implied),
    }
}

/// Reads a way's tags; `None` when a van may not or cannot drive on it.
pub fn driven(tags: Tags<'_>, table: &SpeedTable) -> Option<Driven> {
    let (class, link) = Class::parse(tags.get("highway")?)?;
    let access = access(tags);
    if access == Access::Closed || !passable(tags) {
        return None;
    }
    let private = access == Access::Private;
    let usual = if link { table.link } else { table.by_class[class as usize] };
    let limit = |key: &str| tags.get(key).and_then(posted_kmh);
    let both = limit("maxspeed");
    let most = ground(tags, table).min(if private { table.private } else { f64::INFINITY });
    let speed = |own: Option<f64>| own.or(both).map_or(usual, |l| l * table.of_limit).min(most).max(SLOWEST);
    let (ahead, back) = (limit("maxspeed:forward"), limit("maxspeed:backward"));
    let (forward, backward) = directions(tags, class, link);
    Some(Driven {
        class,
        link,
        private,
        posted: both.or(ahead).or(back).is_some(),
        forward: forward.then(|| speed(ahead)),
        backward: backward.then(|| speed(back)),
    })
}

/// Whether a node stops a van: a bollard does, a gate does not (the customer opens it).
pub fn blocks(tags: Tags<'_>) -> bool {
    let Some(barrier) = tags.get("barrier") else { return false };
    let shut = matches!(
        barrier,
        "bollard"
            | "block"
            | "jersey_barrier"
            | "log"
            | "debris"
            | "turnstile"
            | "kissing_gate"
            | "stile"
            | "cycle_barrier"
            | "wall"
            | "fence"
            | "hedge"
            | "planter"
    );
    let let_through = matches!(
        tags.first(&["motorcar", "motor_vehicle", "vehicle", "access"]),
        Some("yes" | "permissive" | "destination" | "designated" | "private")
    );
    shut && !let_through
}
