//! The columns of each list, and which column of a file is which.

use serde::{Deserialize, Serialize};

/// What a list holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// Customers and their places, one place a row.
    Customers,
    /// Units, each at a customer's place.
    Units,
    /// Old water tests, each of a unit.
    Tests,
}

impl Kind {
    pub const ALL: [Self; 3] = [Self::Customers, Self::Units, Self::Tests];

    /// The word for it in a form, in the database and on the command line.
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Customers => "customers",
            Self::Units => "units",
            Self::Tests => "tests",
        }
    }

    pub fn parse(text: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|k| k.as_str() == text)
    }

    /// In words, for a page.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Customers => "Customers with their places",
            Self::Units => "Units",
            Self::Tests => "Old water tests",
        }
    }

    /// The columns that such a list may have, in the order shown.
    pub const fn columns(self) -> &'static [Column] {
        match self {
            Self::Customers => CUSTOMERS,
            Self::Units => UNITS,
            Self::Tests => TESTS,
        }
    }

    pub fn column(self, name: &str) -> Option<&'static Column> {
        self.columns().iter().find(|c| c.name == name)
    }
}

/// A column of a list.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Column {
    /// Its own name. Case, spaces, underscores and a unit behind it do not matter: `filled_on`, "Filled on", "Volume (gal)".
    pub name: &'static str,
    /// Other names it goes by.
    pub also: &'static [&'static str],
    /// Every row needs it.
    pub needed: bool,
    /// What to write in it.
    pub says: &'static str,
}

const fn needed(name: &'static str, also: &'static [&'static str], says: &'static str) -> Column {
    Column { name, also, needed: true, says }
}

const fn may(name: &'static str, also: &'static [&'static str], says: &'static str) -> Column {
    Column { name, also, needed: false, says }
}

const CUSTOMERS: &[Column] = &[
    needed(
        "reference",
        &["ref", "customer reference", "customer ref", "customer number", "customer no", "customer id", "number", "id"],
        "Your own number for the customer, 40 characters at most. The same list twice is known by it.",
    ),
    needed("name", &["customer", "customer name", "full name"], "The customer’s name. With several places, the same name on each row."),
    may("phone", &["telephone", "tel", "phone number", "mobile", "cell"], "As you dial it."),
    may("email", &["mail", "e-mail", "email address", "mail address"], "One address."),
    may("note", &["notes", "remark", "remarks", "comment", "comments"], "For the office only."),
    may("place", &["place name", "yard", "site"], "What you call the yard. Empty: its address, else its town."),
    may("address", &["street", "street address", "road"], "Street and number of the place."),
    may("town", &["city", "village", "township"], "The town of the place."),
    may("latitude", &["lat"], "Decimal degrees, as 44.612. Both or none; without, the place cannot be routed yet."),
    may("longitude", &["lon", "lng", "long"], "Decimal degrees, west negative, as -73.201."),
    may("access", &["access note", "access notes", "gate", "directions"], "Gate, dog, where the unit stands."),
    may("hazards", &["hazard", "take care", "dangers"], "What a technician must beware of there."),
];

const UNITS: &[Column] = &[
    needed(
        "reference",
        &["ref", "unit reference", "unit ref", "unit number", "unit no", "unit id", "id"],
        "Your own number for the unit, 40 characters at most. The same list twice is known by it.",
    ),
    needed(
        "customer",
        &["customer reference", "customer ref", "customer number", "customer no", "customer id"],
        "The customer’s reference. Bring in the customers first.",
    ),
    may(
        "place",
        &["place name", "yard", "site"],
        "One of the customer’s places, by name. Empty: the only one. A customer without places gets this one.",
    ),
    may("name", &["unit name", "unit", "heater"], "What you call the unit. Empty: the name of its kind."),
    needed("kind", &["unit kind", "type", "size", "model"], "A kind of unit, by its code or its name."),
    may("serial", &["serial number", "serial no", "serial nr"], "From the plate."),
    may("installed on", &["installed", "install date", "installation date", "date installed"], "A day, as 2019-10-05 or Oct 5, 2019."),
    may("jacket", &["jacket volume"], "What the jacket alone holds, with its unit, as 400 gal or 1514 L. Empty: as its kind."),
    may(
        "volume",
        &["water volume", "total volume", "system volume", "loop volume"],
        "Jacket and loop together, with its unit, as 430 gal or 1630 L.",
    ),
    may(
        "volume method",
        &["method", "volume by", "how found", "found by"],
        "label, piping, water meter, tracer or guess. Empty: a guess, ± 20 %.",
    ),
    may("aluminium", &["aluminum", "has aluminium", "has aluminum"], "yes where the water touches aluminium; it changes the pH band."),
    may(
        "programme",
        &["program", "treatment", "treatment programme", "treatment program"],
        "A treatment programme, by its code or its name. Empty: the one most of your units have.",
    ),
    may("kit", &["test kit"], "A test kit, by its code or its name. Empty: the usual one of the programme."),
    may("filled on", &["filled", "fill date", "date filled", "last filled"], "The day of the present fill."),
    may(
        "source water",
        &["water source", "source", "fill water"],
        "well, town supply, hauled, rain or unknown. Needs the day it was filled.",
    ),
    may("softened", &["soft water", "water softened"], "yes or no. Needs the day it was filled."),
    may(
        "hardness",
        &["fill hardness", "water hardness", "source hardness"],
        "Of the fill water, in mg/L as CaCO3 (ppm) or gpg. Needs the day it was filled.",
    ),
    may("fluid", &["glycol", "antifreeze"], "water, propylene glycol or ethylene glycol. Empty: water. Needs the day it was filled."),
    may("glycol percent", &["percent glycol", "glycol share"], "1 to 70, where there is glycol."),
    may(
        "last start-up",
        &["last fall start-up", "fall start-up", "start-up", "last startup"],
        "The day of the last fall start-up, so that it is not due again this fall.",
    ),
    may(
        "last shut-down",
        &["last spring shut-down", "spring shut-down", "shut-down", "last shutdown"],
        "The day of the last spring shut-down.",
    ),
    may("last clean", &["last cleaned", "yearly clean", "cleaned", "last cleaning"], "The day when the air passages were cleaned last."),
];

const TESTS: &[Column] = &[
    needed(
        "unit",
        &["unit reference", "unit ref", "unit number", "unit no", "unit id", "reference", "ref"],
        "The unit’s reference. Bring in the units first.",
    ),
    needed("date", &["taken on", "tested on", "test date", "date tested", "day"], "The day of the test, as 2024-10-05 or Oct 5, 2024."),
    may("drops", &["drop count", "number of drops"], "How many drops the kit took. Drops or a value, not both."),
    may(
        "value",
        &["reading", "level", "inhibitor", "inhibitor level", "concentration"],
        "Read off in mg/L (ppm), with a basis or a kit. “1050 as NO2” says both.",
    ),
    may("basis", &["as", "counted as", "value basis"], "What the value is counted as: NO2, NaNO2, Mo, MoO4 …"),
    may("kit", &["test kit"], "By its code or its name. Empty: the unit’s own, else the usual one of its programme."),
    may("ph", &["ph value", "ph reading"], "As 8.9."),
    may("by", &["tested by", "made by", "who", "test by"], "technician, customer, laboratory or office. Empty: technician."),
    may(
        "product",
        &["dose product", "treatment product", "inhibitor product"],
        "What was put in after the test, by its name. Empty: the usual one of the unit’s programme.",
    ),
    may(
        "amount",
        &["dose", "dose amount", "amount given", "dose given", "put in"],
        "How much of it, with its unit, as 650 mL or 22 fl oz.",
    ),
];

/// Letters and digits only, in lower case: `Filled_On` and "filled on" are one.
pub(super) fn plain(text: &str) -> String {
    text.chars().filter(|c| c.is_alphanumeric()).flat_map(char::to_lowercase).collect()
}

/// A unit that a column's name ends in: "Volume (US gal)".
const UNITS_IN_NAMES: [(&str, &str); 20] = [
    ("gal", "gal"),
    ("gals", "gal"),
    ("gallon", "gal"),
    ("gallons", "gal"),
    ("us gal", "gal"),
    ("us gallons", "gal"),
    ("l", "L"),
    ("litre", "L"),
    ("litres", "L"),
    ("liter", "L"),
    ("liters", "L"),
    ("ml", "mL"),
    ("fl oz", "fl oz"),
    ("floz", "fl oz"),
    ("oz", "fl oz"),
    ("ppm", "mg/L"),
    ("mg l", "mg/L"),
    ("mgl", "mg/L"),
    ("gpg", "gpg"),
    ("grains", "gpg"),
];

/// The unit that stands at the end of a column's name, and the name before it.
fn split_unit(title: &str) -> Option<(String, &'static str)> {
    let lower = title.to_lowercase();
    let words: Vec<&str> = lower.split(|c: char| !c.is_alphanumeric()).filter(|w| !w.is_empty()).collect();
    [2, 1].into_iter().find_map(|n| {
        let (head, tail) = words.split_at_checked(words.len().checked_sub(n)?)?;
        let tail = tail.join(" ");
        UNITS_IN_NAMES.iter().find(|(name, _)| *name == tail).map(|(_, unit)| (head.concat(), *unit))
    })
}

/// The unit in which bare numbers under this title are meant.
pub(super) fn unit_in(title: &str) -> Option<&'static str> {
    split_unit(title).map(|(_, unit)| unit)
}

/// Which column of the file serves as which column of the list: for each of [`Kind::columns`] a place in the file, or none.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Matching(Vec<Option<usize>>);

impl Matching {
    /// By name; a column of the file serves once, and the first of two that have the same name.
    pub fn by_name(kind: Kind, header: &[String]) -> Self {
        let plain_titles: Vec<String> = header.iter().map(|t| plain(t)).collect();
        let without_unit: Vec<String> = header.iter().map(|t| split_unit(t).map(|s| s.0).unwrap_or_default()).collect();
        let mut found = vec![None; kind.columns().len()];
        for titles in [&plain_titles, &without_unit] {
            for (slot, column) in kind.columns().iter().enumerate() {
                let names = std::iter::once(&column.name).chain(column.also);
                let at = || {
                    names.map(|n| plain(n)).find_map(|n| titles.iter().enumerate().position(|(i, t)| *t == n && !found.contains(&Some(i))))
                };
                if found.get(slot) == Some(&None) {
                    let at = at();
                    found[slot] = at;
                }
            }
        }
        Self(found)
    }

    /// As somebody chose it: `chosen` says for a column's name which column of the file serves.
    pub fn chosen(kind: Kind, columns_in_file: usize, chosen: impl Fn(&str) -> Option<usize>) -> Self {
        Self(kind.columns().iter().map(|c| chosen(c.name).filter(|i| *i < columns_in_file)).collect())
    }

    /// The place in the file of a column of the list.
    pub fn place(&self, kind: Kind, name: &str) -> Option<usize> {
        let slot = kind.columns().iter().position(|c| c.name == name)?;
        self.0.get(slot).copied().flatten()
    }

    /// What keeps a list from being read at all, in words; empty when nothing does.
    pub fn missing(&self, kind: Kind) -> Vec<String> {
        let mut says: Vec<String> = Vec::new();
        for column in kind.columns() {
            let place = self.place(kind, column.name);
            if column.needed && place.is_none() {
                says.push(format!("No column is matched to “{}”. {}", column.name, column.says));
            }
            let twin =
                kind.columns().iter().take_while(|c| c.name != column.name).find(|c| place.is_some() && self.place(kind, c.name) == place);
            if let Some(twin) = twin {
                says.push(format!(
                    "One column of the file is matched to both “{}” and “{}”. Choose another for one of them.",
                    twin.name, column.name
                ));
            }
        }
        if kind == Kind::Tests && ["drops", "value", "ph"].iter().all(|n| self.place(kind, n).is_none()) {
            says.push("No column is matched to “drops”, “value” or “ph”. One of them is needed.".to_owned());
        }
        says
    }

    /// Columns of the file that serve as nothing. The `fix` column of a list that was given back is not counted.
    pub fn unused<'a>(&self, header: &'a [String]) -> Vec<&'a str> {
        let idle =
            header.iter().enumerate().filter(|(i, title)| !self.0.contains(&Some(*i)) && !title.is_empty() && !super::rest::is_fix(title));
        idle.map(|(_, title)| title.as_str()).collect()
    }
}
