//! The paths that a Rust file names, with groups spelled out and `super` resolved; comments and texts do not count.

/// A path and the line it stands on.
#[derive(Debug, PartialEq, Eq)]
pub(crate) struct Named {
    pub(crate) path: Vec<String>,
    pub(crate) line: usize,
}

impl Named {
    pub(crate) fn starts(&self, with: &str) -> bool {
        let with: Vec<&str> = with.split("::").collect();
        self.path.len() >= with.len() && self.path.iter().zip(with).all(|(a, b)| a == b)
    }
}

#[derive(Clone, Debug, PartialEq, Eq)]
enum Token {
    Word(String),
    /// `::`
    Joint,
    Sign(char),
}

/// Every path in `text`, which lies at `file`, as src/room/part.rs.
pub(crate) fn paths(file: &str, text: &str) -> Vec<Named> {
    let tokens = tokens(&bare(text));
    let module = module(file);
    let mut found = Vec::new();
    let mut at = 0;
    while at < tokens.len() {
        if !matches!(tokens[at].0, Token::Word(_)) {
            at += 1;
            continue;
        }
        let is_use = tokens[at].0 == Token::Word("use".to_owned());
        at = read(&tokens, if is_use { at + 1 } else { at }, &[], &mut found);
    }
    for named in &mut found {
        resolve(&mut named.path, &module);
    }
    found
}

/// Reads one path, or a group of them, from `at` on; returns where it ends.
fn read(tokens: &[(Token, usize)], mut at: usize, before: &[String], found: &mut Vec<Named>) -> usize {
    let mut path = before.to_vec();
    let line = tokens.get(at).map_or(0, |t| t.1);
    while let Some((token, _)) = tokens.get(at) {
        match token {
            Token::Word(word) => path.push(word.clone()),
            Token::Sign('*') if !path.is_empty() && matches!(tokens.get(at.wrapping_sub(1)), Some((Token::Joint, _))) => {}
            Token::Sign('{') if matches!(tokens.get(at.wrapping_sub(1)), Some((Token::Joint, _))) => {
                return group(tokens, at, &path, found);
            }
            Token::Joint => {
                at += 1;
                continue;
            }
            Token::Sign(_) => break,
        }
        at += 1;
        if !matches!(tokens.get(at), Some((Token::Joint, _))) {
            break;
        }
    }
    if path.len() > before.len() {
        found.push(Named { path, line });
    }
    at.max(1)
}

fn group(tokens: &[(Token, usize)], mut at: usize, before: &[String], found: &mut Vec<Named>) -> usize {
    at += 1;
    while let Some((token, _)) = tokens.get(at) {
        match token {
            Token::Sign('}') => return at + 1,
            Token::Sign('{') => at = group(tokens, at, before, found),
            Token::Word(_) => at = read(tokens, at, before, found),
            Token::Joint | Token::Sign(_) => at += 1,
        }
    }
    at
}

/// `super` and `self` at the head of a path become what they stand for.
fn resolve(path: &mut Vec<String>, module: &[String]) {
    let mut here = module.to_vec();
    let mut moved = false;
    while let Some(head) = path.first() {
        match head.as_str() {
            "super" => {
                here.pop();
            }
            "self" if path.len() > 1 => {}
            _ => break,
        }
        path.remove(0);
        moved = true;
    }
    if moved {
        here.insert(0, "crate".to_owned());
        here.append(path);
        *path = here;
    }
}

/// src/room/part.rs is `room::part`; src/room/mod.rs and src/room.rs are `room`.
fn module(file: &str) -> Vec<String> {
    let inside = file.trim_start_matches("src/").trim_end_matches(".rs").trim_end_matches("/mod");
    inside.split('/').filter(|p| *p != "lib" && *p != "main").map(str::to_owned).collect()
}

fn tokens(code: &str) -> Vec<(Token, usize)> {
    let mut found = Vec::new();
    for (n, line) in (1..).zip(code.lines()) {
        let mut rest = line;
        while let Some(c) = rest.chars().next() {
            let word = rest.find(|c: char| !c.is_alphanumeric() && c != '_').unwrap_or(rest.len());
            let taken = if word > 0 {
                found.push((Token::Word(rest[..word].to_owned()), n));
                word
            } else if rest.starts_with("::") {
                found.push((Token::Joint, n));
                2
            } else {
                if !c.is_whitespace() {
                    found.push((Token::Sign(c), n));
                }
                c.len_utf8()
            };
            rest = &rest[taken..];
        }
    }
    found
}

/// The text without comments and without what stands in quotes; lines stay where they are.
fn bare(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    let mut rest = text;
    while let Some(c) = rest.chars().next() {
        let skipped = if rest.starts_with("//") {
            rest.find('\n').unwrap_or(rest.len())
        } else if rest.starts_with("/*") {
            rest.find("*/").map_or(rest.len(), |end| end + 2)
        } else {
            quoted(rest, out.chars().last())
        };
        if skipped == 0 {
            out.push(c);
            rest = &rest[c.len_utf8()..];
        } else {
            out.extend(rest[..skipped].chars().filter(|c| *c == '\n'));
            out.push(' ');
            rest = &rest[skipped..];
        }
    }
    out
}

/// Length of the quoted text at the head of `rest`; 0 when there is none.
fn quoted(rest: &str, before: Option<char>) -> usize {
    let raw = rest.strip_prefix('r').filter(|_| !before.is_some_and(|c| c.is_alphanumeric() || c == '_'));
    if let Some(raw) = raw {
        let hashes = raw.len() - raw.trim_start_matches('#').len();
        if raw[hashes..].starts_with('"') {
            let end = format!("\"{}", "#".repeat(hashes));
            return raw[hashes + 1..].find(&end).map_or(rest.len(), |at| 1 + hashes + 1 + at + end.len());
        }
    }
    if rest.starts_with('"') {
        let mut escaped = false;
        for (at, c) in rest.char_indices().skip(1) {
            match c {
                '"' if !escaped => return at + 1,
                '\\' => escaped = !escaped,
                _ => escaped = false,
            }
        }
        return rest.len();
    }
    // A character, not a lifetime: 'x' or '\n'.
    let mut letters = rest.char_indices().skip(1);
    match (rest.starts_with('\''), letters.next(), letters.next()) {
        (true, Some((_, '\\')), _) => rest[3..].find('\'').map_or(0, |at| at + 4),
        (true, Some(_), Some((at, '\''))) => at + 1,
        _ => 0,
    }
}

#[test]
fn paths_are_read_as_rust_reads_them() {
    let text = r##"
        //! use crate::comment;
        use crate::{store::{self, week::*}, web as pages};
        use super::super::jobs;
        fn f<'a>(c: char) -> sqlx::Result<&'a str> { if c == '"' || c == '\'' { self::inner::g() }; r#"crate::quoted " "#; "crate::\"too" }
    "##;
    let found: Vec<String> = paths("src/route/solve/moves.rs", text).iter().map(|n| n.path.join("::")).collect();
    for wanted in [
        "crate::store::self",
        "crate::store::week",
        "crate::web",
        "crate::route::jobs",
        "sqlx::Result",
        "crate::route::solve::moves::inner::g",
    ] {
        assert!(found.iter().any(|f| f == wanted), "{wanted} is not in {found:?}");
    }
    assert!(!found.iter().any(|f| f.contains("comment") || f.contains("quoted") || f.contains("too")), "{found:?}");
    assert_eq!(paths("src/water/mod.rs", "\nuse super::store;")[0], Named { path: vec!["crate".into(), "store".into()], line: 2 });
}
