//! Durations and clock times in plain words.

/// "50 s", "12 min", "1 h 40 min"; minutes are rounded up.
pub(super) fn duration(seconds: i64) -> String {
    if seconds.abs() < 60 {
        return format!("{seconds} s");
    }
    let minutes = (seconds.abs() + 59) / 60;
    let sign = if seconds < 0 { "-" } else { "" };
    match (minutes / 60, minutes % 60) {
        (0, m) => format!("{sign}{m} min"),
        (h, 0) => format!("{sign}{h} h"),
        (h, m) => format!("{sign}{h} h {m} min"),
    }
}

/// "13:05", on a clock of 24 hours; past midnight it counts on.
pub(super) fn clock(seconds: i32) -> String {
    format!("{:02}:{:02}", seconds / 3600, seconds / 60 % 60)
}

/// Tenths of a litre: "1.5 L".
pub(super) fn litres(ml: i64) -> String {
    format!("{}.{} L", ml / 1000, ml % 1000 / 100)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn durations_read_like_speech() {
        let said: Vec<String> = [0, 59, 60, 61, 3600, 6000, -6000].into_iter().map(duration).collect();
        assert_eq!(said, ["0 s", "59 s", "1 min", "2 min", "1 h", "1 h 40 min", "-1 h 40 min"]);
        assert_eq!(clock(47_100), "13:05");
        assert_eq!(litres(1_550), "1.5 L");
    }
}
