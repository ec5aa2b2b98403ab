//! The season room: recurrence, windows, due lists, joined visits, penalties.
#![expect(clippy::unwrap_used)]

mod due_list;
mod example;
mod joining;
mod onsets;
mod promises;
mod recurrence;
mod suits;
mod windows;

/// So many random cases, leaving no file behind.
pub(crate) fn cases(cases: u32) -> proptest::test_runner::Config {
    proptest::test_runner::Config { cases, failure_persistence: None, ..Default::default() }
}
