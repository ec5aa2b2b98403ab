//! Customers and their places.

use super::Result;
use sqlx::PgExecutor;
use time::OffsetDateTime;
use uuid::Uuid;

#[derive(Clone, Debug, Default)]
pub struct Customer {
    pub id: Uuid,
    pub reference: Option<String>,
    pub name: String,
    pub phone: String,
    pub email: String,
    pub note: String,
    pub row_version: i32,
    /// Name and places were taken out.
    pub forgotten: bool,
}

/// Where a pin came from; a better origin is not overwritten by a worse one.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub enum PinOrigin {
    #[default]
    None,
    Address,
    Office,
    Phone,
}

impl PinOrigin {
    pub fn as_str(self) -> &'static str {
        match self {
            Self::None => "none",
            Self::Address => "address",
            Self::Office => "office",
            Self::Phone => "phone",
        }
    }
    pub fn parse(text: &str) -> Option<Self> {
        [Self::None, Self::Address, Self::Office, Self::Phone].into_iter().find(|o| o.as_str() == text)
    }
}

/// A yard.
#[derive(Clone, Debug, Default)]
pub struct Place {
    pub id: Uuid,
    pub customer_id: Uuid,
    pub name: String,
    pub address: String,
    pub town: String,
    pub pin: Option<(f64, f64)>,
    pub pin_origin: PinOrigin,
    pub access_note: String,
    pub hazards: String,
    pub row_version: i32,
}

/// One line of the list of customers.
#[derive(Clone, Debug)]
pub struct CustomerLine {
    pub id: Uuid,
    pub name: String,
    pub reference: Option<String>,
    pub phone: String,
    pub towns: String,
    pub units: i64,
}

/// Customers in the order of their names; `after` is the last line of the page before.
pub async fn browse(db: impl PgExecutor<'_>, after: Option<(&str, Uuid)>, limit: i64) -> Result<Vec<CustomerLine>> {
    let (name, id) = after.map_or((String::new(), Uuid::nil()), |a| (a.0.to_lowercase(), a.1));
    let rows = sqlx::query_as!(
        CustomerLine,
        r#"SELECT c.id, c.name, c.ref AS reference, c.phone,
             coalesce((SELECT string_agg(DISTINCT p.town, ', ') FROM places p WHERE p.customer_id = c.id AND p.town <> ''), '') AS "towns!",
             (SELECT count(*) FROM units u WHERE u.customer_id = c.id AND u.status <> 'retired') AS "units!"
           FROM customers c WHERE (lower(c.name) COLLATE "C", c.id) > ($1, $2) AND c.forgotten_at IS NULL ORDER BY lower(c.name) COLLATE "C", c.id LIMIT $3"#,
        name,
        id,
        limit
    )
    .fetch_all(db)
    .await?;
    Ok(rows)
}

/// Digits at the end of a telephone number that tell it apart, however it is written and with or without its area.
const TAIL: usize = 7;

/// Customers whose first or last name begins with `words`, whose reference or telephone number it is, who have a place at an address,
/// on a street or in a town beginning with it, or a unit whose reference or serial number it is.
pub async fn search(db: impl PgExecutor<'_>, words: &str, limit: i64) -> Result<Vec<CustomerLine>> {
    let words = words.trim();
    let from = words.to_lowercase();
    let to = format!("{from}{}", char::MAX);
    let refs = [words.to_owned(), words.to_uppercase()];
    let digits: String = words.chars().filter(char::is_ascii_digit).collect();
    let tail = digits.len().checked_sub(TAIL).and_then(|at| digits.get(at..));
    let rows = sqlx::query_as!(
        CustomerLine,
        r#"WITH hits AS (
             SELECT id FROM customers WHERE lower(name) COLLATE "C" >= $1 AND lower(name) COLLATE "C" < $2
             UNION SELECT id FROM customers WHERE lower(regexp_replace(name, '^.* ', '')) COLLATE "C" >= $1 AND lower(regexp_replace(name, '^.* ', '')) COLLATE "C" < $2
             UNION SELECT id FROM customers WHERE ref = ANY($3)
             UNION SELECT id FROM customers WHERE phone = $1
             UNION SELECT id FROM customers WHERE right(regexp_replace(phone, '\D', '', 'g'), 7) = $5
             UNION SELECT customer_id FROM places WHERE lower(address) COLLATE "C" >= $1 AND lower(address) COLLATE "C" < $2
             UNION SELECT customer_id FROM places WHERE lower(regexp_replace(address, '^[0-9]+[a-zA-Z]?\s+', '')) COLLATE "C" >= $1 AND lower(regexp_replace(address, '^[0-9]+[a-zA-Z]?\s+', '')) COLLATE "C" < $2
             UNION SELECT customer_id FROM units WHERE ref = ANY($3)
             UNION SELECT customer_id FROM units WHERE serial <> '' AND upper(serial) = upper($1)
             UNION SELECT customer_id FROM places WHERE lower(town) COLLATE "C" >= $1 AND lower(town) COLLATE "C" < $2)
           SELECT c.id, c.name, c.ref AS reference, c.phone,
             coalesce((SELECT string_agg(DISTINCT p.town, ', ') FROM places p WHERE p.customer_id = c.id AND p.town <> ''), '') AS "towns!",
             (SELECT count(*) FROM units u WHERE u.customer_id = c.id AND u.status <> 'retired') AS "units!"
           FROM hits JOIN customers c USING (id) WHERE c.forgotten_at IS NULL ORDER BY lower(c.name) COLLATE "C", c.id LIMIT $4"#,
        from,
        to,
        &refs,
        limit,
        tail
    )
    .fetch_all(db)
    .await?;
    Ok(rows)
}

pub async fn get(db: impl PgExecutor<'_>, id: Uuid) -> Result<Customer> {
    let row = sqlx::query_as!(
        Customer,
        r#"SELECT id, ref AS reference, name, phone, email, note, row_version, forgotten_at IS NOT NULL AS "forgotten!" FROM customers WHERE id = $1"#,
        id
    );
    Ok(row.fetch_one(db).await?)
}

/// Who has this reference.
pub async fn with_reference(db: impl PgExecutor<'_>, reference: &str) -> Result<Option<Uuid>> {
    Ok(sqlx::query_scalar!("SELECT id FROM customers WHERE ref = $1", reference).fetch_optional(db).await?)
}

pub async fn add(db: impl PgExecutor<'_>, c: &Customer, now: OffsetDateTime) -> Result<()> {
    sqlx::query!(
        "INSERT INTO customers (id, ref, name, phone, email, note, made_at) VALUES ($1, $2, $3, $4, $5, $6, $7)",
        c.id,
        c.reference,
        c.name,
        c.phone,
        c.email,
        c.note,
        now
    )
    .execute(db)
    .await?;
    Ok(())
}

pub async fn change(db: impl PgExecutor<'_>, c: &Customer) -> Result<()> {
    let done = sqlx::query!(
        "UPDATE customers SET name = $2, phone = $3, email = $4, note = $5, ref = $7, row_version = row_version + 1
         WHERE id = $1 AND row_version = $6 AND forgotten_at IS NULL",
        c.id,
        c.name,
        c.phone,
        c.email,
        c.note,
        c.row_version,
        c.reference
    )
    .execute(db)
    .await?;
    if done.rows_affected() == 1 { Ok(()) } else { Err(super::Error::Clash) }
}

struct PlaceRow {
    id: Uuid,
    customer_id: Uuid,
    name: String,
    address: String,
    town: String,
    lat: Option<f64>,
    lon: Option<f64>,
    pin_origin: String,
    access_note: String,
    hazards: String,
    row_version: i32,
}

impl From<PlaceRow> for Place {
    fn from(r: PlaceRow) -> Self {
        Self {
            pin: r.lat.zip(r.lon),
            pin_origin: PinOrigin::parse(&r.pin_origin).unwrap_or_default(),
            id: r.id,
            customer_id: r.customer_id,
            name: r.name,
            address: r.address,
            town: r.town,
            access_note: r.access_note,
            hazards: r.hazards,
            row_version: r.row_version,
        }
    }
}

pub async fn places(db: impl PgExecutor<'_>, customer_id: Uuid) -> Result<Vec<Place>> {
    let rows = sqlx::query_as!(
        PlaceRow,
        "SELECT id, customer_id, name, address, town, lat, lon, pin_origin, access_note, hazards, row_version
         FROM places WHERE customer_id = $1 ORDER BY lower(name), id LIMIT 200",
        customer_id
    )
    .fetch_all(db)
    .await?;
    Ok(rows.into_iter().map(Place::from).collect())
}

pub async fn place(db: impl PgExecutor<'_>, id: Uuid) -> Result<Place> {
    let row = sqlx::query_as!(
        PlaceRow,
        "SELECT id, customer_id, name, address, town, lat, lon, pin_origin, access_note, hazards, row_version FROM places WHERE id = $1",
        id
    )
    .fetch_one(db)
    .await?;
    Ok(row.into())
}

pub async fn add_place(db: impl PgExecutor<'_>, p: &Place) -> Result<()> {
    sqlx::query!(
        "INSERT INTO places (id, customer_id, name, address, town, lat, lon, pin_origin, access_note, hazards)
         VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10)",
        p.id,
        p.customer_id,
        p.name,
        p.address,
        p.town,
        p.pin.map(|q| q.0),
        p.pin.map(|q| q.1),
        p.pin_origin.as_str(),
        p.access_note,
        p.hazards
    )
    .execute(db)
    .await?;
    Ok(())
}

pub async fn change_place(db: impl PgExecutor<'_>, p: &Place) -> Result<()> {
    let done = sqlx::query!(
        "UPDATE places SET name = $2, address = $3, town = $4, lat = $5, lon = $6, pin_origin = $7, access_note = $8, hazards = $9,
         row_version = row_version + 1 WHERE id = $1 AND row_version = $10",
        p.id,
        p.name,
        p.address,
        p.town,
        p.pin.map(|q| q.0),
        p.pin.map(|q| q.1),
        p.pin_origin.as_str(),
        p.access_note,
        p.hazards,
        p.row_version
    )
    .execute(db)
    .await?;
    if done.rows_affected() == 1 { Ok(()) } else { Err(super::Error::Clash) }
}
