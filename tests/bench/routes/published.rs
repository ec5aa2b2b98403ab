//! Published instances in the VRPLIB format, as problems: every vehicle is a technician of one day, distances are times.

use std::collections::HashMap;
use std::path::Path;

use embertide::route::{Lock, Matrix, Problem, Shift, Skills, Visit, Window};

/// One file read: lines under each heading, and the values of `KEY: value`.
pub(crate) struct File {
    values: HashMap<String, String>,
    sections: HashMap<String, Vec<Vec<f64>>>,
}

/// How lengths become whole numbers.
#[derive(Clone, Copy)]
pub(crate) enum Unit {
    /// tenths, cut
    TenthsCut,
    /// hundredths, rounded
    Hundredths,
}

impl Unit {
    #[expect(clippy::cast_possible_truncation, reason = "coordinates are small")]
    fn whole(self, length: f64) -> i32 {
        match self {
            Self::TenthsCut => (length * 10.0 + 1e-9).floor() as i32,
            Self::Hundredths => (length * 100.0).round() as i32,
        }
    }
}

impl File {
    pub(crate) fn read(name: &str) -> Self {
        let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/reference/routes").join(name).with_extension("vrp");
        let text = std::fs::read_to_string(path).unwrap();
        let (mut values, mut sections) = (HashMap::new(), HashMap::<String, Vec<Vec<f64>>>::new());
        let mut heading = String::new();
        for line in text.lines().map(str::trim) {
            if let Some((key, value)) = line.split_once(':') {
                values.insert(key.trim().to_owned(), value.trim().to_owned());
            } else if line.ends_with("_SECTION") {
                line.clone_into(&mut heading);
            } else if let Some(numbers) = line.split_whitespace().map(|w| w.parse().ok()).collect::<Option<Vec<f64>>>() {
                sections.entry(heading.clone()).or_default().push(numbers);
            }
        }
        Self { values, sections }
    }

    /// The same without prizes and with so many vehicles: everyone is to be served.
    pub(crate) fn all_served(mut self, vehicles: usize) -> Self {
        self.sections.remove("PRIZE_SECTION");
        self.values.insert("VEHICLES".to_owned(), vehicles.to_string());
        self
    }

    fn number(&self, key: &str) -> Option<f64> {
        self.values.get(key).and_then(|v| v.parse().ok())
    }

    /// The second column of a section, or the value of the key without its ending, or `otherwise`.
    fn column(&self, heading: &str, count: usize, otherwise: f64) -> Vec<f64> {
        let one = self.number(heading.trim_end_matches("_SECTION")).unwrap_or(otherwise);
        self.sections.get(heading).map_or_else(|| vec![one; count], |rows| rows.iter().map(|r| r[1]).collect())
    }

    fn places(&self) -> Vec<(f64, f64)> {
        self.sections["NODE_COORD_SECTION"].iter().map(|r| (r[1], r[2])).collect()
    }

    fn depots(&self) -> usize {
        self.sections.get("DEPOT_SECTION").map_or(1, |rows| rows.iter().filter(|r| r[0] > 0.0).count())
    }

    /// Length of the routes in thousandths, each leg rounded; visits count from the first customer.
    #[expect(clippy::cast_possible_truncation, reason = "lengths are small")]
    pub(crate) fn thousandths(&self, problem: &Problem, routes: &[Vec<usize>]) -> i64 {
        let places = self.places();
        let leg = |a: usize, b: usize| ((places[a].0 - places[b].0).hypot(places[a].1 - places[b].1) * 1000.0).round() as i64;
        let length = |(k, route): (usize, &Vec<usize>)| {
            let stops = route.iter().map(|&v| problem.visits()[v].place);
            let depot = problem.shifts()[k].depot;
            let all: Vec<usize> = [depot].into_iter().chain(stops).chain([depot]).collect();
            all.windows(2).map(|w| leg(w[0], w[1])).sum::<i64>()
        };
        routes.iter().enumerate().map(length).sum()
    }

    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "amounts are small, none is negative")]
    pub(crate) fn problem(&self, unit: Unit) -> Problem {
        let places = self.places();
        let (n, depots) = (places.len(), self.depots());
        let vehicles = self.number("VEHICLES").unwrap() as usize;
        let windows: Vec<(i32, i32)> = match self.sections.get("TIME_WINDOW_SECTION") {
            Some(rows) => rows.iter().map(|r| (unit.whole(r[1]), unit.whole(r[2]))).collect(),
            None => vec![(0, 100_000); n],
        };
        let home = self.column("VEHICLES_DEPOT_SECTION", vehicles, 1.0);
        let (capacity, most) =
            (self.column("CAPACITY_SECTION", vehicles, 0.0), self.column("VEHICLES_MAX_DURATION_SECTION", vehicles, -1.0));
        let shifts = (0..vehicles).map(|k| {
            let depot = home[k] as usize - 1;
            Shift {
                technician: k,
                day: 0,
                starts: windows[depot].0,
                ends: windows[depot].1,
                depot,
                lunch: None,
                capacity_ml: capacity[k] as i64,
                skills: self.able(k),
                most_s: (most[k] >= 0.0).then(|| unit.whole(most[k])),
                overtime: None,
            }
        });
        let (load, service) = (self.column("DEMAND_SECTION", n, 0.0), self.column("SERVICE_TIME_SECTION", n, 0.0));
        let prizes = self.sections.get("PRIZE_SECTION");
        let visits = (depots..n).map(|place| Visit {
            place,
            service_s: unit.whole(service[place]),
            set_up_s: 0,
            windows: vec![Window { day: 0, from: windows[place].0, to: windows[place].1 }],
            penalty: prizes.map_or(1_000_000, |rows| i64::from(unit.whole(rows[place][1]))),
            skills: self.asked(place),
            load_ml: load[place] as i64,
            lock: Lock::Free,
            late: None,
            told: None,
        });
        let leg = |a: &(f64, f64), b: &(f64, f64)| unit.whole((a.0 - b.0).hypot(a.1 - b.1));
        let cells = places.iter().flat_map(|a| places.iter().map(move |b| leg(a, b))).collect();
        Problem::new(1, shifts.collect(), visits.collect(), Matrix::new(n, cells).unwrap()).unwrap()
    }

    /// A vehicle has every skill but the one that stands for being this vehicle; a customer it may not serve asks for that.
    fn able(&self, vehicle: usize) -> Skills {
        if self.sections.contains_key("VEHICLES_ALLOWED_CLIENTS_SECTION") { Skills(!(1 << vehicle)) } else { Skills::NONE }
    }

    #[expect(clippy::cast_precision_loss, reason = "places are few")]
    fn asked(&self, place: usize) -> Skills {
        let Some(rows) = self.sections.get("VEHICLES_ALLOWED_CLIENTS_SECTION") else {
            return Skills::NONE;
        };
        let shut = rows.iter().enumerate().filter(|(_, r)| !r[1..].contains(&((place + 1) as f64)));
        Skills(shut.fold(0, |all, (k, _)| all | 1 << k))
    }
}
