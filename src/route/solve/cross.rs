//! Crossing: a round of the search begins with the plan of one former round that gets some routes of another's.
//!
//! Rounds that begin from nothing get stuck in different places, and what one has wrong another mostly has right. Exchanging whole
//! routes between plans is the idea of "A Memetic Algorithm for the Pickup and Delivery Problem with Time Windows Using Selective
//! Route Exchange Crossover", PPSN XI, LNCS 6238, 2010 (from memory); here they are drawn by lot, and the round mends the rest.

use super::state::State;

/// So many plans of former rounds are kept.
const KEPT: usize = 10;
/// Of so many routes that a plan has, at most one is given to another.
const GIVES_ONE_IN: usize = 3;
/// So often another pair is drawn, when the plans have the drawn routes in common.
const DRAWS: usize = 8;

/// The best plans of former rounds, the cheapest first; no two cost the same.
#[derive(Default)]
pub(super) struct Former(Vec<Ended>);

struct Ended {
    cost: i64,
    routes: Vec<Vec<u32>>,
}

impl Former {
    fn add(&mut self, cost: i64, routes: &[Vec<u32>]) {
        if let Err(place) = self.0.binary_search_by_key(&cost, |plan| plan.cost) {
            self.0.insert(place, Ended { cost, routes: routes.to_vec() });
            self.0.truncate(KEPT);
        }
    }
}

impl State<'_> {
    /// The best plan of all rounds, and its cost.
    pub(super) fn best_of_all(&self) -> (&[Vec<u32>], i64) {
        match self.former.0.first() {
            Some(plan) if plan.cost < self.best_cost => (&plan.routes, plan.cost),
            _ => (&self.best, self.best_cost),
        }
    }

    /// A round begins with a first plan once more.
    pub(super) fn start_over(&mut self) {
        self.end_round();
        self.begin();
        for k in 0..self.routes.len() {
            self.take(k, |_| true);
        }
        self.fill();
    }

    /// A round begins with two former plans crossed; with the cheapest as it is while there is no other.
    pub(super) fn cross(&mut self) {
        self.end_round();
        let former = std::mem::take(&mut self.former);
        let count = former.0.len();
        for _ in 0..DRAWS {
            // the lower of two: cheap plans more often
            let takes = self.random.below(count).min(self.random.below(count));
            let gives = self.random.below(count);
            let plan = &former.0[takes];
            self.return_to(&plan.routes, plan.cost);
            self.begin();
            if takes != gives && self.take_routes_of(&former.0[gives].routes) {
                break;
            }
        }
        self.former = former;
        self.fill();
    }

    /// The best plan so far is kept as a former one; the next best is that of a new round.
    fn end_round(&mut self) {
        self.former.add(self.best_cost, &self.best);
        self.best_cost = i64::MAX;
    }

    /// Takes some routes of another plan, each in the place of that it has most visits in common with; false if they are here already.
    fn take_routes_of(&mut self, plan: &[Vec<u32>]) -> bool {
        let used: Vec<usize> = (0..plan.len()).filter(|&k| !plan[k].is_empty()).collect();
        if used.is_empty() {
            return false;
        }
        let mut changed = false;
        for _ in 0..=self.random.below((used.len() / GIVES_ONE_IN).max(1)) {
            let from = used[self.random.below(used.len())];
            let stops = &plan[from];
            let common = |k: &usize| stops.iter().filter(|&&j| self.at[j as usize] as usize == *k).count();
            let alike = self.ground.alike.to(from).iter().copied();
            let Some(k) = alike.filter(|&k| !self.touched(k)).max_by_key(common) else { continue };
            if self.routes[k].seq != *stops {
                self.replace_route(k, stops);
                changed = true;
            }
        }
        changed
    }

    /// Gives shift `k` these stops in the place of its own.
    fn replace_route(&mut self, k: usize, stops: &[u32]) {
        self.take(k, |_| true);
        for &j in stops {
            let at = self.at[j as usize] as usize;
            if let Some(route) = self.routes.get(at) {
                let here: Vec<bool> = route.seq.iter().map(|j| stops.contains(j)).collect();
                self.take(at, |position| here[position]);
            }
        }
        self.lay(k, stops);
    }
}

#[cfg(test)]
mod tests {
    use super::super::ground::Ground;
    use super::*;
    use crate::route::{Lock, Matrix, Problem, Shift, Skills, Visit, Window};

    /// Two technicians alike on one day; four visits, ten minutes from each other.
    fn two_routes() -> Problem {
        let shift = |technician| Shift {
            technician,
            day: 0,
            starts: 8 * 3600,
            ends: 17 * 3600,
            depot: 0,
            lunch: None,
            capacity_ml: 10_000,
            skills: Skills::NONE,
            most_s: None,
            overtime: None,
        };
        let visit = |place| Visit {
            place,
            service_s: 600,
            set_up_s: 0,
            windows: vec![Window { day: 0, from: 0, to: 86_399 }],
            penalty: 9000,
            skills: Skills::NONE,
            load_ml: 0,
            lock: Lock::Free,
            late: None,
            told: None,
        };
        let legs = (0..25).map(|cell| if cell % 6 == 0 { 0 } else { 600 }).collect();
        let drive = Matrix::new(5, legs).unwrap();
        Problem::new(1, vec![shift(0), shift(1)], (1..5).map(visit).collect(), drive).unwrap()
    }

    #[test]
    fn a_route_takes_the_place_of_that_which_it_has_most_in_common_with_and_nobody_is_served_twice() {
        let problem = two_routes();
        let ground = Ground::new(&problem);
        let (one, other) = ([vec![0, 1], vec![2, 3]], [vec![3, 2, 1], vec![0]]);
        let mut seen = [0, 0];
        for seed in 0..20 {
            let mut state = State::new(&ground, seed);
            state.return_to(&one, 0);
            state.begin();
            assert!(state.take_routes_of(&other));
            let routes: Vec<&[u32]> = state.routes.iter().map(|r| &r.seq[..]).collect();
            let long: [&[u32]; 2] = [&[0], &[3, 2, 1]];
            let short: [&[u32]; 2] = [&[0], &[2, 3]];
            seen[usize::from(routes == short)] += 1;
            assert!(routes == long || routes == short, "{routes:?}");
            assert_eq!(state.out, if routes == long { vec![] } else { vec![1] });
        }
        assert!(seen.iter().all(|&n| n > 0), "either route may be given: {seen:?}");
    }

    #[test]
    fn a_plan_gives_nothing_to_one_that_is_the_same() {
        let problem = two_routes();
        let ground = Ground::new(&problem);
        let plan = [vec![0, 1], vec![2, 3]];
        let mut state = State::new(&ground, 1);
        state.return_to(&plan, 0);
        state.begin();
        assert!(!state.take_routes_of(&plan) && !state.take_routes_of(&[vec![], vec![]]));
    }

    #[test]
    fn the_cheapest_plans_are_kept_and_none_twice() {
        let mut former = Former::default();
        for cost in [70, 50, 90, 50, 10, 70].into_iter().chain(100..120) {
            former.add(cost, &[]);
        }
        let costs: Vec<i64> = former.0.iter().map(|plan| plan.cost).collect();
        assert_eq!(costs, [10, 50, 70, 90, 100, 101, 102, 103, 104, 105]);
    }
}
