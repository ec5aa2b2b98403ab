//! How much worse a step may be and still be kept: the temperature, from the first step to the last, and how often it is cooled
//! down.

use super::SEASON_SHIFTS;
use super::state::State;
use crate::route::problem::Problem;

/// Start temperature as a share of the mean leg: for a week or two where much is left out.
const CROWDED_HEAT: f64 = 2.0;
/// The same where nearly everything fits.
const WEEK_HEAT: f64 = 0.6;
/// The same for a whole season.
const SEASON_HEAT: f64 = 0.7;
/// End temperature as a share of the mean leg.
const END_HEAT: f64 = 0.024;
/// The same for a search that goes on from a plan.
const WARM_END_HEAT: f64 = 0.006;
/// Share of the start temperature for a season that goes on from a plan.
const WARM: f64 = 0.15;
/// The start temperature of a week that goes on from a plan, as a share of the mean leg. It begins at that plan ...
const FROM_PLAN_HEAT: f64 = 1.0;
/// ... so many times: each is soon stuck, and elsewhere.
const FROM_PLAN: f64 = 12.0;
/// Up to so many visits are planned anew several times: they are soon settled, and not always well.
pub(super) const FEW_VISITS: usize = 120;
/// So often from nothing, ...
const AFRESH: f64 = 10.0;
/// ... in this part of the search; ...
const AFRESH_UNTIL: f64 = 0.5;
/// ... then so often from two former plans crossed, ...
const CROSSED: f64 = 90.0;
/// ... at this share of the start temperature.
const CROSSED_HEAT: f64 = 0.2;
/// At most so many times the price of a visit at the start: heat far above the prices would take visits for worth nothing.
const PRICE_HEAT: f64 = 2.0;
/// At most this share of the way to a near visit at the end, ...
const NEAR_END_HEAT: f64 = 0.12;
/// ... which is so many-th nearest, ...
const NEAR: usize = 5;
/// ... in the mean over so many visits.
const SAMPLE: usize = 32;

/// What heat is measured by.
#[derive(Clone, Copy)]
pub(super) struct Scale {
    /// seconds of a drive between two visits, in the mean over some pairs
    leg: f64,
    /// seconds to a near visit elsewhere, in the mean over some visits
    near: f64,
    /// price of leaving a visit out, in the mean
    price: f64,
}

impl Scale {
    pub(super) fn of(problem: &Problem) -> Self {
        let count = problem.visits().len();
        let pairs = (0..count).flat_map(|x| [1, 7, 31].map(|jump| (x, (x * 7919 + jump) % count)));
        let leg = mean(pairs.filter_map(|(a, b)| drive(problem, a, b)));
        let sampled = (0..count).step_by(count.div_ceil(SAMPLE).max(1));
        let near = mean(sampled.filter_map(|v| near_leg(problem, v)));
        #[expect(clippy::cast_precision_loss, reason = "prices are far below 2^53")]
        let price = mean((0..count).map(|v| problem.price_of(v) as f64));
        Self { leg, near, price }
    }
}

fn drive(problem: &Problem, a: usize, b: usize) -> Option<f64> {
    let place = |v: usize| problem.visits()[v].place;
    if a == b { None } else { problem.drive().seconds(place(a), place(b)).map(f64::from) }
}

/// The drive to the [`NEAR`]-th nearest visit at another place, or to the farthest if there are fewer.
fn near_leg(problem: &Problem, v: usize) -> Option<f64> {
    let mut all: Vec<f64> = (0..problem.visits().len()).filter_map(|other| drive(problem, v, other)).filter(|&leg| leg > 0.0).collect();
    let nth = NEAR.min(all.len()).checked_sub(1)?;
    Some(*all.select_nth_unstable_by(nth, f64::total_cmp).1)
}

/// 0 when there is nothing.
fn mean(all: impl Iterator<Item = f64>) -> f64 {
    let (sum, count) = all.fold((0.0, 0.0), |(sum, count), x| (sum + x, count + 1.0));
    if count > 0.0 { sum / count } else { 0.0 }
}

/// The temperature over the course of a search, in seconds.
pub(super) struct Heat {
    pub(super) start: f64,
    end: f64,
    rounds: Rounds,
    /// how often it has been cooled down
    round: f64,
}

/// How often it is cooled down, and what each time begins with.
#[derive(Clone, Copy)]
enum Rounds {
    /// once
    Once,
    /// [`AFRESH`] and [`CROSSED`]
    Few,
    /// [`FROM_PLAN`]
    FromPlan,
}

/// What a step begins with.
pub(super) enum Round {
    /// the round goes on
    Same,
    /// a new one, from nothing
    Afresh,
    /// a new one, from two former plans crossed
    Crossed,
    /// a new one, from the first plan
    FromFirst,
}

impl Heat {
    /// For a search from nothing, or a `warm` one that goes on from a plan; for a `whole` one or a part of it.
    pub(super) fn of(scale: Scale, state: &State<'_>, warm: bool, whole: bool) -> Self {
        let ground = state.ground;
        let week = ground.hours.len() < SEASON_SHIFTS && whole;
        let share = match (warm, week) {
            (true, true) => FROM_PLAN_HEAT,
            (true, false) => SEASON_HEAT * WARM,
            (false, true) if state.crowded() => CROWDED_HEAT,
            (false, true) => WEEK_HEAT,
            (false, false) => SEASON_HEAT,
        };
        let start = (scale.leg * share).min(scale.price * PRICE_HEAT);
        let end = if warm { WARM_END_HEAT } else { END_HEAT };
        let end = (scale.leg.min(scale.price) * end).min(scale.near * NEAR_END_HEAT);
        let rounds = if warm && week {
            Rounds::FromPlan
        } else if whole && ground.open.len() <= FEW_VISITS {
            Rounds::Few
        } else {
            Rounds::Once
        };
        Self { start: start.max(1.0), end: end.max(0.1), rounds, round: 0.0 }
    }

    /// The number of the round at this share of the search, and the part of the round that is over.
    fn round_at(&self, share: f64) -> (f64, f64) {
        let (rounds, all) = match self.rounds {
            Rounds::Once => return (0.0, share),
            Rounds::FromPlan => (share * FROM_PLAN, FROM_PLAN),
            Rounds::Few if share < AFRESH_UNTIL => (share / AFRESH_UNTIL * AFRESH, AFRESH + CROSSED),
            Rounds::Few => (AFRESH + (share - AFRESH_UNTIL) / (1.0 - AFRESH_UNTIL) * CROSSED, AFRESH + CROSSED),
        };
        let round = rounds.floor().min(all - 1.0);
        (round, rounds - round)
    }

    /// Whether a new round begins, and from what.
    pub(super) fn next_round(&mut self, share: f64) -> Round {
        let (round, _) = self.round_at(share);
        if std::mem::replace(&mut self.round, round) >= round {
            return Round::Same;
        }
        match self.rounds {
            Rounds::FromPlan => Round::FromFirst,
            _ if round < AFRESH => Round::Afresh,
            _ => Round::Crossed,
        }
    }

    pub(super) fn at(&self, share: f64) -> f64 {
        let (round, over) = self.round_at(share);
        let is_crossed = matches!(self.rounds, Rounds::Few) && round >= AFRESH;
        let start = if is_crossed { self.start * CROSSED_HEAT } else { self.start };
        start * (self.end / start).powf(over)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_search_with_rounds_cools_down_in_each_and_begins_anew_before_it_crosses_plans() {
        let mut heat = Heat { start: 600.0, end: 6.0, rounds: Rounds::Few, round: 0.0 };
        let (mut afresh, mut crossed, mut before) = (0, 0, f64::MAX);
        for step in 0..6000 {
            let share = f64::from(step) / 6000.0;
            let round = heat.next_round(share);
            let now = heat.at(share);
            assert!((6.0..=600.0).contains(&now), "{now} at {share}");
            match round {
                Round::Same => assert!(now < before, "it cools down: {now} after {before} at {share}"),
                Round::Afresh => {
                    assert!(before < 7.0 && now > 500.0 && crossed == 0, "{now} after {before} at {share}");
                    afresh += 1;
                }
                Round::FromFirst => panic!("there is no plan to begin with"),
                Round::Crossed => {
                    assert!(before < 7.0 && (100.0..=120.0).contains(&now), "{now} after {before} at {share}");
                    crossed += 1;
                }
            }
            before = now;
        }
        assert_eq!((afresh, crossed), (9, 90), "the first round is under way at the start");
        assert!(before < 7.0);
    }

    #[test]
    fn a_week_that_goes_on_from_a_plan_begins_at_that_plan_again_and_again() {
        let mut heat = Heat { start: 600.0, end: 6.0, rounds: Rounds::FromPlan, round: 0.0 };
        let begun: Vec<u32> = (0..1200).filter(|&step| matches!(heat.next_round(f64::from(step) / 1200.0), Round::FromFirst)).collect();
        let expected: Vec<u32> = (1..12).map(|n| n * 100).collect();
        assert_eq!(begun, expected, "the first time it is there already");
        for step in begun {
            let share = f64::from(step) / 1200.0;
            assert!(heat.at(share) > 590.0 && heat.at(share - 1e-4) < 6.1, "hot, and cooled down just before");
        }
        assert!(heat.at(1.0) < 6.1);
    }
}
