//! What a migration may do to rows that are already there, and how figures are bounded.

use crate::{files, none};

/// One migration, without comments, in small letters, cut at its semicolons.
fn statements(text: &str) -> Vec<String> {
    let mut found = vec![String::new()];
    let (mut quoted, mut body, mut rest) = (false, false, text);
    while let Some(c) = rest.chars().next() {
        let mut taken = c.len_utf8();
        if !quoted && rest.starts_with("--") {
            taken = rest.find('\n').unwrap_or(rest.len());
        } else if !quoted && rest.starts_with("$$") {
            body = !body;
            taken = 2;
        } else if c == '\'' && !body {
            quoted = !quoted;
            found.last_mut().unwrap().push('\'');
        } else if c == ';' && !quoted && !body {
            found.push(String::new());
        } else if !quoted {
            found.last_mut().unwrap().extend(c.to_lowercase());
        }
        rest = &rest[taken..];
    }
    found.iter().map(|s| s.split_whitespace().collect::<Vec<_>>().join(" ")).filter(|s| !s.is_empty()).collect()
}

/// What is wrong with one migration.
fn faults(file: &str, text: &str) -> Vec<String> {
    let statements = statements(text);
    let mut faults = Vec::new();
    for (n, statement) in statements.iter().enumerate() {
        faults.extend(not_null(statement, &statements[..n]).map(|why| format!("{file}: {why}: {statement}")));
        for check in checks(statement) {
            let open = half_bounded(check).into_iter().filter(|column| !is_bounded_elsewhere(column, statement));
            faults.extend(open.map(|column| format!("{file}: {column} has one bound only: check {check}")));
        }
    }
    faults
}

/// A column that older rows cannot have, on a table that an earlier migration made.
fn not_null(statement: &str, before: &[String]) -> Option<&'static str> {
    let rest = statement.strip_prefix("alter table ")?;
    let rest = rest.trim_start_matches("if exists ").trim_start_matches("only ");
    let (table, changes) = rest.split_once(' ')?;
    if before.iter().any(|b| b.starts_with(&format!("create table {table} "))) {
        return None;
    }
    for change in split_outside(changes) {
        let change = change.trim();
        let filled = change.contains(" default ") || change.contains(" generated ");
        let adds = change.starts_with("add ") && !change.starts_with("add constraint") && !change.starts_with("add check");
        if adds && change.contains(" not null") && !filled {
            return Some("NOT NULL without a default on a table that may hold rows");
        }
        let column = change.trim_start_matches("alter ").trim_start_matches("column ").split(' ').next().unwrap_or_default();
        let first_filled = before.iter().any(|b| b.starts_with(&format!("update {table} ")) && b.contains(&format!("{column} =")));
        if change.starts_with("alter ") && change.contains(" set not null") && !first_filled {
            return Some("SET NOT NULL without filling the column first, in this file");
        }
    }
    None
}

/// Cuts at the commas outside brackets.
fn split_outside(text: &str) -> Vec<&str> {
    let (mut depth, mut from, mut parts) = (0_i32, 0, Vec::new());
    for (at, c) in text.char_indices() {
        match c {
            '(' => depth += 1,
            ')' => depth -= 1,
            ',' if depth == 0 => {
                parts.push(&text[from..at]);
                from = at + 1;
            }
            _ => {}
        }
    }
    parts.push(&text[from..]);
    parts
}

/// What stands in the brackets of every CHECK.
fn checks(statement: &str) -> Vec<&str> {
    let mut found = Vec::new();
    for (at, _) in statement.match_indices("check (") {
        let inside = &statement[at + 7..];
        let mut depth = 1_i32;
        let end = inside.char_indices().find(|(_, c)| {
            depth += i32::from(*c == '(') - i32::from(*c == ')');
            depth == 0
        });
        found.push(&inside[..end.map_or(inside.len(), |e| e.0)]);
    }
    found
}

/// Columns that are compared with a figure on one side only: NaN and infinity pass `x >= 0` (PostgreSQL manual,
/// "Numeric Types": NaN sorts above every figure). Lengths and differences are whole numbers and need no second bound.
fn half_bounded(check: &str) -> Vec<String> {
    let mut spaced = check.to_owned();
    for sign in ['(', ')', '<', '>'] {
        spaced = spaced.replace(sign, &format!(" {sign} "));
    }
    let spaced = spaced.replace("<  >", "<>").replace("< =", "<= ").replace("> =", ">= ");
    let words: Vec<&str> = spaced.split_whitespace().collect();
    let mut bounds: Vec<(String, bool, bool)> = Vec::new();
    for (n, word) in words.iter().enumerate() {
        let (Some(left), Some(right)) = (n.checked_sub(1).map(|l| words[l]), words.get(n + 1)) else { continue };
        let head = n.checked_sub(2).map_or("and", |l| words[l]);
        let figure = |w: &str| w.trim_start_matches('-').starts_with(|c: char| c.is_ascii_digit());
        let column = |w: &str| w.starts_with(|c: char| c.is_ascii_alphabetic());
        let alone = |before: &str| ["and", "or", "(", "not"].contains(&before);
        let (name, lower, upper) = match *word {
            ">=" | ">" if column(left) && figure(right) && alone(head) => (left, true, false),
            "<=" | "<" if column(left) && figure(right) && alone(head) => (left, false, true),
            ">=" | ">" if figure(left) && column(right) => (*right, false, true),
            "<=" | "<" if figure(left) && column(right) => (*right, true, false),
            _ => continue,
        };
        match bounds.iter_mut().find(|b| b.0 == name) {
            Some(b) => (b.1, b.2) = (b.1 | lower, b.2 | upper),
            None => bounds.push((name.to_owned(), lower, upper)),
        }
    }
    bounds.into_iter().filter(|b| !(b.1 && b.2)).map(|b| b.0).collect()
}

/// Whether another CHECK of the same statement gives the column both bounds, whatever else is true of the row.
fn is_bounded_elsewhere(column: &str, statement: &str) -> bool {
    checks(statement).iter().any(|c| c.starts_with(&format!("{column} between ")) && !c.contains(" or "))
}

#[test]
fn migrations_spare_old_rows_and_bound_every_figure() {
    let faults: Vec<String> = files("migrations", ".sql").iter().flat_map(|(file, text)| faults(file, text)).collect();
    none(&faults);
}

#[test]
fn migrations_are_numbered_without_gaps() {
    for (n, (file, _)) in (1..).zip(files("migrations", ".sql")) {
        assert!(file.starts_with(&format!("migrations/{n:04}_")), "{file} should be number {n}");
    }
}

#[test]
fn planted_faults_are_seen() {
    for planted in [
        "ALTER TABLE units ADD COLUMN colour text NOT NULL;",
        "ALTER TABLE units ADD colour text NOT NULL CHECK (length(colour) <= 4);",
        "ALTER TABLE units ADD a text, ADD b text NOT NULL;",
        "ALTER TABLE units ADD a text NOT NULL DEFAULT 'a,b', ADD b text NOT NULL;",
        "ALTER TABLE units ALTER COLUMN serial SET NOT NULL;",
        "CREATE TABLE a (x integer CHECK (x >= 0));",
        "CREATE TABLE a (x integer CHECK (x>0 AND x<5), y numeric CHECK (y < 9));",
        "CREATE TABLE a (x integer CHECK (0 <= x));",
        "CREATE TABLE a (x integer, CHECK (x IS NULL OR (x > 3)));",
        "CREATE TABLE a (x integer CHECK (y OR x BETWEEN 0 AND 9), CHECK (z OR x >= 0));",
        "ALTER TABLE a ADD CONSTRAINT c CHECK (x <= -5.5);",
    ] {
        assert_eq!(faults("planted.sql", planted).len(), 1, "{planted}: {:?}", faults("planted.sql", planted));
    }
    for fine in [
        "CREATE TABLE a (x text NOT NULL); ALTER TABLE a ADD y text NOT NULL;",
        "ALTER TABLE units ADD colour text NOT NULL DEFAULT 'green';",
        "UPDATE units SET serial = '' WHERE serial IS NULL; ALTER TABLE units ALTER serial SET NOT NULL;",
        "CREATE TABLE a (x integer CHECK (x BETWEEN 0 AND 9), y text CHECK (length(y) <= 9), z integer CHECK (z >= 0 AND z < 5));",
        "CREATE TABLE a (x integer CHECK (x BETWEEN -9 AND 9), CHECK (y OR x >= 0));",
        "CREATE TABLE a (x date, y date, CHECK (y - x <= 300 AND x < y)); -- CHECK (x >= 0)",
        "INSERT INTO a VALUES ('ALTER TABLE units ADD b text NOT NULL; CHECK (x >= 0)');",
    ] {
        assert_eq!(faults("fine.sql", fine), Vec::<String>::new(), "{fine}");
    }
}
