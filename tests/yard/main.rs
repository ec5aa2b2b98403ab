//! The yard without a signal, over a real PostgreSQL: what a phone kept is stored once with its bytes, whatever happens on the way.
#![expect(clippy::unwrap_used, reason = "a test that cannot go on has failed")]

#[path = "../support/mod.rs"]
mod support;

mod album;
mod model;
mod outbox;
mod phone;
mod photos;
mod scene;
mod sequences;
mod shot;
mod sizes;
