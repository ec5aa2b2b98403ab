//! Telling customers when somebody comes: the words, ready to be read out, sent from the office's own programs or printed as cards.

use super::super::{
    app::App,
    error::{Error, Result},
    form::{Nothing, Posted},
    guard::{Office, see_other},
    html::{Frame, html, percent},
    square, words,
};
use crate::{
    store::{
        events::{self, Actor},
        links,
        week::{self, Telling, Told},
    },
    units::{day_long, month_day, parse_date, time_of_day},
};
use askama::Template;
use axum::{
    extract::{Path, Query},
    http::StatusCode,
    response::IntoResponse,
};
use serde::Deserialize;
use std::collections::{HashMap, hash_map::Entry};
use time::Duration;
use uuid::Uuid;

/// What one customer is told of one place and day.
struct Card {
    /// The first of its visits, by which the page finds it again.
    first: Uuid,
    /// The card after it.
    next: Option<Uuid>,
    /// Its units with the times that it tells, as they come back.
    tells: String,
    customer: String,
    address: String,
    phone: String,
    sms: String,
    mail: String,
    /// Sentences.
    says: Vec<String>,
    /// Links to the records, each with its unit and its square.
    links: Vec<(String, String, String)>,
}

#[derive(Template)]
#[template(path = "office/tell.html")]
struct TellPage {
    f: Frame,
    week: String,
    heading: String,
    draft: bool,
    cards: Vec<Card>,
    /// Visits whose customers know.
    known: usize,
    linked: bool,
    /// The links of this press were shown before.
    again: bool,
    said: String,
}

#[derive(Debug, Default, Deserialize)]
pub(super) struct Said {
    #[serde(default)]
    said: String,
}

pub(super) async fn page(who: Office, app: App, (Path(name), Query(said)): (Path<String>, Query<Said>)) -> Result {
    show(&who, &app, &name, (HashMap::new(), false), said.said).await
}

/// Addresses of the records by unit.
type Addresses = HashMap<Uuid, String>;

async fn show(who: &Office, app: &App, name: &str, (links, again): (Addresses, bool), said: String) -> Result {
    let monday = super::week::monday(name)?;
    let plan = week::header(&app.pool, monday).await?.ok_or(Error::NotFound)?;
    let mut all = week::telling(&app.pool, monday, who.dealer.local).await?;
    let visits = all.len();
    all.retain(|t| !t.is_known());
    let known = visits - all.len();
    let mut cards = Vec::new();
    for group in groups(all) {
        cards.push(card(&group, &who.dealer, &links)?);
    }
    let firsts: Vec<Uuid> = cards.iter().map(|c| c.first).collect();
    for (n, card) in cards.iter_mut().enumerate() {
        card.next = firsts.get(n + 1).copied();
    }
    html(&TellPage {
        f: Frame::of(who, "week"),
        week: week::week_name(monday),
        heading: format!("{} to {}", month_day(monday), month_day(monday + Duration::days(6))),
        draft: plan.issued_at.is_none(),
        cards,
        known,
        linked: !links.is_empty(),
        again,
        said,
    })
}

/// One card for a customer, place and day, in the order of the week.
fn groups(all: Vec<Telling>) -> Vec<Vec<Telling>> {
    let mut groups: Vec<Vec<Telling>> = Vec::new();
    for t in all {
        let same =
            |g: &&mut Vec<Telling>| g.first().is_some_and(|f| (f.customer_id, f.place_id, f.day) == (t.customer_id, t.place_id, t.day));
        match groups.iter_mut().find(same) {
            Some(group) => group.push(t),
            None => groups.push(vec![t]),
        }
    }
    groups
}

fn card(group: &[Telling], dealer: &crate::store::dealer::Dealer, links: &Addresses) -> Result<Card> {
    let first = group.first().ok_or(Error::NotFound)?;
    let says = sentences(group, &dealer.name, &dealer.phone);
    let mut squares = Vec::new();
    for t in group {
        if let Some(address) = links.get(&t.unit_id) {
            squares.push((
                t.unit_name.clone(),
                address.clone(),
                square::draw(address, 110, "The same address as a square for the phone’s camera")?,
            ));
        }
    }
    let addresses: Vec<String> = squares.iter().map(|(unit, address, _)| format!("The water record of the {unit}: {address}")).collect();
    let whole: Vec<&str> = says.iter().chain(&addresses).map(String::as_str).collect();
    let subject = format!("We come on {}", day_long(first.day));
    let dialled: String = first.phone.chars().filter(|c| c.is_ascii_digit() || *c == '+').collect();
    Ok(Card {
        first: first.visit_id,
        next: None,
        tells: group.iter().map(|t| format!("{}/{}/{}", t.unit_id, t.day, t.starts)).collect::<Vec<_>>().join(" "),
        customer: first.customer_name.clone(),
        address: [first.address.as_str(), &first.town].into_iter().filter(|a| !a.is_empty()).collect::<Vec<_>>().join(", "),
        // RFC 5724 and RFC 6068
        sms: if dialled.is_empty() { String::new() } else { format!("sms:{dialled}?body={}", percent(&whole.join(" "))) },
        mail: if first.email.is_empty() {
            String::new()
        } else {
            // the address itself keeps its at sign: it was looked at when it was typed
            format!(
                "mailto:{}?subject={}&body={}",
                percent(&first.email).replace("%40", "@"),
                percent(&subject),
                percent(&whole.join("\r\n\r\n"))
            )
        },
        phone: first.phone.clone(),
        says,
        links: squares,
    })
}

/// What is said to the customer: who, when, what for, what to see to before, and whom to call.
fn sentences(group: &[Telling], dealer: &str, phone: &str) -> Vec<String> {
    let Some(first) = group.first() else { return Vec::new() };
    let mut says = vec![format!("Hello {}, this is {dealer}.", first.customer_name)];
    let when = format!("{}, about {}", day_long(first.day), time_of_day(first.starts));
    let moved = group.iter().find_map(Telling::told).map(|told| format!("You were told {}. That has changed: we", words::told(told)));
    says.push(format!("{} plan to come on {when}, to {}.", moved.as_deref().unwrap_or("We"), first.place_name));
    says.extend(group.iter().map(|t| format!("{}: {}.", t.unit_name, t.jobs.join(", ").to_lowercase())));
    let mut prepare: Vec<&String> = group.iter().flat_map(|t| &t.prepare).collect();
    prepare.dedup();
    says.extend(prepare.into_iter().cloned());
    says.push(if phone.is_empty() {
        "If that does not suit, call us.".to_owned()
    } else {
        format!("If that does not suit, call us: {phone}.")
    });
    says
}

/// Puts links to the records into the words. They are shown this once: only their hashes are kept.
pub(super) async fn with_links(who: Office, app: App, (Path(name), posted): (Path<String>, Posted<Nothing>)) -> Result {
    let monday = super::week::monday(&name)?;
    let now = app.clock.now();
    let all = week::telling(&app.pool, monday, who.dealer.local).await?;
    let mut made = Addresses::new();
    let mut tx = app.pool.begin().await?;
    let first = posted.first_time(&mut tx, &who, "record links", now).await?;
    if first {
        let label = format!("week {}", week::week_name(monday));
        for t in all.iter().filter(|t| !t.is_known()) {
            if let Entry::Vacant(address) = made.entry(t.unit_id) {
                let token = links::make(&mut *tx, t.unit_id, &label, Some(who.staff_id), now).await?;
                address.insert(format!("{}/w/{token}", app.public_url));
            }
        }
        let actor = Actor { id: Some(who.staff_id), words: who.name.clone() };
        events::note(&mut *tx, now, &actor, "made record links", &format!("{label}: {}", made.len())).await?;
    }
    tx.commit().await?;
    show(&who, &app, &name, (made, !first), String::new()).await
}

#[derive(Debug, Deserialize)]
pub(super) struct Tells {
    /// Each a card's units with the times that it told: `{unit}/{day}/{minute} {unit}/{day}/{minute}`.
    #[serde(default)]
    tells: Vec<String>,
    #[serde(default)]
    next: String,
}

fn told_times(form: &Tells) -> Result<Vec<(Uuid, Told)>> {
    let bad = || Error::Bad("The form did not arrive whole. Load the page again.".to_owned());
    let one = |text: &str| {
        let mut parts = text.split('/');
        let unit = parts.next()?.parse().ok()?;
        let day = parse_date(parts.next()?).ok()?;
        let starts = parts.next()?.parse().ok().filter(|minute| (0..=1440).contains(minute))?;
        Some((unit, Told { day, starts }))
    };
    form.tells.iter().flat_map(|t| t.split_ascii_whitespace()).map(|t| one(t).ok_or_else(bad)).collect()
}

/// These customers know the times on their cards. A visit that has moved since stands on the list again, with what was told.
pub(super) async fn told(who: Office, app: App, (Path(name), posted): (Path<String>, Posted<Tells>)) -> Result {
    let monday = super::week::monday(&name)?;
    let told = told_times(&posted.form)?;
    if told.is_empty() {
        // Nobody is marked. The page stays as it is: links that stand on it cannot be shown again.
        return Ok(StatusCode::NO_CONTENT.into_response());
    }
    let now = app.clock.now();
    let mut tx = app.pool.begin().await?;
    let mut kept = told.len();
    if posted.first_time(&mut tx, &who, "customers told", now).await? {
        kept = week::tell(&mut tx, monday, &told, who.staff_id, now).await?;
    }
    tx.commit().await?;
    let next = posted.form.next.parse::<Uuid>().map(|id| format!("#c-{id}")).unwrap_or_default();
    Ok(see_other(&format!("/week/{}/tell?said={kept}{next}", week::week_name(monday))))
}

#[cfg(test)]
mod tests {
    use super::*;
    use time::Date;

    fn telling(unit: &str, told: Option<(Date, i32)>) -> Telling {
        let day = time::macros::date!(2026 - 10 - 06);
        Telling {
            visit_id: Uuid::nil(),
            unit_id: Uuid::nil(),
            unit_name: unit.to_owned(),
            place_id: Uuid::nil(),
            place_name: "Home".to_owned(),
            address: String::new(),
            town: String::new(),
            customer_id: Uuid::nil(),
            customer_name: "Zinnia Silverlea".to_owned(),
            phone: "(555) 010-0123".to_owned(),
            email: "z&s@example.com".to_owned(),
            day,
            starts: 545,
            told_day: told.map(|t| t.0),
            told_starts: told.map(|t| t.1),
            confirmed: told.is_some(),
            jobs: vec!["Yearly clean".to_owned()],
            prepare: vec!["Let the fire burn out.".to_owned()],
        }
    }

    #[test]
    fn what_is_to_be_done_before_is_said_once_for_two_units() {
        let says = sentences(&[telling("House heater", None), telling("Barn heater", None)], "Kettle Ridge", "");
        assert_eq!(
            says,
            [
                "Hello Zinnia Silverlea, this is Kettle Ridge.",
                "We plan to come on Tuesday, October 6, 2026, about 9:05 am, to Home.",
                "House heater: yearly clean.",
                "Barn heater: yearly clean.",
                "Let the fire burn out.",
                "If that does not suit, call us."
            ]
        );
    }

    #[test]
    fn a_time_within_what_was_told_needs_no_call_and_another_is_named() {
        let day = time::macros::date!(2026 - 10 - 06);
        assert!(telling("House heater", Some((day, 535))).is_known());
        let moved = telling("House heater", Some((day, 480)));
        assert!(!moved.is_known());
        let says = sentences(&[moved], "Kettle Ridge", "555-0100").join(" ");
        assert!(says.contains("You were told Tue Oct 6, about 8:00 am. That has changed: we plan to come on"), "{says}");
    }

    #[test]
    fn addresses_for_other_programs_carry_nothing_that_ends_them_early() -> Result<()> {
        let dealer = crate::store::dealer::Dealer {
            name: "Kettle & Ridge".to_owned(),
            phone: String::new(),
            email: String::new(),
            zone: "UTC".to_owned(),
            units: crate::units::UnitsFirst::Us,
            records_since: None,
            invented: true,
            row_version: 1,
            today: time::macros::date!(2026 - 10 - 01),
            local: time::macros::datetime!(2026 - 10 - 01 8:00),
        };
        let card = card(&[telling("House heater", None)], &dealer, &Addresses::new())?;
        assert!(card.mail.starts_with("mailto:z%26s@example%2Ecom?subject=We%20come%20on%20Tuesday"), "{}", card.mail);
        assert_eq!(card.mail.matches('&').count(), 1, "only the one before the body: {}", card.mail);
        assert!(card.mail.contains("%0D%0A"), "RFC 6068, 5: lines end as in mail");
        assert!(card.sms.starts_with("sms:5550100123?body=Hello%20Zinnia"), "{}", card.sms);
        Ok(())
    }
}
