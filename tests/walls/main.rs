//! The walls of the house: which room may use what, what a template and a migration may hold, whose licences come in,
//! and what lies at the top level. Every check is also fed a planted fault, to show that it can fail.
#![expect(clippy::unwrap_used, reason = "a test that cannot go on fails")]

mod licences;
mod migrations;
mod paths;
mod rooms;
mod templates;
mod top_level;

use std::{
    fs,
    path::{Path, PathBuf},
};

/// The top of the checkout.
pub(crate) fn top() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// Every file below `folder` whose name ends so, as path from the top and text, in order.
pub(crate) fn files(folder: &str, ending: &str) -> Vec<(String, String)> {
    let mut found = Vec::new();
    let mut open: Vec<PathBuf> = vec![top().join(folder)];
    while let Some(folder) = open.pop() {
        for entry in fs::read_dir(&folder).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                open.push(path);
            } else if path.to_string_lossy().ends_with(ending) {
                let name = path.strip_prefix(top()).unwrap().to_string_lossy().into_owned();
                found.push((name, fs::read_to_string(&path).unwrap()));
            }
        }
    }
    found.sort();
    assert!(!found.is_empty(), "{folder} holds no {ending}");
    found
}

/// Fails with every fault on a line of its own.
#[track_caller]
pub(crate) fn none(faults: &[String]) {
    assert!(faults.is_empty(), "\n{}\n", faults.join("\n"));
}
