//! Customers, places, units, what they hold and how they were filled.

use super::{
    MIDDLE,
    chance::{self, Chance},
    names,
};
use crate::store::{
    catalogue::Treatments,
    lists::{CustomerRow, FillRow, PlaceRow, UnitRow, VolumeRow},
};
use time::{Date, Duration};
use uuid::Uuid;

const CUSTOMERS: usize = 280;
const UNITS: usize = 420;

/// How a unit's water and its owner behave.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Habit {
    Steady,
    Leaking,
    Neglected,
}

#[derive(Debug, Default)]
pub(crate) struct People {
    pub(crate) customers: Vec<CustomerRow>,
    pub(crate) places: Vec<PlaceRow>,
    pub(crate) units: Vec<UnitRow>,
    pub(crate) volumes: Vec<VolumeRow>,
    pub(crate) fills: Vec<FillRow>,
    pub(crate) habits: Vec<Habit>,
}

pub(crate) fn invent(c: &mut Chance, today: Date, known: &Treatments) -> People {
    let mut people = People::default();
    for i in 0..CUSTOMERS {
        people.add_customer(c, i);
    }
    while people.units.len() < UNITS {
        // Everybody has one unit before anybody gets a second.
        let n = people.units.len();
        let place = if n < people.places.len() { n } else { c.below(people.places.len()) };
        people.add_unit(c, place, today, known);
    }
    people
}

fn number(n: usize) -> u64 {
    u64::try_from(n).unwrap_or(0)
}

impl People {
    fn add_customer(&mut self, c: &mut Chance, i: usize) {
        let name = format!("{} {}", c.pick(&names::FIRST), c.pick(&names::LAST));
        let id = chance::id(3, number(i));
        self.customers.push(CustomerRow {
            id,
            reference: Some(format!("C{:04}", i + 1)),
            phone: format!("555-01{:02}", c.below(100)),
            email: if c.happens(0.6) { format!("{}@example.com", name.to_lowercase().replace(' ', ".")) } else { String::new() },
            note: String::new(),
            name,
        });
        let places = if c.happens(0.08) { 2 } else { 1 };
        for p in 0..places {
            self.add_place(c, i, id, p);
        }
    }

    fn add_place(&mut self, c: &mut Chance, i: usize, customer_id: Uuid, p: usize) {
        let (town, north, east, _) = village(c);
        let near = if c.happens(0.6) { 0.03 } else { 0.09 };
        let pin = (MIDDLE.0 + north + c.spread() * near * 0.7, MIDDLE.1 + east + c.spread() * near);
        let road = *c.pick(&names::ROADS);
        let family = self.customers[i].name.split(' ').next_back().unwrap_or("Far").to_owned();
        self.places.push(PlaceRow {
            id: chance::id(4, number(self.places.len())),
            customer_id,
            name: format!("{family} {}", if p == 0 { "place" } else { "farm" }),
            address: format!("{} {road}", 10 + c.below(1900)),
            town: town.to_owned(),
            pin: (!c.happens(0.02)).then(|| ((pin.0 * 1e5).round() / 1e5, (pin.1 * 1e5).round() / 1e5)),
            pin_origin: if c.happens(0.7) { "office" } else { "phone" },
            access_note: if c.happens(0.45) { (*c.pick(&names::ACCESS)).to_owned() } else { String::new() },
            hazards: if c.happens(0.08) { (*c.pick(&names::HAZARDS)).to_owned() } else { String::new() },
        });
    }

    fn add_unit(&mut self, c: &mut Chance, place: usize, today: Date, known: &Treatments) {
        let n = self.units.len();
        let (kind, gallons) =
            *c.pick(&[("small", 200.0), ("medium", 300.0), ("medium", 300.0), ("large", 400.0), ("large", 400.0), ("farm", 700.0)]);
        let nitrite = known.programmes.iter().find(|p| p.code == "nitrite-borate").or(known.programmes.first());
        let other = known.programmes.iter().find(|p| p.code == "nitrite-molybdate").or(nitrite);
        let Some(programme) = (if c.happens(0.12) { other } else { nitrite }) else { return };
        let installed = today - Duration::days(c.days(200, 4200));
        let id = chance::id(5, number(n));
        let place = &self.places[place];
        self.units.push(UnitRow {
            id,
            place_id: place.id,
            customer_id: place.customer_id,
            reference: Some(format!("U{:04}", n + 1)),
            name: self.unit_name(c, place.id),
            kind_code: kind.to_owned(),
            serial: format!("{}{:05}", c.pick(&["K", "M", "P"]), c.below(90_000) + 10_000),
            installed_on: Some(installed),
            jacket_ml: Some(millilitres(gallons)),
            aluminium: c.happens(0.05),
            programme_code: programme.code.clone(),
            kit_code: if programme.code == "nitrite-borate" {
                Some(if c.happens(0.7) { "nitrite-drops-2" } else { "nitrite-drops-5" }.to_owned())
            } else {
                None
            },
        });
        self.habits.push(if n % 29 == 7 {
            Habit::Leaking
        } else if n % 17 == 5 {
            Habit::Neglected
        } else {
            Habit::Steady
        });
        let held = gallons * c.between(1.02, 1.25);
        self.fill_unit(c, id, held, installed, n);
    }

    /// A name that no other unit at the place has.
    fn unit_name(&self, c: &mut Chance, place_id: Uuid) -> String {
        let first = c.below(names::UNITS.len());
        let free = |name: &&&str| !self.units.iter().any(|unit| unit.place_id == place_id && unit.name == **name);
        let name = names::UNITS.iter().cycle().skip(first).take(names::UNITS.len()).find(free);
        name.map_or_else(|| format!("Heater {}", self.units.len() + 1), |name| (*name).to_owned())
    }

    fn fill_unit(&mut self, c: &mut Chance, unit_id: Uuid, gallons: f64, filled_on: Date, n: usize) {
        let ml = millilitres(gallons);
        let (method, share) = *c.pick(&[("water_meter", 50), ("piping", 20), ("piping", 20), ("label", 20), ("guess", 5)]);
        // A few where nobody knows the volume: no dose can be given there.
        if n % 140 != 60 {
            self.volumes.push(VolumeRow { unit_id, volume_ml: ml, plus_minus_ml: ml / share, method, found_on: filled_on });
        }
        let glycol = n == 42;
        self.fills.push(FillRow {
            id: chance::id(6, number(n)),
            unit_id,
            filled_on,
            source_water: c.pick::<&str>(&["well", "well", "well", "town supply", "hauled"]),
            softened: Some(c.happens(0.55)),
            fluid: if glycol { "propylene glycol" } else { "water" },
            glycol_percent: if glycol { 35 } else { 0 },
            amount_ml: (method == "water_meter").then_some(ml),
        });
    }
}

fn village(c: &mut Chance) -> (&'static str, f64, f64, usize) {
    let mut at = c.below(100);
    for v in names::VILLAGES {
        if at < v.3 {
            return v;
        }
        at -= v.3;
    }
    names::VILLAGES[0]
}

fn millilitres(gallons: f64) -> i64 {
    #[expect(clippy::cast_possible_truncation, reason = "some hundred gallons")]
    let litres = (gallons * crate::units::LITRES_PER_US_GALLON).round() as i64;
    litres * 1000
}
