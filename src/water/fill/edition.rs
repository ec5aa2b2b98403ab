//! Published tables of the largest hardness a fill may have, by output, specific volume and heater content. Editions
//! disagree, so each carries its edition in its name. All of them were read in appliance manuals and trade pages that
//! reproduce the tables, not in the standards themselves.

use super::hardness::HardnessUnit;
use crate::units::{Millilitres, thousands};

/// What of the system a table asks for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FillSystem {
    pub volume: Millilitres,
    /// Heat output of all heaters together, kW.
    pub output_kw: f64,
    /// Output of the smallest heater, kW; the same for one heater.
    pub smallest_kw: f64,
    /// Water in the heater itself, where known.
    pub heater_content: Option<Millilitres>,
}

impl FillSystem {
    /// One heater.
    pub const fn one_heater(volume: Millilitres, output_kw: f64, heater_content: Option<Millilitres>) -> Self {
        Self { volume, output_kw, smallest_kw: output_kw, heater_content }
    }

    /// System volume to the output of the smallest heater, L/kW; `None` without a sensible output.
    pub fn specific_volume(&self) -> Option<f64> {
        sensible(self.smallest_kw).map(|kw| self.volume.as_f64() / 1_000.0 / kw)
    }

    /// Heater content to output, L/kW.
    pub fn specific_content(&self) -> Option<f64> {
        Some(self.heater_content?.as_f64() / 1_000.0 / sensible(self.output_kw)?)
    }
}

fn sensible(kw: f64) -> Option<f64> {
    (0.1..=100_000.0).contains(&kw).then_some(kw)
}

/// One cell: no requirement, or at most so much in the table's unit.
pub type Cell = Option<f64>;

/// One row: up to which output (kW, `None`: above all others), and a cell for each column of specific volume.
#[derive(Debug, Clone, PartialEq)]
pub struct Row {
    pub up_to_kw: Option<f64>,
    pub large_content: [Cell; 3],
    pub small_content: [Cell; 3],
}

/// How a table is looked up.
#[derive(Debug, Clone, PartialEq)]
pub enum Lookup {
    ByOutput {
        /// Specific volume (L/kW) at which the second and the third column begin.
        columns: [f64; 2],
        /// Heater content (L/kW) that parts large from small.
        content: f64,
        /// Whether exactly that content counts as large.
        content_itself_is_large: bool,
        rows: Vec<Row>,
    },
    /// By system volume: up to so many litres (`None`: above all others), at most so much.
    ByVolume(Vec<(Option<f64>, f64)>),
}

/// A published table in one edition.
#[derive(Debug, Clone, PartialEq)]
pub struct Edition {
    /// With the edition.
    pub name: &'static str,
    pub unit: HardnessUnit,
    pub lookup: Lookup,
    pub source: &'static str,
    pub note: &'static str,
}

/// What a table says of one system.
#[derive(Debug, Clone, PartialEq)]
pub struct Allowed {
    /// mg/L as `CaCO3`; `None` is no requirement.
    pub most: Option<f64>,
    /// Where in the table, in words, with what was assumed.
    pub place: String,
}

impl Edition {
    /// The cell for a system; `None` when its output is not sensible.
    pub fn allowed(&self, system: &FillSystem) -> Option<Allowed> {
        let (cell, place) = match &self.lookup {
            Lookup::ByOutput { columns, content, content_itself_is_large, rows } => {
                let v = system.specific_volume()?;
                let row = rows.iter().find(|row| row.up_to_kw.is_none_or(|kw| system.output_kw <= kw))?;
                let q = system.specific_content();
                let large = q.is_some_and(|q| q > *content || (*content_itself_is_large && q >= *content));
                let column = columns.iter().filter(|start| v >= **start).count();
                let cells = if large { row.large_content } else { row.small_content };
                (cells[column], place(system.output_kw, v, q, large))
            }
            Lookup::ByVolume(rows) => {
                let litres = system.volume.as_f64() / 1_000.0;
                let (_, most) = rows.iter().find(|(top, _)| top.is_none_or(|top| litres <= top))?;
                #[expect(clippy::cast_possible_truncation, reason = "a volume in litres, within range")]
                let whole = litres.round() as i64;
                (Some(*most), format!("{} L of water", thousands(whole)))
            }
        };
        let most = cell.map(|value| value * self.unit.mg_caco3());
        Some(Allowed { most, place })
    }
}

fn place(kw: f64, v: f64, q: Option<f64>, large: bool) -> String {
    let content = match (q, large) {
        (Some(q), true) => format!("heater content {q:.2} L/kW (large)"),
        (Some(q), false) => format!("heater content {q:.2} L/kW (small)"),
        (None, _) => "heater content not known, taken as small".to_owned(),
    };
    format!("{kw:.1} kW, {v:.1} L/kW, {content}")
}

const CLOSED: &str = "Written for closed systems without steady air entry; in a vented jacket only an inhibitor can carry the protection.";

/// VDI 2035 part 1, 2005 edition.
pub fn vdi_2035_1_2005() -> Edition {
    let row = |up_to_kw, large_content, small_content| Row { up_to_kw, large_content, small_content };
    let least = Some(0.02);
    let both = |up_to_kw, cells| row(up_to_kw, cells, cells);
    Edition {
        name: "VDI 2035 part 1, 2005 edition",
        unit: HardnessUnit::MillimolePerLitre,
        lookup: Lookup::ByOutput {
            columns: [20.0, 50.0],
            content: 0.3,
            content_itself_is_large: true,
            rows: vec![
                row(Some(50.0), [None, Some(3.0), least], [Some(3.0), Some(2.0), least]),
                both(Some(200.0), [Some(2.0), Some(1.5), least]),
                both(Some(600.0), [Some(1.5), least, least]),
                both(None, [least; 3]),
            ],
        },
        source: "read in appliance manuals that reproduce the table; its first row in one of them only",
        note: "Holds while fill and make-up stay within three system volumes over the system's life; a later edition, of 2021, exists. \
               Written for closed systems without steady air entry; in a vented jacket only an inhibitor can carry the protection.",
    }
}

/// OENORM H 5195-1, the edition with the table by heater content.
pub fn oenorm_h_5195_1_by_content() -> Edition {
    let row = |up_to_kw, large: [f64; 3], small: [f64; 3]| Row { up_to_kw, large_content: large.map(Some), small_content: small.map(Some) };
    Edition {
        name: "OENORM H 5195-1, newer edition (by heater content)",
        unit: HardnessUnit::GermanDegree,
        lookup: Lookup::ByOutput {
            columns: [20.0, 50.0],
            content: 0.3,
            content_itself_is_large: false,
            rows: vec![
                row(Some(50.0), [16.8, 11.2, 5.6], [11.2, 5.6, 0.6]),
                row(Some(200.0), [11.2, 5.6, 2.8], [5.6, 2.8, 0.6]),
                row(Some(600.0), [5.6, 2.8, 0.6], [2.8, 0.6, 0.6]),
                row(None, [2.8, 0.6, 0.6], [0.6; 3]),
            ],
        },
        source: "read in trade pages that reproduce the table, with a worked example",
        note: CLOSED,
    }
}

/// OENORM H 5195-1, 2006 edition.
pub fn oenorm_h_5195_1_2006() -> Edition {
    Edition {
        name: "OENORM H 5195-1, 2006 edition (by volume)",
        unit: HardnessUnit::GermanDegree,
        lookup: Lookup::ByVolume(vec![(Some(1_000.0), 17.0), (Some(5_000.0), 6.0), (None, 0.5)]),
        source: "read in trade pages that reproduce the table",
        note: CLOSED,
    }
}
