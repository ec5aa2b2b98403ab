//! The carbonate solver against 200 invented waters worked out by another program (tests/reference/carbonate.py).

use embertide::water::SourceWater;
use embertide::water::carbonate::{Alkalinity, Analysis, Hardness, Heated};

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
    fn see(&mut self, found: f64, expected: f64, at: &str) {
        let off = (found - expected).abs();
        if off > self.off || off.is_nan() {
            *self = Self { off, at: format!("{at}: {found:.3} for {expected:.3}") };
        }
    }

    #[track_caller]
    fn within(&self, most: f64, what: &str) {
        println!("{what}: off by {:.3} at most ({})", self.off, self.at);
        assert!(self.off <= most, "{what}: off by {:.3} ({})", self.off, self.at);
    }
}

/// Index and pH at 5, 25, 60 and 80 °C, closed and vented: 0.03.
#[test]
fn the_index_of_200_waters() {
    for t in [5, 25, 60, 80] {
        let mut worst: [Worst; 4] = Default::default();
        for row in table() {
            let Heated { closed, vented } = row.water().heated(degrees(t)).unwrap();
            worst[0].see(closed.saturation, row.get(&format!("si{t}")), row.id());
            worst[1].see(vented.saturation, row.get(&format!("si{t}_vented")), row.id());
            worst[2].see(closed.ph, row.get(&format!("ph{t}")), row.id());
            worst[3].see(vented.ph, row.get(&format!("ph{t}_vented")), row.id());
        }
        for (worst, what) in worst.iter().zip(["index closed", "index vented", "pH closed", "pH vented"]) {
            worst.within(0.03, &format!("{what} at {t} °C"));
        }
    }
}

/// Lime at 80 °C: within 5 % or 3 mg/L.
#[test]
fn the_lime_of_200_waters() {
    let mut worst: [Worst; 2] = Default::default();
    for row in table() {
        let found = row.water().heated(degrees(80)).unwrap();
        for ((worst, found), column) in worst.iter_mut().zip([found.closed.lime, found.vented.lime]).zip(["ccpp80", "ccpp80_vented"]) {
            let tolerance = (0.05 * row.get(column)).max(3.0);
            worst.see(found / tolerance, row.get(column) / tolerance, row.id());
        }
    }
    for worst in worst {
        worst.within(1.0, "lime, in parts of the tolerance");
    }
}

/// With pH, alkalinity, conductivity and total hardness alone, the index is good to 0.2: calcium is half to nine tenths of the
/// hardness in these waters and taken as seven tenths. With calcium and magnesium tested apart it is good to 0.15.
#[test]
fn the_index_from_field_data() {
    let mut worst: [Worst; 4] = Default::default();
    for row in table() {
        let all = *row.water().analysis();
        let apart = Analysis { sodium: None, chloride: None, sulfate: None, silica: None, conductivity: Some(row.get("ec")), ..all };
        let total = Analysis { hardness: Hardness::TotalAsCaCO3(all.hardness.total_as_caco3()), ..apart };
        for (at, analysis) in [(0, total), (2, apart)] {
            let water = SourceWater::new(analysis).unwrap();
            assert!((water.good_to() - [0.2, 0.2, 0.15][at]).abs() < 1e-9);
            let found = water.heated(degrees(80)).unwrap();
            worst[at].see(found.closed.saturation, row.get("si80"), row.id());
            worst[at + 1].see(found.vented.saturation, row.get("si80_vented"), row.id());
        }
    }
    for (worst, (most, what)) in
        worst.iter().zip([(0.2, "total, closed"), (0.2, "total, vented"), (0.15, "apart, closed"), (0.15, "apart, vented")])
    {
        worst.within(most, what);
    }
}
