//! Roads: extracts read, networks searched, stops put on them, drawings.
#![expect(clippy::unwrap_used, reason = "a test that cannot go on fails")]

mod damaged;
mod exact;
mod small;
mod tags;
mod world;
