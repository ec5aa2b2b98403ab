//! A visit as other programs' calendars read it (RFC 5545).

use time::{OffsetDateTime, UtcOffset};
use uuid::Uuid;

/// What a calendar is told of a visit.
pub(super) struct Entry<'a> {
    /// The same for as long as the visit stands: a calendar that has it replaces it.
    pub(super) uid: Uuid,
    /// Higher each time the visit changes.
    pub(super) sequence: i32,
    pub(super) begins: OffsetDateTime,
    pub(super) ends: OffsetDateTime,
    /// The customer was told so; else it may still change.
    pub(super) sure: bool,
    pub(super) summary: &'a str,
    pub(super) says: &'a str,
}

impl Entry<'_> {
    /// The calendar file, made at `now`: lines end in CRLF and hold 75 octets at most (RFC 5545, 3.1).
    pub(super) fn file(&self, now: OffsetDateTime) -> String {
        let lines = [
            "BEGIN:VCALENDAR".to_owned(),
            "VERSION:2.0".to_owned(),
            "PRODID:-//Embertide//Water record//EN".to_owned(),
            "BEGIN:VEVENT".to_owned(),
            format!("UID:{}", self.uid),
            format!("DTSTAMP:{}", utc(now)),
            format!("SEQUENCE:{}", self.sequence),
            format!("DTSTART:{}", utc(self.begins)),
            format!("DTEND:{}", utc(self.ends)),
            format!("STATUS:{}", if self.sure { "CONFIRMED" } else { "TENTATIVE" }),
            format!("SUMMARY:{}", text(self.summary)),
            format!("DESCRIPTION:{}", text(self.says)),
            "END:VEVENT".to_owned(),
            "END:VCALENDAR".to_owned(),
        ];
        lines.iter().map(|line| folded(line)).collect()
    }
}

/// "20261006T130500Z" (RFC 5545, 3.3.5, form 2)
fn utc(at: OffsetDateTime) -> String {
    let at = at.to_offset(UtcOffset::UTC);
    format!("{:04}{:02}{:02}T{:02}{:02}{:02}Z", at.year(), u8::from(at.month()), at.day(), at.hour(), at.minute(), at.second())
}

/// Text as a value (RFC 5545, 3.3.11).
fn text(plain: &str) -> String {
    let mut escaped = String::with_capacity(plain.len());
    for c in plain.chars() {
        match c {
            '\\' | ';' | ',' => escaped.extend(['\\', c]),
            '\n' => escaped.push_str("\\n"),
            c if c.is_control() => {}
            c => escaped.push(c),
        }
    }
    escaped
}

/// Octets of a line.
const MOST: usize = 75;

/// One line, folded between characters.
fn folded(line: &str) -> String {
    let mut out = String::with_capacity(line.len() + 8);
    let mut octets = 0;
    for c in line.chars() {
        if octets + c.len_utf8() > MOST {
            out.push_str("\r\n ");
            octets = 1;
        }
        out.push(c);
        octets += c.len_utf8();
    }
    out.push_str("\r\n");
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use time::macros::datetime;

    fn file(summary: &str, says: &str) -> String {
        let (begins, ends) = (datetime!(2026-10-06 9:05 -4), datetime!(2026-10-06 9:50 -4));
        Entry { uid: Uuid::nil(), sequence: 3, begins, ends, sure: true, summary, says }.file(datetime!(2026-10-01 12:00 UTC))
    }

    /// Lines as RFC 5545, 3.1 puts them together again.
    fn unfolded(file: &str) -> String {
        file.replace("\r\n ", "")
    }

    #[test]
    fn times_are_told_in_utc() {
        let file = file("Visit", "");
        assert!(file.contains("DTSTART:20261006T130500Z\r\nDTEND:20261006T135000Z\r\n"), "{file}");
    }

    #[test]
    fn the_example_of_the_standard_is_escaped_as_it_stands_there() {
        // RFC 5545, 3.3.11
        let says = "Project XYZ Final Review\nConference Room - 3B\nCome Prepared.";
        assert!(unfolded(&file("", says)).contains("DESCRIPTION:Project XYZ Final Review\\nConference Room - 3B\\nCome Prepared.\r\n"));
        assert!(file("a;b,c\\d", "").contains("SUMMARY:a\\;b\\,c\\\\d\r\n"));
        assert!(file("Visit\r\nBEGIN:VALARM", "").contains("SUMMARY:Visit\\nBEGIN:VALARM\r\n"), "no line of its own");
    }

    proptest::proptest! {
        #[test]
        fn no_line_is_longer_than_75_octets_and_none_loses_anything(says in "[a-zé€😀 ]{0,300}") {
            let file = file("Visit", &says);
            for line in file.split("\r\n") {
                proptest::prop_assert!(line.len() <= 75, "{line}");
            }
            let expected = format!("DESCRIPTION:{says}\r\n");
            proptest::prop_assert!(unfolded(&file).contains(&expected));
        }
    }
}
