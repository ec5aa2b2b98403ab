//! Invented weeks and seasons: 40 by 40 miles, eleven villages, roads 1.3 times the straight line, 30 to 55 mph.
//! Nothing in them is a real place. All times in seconds.

use std::fmt::Write;

use embertide::route::{Lock, Lunch, Matrix, Problem, Shift, Skills, Visit, Window};

use crate::dice::Dice;

const DAY: i32 = 86_400;
const WEEK: [f64; 5] = [25.0, 25.0, 20.0, 10.0, 20.0];
const HEAVY: [f64; 5] = [55.0, 10.0, 15.0, 15.0, 5.0];
const SEASON: [f64; 5] = [14.0, 30.0, 22.0, 4.0, 30.0];
/// Name, minutes from and to, product from and to, skill.
const KINDS: [(&str, f64, f64, usize, usize, u32); 5] = [
    ("startup", 60.0, 120.0, 4, 12, 1),
    ("water_test", 20.0, 40.0, 0, 0, 0),
    ("treat", 30.0, 60.0, 3, 8, 0),
    ("repair", 45.0, 120.0, 0, 3, 2),
    ("check", 20.0, 50.0, 0, 2, 0),
];

#[derive(Clone, Copy)]
pub(crate) struct Recipe {
    pub(crate) name: &'static str,
    season: bool,
    seed: u32,
    visits: usize,
    technicians: usize,
    weeks: usize,
    mix: [f64; 5],
    windows: f64,
    prices: &'static [(i64, f64)],
    locks: usize,
    load: usize,
    scale: f64,
    /// of the file and the table of drives, to tell when they differ
    pub(crate) mark: u64,
}

const TWO: &[(i64, f64)] = &[(14_400, 0.8), (28_800, 0.2)];
const FOUR: &[(i64, f64)] = &[(28_800, 0.10), (14_400, 0.28), (3600, 0.32), (1200, 0.30)];
const MANY: &[(i64, f64)] = &[(28_800, 0.10), (14_400, 0.20), (3600, 0.35), (1200, 0.35)];
const MUST: &[(i64, f64)] = &[(28_800, 0.85), (57_600, 0.15)];

#[rustfmt::skip]
pub(crate) const RECIPES: [Recipe; 6] = [
    Recipe { name: "W1", season: false, seed: 101, visits: 60, technicians: 2, weeks: 1, mix: WEEK, windows: 0.20, prices: TWO, locks: 0, load: 45, scale: 1.0, mark: 0x43EE_178D_F6DD_11C6 },
    Recipe { name: "W2", season: false, seed: 102, visits: 250, technicians: 3, weeks: 1, mix: WEEK, windows: 0.25, prices: FOUR, locks: 0, load: 45, scale: 1.0, mark: 0x2A70_21C4_FC60_14D0 },
    Recipe { name: "W3", season: false, seed: 103, visits: 400, technicians: 5, weeks: 1, mix: HEAVY, windows: 0.40, prices: MANY, locks: 30, load: 50, scale: 1.0, mark: 0xA56F_84C0_0993_5855 },
    Recipe { name: "S1", season: true, seed: 201, visits: 400, technicians: 2, weeks: 8, mix: WEEK, windows: 0.15, prices: MUST, locks: 0, load: 45, scale: 1.0, mark: 0x1A2B_6A32_6EDB_8230 },
    Recipe { name: "S2", season: true, seed: 202, visits: 1500, technicians: 4, weeks: 8, mix: SEASON, windows: 0.15, prices: MUST, locks: 0, load: 45, scale: 0.85, mark: 0xEAE6_F69B_CA39_E3E2 },
    Recipe { name: "S3", season: true, seed: 203, visits: 3000, technicians: 6, weeks: 10, mix: SEASON, windows: 0.15, prices: MUST, locks: 0, load: 45, scale: 0.78, mark: 0x2B74_FD05_C094_1EB8 },
];

struct Hours {
    technician: usize,
    day: i32,
    starts: i32,
    ends: i32,
    depot: usize,
    skills: u32,
}

struct Job {
    place: usize,
    service: i32,
    windows: Vec<(i32, i32)>,
    penalty: i64,
    skill: u32,
    load: usize,
    lock: Option<(usize, i32)>,
    kind: &'static str,
    due: (i32, i32),
}

pub(crate) struct Instance {
    recipe: Recipe,
    places: Vec<(f64, f64)>,
    hours: Vec<Hours>,
    jobs: Vec<Job>,
    drive: Vec<i32>,
}

struct Land {
    villages: Vec<[f64; 4]>,
    total: f64,
}

impl Land {
    fn new(dice: &mut Dice) -> Self {
        let mut village = || [(3.0, 37.0), (3.0, 37.0), (0.5, 2.0), (0.6, 2.0)].map(|(a, b)| dice.between(a, b));
        let villages: Vec<[f64; 4]> = (0..11).map(|_| village()).collect();
        let total = villages.iter().map(|v| v[2]).sum();
        Self { villages, total }
    }

    fn place(&self, dice: &mut Dice) -> (f64, f64) {
        if dice.share() >= 0.55 {
            let x = dice.between(0.0, 40.0);
            return (x, dice.between(0.0, 40.0));
        }
        let mut left = dice.between(0.0, self.total);
        let mut at = self.villages[self.villages.len() - 1];
        for v in &self.villages {
            left -= v[2];
            if left <= 0.0 {
                at = *v;
                break;
            }
        }
        let x = dice.gauss(at[0], at[3]).clamp(0.0, 40.0);
        (x, dice.gauss(at[1], at[3]).clamp(0.0, 40.0))
    }
}

fn int(i: usize) -> i32 {
    i32::try_from(i).unwrap()
}

/// To four decimals, as they are written.
fn rounded(p: (f64, f64)) -> (f64, f64) {
    let one = |x: f64| format!("{x:.4}").parse().unwrap();
    (one(p.0), one(p.1))
}

impl Instance {
    pub(crate) fn new(recipe: Recipe) -> Self {
        let mut dice = Dice::new(recipe.seed);
        let land = Land::new(&mut dice);
        let shop = 20.0 + dice.between(-3.0, 3.0);
        let mut places = vec![(shop, 20.0 + dice.between(-3.0, 3.0))];
        let hours = hours(&mut dice, recipe, &land, &mut places);
        let jobs: Vec<Job> = (0..recipe.visits).map(|_| job(&mut dice, recipe, &land, &mut places)).collect();
        let places: Vec<(f64, f64)> = places.into_iter().map(rounded).collect();
        let drive = drives(&places);
        let mut instance = Self { recipe, places, hours, jobs, drive };
        instance.lock(&mut dice);
        instance
    }

    /// Appointments at a promised time, two at most in a shift.
    fn lock(&mut self, dice: &mut Dice) {
        let mut left = self.recipe.locks;
        if left == 0 {
            return;
        }
        let mut order: Vec<usize> = (0..self.jobs.len()).collect();
        dice.shuffle(&mut order);
        let mut promised: Vec<Vec<i32>> = vec![Vec::new(); self.hours.len()];
        for j in order {
            if left == 0 {
                break;
            }
            let job = &mut self.jobs[j];
            let able = |k: &usize| job.skill & !self.hours[*k].skills == 0 && promised[*k].len() < 2;
            let able: Vec<usize> = (0..self.hours.len()).filter(able).collect();
            let k = able[dice.below(able.len())];
            let at = self.hours[k].day * DAY + [9, 10, 13, 14, 15][dice.below(5)] * 3600;
            let near = promised[k].first().is_some_and(|first| (at - first).abs() < 4 * 3600);
            if near || at + job.service > self.hours[k].ends - 3600 {
                continue;
            }
            job.lock = Some((k, at));
            job.windows = vec![(at, at + 900)];
            job.penalty = 200_000;
            promised[k].push(at);
            left -= 1;
        }
    }

    pub(crate) fn problem(&self) -> Problem {
        let shifts = self.hours.iter().map(|h| {
            let b = h.day * DAY;
            Shift {
                technician: h.technician,
                day: usize::try_from(h.day).unwrap(),
                starts: h.starts - b,
                ends: h.ends - b,
                depot: h.depot,
                lunch: Some(Lunch { from: 11 * 3600, to: 13 * 3600 + 1800, seconds: 1800 }),
                capacity_ml: i64::try_from(self.recipe.load).unwrap(),
                skills: Skills(h.skills),
                most_s: None,
                overtime: None,
            }
        });
        let days = self.recipe.weeks * 7;
        let visits = self.jobs.iter().map(|j| Visit {
            place: j.place,
            service_s: j.service,
            set_up_s: 0,
            windows: by_day(&j.windows),
            penalty: j.penalty,
            skills: Skills(j.skill),
            load_ml: i64::try_from(j.load).unwrap(),
            lock: j.lock.map_or(Lock::Free, |l| Lock::Shift(l.0)),
            late: None,
            told: None,
        });
        let drive = Matrix::new(self.places.len(), self.drive.clone()).unwrap();
        Problem::new(days, shifts.collect(), visits.collect(), drive).unwrap()
    }

    /// The instance as text for other programs.
    pub(crate) fn text(&self) -> String {
        let r = self.recipe;
        let list = |items: Vec<String>| items.join(", ");
        let places = list(self.places.iter().map(|p| format!("[{:?}, {:?}]", p.0, p.1)).collect());
        let shift = |h: &Hours| {
            let b = h.day * DAY;
            format!(
                "{{\"tech\": {}, \"day\": {}, \"start\": {}, \"end\": {}, \"depot\": {}, \"cap\": {}, \"skills\": {}, \"brk\": [{}, {}, 1800]}}",
                h.technician,
                h.day,
                h.starts,
                h.ends,
                h.depot,
                r.load,
                h.skills,
                b + 39_600,
                b + 48_600
            )
        };
        let job = |j: &Job| {
            let windows = list(j.windows.iter().map(|w| format!("[{}, {}]", w.0, w.1)).collect());
            let lock = j.lock.map_or("null".to_owned(), |l| format!("{{\"shift\": {}, \"at\": {}}}", l.0, l.1));
            format!(
                "{{\"loc\": {}, \"svc\": {}, \"tw\": [{windows}], \"pen\": {}, \"skill\": {}, \"qty\": {}, \"lock\": {lock}, \"type\": \"{}\", \"due\": [{}, {}]}}",
                j.place, j.service, j.penalty, j.skill, j.load, j.kind, j.due.0, j.due.1
            )
        };
        let mut text = String::new();
        write!(
            text,
            "{{\"format\": \"svc-route-1\", \"name\": \"{}\", \"kind\": \"{}\", \"seed\": {}, \"weeks\": {}, \"ntech\": {}, \"locs\": [{places}], \"shifts\": [{}], \"jobs\": [{}]}}",
            r.name,
            if r.season { "season" } else { "weekly" },
            r.seed,
            r.weeks,
            r.technicians,
            list(self.hours.iter().map(shift).collect()),
            list(self.jobs.iter().map(job).collect())
        )
        .unwrap();
        text
    }

    /// The table of drives as bytes, lowest byte first.
    pub(crate) fn table(&self) -> Vec<u8> {
        self.drive.iter().flat_map(|s| s.to_le_bytes()).collect()
    }

    /// FNV-1a over text and table (Fowler, Noll, Vo; draft-eastlake-fnv).
    pub(crate) fn mark(&self) -> u64 {
        let all = self.text().into_bytes().into_iter().chain(self.table());
        all.fold(0xCBF2_9CE4_8422_2325, |h, b| (h ^ u64::from(b)).wrapping_mul(0x0100_0000_01B3))
    }
}

fn by_day(windows: &[(i32, i32)]) -> Vec<Window> {
    let mut all = Vec::new();
    for &(from, to) in windows {
        for day in from / DAY..=to / DAY {
            let b = day * DAY;
            all.push(Window { day: usize::try_from(day).unwrap(), from: from.max(b) - b, to: to.min(b + DAY - 1) - b });
        }
    }
    all
}

fn hours(dice: &mut Dice, r: Recipe, land: &Land, places: &mut Vec<(f64, f64)>) -> Vec<Hours> {
    let mut depots = vec![0; r.technicians];
    for (t, depot) in depots.iter_mut().enumerate().skip(1) {
        if t % 2 == 1 || r.technicians > 3 {
            *depot = places.len();
            places.push(land.place(dice));
        }
    }
    let mut skills = vec![3];
    skills.extend((1..r.technicians).map(|_| [1, 3, 0, 1][dice.below(4)]));
    if skills[1] == 0 {
        skills[1] = 1;
    }
    let mut all = Vec::new();
    for (week, weekday) in (0..int(r.weeks)).flat_map(|w| (0..5).map(move |d| (w, d))) {
        for t in (0..r.technicians).filter(|t| !(t % 3 == 2 && weekday == 4)) {
            let day = week * 7 + weekday;
            let starts = day * DAY + if t % 2 == 0 { 8 * 3600 } else { 7 * 3600 + 1800 };
            let ends = day * DAY + if t % 2 == 0 { 17 * 3600 } else { 16 * 3600 };
            all.push(Hours { technician: t, day, starts, ends, depot: depots[t], skills: skills[t] });
        }
    }
    all
}

#[expect(clippy::cast_possible_truncation, reason = "minutes and days are small")]
fn job(dice: &mut Dice, r: Recipe, land: &Land, places: &mut Vec<(f64, f64)>) -> Job {
    let (kind, low, high, least, most, skill) = KINDS[dice.weighted(&r.mix)];
    let fives = (dice.between(low, high) * r.scale / 5.0).round_ties_even() as i32;
    let skill = if dice.share() < 0.6 { skill } else { 0 };
    places.push(land.place(dice));
    let due = if r.season { due(dice, int(r.weeks)) } else { (0, 4) };
    let windows = windows(dice, r, due);
    let mut left = dice.between(0.0, r.prices.iter().map(|p| p.1).sum());
    let mut penalty = 0;
    for p in r.prices {
        penalty = p.0;
        left -= p.1;
        if left <= 0.0 {
            break;
        }
    }
    let load = least + dice.below(most - least + 1);
    Job { place: places.len() - 1, service: 300 * fives.max(4), windows, penalty, skill, load, lock: None, kind, due }
}

fn due(dice: &mut Dice, weeks: i32) -> (i32, i32) {
    let length = weeks * 7;
    let draw = dice.share();
    let span = match draw {
        d if d < 0.10 => length,
        d if d < 0.20 => 7,
        _ => 7 * (2 + int(dice.below(5))),
    };
    let first = if span < length { int(dice.below(usize::try_from((length - span) / 7).unwrap() + 1)) * 7 } else { 0 };
    (first, (length - 1).min(first + span - 1))
}

fn windows(dice: &mut Dice, r: Recipe, due: (i32, i32)) -> Vec<(i32, i32)> {
    if dice.share() >= r.windows {
        return vec![(due.0 * DAY, due.1 * DAY + DAY - 1)];
    }
    let many = dice.share();
    let count = if many < 0.3 {
        1
    } else if many < 0.8 {
        2
    } else {
        3
    };
    let weekdays = dice.some_of(5, count);
    let halves: &[&str] = if r.season { &["am", "pm", "all", "all"] } else { &["am", "pm", "all", "all", "2h"] };
    let half = halves[dice.below(halves.len())];
    let hour = [8, 9, 10, 13, 14][dice.below(5)];
    let mut all: Vec<(i32, i32)> = Vec::new();
    for day in (due.0..=due.1).filter(|d| d % 7 < 5 && weekdays.contains(&usize::try_from(d % 7).unwrap())) {
        let b = day * DAY;
        let (from, to) = match half {
            "am" => (b + 8 * 3600, b + 12 * 3600 - 1),
            "pm" => (b + 12 * 3600, b + 16 * 3600),
            "2h" => (b + hour * 3600, b + (hour + 2) * 3600),
            _ => (b, b + DAY - 1),
        };
        match all.last_mut() {
            Some(last) if last.1 + 1 == from => last.1 = to,
            _ => all.push((from, to)),
        }
    }
    all
}

#[expect(clippy::cast_possible_truncation, reason = "seconds of a drive")]
fn drives(places: &[(f64, f64)]) -> Vec<i32> {
    let drive = |a: &(f64, f64), b: &(f64, f64)| {
        let (x, y) = (a.0 - b.0, a.1 - b.1);
        let miles = (x * x + y * y).sqrt() * 1.3;
        let speed = 30.0 + 25.0 * (1.0 - (-miles / 8.0).exp());
        if miles == 0.0 { 0 } else { (miles / speed * 3600.0 + 60.0).round_ties_even() as i32 }
    };
    places.iter().flat_map(|a| places.iter().map(move |b| drive(a, b))).collect()
}
