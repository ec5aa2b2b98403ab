//! What the owner keeps as data: programmes, products, kits, kinds of unit and job, checklists, seasons.

mod edit;
mod jobs;
mod treatments;

pub use edit::{Versions, change_programme, keep_kit, keep_product, versions};
pub use jobs::{ChecklistItem, JobBook, JobRow, SeasonDays, change_season, checklist, job_book, season_days};
pub use treatments::{COMPARATOR_SD, KitRow, LotLine, ProductRow, Treatments, UnitKind, lots, treatments, unit_kinds};
