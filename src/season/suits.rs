//! When somebody can be met at a place: weekly times as people write them, "Mon-Fri 8:00 to 12:00".

use crate::units::{parse_time_of_day, time_of_day};
use time::Date;

/// A weekly time that suits: ISO weekday (1 is Monday), minutes after midnight; work begins from `from` and before `to`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Suit {
    pub weekday: u8,
    pub from: i32,
    pub to: i32,
}

/// The times of one week that suit when nothing begins before this minute of `day`. `None`: no time is left.
pub fn not_before(suits: &[Suit], day: Date, minute: i32) -> Option<Vec<Suit>> {
    let weekday = day.weekday().number_from_monday();
    let any_time: Vec<Suit> = (1..=7).map(|weekday| Suit { weekday, from: 0, to: 1440 }).collect();
    let clip = |s: &Suit| if s.weekday == weekday { Suit { from: s.from.max(minute), ..*s } } else { *s };
    let all = if suits.is_empty() { &any_time } else { suits };
    let left: Vec<Suit> = all.iter().map(clip).filter(|s| s.from < s.to).collect();
    (!left.is_empty()).then_some(left)
}

/// What cannot be read of the times that suit.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error(
    "“{line}” cannot be read as times that suit: {why}. Write a line for each, as “Mon-Fri 8:00 am to 12:00 pm” or “Tue, Thu 16:00 to 18:00”."
)]
pub struct SuitsError {
    pub line: String,
    pub why: &'static str,
}

/// The most times kept for a place.
pub const MOST: usize = 50;
const NAMES: [&str; 7] = ["Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"];

/// Reads one line for each time: days, then from and to. Empty text is no time at all, which means any.
///
/// # Errors
/// [`SuitsError`] with the first line that cannot be read.
pub fn parse_suits(text: &str) -> Result<Vec<Suit>, SuitsError> {
    let mut all = Vec::new();
    for line in text.lines().flat_map(|l| l.split(';')).map(str::trim).filter(|l| !l.is_empty()) {
        let bad = |why| SuitsError { line: line.chars().take(60).collect(), why };
        let start = line.find(|c: char| c.is_ascii_digit()).ok_or_else(|| bad("no hours are given"))?;
        let (days, hours) = line.split_at(start);
        let (from, to) = span(hours).ok_or_else(|| bad("the hours are not like 8:00 to 12:00"))?;
        if from >= to {
            return Err(bad("it has to end after it begins"));
        }
        let days = weekdays(days).ok_or_else(|| bad("the days are not like Mon, Tue or Mon-Fri"))?;
        all.extend(days.into_iter().map(|weekday| Suit { weekday, from, to }));
    }
    all.sort_unstable();
    all.dedup_by_key(|s| (s.weekday, s.from));
    if all.len() > MOST {
        return Err(SuitsError { line: text.chars().take(60).collect(), why: "there are too many" });
    }
    Ok(all)
}

fn span(hours: &str) -> Option<(i32, i32)> {
    let (from, to) = hours.split_once(" to ").or_else(|| hours.split_once(['-', '\u{2013}']))?;
    Some((parse_time_of_day(from)?, parse_time_of_day(to)?))
}

/// The weekday that a word begins like: "Tue", "tuesday".
fn weekday(word: &str) -> Option<u8> {
    let short: String = word.trim().to_lowercase().chars().take(3).collect();
    (1..).zip(NAMES).find(|(_, name)| name.to_lowercase() == short).map(|(n, _)| n)
}

/// "Mon-Fri", "Tue, Thu", "weekdays", "daily"; nothing means every day.
fn weekdays(days: &str) -> Option<Vec<u8>> {
    let days = days.trim().trim_end_matches([':', ',']).trim().to_lowercase();
    match days.as_str() {
        "" | "daily" | "every day" => return Some((1..=7).collect()),
        "weekdays" => return Some((1..=5).collect()),
        "weekends" => return Some(vec![6, 7]),
        _ => {}
    }
    let mut all = Vec::new();
    for part in days.split([',', '/']).flat_map(|p| p.split(" and ")).map(str::trim).filter(|p| !p.is_empty()) {
        match part.split_once(['-', '\u{2013}']).or_else(|| part.split_once(" to ")) {
            Some((first, last)) => {
                let (first, last) = (weekday(first)?, weekday(last)?);
                all.extend((0..7).map(|n| (first - 1 + n) % 7 + 1).take(usize::from((7 + last - first) % 7) + 1));
            }
            None => all.push(weekday(part)?),
        }
    }
    (!all.is_empty()).then_some(all)
}

/// The times as they are shown and typed again: days with the same hours in one line.
pub fn suits_text(suits: &[Suit]) -> String {
    let mut lines: Vec<((i32, i32), Vec<u8>)> = Vec::new();
    for s in suits {
        match lines.iter_mut().find(|l| l.0 == (s.from, s.to)) {
            Some(line) => line.1.push(s.weekday),
            None => lines.push(((s.from, s.to), vec![s.weekday])),
        }
    }
    let name = |d: &u8| NAMES.get(usize::from(*d).wrapping_sub(1)).copied().unwrap_or("?");
    let one = |((from, to), days): &((i32, i32), Vec<u8>)| {
        let days: Vec<&str> = days.iter().map(name).collect();
        format!("{} {} to {}", days.join(", "), time_of_day(*from), if *to == 1440 { "24:00".to_owned() } else { time_of_day(*to) })
    };
    lines.iter().map(one).collect::<Vec<_>>().join("\n")
}
