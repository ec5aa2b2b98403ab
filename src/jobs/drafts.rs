//! Visits on their way into a plan: what is due, what it is worth, what is settled already.

use super::Error;
use crate::{
    roads::Position,
    route::{Problem, TimedPlan, check},
    season::{Penalties, Suit, late_price, narrowed, not_before, penalty, planned_penalty},
    store::{
        staff::{Crew, Prices},
        week::{Candidate, Held, NewVisit, Placed, Proposal, Stop, minute_of},
    },
    water::dose::verdict,
};
use time::{Date, PrimitiveDateTime};
use uuid::Uuid;

/// A visit on its way into the plan.
pub(super) struct Draft {
    pub(super) visit: NewVisit,
    pub(super) candidate: Option<Candidate>,
}

impl Draft {
    /// The visit with its place, or with the reason why it has none.
    pub(super) fn settle(mut self, placed: Option<Placed>, why: Option<&String>) -> NewVisit {
        self.visit.placed = placed;
        if placed.is_none() && self.candidate.is_some() {
            self.visit.why = why.cloned().unwrap_or_default();
        }
        self.visit
    }
}

/// Where technicians start from and candidates lie.
pub(super) fn pins<'a>(crew: &Crew, candidates: impl Iterator<Item = &'a Candidate>) -> Vec<Position> {
    let depots = crew.technicians.iter().map(|t| (t.lat, t.lon));
    depots.chain(candidates.map(|c| c.pin)).filter_map(|(lat, lon)| Position::new(lat, lon).ok()).collect()
}

/// Nothing new begins before `from`, in the dealer's own time. Who was told an earlier time of that day keeps it, and its technician
/// the whole day.
pub(super) fn begin<'a>(crew: &mut Crew, candidates: impl Iterator<Item = &'a mut Candidate>, from: PrimitiveDateTime) {
    let (day, minute) = (from.date(), minute_of(from.time()));
    if minute == 0 {
        return;
    }
    // Later than anybody works: no time is left for it.
    let never = Suit { weekday: day.weekday().number_from_monday(), from: 1439, to: 1440 };
    let mut told = Vec::new();
    for c in candidates {
        match c.held {
            Held::At { staff_id, day: on, starts } if on == day && starts < minute => told.push(staff_id),
            Held::At { .. } | Held::Was { .. } => {}
            Held::Free => c.suits = not_before(&c.suits, day, minute).unwrap_or_else(|| vec![never]),
        }
    }
    for d in crew.days.iter_mut().filter(|d| d.day == day && !told.contains(&d.staff_id)) {
        d.starts = d.starts.max(minute);
    }
    crew.days.retain(|d| d.starts < d.ends);
}

/// A plan timed and judged; what the checker refuses is never kept.
pub(super) fn checked(problem: &Problem, routes: &[Vec<usize>]) -> Result<TimedPlan, Error> {
    check(problem, routes).map_err(|against| {
        let said: Vec<String> = against.iter().map(ToString::to_string).collect();
        Error::Other(format!("the checker refuses the plan: {}", said.join(" ")))
    })
}

/// A confirmed visit with its candidate: it stays on its day, at the time that the customer was told, whatever else holds for it.
pub(super) fn confirmed(s: &Stop, mut candidate: Candidate) -> Option<Draft> {
    let (staff_id, day, stands) = (s.staff_id?, s.day?, s.starts?);
    let starts = s.told().filter(|t| t.day == day).map_or(stands, |t| t.starts);
    candidate.held = Held::At { staff_id, day, starts };
    (candidate.opens, candidate.closes) = (candidate.opens.min(day), candidate.closes.max(day));
    (candidate.late_per_day, candidate.penalty) = (None, i64::from(Penalties::default().overdue));
    candidate.skills.clear();
    candidate.suits.clear();
    let visit = NewVisit {
        id: s.visit_id,
        confirmed: true,
        unit_id: s.unit_id,
        customer_id: Uuid::nil(),
        place_id: s.place_id,
        jobs: Vec::new(),
        opens_on: s.opens_on,
        closes_on: s.closes_on,
        minutes: s.minutes,
        reason: String::new(),
        expected_dose_ml: s.expected_dose_ml,
        placed: None,
        why: String::new(),
    };
    Some(Draft { visit, candidate: Some(candidate) })
}

/// What leaving a visit out of a week, or being late with it, is weighed by.
pub(super) struct Worth {
    pub(super) monday: Date,
    pub(super) prices: Prices,
    /// Units whose visit must be made in it.
    pub(super) musts: Vec<Uuid>,
}

impl Worth {
    /// Penalty of leaving it out, and the price of each day after its window. The water's forecast narrows the window that the
    /// penalty goes by.
    fn of(&self, p: &Proposal, season: Option<Date>) -> (i64, i64) {
        let penalties = Penalties::default();
        let last = p.water.as_ref().and_then(|w| w.last_test.map(|t| verdict(w.programme.levels, t.level)));
        let window = narrowed(p.visit.window, p.test_by);
        let alone = penalty(window, self.monday, last, p.visit.is_asked(), &penalties);
        let penalty = planned_penalty(alone, season, self.monday, &penalties);
        (i64::from(penalty), late_price(self.prices.late_minutes_a_day, last, window != p.visit.window))
    }
}

/// A visit that is due, with what it is worth.
pub(super) fn proposed(p: &Proposal, worth: &Worth, season: Option<Date>, dose: Option<i64>) -> Draft {
    let id = Uuid::now_v7();
    let minutes = i32::try_from(p.visit.minutes).unwrap_or(i32::MAX).max(1);
    let set_up = i32::try_from(p.visit.setup_minutes).unwrap_or(0).min(minutes);
    let (penalty, late) = worth.of(p, season);
    let candidate = p.pin.map(|pin| Candidate {
        visit_id: id,
        place_id: p.place_id,
        pin,
        minutes: minutes - set_up,
        set_up,
        opens: p.visit.window.opens(),
        closes: p.visit.window.closes(),
        penalty,
        skills: p.visit.skills.iter().cloned().collect(),
        load_ml: dose.unwrap_or(0),
        product: p.water.as_ref().and_then(|w| w.product.as_ref().map(|p| p.0)),
        held: Held::Free,
        late_per_day: Some(late),
        must: worth.musts.contains(&p.unit_id),
        suits: p.suits.clone(),
    });
    let reasons: Vec<&str> = p.visit.reasons().collect();
    let no_pin = format!("{} has no pin on the map. Set one on the customer’s page.", p.place_name);
    let visit = NewVisit {
        id,
        confirmed: false,
        unit_id: p.unit_id,
        customer_id: p.customer_id,
        place_id: p.place_id,
        jobs: p.visit.jobs.iter().map(|j| j.kind.clone()).collect(),
        opens_on: p.visit.window.opens(),
        closes_on: p.visit.window.closes(),
        minutes,
        reason: reasons.join(". "),
        expected_dose_ml: dose,
        placed: None,
        why: if candidate.is_none() { no_pin } else { String::new() },
    };
    Draft { visit, candidate }
}
