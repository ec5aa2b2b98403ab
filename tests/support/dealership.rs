//! A small invented dealership for tests: two customers, three units, an owner, an office, two technicians.

use super::{NOW, Session, TestApp};
use embertide::{
    roads::{Position, Size, invent::County},
    secrets::{self, Effort},
    store::{
        customers::{self, Customer, PinOrigin, Place},
        due,
        lists::{self, UnitRow},
        sessions::Role,
        staff::{self, Depot, Person},
        units::{self, Fill},
        water::{self, Maker, NewReading, NewTest, What},
    },
    units::Millilitres,
    water::{Method, WaterVolume},
};
use time::{Date, macros::date};
use uuid::Uuid;

/// The password of everybody in here.
pub(crate) const PASSWORD: &str = "four words in a row";

pub(crate) struct Dealership {
    pub(crate) owner: Session,
    pub(crate) office: Session,
    /// Two technicians; the first can repair.
    pub(crate) wick: Session,
    pub(crate) juno: Session,
    pub(crate) alder: Uuid,
    pub(crate) birch: Uuid,
    /// Two units at Alder's place, one at Birch's.
    pub(crate) units: [Uuid; 3],
}

impl Dealership {
    pub(crate) fn technician(&self, staff_id: Uuid) -> &Session {
        if staff_id == self.wick.staff_id { &self.wick } else { &self.juno }
    }
}

/// An invented county, twelve miles each way round it.
pub(crate) fn county() -> County {
    let middle = Position::new(44.63, -74.93).unwrap();
    County { middle, wide: 12, high: 12, seed: 3, towns: vec![("Alder Hollow".to_owned(), middle, Size::Village)] }
}

pub(crate) async fn open(t: &TestApp) -> Dealership {
    let depot = Depot { id: Uuid::now_v7(), name: "the shop".to_owned(), lat: 44.6, lon: -74.9, row_version: 1 };
    staff::add_depot(t.pool(), &depot).await.unwrap();
    let owner = person(t, "Orla Pennifold", "owner", Role::Owner).await;
    let office = person(t, "Tamsin Vey", "office", Role::Office).await;
    let wick = person(t, "Wick Garrowby", "wick", Role::Technician).await;
    let juno = person(t, "Juno Haddlesey", "juno", Role::Technician).await;
    let mut c = t.pool().acquire().await.unwrap();
    staff::add_technician(&mut c, wick.staff_id, depot.id, &["repair".to_owned()], 450, 990).await.unwrap();
    staff::add_technician(&mut c, juno.staff_id, depot.id, &[], 450, 990).await.unwrap();
    drop(c);
    let (alder, alder_place) = customer(t, "C1", "Alda Thistlewick", "Alder Hollow", (44.63, -74.93)).await;
    let (birch, birch_place) = customer(t, "C2", "Bram Quenby", "Birch Corner", (44.65, -74.97)).await;
    let units = [
        unit(t, "U1", "House heater", alder, alder_place, 400).await,
        unit(t, "U2", "Barn heater", alder, alder_place, 300).await,
        unit(t, "U3", "Shop heater", birch, birch_place, 200).await,
    ];
    for id in units {
        test(t, id, date!(2026 - 04 - 20), 20).await;
    }
    let mut c = t.pool().acquire().await.unwrap();
    due::refresh(&mut c, None, NOW.date()).await.unwrap();
    Dealership { owner, office, wick, juno, alder, birch, units }
}

pub(crate) async fn person(t: &TestApp, name: &str, sign_in: &str, role: Role) -> Session {
    let person = Person { id: Uuid::now_v7(), name: name.to_owned(), sign_in: sign_in.to_owned(), role, active: true, row_version: 1 };
    let hash = secrets::hash_password(PASSWORD, Effort::Invented).unwrap();
    staff::add(t.pool(), &person, &hash, t.app.clock.now()).await.unwrap();
    t.session(person.id, role).await
}

pub(crate) async fn customer(t: &TestApp, reference: &str, name: &str, town: &str, pin: (f64, f64)) -> (Uuid, Uuid) {
    let id = Uuid::now_v7();
    let c = Customer {
        id,
        reference: Some(reference.to_owned()),
        name: name.to_owned(),
        phone: "555-0111".to_owned(),
        email: format!("{reference}@example.com"),
        note: format!("secret note of {name}"),
        row_version: 1,
        forgotten: false,
    };
    customers::add(t.pool(), &c, t.app.clock.now()).await.unwrap();
    let place = Place {
        id: Uuid::now_v7(),
        customer_id: id,
        name: format!("{name} place"),
        address: format!("12 {town} Road"),
        town: town.to_owned(),
        pin: Some(pin),
        pin_origin: PinOrigin::Office,
        access_note: format!("gate code of {name}"),
        hazards: String::new(),
        row_version: 1,
    };
    customers::add_place(t.pool(), &place).await.unwrap();
    (id, place.id)
}

/// A unit on the nitrite-borate programme, filled in 2023, its volume read on a water meter.
pub(crate) async fn unit(t: &TestApp, reference: &str, name: &str, customer_id: Uuid, place_id: Uuid, gallons: i64) -> Uuid {
    let id = Uuid::now_v7();
    let new = UnitRow {
        id,
        place_id,
        customer_id,
        reference: Some(reference.to_owned()),
        name: name.to_owned(),
        kind_code: "large".to_owned(),
        serial: String::new(),
        installed_on: Some(date!(2023 - 08 - 01)),
        jacket_ml: None,
        aluminium: false,
        programme_code: "nitrite-borate".to_owned(),
        kit_code: Some("nitrite-drops-2".to_owned()),
    };
    lists::add_units(&mut t.pool().acquire().await.unwrap(), &[new]).await.unwrap();
    let volume = WaterVolume::by(Millilitres::from_us_gallons(gallons).unwrap(), Method::WaterMeter).unwrap();
    units::add_volume(t.pool(), id, &volume, (date!(2023 - 08 - 01), ""), units::From::default(), NOW).await.unwrap();
    let fill = Fill {
        id: Uuid::now_v7(),
        unit_id: id,
        filled_on: date!(2023 - 08 - 01),
        drained_on: None,
        source_water: "well".to_owned(),
        softened: Some(true),
        fluid: "water".to_owned(),
        glycol_percent: 0,
        amount_ml: None,
        note: String::new(),
        fill_device: "not_known".to_owned(),
        answer: String::new(),
    };
    units::add_fill(t.pool(), &fill, None, NOW).await.unwrap();
    id
}

/// A technician's test with the kit that counts 50 mg/L a drop.
pub(crate) async fn test(t: &TestApp, unit_id: Uuid, taken_on: Date, drops: u16) {
    let level = i32::from(drops) * 50;
    let reading = NewReading {
        what: What::Inhibitor,
        kit_code: Some("nitrite-drops-2".to_owned()),
        drops: Some(drops),
        value_milli: i64::from(level) * 1000,
        basis: "NO2".to_owned(),
        programme_mg_l: Some(level),
    };
    let new = NewTest {
        id: Uuid::now_v7(),
        unit_id,
        taken_on,
        maker: Maker::Technician,
        staff_id: None,
        report: None,
        fill_id: None,
        note: "",
        readings: &[reading],
    };
    let mut c = t.pool().acquire().await.unwrap();
    water::add_test(&mut c, &new, t.app.clock.now()).await.unwrap();
}
