//! Invented small weeks, each from a seed.

use std::sync::atomic::AtomicBool;

use embertide::route::{Effort, Lock, Lunch, Matrix, Plan, Problem, Shift, Skills, Visit, Window, solve};

pub(crate) const HOUR: i32 = 3600;

/// Numbers from a seed (an additive counter, mixed).
pub(crate) struct Dice(u64);

impl Dice {
    pub(crate) fn new(seed: u64) -> Self {
        Self(seed.wrapping_mul(0x2545_F491_4F6C_DD1D).wrapping_add(77))
    }

    /// From `low` to `high`, both included.
    pub(crate) fn roll(&mut self, low: i32, high: i32) -> i32 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 29)).wrapping_mul(0xFF51_AFD7_ED55_8CCD);
        z ^= z >> 32;
        let span = u64::try_from(high - low + 1).unwrap();
        low + i32::try_from(z % span).unwrap()
    }

    pub(crate) fn index(&mut self, below: usize) -> usize {
        usize::try_from(self.roll(0, i32::try_from(below).unwrap() - 1)).unwrap()
    }

    pub(crate) fn one_in(&mut self, n: i32) -> bool {
        self.roll(1, n) == 1
    }
}

/// A working day from 8 to 17 with lunch from 11 to 13:30, 30 min, no skills, 40 L.
pub(crate) fn shift(technician: usize, day: usize) -> Shift {
    Shift {
        technician,
        day,
        starts: 8 * HOUR,
        ends: 17 * HOUR,
        depot: 0,
        lunch: Some(Lunch { from: 11 * HOUR, to: 13 * HOUR + 1800, seconds: 1800 }),
        capacity_ml: 40_000,
        skills: Skills::NONE,
        most_s: None,
        overtime: None,
    }
}

/// An hour of work at `place`, any time of day 0, worth 8 h of driving.
pub(crate) fn visit(place: usize) -> Visit {
    Visit {
        place,
        service_s: HOUR,
        set_up_s: 0,
        windows: vec![all_day(0)],
        penalty: 28_800,
        skills: Skills::NONE,
        load_ml: 0,
        lock: Lock::Free,
        late: None,
        told: None,
    }
}

pub(crate) fn all_day(day: usize) -> Window {
    Window { day, from: 0, to: 24 * HOUR - 1 }
}

/// Places on a line, `minutes` from the first.
pub(crate) fn line(minutes: &[i32]) -> Matrix {
    let leg = |a: i32, b: i32| (a - b).abs() * 60;
    let cells = minutes.iter().flat_map(|&a| minutes.iter().map(move |&b| leg(a, b))).collect();
    Matrix::new(minutes.len(), cells).unwrap()
}

pub(crate) fn plan(problem: &Problem, seed: u64, iterations: u64) -> Plan {
    solve(problem, &Effort::new(seed, iterations), &AtomicBool::new(false), &mut |_| {})
}

/// How large a random week may be, and whether it may hold roads that break the triangle rule or are missing.
#[derive(Clone, Copy)]
pub(crate) struct Size {
    pub(crate) days: usize,
    pub(crate) technicians: usize,
    pub(crate) visits: usize,
    pub(crate) rough: bool,
}

pub(crate) fn random_week(seed: u64, size: Size) -> Problem {
    let mut dice = Dice::new(seed);
    let places = 2 + dice.index(size.visits + 1);
    let drive = random_roads(&mut dice, places, size.rough);
    let days = 1 + dice.index(size.days);
    let mut shifts = Vec::new();
    for day in 0..days {
        for technician in 0..=dice.index(size.technicians) {
            shifts.push(random_shift(&mut dice, technician, day));
        }
    }
    let count = 1 + dice.index(size.visits);
    let visits = (0..count).map(|_| random_visit(&mut dice, places, days, &shifts)).collect();
    Problem::new(days, shifts, visits, drive).unwrap()
}

/// Straight lines over a square of about an hour; rough roads are detours, shortcuts and gaps at random.
fn random_roads(dice: &mut Dice, places: usize, rough: bool) -> Matrix {
    let points: Vec<(i32, i32)> = (0..places).map(|_| (dice.roll(0, 3000), dice.roll(0, 3000))).collect();
    let mut cells = Vec::new();
    for (a, p) in points.iter().enumerate() {
        for (b, q) in points.iter().enumerate() {
            let length = f64::from(p.0 - q.0).hypot(f64::from(p.1 - q.1)).ceil();
            #[expect(clippy::cast_possible_truncation, reason = "below 4300")]
            let straight = length as i32;
            cells.push(match dice.roll(0, 9) {
                _ if a == b => 0,
                0 if rough => Matrix::NO_ROAD,
                1..=3 if rough => dice.roll(0, 9000),
                _ => straight,
            });
        }
    }
    Matrix::new(places, cells).unwrap()
}

fn random_shift(dice: &mut Dice, technician: usize, day: usize) -> Shift {
    let starts = dice.roll(6, 12) * HOUR;
    let lunch = (!dice.one_in(4)).then(|| {
        let from = dice.roll(10, 13) * HOUR;
        Lunch { from, to: from + dice.roll(0, 5) * 1800, seconds: dice.roll(0, 3) * 900 }
    });
    Shift {
        starts,
        ends: starts + dice.roll(1, 18) * 1800,
        lunch,
        depot: dice.index(2),
        capacity_ml: i64::from(dice.roll(2, 12)) * 1000,
        skills: Skills(u32::try_from(dice.roll(0, 3)).unwrap()),
        ..shift(technician, day)
    }
}

fn random_visit(dice: &mut Dice, places: usize, days: usize, shifts: &[Shift]) -> Visit {
    let mut windows: Vec<Window> = (0..days).filter(|_| !dice.one_in(5)).map(all_day).collect();
    if dice.one_in(2) {
        windows = (0..dice.roll(0, 4))
            .map(|_| {
                let from = dice.roll(12, 32) * 1800;
                Window { day: dice.index(days), from, to: from + dice.roll(0, 6) * 900 }
            })
            .collect();
    }
    let ix = dice.index(shifts.len());
    let lock = match dice.roll(0, 15) {
        0 => Lock::Day(shifts[ix].day),
        1 => Lock::Technician(shifts[ix].technician),
        2 => Lock::Shift(ix),
        3 => {
            let from = dice.roll(12, 32) * 1800;
            Lock::At { shift: ix, from, to: from + dice.roll(0, 2) * 900 }
        }
        _ => Lock::Free,
    };
    Visit {
        service_s: dice.roll(0, 8) * 900,
        set_up_s: dice.roll(0, 3) * 600,
        windows,
        penalty: i64::from(dice.roll(0, 12)) * 900,
        skills: Skills(if dice.one_in(3) { u32::try_from(dice.roll(0, 3)).unwrap() } else { 0 }),
        load_ml: i64::from(dice.roll(0, 4)) * 1000,
        lock,
        ..visit(dice.index(places))
    }
}
