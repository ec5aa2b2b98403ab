//! Rows of customers, each with one of their places.

use super::{Complaint, List, cells::Cells, columns::plain};
use std::collections::HashMap;

/// A customer as one row has it.
#[derive(Clone, Debug, PartialEq)]
pub struct CustomerRow {
    /// Its place among the rows.
    pub row: usize,
    pub reference: String,
    pub name: String,
    pub phone: String,
    pub email: String,
    pub note: String,
    /// None when the row says nothing of a place.
    pub place: Option<PlaceCells>,
}

/// A place as one row has it.
#[derive(Clone, Debug, PartialEq)]
pub struct PlaceCells {
    pub name: String,
    pub address: String,
    pub town: String,
    /// Latitude, longitude.
    pub pin: Option<(f64, f64)>,
    pub access: String,
    pub hazards: String,
}

/// What earlier rows said, with their line, to hold later ones against.
#[derive(Default)]
struct Said {
    /// Reference to name.
    names: HashMap<String, (usize, String)>,
    /// Reference and place to address and town.
    places: HashMap<(String, String), (usize, String)>,
}

/// Reads every row. A customer may come on several rows, one for each place.
pub fn customers(list: &List) -> (Vec<CustomerRow>, Vec<Complaint>) {
    let mut complaints = Vec::new();
    let mut said = Said::default();
    let rows = (0..list.sheet.rows.len()).filter_map(|row| {
        let mut cells = Cells::new(list, row);
        let value = customer(&mut cells, &mut said);
        cells.done(Some(value), &mut complaints)
    });
    let rows = rows.collect();
    (rows, complaints)
}

fn customer(cells: &mut Cells<'_>, said: &mut Said) -> CustomerRow {
    let reference = cells.needed("reference", 40);
    let name = cells.needed("name", 120);
    let line = cells.list.line(cells.row);
    if !reference.is_empty() && !name.is_empty() {
        let (first, before) = said.names.entry(reference.clone()).or_insert_with(|| (line, name.clone()));
        if plain(before) != plain(&name) {
            let what = format!(
                "Line {first} calls this reference “{before}”. Give each customer a reference of their own, or write the name alike."
            );
            cells.complain("name", what);
        }
    }
    let phone = cells.text("phone", 40);
    let email = email(cells);
    let note = cells.lines("note", 4000);
    let place = place(cells);
    if let Some(p) = &place {
        let stands = format!("{} {}", p.address, p.town);
        let key = (reference.clone(), plain(&p.name));
        let (first, before) = said.places.entry(key).or_insert_with(|| (line, stands.clone()));
        if plain(before) != plain(&stands) {
            let what = format!(
                "Line {first} has this place of this customer at “{}”. Give each place a name of its own, or write the address alike.",
                before.trim()
            );
            cells.complain("place", what);
        }
    }
    CustomerRow { row: cells.row, reference, name, phone, email, note, place }
}

/// An address is only looked at, not tried: something, an @, something.
fn email(cells: &mut Cells<'_>) -> String {
    let text = cells.text("email", 200);
    let whole = text.split_once('@').is_some_and(|(who, host)| !who.is_empty() && !host.is_empty() && !host.contains('@'));
    if !text.is_empty() && (!whole || text.contains([' ', ',', ';', '<'])) {
        cells.complain("email", "This is not one mail address. Write it as name@example.org, or leave the cell empty.");
    }
    text
}

fn place(cells: &mut Cells<'_>) -> Option<PlaceCells> {
    let name = cells.text("place", 120);
    let address = cells.text("address", 300);
    let town = cells.text("town", 80);
    let pin = pin(cells);
    let access = cells.lines("access", 2000);
    let hazards = cells.lines("hazards", 2000);
    let any = ["place", "address", "town", "latitude", "longitude", "access", "hazards"].iter().any(|n| !cells.is_empty(n));
    let named = [&name, &address, &town].into_iter().find(|t| !t.is_empty());
    let name = named.map_or_else(|| "Home".to_owned(), |n| n.chars().take(120).collect());
    any.then_some(PlaceCells { name, address, town, pin, access, hazards })
}

fn pin(cells: &mut Cells<'_>) -> Option<(f64, f64)> {
    let lat = cells.read("latitude", |c| degrees(c, 90.0, "44.612"));
    let lon = cells.read("longitude", |c| degrees(c, 180.0, "-73.201, with west negative"));
    match (cells.is_empty("latitude"), cells.is_empty("longitude")) {
        (false, true) => cells.complain("longitude", "The latitude stands alone. Write the longitude as well, or neither."),
        (true, false) => cells.complain("latitude", "The longitude stands alone. Write the latitude as well, or neither."),
        _ => {}
    }
    let pin = lat.zip(lon)?;
    if pin.0.abs() < 1e-9 && pin.1.abs() < 1e-9 {
        cells.complain("latitude", "0, 0 lies in the ocean. Leave both cells empty when the position is not known.");
    }
    Some(pin)
}

/// Decimal degrees within ± `most`.
fn degrees(cell: &str, most: f64, example: &str) -> Result<f64, String> {
    let says = || format!("This is not a position. Write decimal degrees, as {example}.");
    let text = cell.replace('\u{2212}', "-");
    let plain = !text.is_empty() && text.trim_start_matches('-').chars().all(|c| c.is_ascii_digit() || c == '.');
    let value: f64 = text.parse().ok().filter(|_| plain).ok_or_else(says)?;
    if value.abs() <= most {
        Ok(value)
    } else {
        Err(format!("This is beyond {most} degrees. Check that latitude and longitude are not the wrong way round."))
    }
}
