//! Finding a place by its address, from the house numbers of the map: a help in setting the pin, never the pin itself.
//!
//! Streets are found by the three-letter pieces they share with what was typed, so that a slip of the pen does no harm.

use super::{
    graph::{House, Network},
    point::{Point, index},
};
use std::collections::{BTreeMap, HashMap};

/// Two neighbours on a street between which a number may lie are no further apart than this: in numbers, and in metres.
const MOST_NUMBERS: u32 = 400;
const MOST_METRES: f64 = 3_000.0;
/// Least likeness of two names, 0 to 1.
const LEAST_LIKE: f64 = 0.45;

/// How a place was found, the surest first.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum How {
    /// the number stands on the map
    Exact,
    /// between two neighbours on the street
    Between,
    /// the nearest number on the street
    Near,
}

impl How {
    /// Plain words for the page.
    pub fn words(self) -> &'static str {
        match self {
            Self::Exact => "as on the map",
            Self::Between => "between its neighbours",
            Self::Near => "the nearest number on that road",
        }
    }
}

/// A place that may be meant.
#[derive(Clone, Debug, PartialEq)]
pub struct Hit {
    pub at: Point,
    /// the address as the map has it
    pub text: String,
    pub how: How,
    /// likeness, 0 to 1 or a little more when the town agrees too
    pub score: f64,
}

#[derive(Debug)]
struct Street {
    plain: String,
    shown: String,
    town: String,
    /// number and place in the network's list of houses, rising
    houses: Vec<(u32, u32)>,
}

/// The streets with house numbers.
#[derive(Debug, Default)]
pub struct Addresses {
    streets: Vec<Street>,
    pieces: HashMap<[u8; 3], Vec<u32>>,
    houses: Vec<House>,
}

/// Capitals, no punctuation, the usual short forms written out (postal usage of the US; common practice, no source).
fn plain(text: &str) -> String {
    let letters: String = text.chars().flat_map(char::to_uppercase).map(|c| if c.is_alphanumeric() { c } else { ' ' }).collect();
    let words = letters.split_whitespace().map(|w| match w {
        "RD" => "ROAD",
        "ST" => "STREET",
        "AVE" | "AV" => "AVENUE",
        "LN" => "LANE",
        "DR" => "DRIVE",
        "CT" => "COURT",
        "HWY" => "HIGHWAY",
        "CTY" | "CNTY" | "CO" => "COUNTY",
        "PL" => "PLACE",
        "BLVD" => "BOULEVARD",
        "TRL" => "TRAIL",
        "CIR" => "CIRCLE",
        "TWP" => "TOWNSHIP",
        "RTE" | "RT" => "ROUTE",
        "CR" => "COUNTY ROAD",
        "N" => "NORTH",
        "S" => "SOUTH",
        "E" => "EAST",
        "W" => "WEST",
        other => other,
    });
    words.collect::<Vec<_>>().join(" ")
}

/// A number's leading digits.
fn number(text: &str) -> Option<u32> {
    let digits = text.find(|c: char| !c.is_ascii_digit()).unwrap_or(text.len());
    text[..digits].parse().ok()
}

fn pieces(plain: &str) -> Vec<[u8; 3]> {
    let padded = format!("  {plain} ");
    let mut all: Vec<[u8; 3]> = padded.as_bytes().windows(3).map(|w| [w[0], w[1], w[2]]).collect();
    all.sort_unstable();
    all.dedup();
    all
}

/// A count as a number to reckon with.
fn share(part: usize, whole: usize) -> f64 {
    f64::from(index(part)) / f64::from(index(whole.max(1)))
}

impl Addresses {
    pub fn new(network: &Network) -> Self {
        let houses = network.parts().houses.clone();
        let mut by_street: BTreeMap<(String, String), Street> = BTreeMap::new();
        for (i, h) in (0..).zip(&houses) {
            let Some(n) = number(&h.number) else { continue };
            let street = by_street.entry((plain(&h.street), plain(&h.town))).or_insert_with_key(|(plain, town)| Street {
                plain: plain.clone(),
                shown: h.street.clone(),
                town: town.clone(),
                houses: Vec::new(),
            });
            street.houses.push((n, i));
        }
        let mut streets: Vec<Street> = by_street.into_values().collect();
        let mut found: HashMap<[u8; 3], Vec<u32>> = HashMap::new();
        for (i, street) in (0..).zip(&mut streets) {
            street.houses.sort_unstable();
            for piece in pieces(&street.plain) {
                found.entry(piece).or_default().push(i);
            }
        }
        Self { streets, pieces: found, houses }
    }

    /// How many house numbers can be found.
    pub fn len(&self) -> usize {
        self.streets.iter().map(|s| s.houses.len()).sum()
    }

    pub fn is_empty(&self) -> bool {
        self.streets.is_empty()
    }

    /// The places that may be meant by what was typed, "1240 Larch Rd" or "1240 Larch Rd, Tarnford", the likeliest first, at most `most`.
    pub fn find(&self, typed: &str, most: usize) -> Vec<Hit> {
        let typed: String = typed.chars().take(200).collect();
        let (street, town) = typed.split_once(',').unwrap_or((&typed, ""));
        let street = street.trim();
        let wanted = number(street);
        let street = plain(street.trim_start_matches(|c: char| c.is_ascii_digit()));
        let town = plain(town.trim_end_matches(|c: char| c.is_ascii_digit() || c == ' '));
        let mut hits = Vec::new();
        for (likeness, i) in self.alike(&street) {
            let street = &self.streets[i as usize];
            let bonus = if !town.is_empty() && street.town == town { 0.2 } else { 0.0 };
            self.on_street(street, wanted, likeness + bonus, &mut hits);
        }
        hits.sort_by(|a, b| b.score.total_cmp(&a.score).then_with(|| a.text.cmp(&b.text)));
        hits.truncate(most);
        hits
    }

    /// The streets most like a name, by the share of their pieces that both have.
    fn alike(&self, street: &str) -> Vec<(f64, u32)> {
        let wanted = pieces(street);
        let mut common: BTreeMap<u32, usize> = BTreeMap::new();
        for piece in &wanted {
            for &i in self.pieces.get(piece).into_iter().flatten() {
                *common.entry(i).or_default() += 1;
            }
        }
        let likeness = |(i, both): (u32, usize)| {
            let either = wanted.len() + pieces(&self.streets[i as usize].plain).len() - both;
            (share(both, either), i)
        };
        let mut all: Vec<(f64, u32)> = common.into_iter().map(likeness).filter(|l| l.0 >= LEAST_LIKE).collect();
        all.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
        all.truncate(20);
        all
    }

    fn on_street(&self, street: &Street, wanted: Option<u32>, score: f64, hits: &mut Vec<Hit>) {
        let house = |entry: &(u32, u32)| &self.houses[entry.1 as usize];
        let hit = |entry: &(u32, u32), how, score| {
            let h = house(entry);
            let town = if h.town.is_empty() { String::new() } else { format!(", {}", h.town) };
            Hit { at: h.at, text: format!("{} {}{town}", h.number, h.street), how, score }
        };
        let houses = &street.houses;
        let Some(wanted) = wanted else {
            hits.extend(houses.get(houses.len() / 2).map(|h| hit(h, How::Near, score * 0.5)));
            return;
        };
        let at = houses.partition_point(|h| h.0 < wanted);
        let before = hits.len();
        hits.extend(houses[at..].iter().take_while(|h| h.0 == wanted).map(|h| hit(h, How::Exact, score)));
        if hits.len() > before {
            return;
        }
        let (low, high) = (at.checked_sub(1).and_then(|i| houses.get(i)), houses.get(at));
        let near = [low, high].into_iter().flatten().min_by_key(|h| h.0.abs_diff(wanted));
        if let Some((low, high)) = low.zip(high) {
            let (a, b) = (house(low).at, house(high).at);
            if high.0 - low.0 <= MOST_NUMBERS && a.metres_to(b) < MOST_METRES {
                let t = f64::from(wanted - low.0) / f64::from(high.0 - low.0);
                let text = format!("{wanted} {}", street.shown);
                hits.push(Hit { at: a.towards(b, t), text, how: How::Between, score: score * 0.8 });
                return;
            }
        }
        hits.extend(near.map(|h| hit(h, How::Near, score * 0.5)));
    }
}
