//! Embertide keeps the water of outdoor wood-fired hydronic heaters in order: what each unit holds, what its tests said,
//! what is due, how much to put in, and each technician's route for the week.
//!
//! # The map of the house
//! Data goes round in this order: **fill, water test, dose, forecast, due, route, visit report, water test.**
//!
//! Pure rooms, which know no database, no network, no clock and no async:
//! - [`units`]: quantities with units; read from what people type, converted once, at display.
//! - [`water`]: programmes, volumes, THE dose function, dilution.
//! - [`season`]: what each unit needs, when, and why.
//! - [`roads`]: how long a drive takes, by road or estimated; routes drawn. (Its own file on disk is the one thing outside that it knows.)
//! - [`route`]: which technician goes where when; and the checker that judges every plan.
//! - [`listing`]: lists in CSV, read and complained about cell by cell.
//! - [`photo`]: pictures freed from everything but the picture.
//!
//! Rooms with side effects:
//! - [`sources`]: where drives come from: the road file, a road engine of the owner's.
//! - [`store`]: all SQL, rows to domain and back.
//! - [`web`]: the pages: office, yard, record.
//! - [`jobs`]: work in the background: planning a week, the daily due list.
//! - [`backup`]: copies of everything that is kept, and the way back.
//! - [`cluster`], [`settings`], [`clock`], [`secrets`]: the private Postgres, the command line, the time, what must not be guessed.
//! - [`demo`]: an invented dealership to look round in.
//!
//! Arrows: `main` uses everything; `web` and `jobs` use `store` and the pure rooms, never each other; nothing uses `web`;
//! `store` uses the pure rooms. `tests/walls` reads the `use` lines and fails when a wall is broken.

pub mod backup;
pub mod clock;
pub mod cluster;
pub mod demo;
pub mod jobs;
pub mod listing;
pub mod photo;
pub mod roads;
pub mod route;
pub mod season;
pub mod secrets;
pub mod settings;
pub mod sources;
pub mod store;
pub mod units;
pub mod water;
pub mod web;
