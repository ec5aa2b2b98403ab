//! A kept report as the office and the yard both show it.

use super::{
    error::{Error, Result},
    words,
};
use crate::{
    store::{
        dealer::Dealer,
        reports::{self, AnswerLine, ReportLine, WaterEvent},
        water::Event,
    },
    units::{Millilitres, amount, day_long},
};
use sqlx::PgPool;
use uuid::Uuid;

pub(super) struct ReportView {
    pub(super) r: ReportLine,
    pub(super) day: String,
    pub(super) ph: String,
    pub(super) dose: String,
    /// What the make-up meter showed and what was drained, in words.
    pub(super) events: Vec<(&'static str, String)>,
    pub(super) answers: Vec<AnswerLine>,
}

/// The newest version of a unit's report.
pub(super) async fn newest(pool: &PgPool, unit_id: Uuid, report_id: Uuid) -> Result<ReportLine> {
    reports::of_unit(pool, unit_id, Some(report_id), 1).await?.pop().ok_or(Error::NotFound)
}

pub(super) async fn view(pool: &PgPool, r: ReportLine, dealer: &Dealer) -> Result<ReportView> {
    Ok(ReportView {
        day: day_long(r.visited_on),
        ph: r.ph_milli.map(words::ph).unwrap_or_default(),
        dose: r.dose_ml.map(|ml| amount(ml, dealer.units)).unwrap_or_default(),
        events: reports::events(pool, r.report_id, r.version).await?.into_iter().map(|e| event(&e, dealer)).collect(),
        answers: reports::answers(pool, r.report_id, r.version).await?,
        r,
    })
}

fn event(e: &WaterEvent, dealer: &Dealer) -> (&'static str, String) {
    let amount = Millilitres::new(e.amount_ml).map_or_else(|_| format!("{} mL", e.amount_ml), |ml| ml.both(dealer.units));
    match e.what {
        Event::Meter => ("Make-up meter", amount),
        Event::Drained => ("Drained", format!("{amount}, to: {}", e.where_to)),
    }
}
