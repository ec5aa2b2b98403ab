//! What a technician found to be otherwise at the unit than the office has it: was and now. Applied where the records still
//! say what they said on the sheet; else both stand before the office.

use super::{
    Error, Result,
    customers::{self, PinOrigin},
    events::{self, Actor},
    units,
};
use crate::{units::Millilitres, water::WaterVolume};
use sqlx::PgConnection;
use time::{Date, OffsetDateTime};
use uuid::Uuid;

/// One thing put right at the unit: what the sheet said, and what is so.
#[derive(Clone, Debug, PartialEq)]
pub enum Amendment {
    /// Latitude and longitude in degrees.
    Pin {
        was: Option<(f64, f64)>,
        now: (f64, f64),
    },
    Access {
        was: String,
        now: String,
    },
    Hazards {
        was: String,
        now: String,
    },
    /// The customer's.
    Phone {
        was: String,
        now: String,
    },
    /// Jacket and loop together.
    Volume {
        was: Option<Millilitres>,
        now: WaterVolume,
    },
}

impl Amendment {
    /// What it is about, in words.
    pub const fn what(&self) -> &'static str {
        match self {
            Self::Pin { .. } => "The pin",
            Self::Access { .. } => "The access note",
            Self::Hazards { .. } => "The line to take care of",
            Self::Phone { .. } => "The phone number",
            Self::Volume { .. } => "The water volume",
        }
    }
}

/// As the records and a sheet write a pin: a metre is enough.
pub fn pin_text(pin: Option<(f64, f64)>) -> String {
    pin.map(|(lat, lon)| format!("{lat:.5},{lon:.5}")).unwrap_or_default()
}

/// Applies what was put right at a unit; answers with what the office has to settle, in words.
pub async fn apply(
    db: &mut PgConnection,
    unit_id: Uuid,
    all: &[Amendment],
    by: &Actor,
    day: Date,
    now: OffsetDateTime,
) -> Result<Vec<String>> {
    let mut open = Vec::new();
    for one in all {
        let (theirs, was, own) = compared(&mut *db, unit_id, one).await?;
        if alike(&theirs, &own) {
            continue;
        }
        if !alike(&theirs, &was) || !change(&mut *db, unit_id, one, day, now).await? {
            let what = one.what();
            open.push(format!("{what} was put right at the unit to “{own}”; meanwhile the records say “{theirs}”. Say which holds."));
            continue;
        }
        events::note(&mut *db, now, by, "put right at the unit", &format!("{} of unit {unit_id}", one.what())).await?;
    }
    Ok(open)
}

/// Line ends and spaces at the ends make no difference.
fn alike(a: &str, b: &str) -> bool {
    let lines = |text: &str| text.trim().lines().map(|l| l.trim().to_owned()).collect::<Vec<_>>();
    lines(a) == lines(b)
}

/// What the records say now, what they said on the sheet, and what the technician says, in words.
async fn compared(db: &mut PgConnection, unit_id: Uuid, one: &Amendment) -> Result<(String, String, String)> {
    let unit = units::get(&mut *db, unit_id).await?;
    let place = customers::place(&mut *db, unit.place_id).await?;
    let ml = |v: Option<Millilitres>| v.map(|v| format!("{} mL", v.get())).unwrap_or_default();
    Ok(match one {
        Amendment::Pin { was, now } => (pin_text(place.pin), pin_text(*was), pin_text(Some(*now))),
        Amendment::Access { was, now } => (place.access_note, was.clone(), now.clone()),
        Amendment::Hazards { was, now } => (place.hazards, was.clone(), now.clone()),
        Amendment::Phone { was, now } => (customers::get(db, unit.customer_id).await?.phone, was.clone(), now.clone()),
        Amendment::Volume { was, now } => (ml(units::newest_volume(db, unit_id).await?), ml(*was), ml(Some(now.volume()))),
    })
}

/// Writes it. `false`: somebody else wrote in this very moment.
async fn change(db: &mut PgConnection, unit_id: Uuid, one: &Amendment, day: Date, at: OffsetDateTime) -> Result<bool> {
    let unit = units::get(&mut *db, unit_id).await?;
    let mut place = customers::place(&mut *db, unit.place_id).await?;
    let done = match one {
        Amendment::Volume { now, .. } => units::add_volume(db, unit_id, now, (day, "found at the unit"), units::From::default(), at).await,
        Amendment::Phone { now, .. } => {
            let mut customer = customers::get(&mut *db, unit.customer_id).await?;
            customer.phone.clone_from(now);
            customers::change(db, &customer).await
        }
        Amendment::Pin { now, .. } => {
            (place.pin, place.pin_origin) = (Some(*now), PinOrigin::Phone);
            customers::change_place(db, &place).await
        }
        Amendment::Access { now, .. } => {
            place.access_note.clone_from(now);
            customers::change_place(db, &place).await
        }
        Amendment::Hazards { now, .. } => {
            place.hazards.clone_from(now);
            customers::change_place(db, &place).await
        }
    };
    match done {
        Ok(()) => Ok(true),
        Err(Error::Clash) => Ok(false),
        Err(e) => Err(e),
    }
}
