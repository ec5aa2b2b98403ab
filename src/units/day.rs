//! Civil days in words, and read from words.

use time::{Date, Month, Weekday};

use super::{UnitError, typed::shorten};

/// "Mon Oct 5", for lists.
pub fn day_short(day: Date) -> String {
    format!("{} {}", short_weekday(day.weekday()), month_day(day))
}

/// "Monday, October 5, 2026", for records.
pub fn day_long(day: Date) -> String {
    format!("{}, {} {}, {}", day.weekday(), day.month(), day.day(), day.year())
}

/// "Oct 5, 2026", for sentences.
pub fn day_with_year(day: Date) -> String {
    format!("{}, {}", month_day(day), day.year())
}

/// "Oct 5", where the year is plain from the place.
pub fn month_day(day: Date) -> String {
    format!("{} {}", short_month(day.month()), day.day())
}

fn short_weekday(weekday: Weekday) -> String {
    weekday.to_string().chars().take(3).collect()
}

fn short_month(month: Month) -> String {
    month.to_string().chars().take(3).collect()
}

/// Reads "2026-10-05", "Oct 5, 2026", "October 5 2026" or "5 Oct 2026"; years 1950 to 2199.
/// Refuses "10/5/26": it is two different days on two sides of an ocean.
pub fn parse_date(text: &str) -> Result<Date, UnitError> {
    let typed = text.trim();
    if typed.is_empty() {
        return Err(UnitError::NoDate);
    }
    let not_a_date = || UnitError::NotADate { typed: shorten(typed) };
    let parts: Vec<&str> = typed.split([' ', ',', '-', '/', '.']).filter(|part| !part.is_empty()).collect();
    let &[a, b, c] = parts.as_slice() else {
        return Err(not_a_date());
    };
    let (year, month, day) = if a.len() == 4 && a.bytes().all(|x| x.is_ascii_digit()) {
        let number: u8 = b.parse().map_err(|_| not_a_date())?;
        (a, Month::try_from(number).map_err(|_| not_a_date())?, c)
    } else if let Some(month) = named_month(a) {
        (c, month, b)
    } else if let Some(month) = named_month(b) {
        (c, month, a)
    } else if parts.iter().all(|part| part.bytes().all(|x| x.is_ascii_digit())) {
        return Err(UnitError::AmbiguousDate { typed: shorten(typed) });
    } else {
        return Err(not_a_date());
    };
    let year: i32 = year.parse().map_err(|_| not_a_date())?;
    let day: u8 = day.parse().map_err(|_| not_a_date())?;
    if !(1950..2200).contains(&year) {
        return Err(not_a_date());
    }
    Date::from_calendar_date(year, month, day).map_err(|_| not_a_date())
}

fn named_month(name: &str) -> Option<Month> {
    let name = name.to_lowercase();
    let months = std::iter::successors(Some(Month::January), |m| Some(m.next())).take(12);
    let mut found = months.filter(|month| {
        let full = month.to_string().to_lowercase();
        name.len() >= 3 && (full == name || full.get(..3) == Some(&name) || (name == "sept" && full == "september"))
    });
    found.next()
}

/// "7:45 am" from minutes after midnight; past midnight the next day's time.
pub fn time_of_day(minutes: i32) -> String {
    let minutes = minutes.rem_euclid(1440);
    let (hour, half) = (minutes / 60, if minutes < 720 { "am" } else { "pm" });
    let hour = if hour % 12 == 0 { 12 } else { hour % 12 };
    format!("{hour}:{:02} {half}", minutes % 60)
}

/// "7:30", "7:30 am", "16:00", "4 pm" as minutes after midnight, 24:00 at most. `None` for anything else.
pub fn parse_time_of_day(text: &str) -> Option<i32> {
    let lower = text.trim().to_lowercase();
    let (digits, half) = match lower.strip_suffix("am").or_else(|| lower.strip_suffix("pm")) {
        Some(digits) => (digits.trim(), Some(lower.ends_with("pm"))),
        None => (lower.as_str(), None),
    };
    let (hour, minute) = digits.split_once(':').unwrap_or((digits, "0"));
    let (hour, minute) = hour.trim().parse::<i32>().ok().zip(minute.trim().parse::<i32>().ok())?;
    let hour = match half {
        Some(pm) if (1..=12).contains(&hour) => hour % 12 + if pm { 12 } else { 0 },
        Some(_) => return None,
        None => hour,
    };
    let minutes = hour * 60 + minute;
    ((0..=24).contains(&hour) && (0..60).contains(&minute) && minutes <= 1440).then_some(minutes)
}

/// "45 min", "1 h 40 min" from seconds, rounded up to the minute.
pub fn span(seconds: i32) -> String {
    let minutes = (seconds.max(0) + 59) / 60;
    match (minutes / 60, minutes % 60) {
        (0, m) => format!("{m} min"),
        (h, 0) => format!("{h} h"),
        (h, m) => format!("{h} h {m} min"),
    }
}
