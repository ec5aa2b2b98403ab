//! The carbonate solver against 200 invented waters worked out by another program (tests/reference/carbonate.py).

use embertide::water::SourceWater;
use embertide::water::carbonate::{Alkalinity, Analysis, Hardness};

use crate::carbonate::degrees;
use crate::example::ph;

struct Row<'a>(Vec<(&'a str, &'a str)>);

impl Row<'_> {
    fn id(&self) -> &str {
        self.0[0].1
    }

    fn get(&self, column: &str) -> f64 {
        let cell = self.0.iter().find(|cell| cell.0 == column).unwrap();
        cell.1.parse().unwrap()
    }

    fn water(&self) -> SourceWater {
        #[expect(clippy::cast_possible_truncation, reason = "a pH in hundredths")]
        let hundredths = (self.get("ph") * 100.0).round() as i64;
        SourceWater::new(Analysis {
            ph: ph(hundredths),
            alkalinity: Alkalinity::AsCaCO3(self.get("alk")),
            hardness: Hardness::Ions { calcium: self.get("ca"), magnesium: self.get("mg") },
            sodium: Some(self.get("na")),
            chloride: Some(self.get("cl")),
            sulfate: Some(self.get("so4")),
            silica: Some(self.get("sio2")),
            conductivity: None,
        })
        .unwrap()
    }
}

fn table() -> Vec<Row<'static>> {
    let mut lines = include_str!("../reference/carbonate.csv").lines();
    let head: Vec<&str> = lines.next().unwrap().split(',').collect();
    let rows: Vec<Row<'_>> = lines.map(|line| Row(head.iter().copied().zip(line.split(',')).collect())).collect();
    assert_eq!(rows.len(), 200);
    rows
}

/// The largest difference seen in one figure, and where.
#[derive(Default)]
struct Worst {
    off: f64,
    at: String,
}

impl Worst {
    fn see(&mut self, off: f64, at: &str) {
        if !(off <= self.off) {
            *self = Self { off, at: at.to_owned() };
        }
    }
}

/// Index at 5, 25, 60 and 80 °C: 0.06 closed, 0.08 vented.
#[test]
fn the_index_of_200_waters() {
    let mut failed = Vec::new();
    for t in [5, 25, 60, 80] {
        let mut worst: [Worst; 4] = Default::default();
        for row in table() {
            let found = row.water().heated(degrees(t)).unwrap();
            let pairs = [
                (found.closed.saturation, format!("si{t}")),
                (found.vented.saturation, format!("si{t}_vented")),
                (found.closed.ph, format!("ph{t}")),
                (found.vented.ph, format!("ph{t}_vented")),
            ];
            for ((worst, (value, column)), most) in worst.iter_mut().zip(&pairs).zip([0.06, 0.08, 0.06, 0.08]) {
                let off = value - row.get(column);
                worst.see(off.abs(), row.id());
                if !(off.abs() <= most) {
                    failed.push(format!("{} {column}: {value:.3}, off by {off:+.3}", row.id()));
                }
            }
        }
        for (worst, what) in worst.iter().zip(["index closed", "index vented", "pH closed", "pH vented"]) {
            println!("{t} °C {what}: off by {:.3} at most ({})", worst.off, worst.at);
        }
    }
    assert!(failed.is_empty(), "\n{}", failed.join("\n"));
}

/// Lime at 80 °C: within 5 % or 3 mg/L.
#[test]
fn the_lime_of_200_waters() {
    let mut worst: [Worst; 2] = Default::default();
    for row in table() {
        let found = row.water().heated(degrees(80)).unwrap();
        for ((worst, found), column) in worst.iter_mut().zip([found.closed.lime, found.vented.lime]).zip(["ccpp80", "ccpp80_vented"]) {
            let expected = row.get(column);
            worst.see((found - expected).abs() / (0.05 * expected).max(3.0), &format!("{} {found:.1} for {expected}", row.id()));
        }
    }
    for worst in &worst {
        println!("lime: {:.2} of the tolerance at most ({})", worst.off, worst.at);
        assert!(worst.off <= 1.0, "{}", worst.at);
    }
}
