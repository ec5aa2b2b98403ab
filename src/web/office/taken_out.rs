//! What was kept of a unit's water and was not so.

use super::{
    super::{
        app::App,
        error::{Error, Result},
        form::Posted,
        guard::{Office, see_other},
        html::{Frame, html},
        words,
    },
    customers::need,
};
use crate::{
    store::{
        self,
        dealer::Dealer,
        due,
        units::{self, Unit},
        water::{self, Fact, FactLine, OutLine, TakeOut},
    },
    units::{amount, day_with_year},
};
use askama::Template;
use axum::extract::Path;
use serde::Deserialize;
use uuid::Uuid;

/// Facts that are shown, newest first.
const LINES: i64 = 60;

struct LineView {
    line: FactLine,
    day: String,
    says: String,
}

#[derive(Template)]
#[template(path = "office/taken_out.html")]
struct TakenOutPage {
    f: Frame,
    u: Unit,
    lines: Vec<LineView>,
    out: Vec<(String, OutLine)>,
}

/// A fact in words.
fn says(line: &FactLine, dealer: &Dealer) -> String {
    let put = |ml: i64| amount(ml, dealer.units);
    match Fact::parse(&line.fact) {
        Some(Fact::Test) => {
            let level = line.amount.map(|mg| format!(", {} mg/L", crate::units::thousands(mg))).unwrap_or_default();
            let ph = line.ph_milli.map(|ph| format!(", pH {}", words::ph(ph))).unwrap_or_default();
            if line.about == "source water" {
                format!("Test of the source water{ph}")
            } else {
                format!("Water test by the {}{level}{ph}", line.about)
            }
        }
        Some(Fact::Dose) => format!("Put in: {} of {}", line.amount.map(put).unwrap_or_default(), line.about),
        Some(Fact::Fill) => format!("Fill, source water: {}", line.about),
        Some(Fact::Event) => {
            let what = if line.about == "meter" { "Make-up meter showed" } else { "Let out" };
            format!("{what} {}", line.amount.map(put).unwrap_or_default())
        }
        None => line.about.clone(),
    }
}

pub(super) async fn page(who: Office, app: App, Path(id): Path<Uuid>) -> Result {
    let u = units::get(&app.pool, id).await?;
    let lines = water::fact_lines(&app.pool, id, LINES).await?;
    let lines = lines.into_iter().map(|line| LineView { day: day_with_year(line.day), says: says(&line, &who.dealer), line }).collect();
    let out = water::taken_out(&app.pool, id, LINES).await?.into_iter().map(|o| (day_with_year(o.day), o)).collect();
    html(&TakenOutPage { f: Frame::of(&who, "customers"), u, lines, out })
}

#[derive(Debug, Deserialize)]
pub(super) struct OutForm {
    fact: String,
    fact_id: Uuid,
    why: String,
}

/// Takes one fact out; what is due and every dose that is worked out follow.
pub(super) async fn take_out(who: Office, app: App, (Path(id), posted): (Path<Uuid>, Posted<OutForm>)) -> Result {
    let fact = Fact::parse(&posted.form.fact).ok_or(Error::NotFound)?;
    let why = need(&posted.form.why, "Say what was wrong with it", 400)?;
    let now = app.clock.now();
    let mut tx = app.pool.begin().await?;
    if posted.first_time(&mut tx, &who, "take out of the record", now).await? {
        let (fact_id, lines) = (posted.form.fact_id, water::fact_lines(&mut *tx, id, LINES).await?);
        let line = lines.iter().find(|l| l.id == fact_id && l.fact == fact.as_str()).ok_or(store::Error::Clash)?;
        let words = says(line, &who.dealer);
        let out = TakeOut { id: posted.id, unit_id: id, fact, fact_id, day: line.day, says: &words, why: &why, by: who.staff_id };
        water::take_out(&mut tx, &out, now).await?;
        due::refresh(&mut tx, Some(&[id]), who.dealer.today).await?;
    }
    tx.commit().await?;
    Ok(see_other(&format!("/units/{id}/taken-out")))
}
