//! What the owner keeps as data: programmes, products, kits, kinds of unit and job, checklists, seasons.

mod jobs;
mod treatments;

pub use jobs::{ChecklistItem, JobBook, JobRow, SeasonDays, change_season, checklist, job_book, override_season, season_days};
pub use treatments::{KitRow, LotLine, ProductRow, Treatments, UnitKind, lots, treatments, unit_kinds};
