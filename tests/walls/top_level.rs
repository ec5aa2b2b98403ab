//! The first thing a newcomer sees: exactly these names.

use crate::top;
use std::{collections::BTreeSet, fs, path::Path};

const WANTED: &[&str] = &[
    "Cargo.lock",
    "Cargo.toml",
    "DEVELOPERS.md",
    "LICENSE",
    "README.md",
    "docker-compose.yml",
    "migrations",
    "src",
    "static",
    "templates",
    "tests",
];

/// Names that are missing or too many; dot files and what .gitignore names at the top do not count.
fn faults(top: &Path) -> Vec<String> {
    let ignored = fs::read_to_string(top.join(".gitignore")).unwrap_or_default();
    let ignored: BTreeSet<&str> = ignored.lines().map(|l| l.trim().trim_matches('/')).collect();
    let found: BTreeSet<String> = fs::read_dir(top).unwrap().map(|e| e.unwrap().file_name().to_string_lossy().into_owned()).collect();
    let mut faults: Vec<String> =
        WANTED.iter().filter(|name| !found.contains(**name)).map(|name| format!("{name} is missing at the top level")).collect();
    let too_many = found.iter().filter(|f| !f.starts_with('.') && !ignored.contains(f.as_str()) && !WANTED.contains(&f.as_str()));
    faults.extend(too_many.map(|name| format!("{name} does not belong at the top level")));
    faults
}

#[test]
fn the_top_level_holds_what_it_should() {
    crate::none(&faults(top()));
}

#[test]
fn a_stray_file_and_a_missing_one_are_seen() {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join(format!("top-{}", std::process::id()));
    fs::create_dir_all(folder.join("target")).unwrap();
    fs::write(folder.join(".gitignore"), "/target\n").unwrap();
    for name in WANTED {
        fs::write(folder.join(name), "").unwrap();
    }
    assert_eq!(faults(&folder), Vec::<String>::new());
    fs::write(folder.join("notes.txt"), "").unwrap();
    fs::remove_file(folder.join("LICENSE")).unwrap();
    assert_eq!(faults(&folder).len(), 2);
    fs::remove_dir_all(&folder).unwrap();
}
