//! What the owner keeps as data: programmes, products, kits, kinds of unit and job, checklists, seasons.

mod climate;
mod edit;
mod job_edit;
mod jobs;
mod profiles;
mod treatments;
mod unit_kinds;

pub use climate::{Climate, change_climate, climate};
pub use edit::{
    Versions, add_programme, change_programme, keep_kit, keep_product, make_kit_usual, make_product_usual, programmes_of_units, use_kit,
    use_product, versions,
};
pub use job_edit::{JobSetting, MOST_KINDS, MOST_STEPS, add_job, add_step, change_job, job_settings, retire_step};
pub use jobs::{
    ChecklistItem, JobBook, JobRow, SeasonDays, all_jobs, all_steps, change_season, change_season_from, checklist, job_book, season_days,
};
pub use profiles::{ProfileRow, device_text, keep_profile, parameter_text, profiles, remedy_text};
pub use treatments::{COMPARATOR_SD, KitRow, ProductRow, Treatments, Usual, treatments};
pub use unit_kinds::{KindSetting, MOST_UNIT_KINDS, NewKind, UnitKind, add_kind, change_kind, kind_settings, unit_kinds};
