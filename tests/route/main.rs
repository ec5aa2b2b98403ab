//! The room that plans routes, and the estimated driving times it can be fed with.
#![expect(clippy::unwrap_used, reason = "a test that cannot go on fails")]

mod brute;
mod checker;
mod groups;
mod hostile;
mod mending;
mod prices;
#[path = "../bench/routes/published.rs"]
mod published;
mod published_values;
mod reasons;
mod roads;
mod search;
mod seasons;
mod slots;
mod threads;
mod world;
