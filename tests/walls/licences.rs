//! Whose work comes in with the dependencies: only licences that let the program be given away as it is.

use crate::{files, none, top};
use serde_json::Value;
use std::{
    collections::{BTreeMap, BTreeSet},
    process::Command,
};

/// Fine in the program itself.
const ALLOWED: &[&str] = &[
    "0BSD",
    "Apache-2.0",
    "Apache-2.0 WITH LLVM-exception",
    "BSD-2-Clause",
    "BSD-3-Clause",
    "BSL-1.0",
    "CDLA-Permissive-2.0",
    "ISC",
    "MIT",
    "Unicode-3.0",
    "Unlicense",
    "Zlib",
];
/// Fine besides in what only the tests use: its terms bind whoever changes those very files.
const ALLOWED_IN_TESTS: &[&str] = &["MPL-2.0"];

/// Whether an SPDX expression (or the older `A/B`) can be met with licences of the list.
fn is_met(expression: &str, allowed: &dyn Fn(&str) -> bool) -> bool {
    let spaced = expression.replace('/', " OR ").replace('(', " ( ").replace(')', " ) ");
    let words: Vec<&str> = spaced.split_whitespace().collect();
    let mut at = 0;
    let met = either(&words, &mut at, allowed);
    met && at == words.len()
}

fn either(words: &[&str], at: &mut usize, allowed: &dyn Fn(&str) -> bool) -> bool {
    let mut met = both(words, at, allowed);
    while words.get(*at) == Some(&"OR") {
        *at += 1;
        met |= both(words, at, allowed);
    }
    met
}

fn both(words: &[&str], at: &mut usize, allowed: &dyn Fn(&str) -> bool) -> bool {
    let mut met = one(words, at, allowed);
    while words.get(*at) == Some(&"AND") {
        *at += 1;
        met &= one(words, at, allowed);
    }
    met
}

fn one(words: &[&str], at: &mut usize, allowed: &dyn Fn(&str) -> bool) -> bool {
    let Some(word) = words.get(*at) else { return false };
    *at += 1;
    if *word == "(" {
        let met = either(words, at, allowed);
        *at += 1;
        return met && words.get(*at - 1) == Some(&")");
    }
    if words.get(*at) == Some(&"WITH") {
        let whole = words.get(*at + 1).map(|exception| format!("{word} WITH {exception}"));
        *at += 2;
        return whole.is_some_and(|w| allowed(&w));
    }
    allowed(word)
}

/// What cargo knows of every crate that is built on this kind of machine, from the lock file alone.
fn metadata() -> Value {
    let rustc = Command::new("rustc").arg("-vV").output().unwrap();
    let about = String::from_utf8(rustc.stdout).unwrap();
    let host = about.lines().find_map(|l| l.strip_prefix("host: ")).unwrap().to_owned();
    let out = Command::new(env!("CARGO"))
        .args(["metadata", "--format-version=1", "--offline", "--locked", "--filter-platform", &host])
        .current_dir(top())
        .output()
        .unwrap();
    assert!(out.status.success(), "{}", String::from_utf8_lossy(&out.stderr));
    serde_json::from_slice(&out.stdout).unwrap()
}

/// Ids of the crates that go into the program: all that is reached without a dev-dependency.
fn in_program(metadata: &Value) -> BTreeSet<&str> {
    let nodes: BTreeMap<&str, &Value> =
        metadata["resolve"]["nodes"].as_array().unwrap().iter().map(|n| (n["id"].as_str().unwrap(), n)).collect();
    let mut open = vec![metadata["resolve"]["root"].as_str().unwrap()];
    let mut reached = BTreeSet::new();
    while let Some(id) = open.pop() {
        if reached.insert(id) {
            let deps = nodes[id]["deps"].as_array().unwrap().iter();
            let kept = deps.filter(|d| d["dep_kinds"].as_array().unwrap().iter().any(|k| k["kind"] != "dev"));
            open.extend(kept.map(|d| d["pkg"].as_str().unwrap()));
        }
    }
    reached
}

fn faults(metadata: &Value) -> Vec<String> {
    let program = in_program(metadata);
    let mut faults = Vec::new();
    for package in metadata["packages"].as_array().unwrap() {
        let licence = package["license"].as_str().unwrap_or("none named");
        let tests_only = !program.contains(package["id"].as_str().unwrap());
        let allowed = |l: &str| ALLOWED.contains(&l) || tests_only && ALLOWED_IN_TESTS.contains(&l);
        if !is_met(licence, &allowed) {
            faults.push(format!("{} {}: {licence}", package["name"], package["version"]));
        }
        let source = package["source"].as_str();
        if source.is_some_and(|s| !s.starts_with("registry+")) {
            faults.push(format!("{}: from {}, not from the public registry", package["name"], package["source"]));
        }
    }
    faults
}

#[test]
fn every_dependency_may_be_given_away() {
    let metadata = metadata();
    let (all, program) = (metadata["packages"].as_array().unwrap().len(), in_program(&metadata).len());
    println!("{program} crates in the program, {all} with those of the tests, this one counted");
    none(&faults(&metadata));
}

/// Direct dependencies that DEVELOPERS.md gives no reason for, or that no source file names.
fn unexplained(manifest: &str, guide: &str, sources: &str) -> Vec<String> {
    let mut faults = Vec::new();
    for name in crate::rooms::crates(manifest) {
        if !guide.contains(&format!("`{}`", name.replace('_', "-"))) && !guide.contains(&format!("`{name}`")) {
            faults.push(format!("{name}: DEVELOPERS.md does not say what it is for"));
        }
        let named = |c: char| !c.is_alphanumeric() && c != '_';
        if !sources.split(named).any(|word| word == name) {
            faults.push(format!("{name}: nothing uses it"));
        }
    }
    faults
}

#[test]
fn every_direct_dependency_is_used_and_explained() {
    let read = |name: &str| std::fs::read_to_string(top().join(name)).unwrap();
    let all = [files("src", ".rs"), files("tests", ".rs")].concat();
    let sources: String = all.into_iter().filter(|(file, _)| !file.starts_with("tests/walls")).map(|(_, text)| text).collect();
    none(&unexplained(&read("Cargo.toml"), &read("DEVELOPERS.md"), &sources));
    let planted = "[dependencies]\nsqlx = 1\nnew-one = 1\n";
    assert_eq!(
        unexplained(planted, "`sqlx`", "use sqlx::PgPool;"),
        ["new_one: DEVELOPERS.md does not say what it is for", "new_one: nothing uses it"]
    );
}

#[test]
fn another_licence_is_seen() {
    let mut metadata = metadata();
    let root = metadata["resolve"]["root"].clone();
    let program = in_program(&metadata).into_iter().find(|id| Some(*id) != root.as_str()).unwrap().to_owned();
    let packages = metadata["packages"].as_array_mut().unwrap();
    packages.iter_mut().find(|p| p["id"] == program.as_str()).unwrap()["license"] = "MPL-2.0".into();
    assert_eq!(faults(&metadata).len(), 1, "MPL-2.0 is for tests only");
    let packages = metadata["packages"].as_array_mut().unwrap();
    packages.iter_mut().find(|p| p["id"] == program.as_str()).unwrap()["license"] = "MIT".into();
    packages.iter_mut().find(|p| p["id"] == program.as_str()).unwrap()["source"] = "git+https://elsewhere.example/a".into();
    assert_eq!(faults(&metadata).len(), 1, "a crate from elsewhere");
}

#[test]
fn licence_expressions_are_read_as_spdx_means_them() {
    let allowed = |l: &str| ALLOWED.contains(&l);
    for fine in [
        "MIT",
        "MIT/Apache-2.0",
        "GPL-3.0 OR MIT",
        "(MIT OR GPL-3.0) AND Unicode-3.0",
        "Apache-2.0 WITH LLVM-exception OR GPL-2.0",
        "Apache-2.0 AND ISC",
    ] {
        assert!(is_met(fine, &allowed), "{fine}");
    }
    for other in
        ["GPL-3.0", "MIT AND GPL-3.0", "(MIT OR Zlib) AND AGPL-3.0", "none named", "GPL-2.0 WITH Classpath-exception-2.0", "(MIT", ""]
    {
        assert!(!is_met(other, &allowed), "{other}");
    }
}
