//! The water room: programmes, water volume, source water and its lime, softening, THE dose function,
//! dilution, what two tests look like together.
//!
//! Pure: no database, no network, no clock. Limits, products and kits come in as data; only formulas live here.

pub mod advice;
pub mod antifreeze;
pub mod basis;
pub mod carbonate;
pub mod dilution;
pub mod dose;
pub mod expect;
pub mod fill;
pub mod forecast;
pub mod fuel;
pub mod index;
pub mod kit;
pub mod oxygen;
pub mod pipe;
pub mod programme;
pub mod renewed;
pub mod signature;
pub mod softening;
pub mod supply;
pub mod table;
pub mod tracer;
pub mod volume;

pub use advice::{Action, Advice, Amount, Block, Dose, Overtreatment, Packs, PhAdvice, PhVerdict, RecheckWindow, Verdict};
pub use antifreeze::{AntifreezeRules, Glycol, MixStrength};
pub use basis::{Analyte, Basis, BasisError, convert};
pub use carbonate::{Analysis, Heated, SourceError, SourceWater};
pub use dose::{Occasion, Reading, Site, WaterFacts, advise, first_charge, level_after, rise};
pub use fill::{Against, Answer, Assessment, FillTest, Finding, assess};
pub use forecast::{Forecast, ForecastRules, Foreseen, History, forecast};
pub use kit::{Counts, KitError, Measured, Shown, TestKit};
pub use programme::{Levels, Measure, PhBand, Product, Programme, ProgrammeError, RecheckDays, Strength, is_doubtful_ph};
pub use renewed::{Renewed, renewed_rows};
pub use signature::{LooksLike, Signatures, TwoTests, signatures};
pub use table::{BeforeTheTest, TableRow, before_the_test, ph_rule, table};
pub use volume::{JACKET_ML, Method, VolumeError, WaterVolume};
