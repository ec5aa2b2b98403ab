//! Roads: extracts read, networks searched, stops put on them, drawings.
#![expect(clippy::unwrap_used, reason = "a test that cannot go on fails")]

mod addresses;
mod closures;
mod damaged;
mod drawing;
mod engine_server;
mod engine_trouble;
mod engines;
mod exact;
mod kept;
mod reference;
mod small;
mod tags;
mod times;
mod world;
