//! Putting visits back by regret: first the one that would lose most if its cheapest place were taken by another.
//!
//! It takes longer than one after the other, and pays where shifts differ and nearly everything fits. The idea is that of regret
//! insertion in "A General Heuristic for Vehicle Routing Problems", Computers & Operations Research 34(8), 2007 (from memory).

use super::heat::FEW_VISITS;
use super::insert::{Spot, Terms};
use super::state::State;

/// Share of the steps that go by regret, were all shifts unlike each other.
const SHARE: f64 = 0.3;
/// The same for few visits.
const SHARE_OF_FEW: f64 = 0.6;

/// A visit that is to be put in, with its cheapest place and the cheapest in another shift.
#[derive(Clone, Copy)]
struct Candidate {
    terms: Terms,
    best: Option<Spot>,
    next: Option<Spot>,
}

impl Candidate {
    /// Takes note of a place in a shift that is not known yet.
    fn note(&mut self, spot: Spot) {
        if self.best.is_none_or(|best| spot.costs < best.costs) {
            (self.best, self.next) = (Some(spot), self.best);
        } else {
            self.next = Some(spot);
        }
    }

    fn is_in(&self, shift: u32) -> bool {
        [self.best, self.next].into_iter().flatten().any(|spot| spot.shift == shift)
    }
}

impl State<'_> {
    /// Settles how many steps go by regret.
    pub(super) fn weigh_regret(&mut self) {
        let ground = self.ground;
        let share = if ground.open.len() <= FEW_VISITS { SHARE_OF_FEW } else { SHARE };
        self.regret = if self.crowded() { 0.0 } else { share * ground.alike.unlike() };
    }

    /// Whether this step goes by regret.
    pub(super) fn goes_by_regret(&mut self) -> bool {
        self.regret > 0.0 && !self.thorough && self.random.share() < self.regret
    }

    /// Puts visits in as long as they pay.
    pub(super) fn put_in_by_regret(&mut self, all: Vec<Terms>, loose: bool) {
        let fresh = |terms| Candidate { terms, best: None, next: None };
        let mut left: Vec<Candidate> = all.into_iter().map(fresh).collect();
        for candidate in &mut left {
            self.look_everywhere(candidate, loose);
        }
        while let Some((x, spot)) = self.most_regret(&left) {
            self.put_at(left.swap_remove(x).terms.visit, spot);
            for candidate in left.iter_mut().filter(|c| c.terms.waiting || c.best.is_some()) {
                self.look_again(candidate, spot.shift, loose);
            }
        }
    }

    /// Which of the candidates loses most by waiting, and its cheapest place; none when no one pays any more.
    fn most_regret(&self, left: &[Candidate]) -> Option<(usize, Spot)> {
        let regret = |c: &Candidate, best: Spot| c.next.map_or(self.ceiling(c.terms), |next| next.costs) - best.costs;
        let mut most: Option<(i64, usize, Spot)> = None;
        for (x, candidate) in left.iter().enumerate() {
            let Some(best) = candidate.best else { continue };
            let loses = regret(candidate, best);
            if most.is_none_or(|m| loses > m.0) {
                most = Some((loses, x, best));
            }
        }
        most.map(|(_, x, spot)| (x, spot))
    }

    fn look_everywhere(&mut self, candidate: &mut Candidate, loose: bool) {
        (candidate.best, candidate.next) = (None, None);
        self.each_shift(candidate.terms, |state, k| state.look_in(candidate, k, loose));
    }

    /// The route of a shift has changed.
    fn look_again(&mut self, candidate: &mut Candidate, shift: u32, loose: bool) {
        if candidate.is_in(shift) {
            self.look_everywhere(candidate, loose);
        } else if self.may_fit(candidate.terms.visit, shift as usize) {
            self.look_in(candidate, shift as usize, loose);
        }
    }

    fn look_in(&mut self, candidate: &mut Candidate, k: usize, loose: bool) {
        let ceiling = self.ceiling(candidate.terms);
        let below = candidate.next.map_or(ceiling, |next| next.costs);
        if let Some(spot) = self.look(candidate.terms, k, loose, below) {
            candidate.note(spot);
        }
    }
}
