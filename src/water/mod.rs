//! The water room: programmes, water volume, THE dose function, dilution and the simple saturation index.
//!
//! Pure: no database, no network, no clock. Limits, products and kits come in as data; only formulas live here.

pub mod advice;
pub mod basis;
pub mod carbonate;
pub mod dilution;
pub mod dose;
pub mod expect;
pub mod index;
pub mod kit;
pub mod pipe;
pub mod programme;
pub mod table;
pub mod volume;

pub use advice::{Action, Advice, Amount, Block, Dose, Overtreatment, Packs, PhAdvice, PhVerdict, RecheckWindow, Verdict};
pub use basis::{Analyte, Basis, BasisError, convert};
pub use carbonate::{Analysis, Heated, SourceError, SourceWater};
pub use dose::{Occasion, Reading, Site, WaterFacts, advise, first_charge, level_after};
pub use kit::{Counts, KitError, Measured, TestKit};
pub use programme::{Levels, Measure, PhBand, Product, Programme, ProgrammeError, RecheckDays, Strength};
pub use table::{TableRow, table};
pub use volume::{Method, VolumeError, WaterVolume};
