//! The pages over the real Postgres: each test states a fact that somebody outside would agree with.
#![expect(clippy::unwrap_used, reason = "a test that cannot go on has failed")]

#[path = "../support/mod.rs"]
mod support;

mod access;
mod answers;
mod bring_in;
mod closures;
mod crew;
mod drives;
mod due;
mod fills;
mod find;
mod first_steps;
mod forget;
mod hand_over;
mod indexes;
mod jobs;
mod kinds;
mod mend;
mod overview;
mod path;
mod photos;
mod put_right;
mod reports;
mod roads;
mod says;
mod season;
mod second_factor;
mod taken_out;
mod tell;
mod treatments;
mod wander;
mod week;
mod when;
mod year;
