//! The moves of the search: take strings of stops out, put visits in, trim what does not pay.
//!
//! After "Slack Induction by String Removals for Vehicle Routing Problems", Transportation Science 54(2), 2020
//! (the idea and the settings 10, 10, 0.01 and 0.5 from memory), widened here by days, prices, lunch and
//! the moves that put a whole cluster in or fill an empty shift.

use super::SEASON_SHIFTS;
use super::insert::Terms;
use super::state::{OUT, State};

/// Mean number of stops taken out in a step.
const MEAN_OUT: f64 = 10.0;
/// Longest string taken out of one route.
const LONGEST: f64 = 10.0;
/// From this many visits on, the search stays in one neighbourhood for a while ...
const MANY_VISITS: usize = 500;
/// ... for so many steps ...
const STAY: u64 = 300;
/// ... round so many visits.
const ROUND_HOME: usize = 200;
/// One step in so many tries a cluster of visits that are out.
const CLUSTER_EVERY: usize = 8;
/// In so many of these, if many are out and a shift is empty, it gets a whole route of them instead: where routes are long, a
/// cluster is too little to pay for the way out and back.
const FILLS_SHIFT: f64 = 0.3;

/// What free time is worth while a week has more visits than fit: an hour in one shift so much of an hour, two hours four times that.
/// Where it lies together it makes room for one visit more, which no price of a plan says. While a shift is empty there is room.
const FREE_TIME: f64 = 0.2;
/// Below this temperature, in seconds, it counts less and less.
const FREE_TIME_UNTIL: f64 = 500.0;
const HOUR_S: f64 = 3600.0;

impl State<'_> {
    /// First plan: every visit that pays is put in.
    pub(super) fn fill(&mut self) {
        self.begin();
        self.thorough = true;
        self.put_in(false);
        self.thorough = false;
        self.note_best();
    }

    /// One step: take out, put in, keep it if it is better or if chance at this temperature allows.
    pub(super) fn advance(&mut self, temperature: f64) {
        self.begin();
        let adds = !self.out.is_empty() && self.random.one_in(CLUSTER_EVERY);
        let fills = adds && self.crowded() && self.used < self.routes.len() && self.random.share() < FILLS_SHIFT;
        self.focus = OUT;
        if fills {
            self.fill_shift();
        } else if adds {
            self.pick_cluster();
        }
        if !adds || self.random.one_in(2) {
            self.take_strings();
        }
        self.put_in(adds && !fills);
        if adds {
            self.trim();
        }
        #[expect(clippy::cast_precision_loss, reason = "costs are far below 2^53")]
        let rise = self.rise() as f64 - self.free_time_gained() * (temperature / FREE_TIME_UNTIL).min(1.0);
        if rise < -temperature * self.random.share().max(1e-12).ln() {
            self.note_best();
            self.remember();
        } else {
            self.undo();
        }
    }

    /// What the free time that came or went in this step is worth, in seconds.
    fn free_time_gained(&self) -> f64 {
        if !self.crowded() || self.used < self.routes.len() || self.routes.len() >= SEASON_SHIFTS {
            return 0.0;
        }
        let worth = |room: i32| FREE_TIME * f64::from(room) * f64::from(room) / HOUR_S;
        let gained = |x| worth(self.room[self.touched_shift(x)]) - worth(self.room_before(x));
        (0..self.touched_shifts()).map(gained).sum()
    }

    /// Marks a visit that is out and its nearest that are out: they go in at any price.
    fn pick_cluster(&mut self) {
        let want = 4 + self.random.below(16);
        let seed = self.out[self.random.below(self.out.len())];
        self.focus = seed;
        let out = |j: &&u32| self.at[**j as usize] == OUT;
        for &j in self.ground.near(seed).iter().filter(out).take(want) {
            self.forced[j as usize] = self.step;
        }
    }

    /// Gives an empty shift a visit that is out, at any price, and then all that pay beside it, the nearest first.
    fn fill_shift(&mut self) {
        let first = self.random.below(self.routes.len());
        let empty = |k: &usize| self.routes[*k].seq.is_empty();
        let Some(k) = (first..self.routes.len()).chain(0..first).find(empty) else { return };
        let (ground, seed) = (self.ground, self.out[self.random.below(self.out.len())]);
        self.focus = seed;
        for &j in ground.near(seed) {
            if self.at[j as usize] != OUT || !self.may_fit(j, k) {
                continue;
            }
            let terms = Terms { visit: j, forced: self.routes[k].seq.is_empty(), waiting: false };
            if let Some(spot) = self.look(terms, k, false, self.ceiling(terms)) {
                self.put_at(j, spot);
            }
        }
    }

    /// Takes a string of stops out of each of several routes near a visit drawn by lot.
    #[expect(clippy::cast_precision_loss, reason = "counts are small")]
    fn take_strings(&mut self) {
        let used = self.used;
        if used == 0 {
            return;
        }
        let stops = self.ground.open.len() - self.out.len();
        let longest = LONGEST.min(stops as f64 / used as f64);
        let strings = self.random.up_to(4.0 * MEAN_OUT / (1.0 + longest) - 1.0);
        let ground = self.ground;
        let seed = if self.focus == OUT { self.draw_seed() } else { self.focus };
        self.focus = seed;
        let mut cut = 0;
        for &j in ground.near(seed) {
            if cut == strings {
                break;
            }
            let k = self.at[j as usize] as usize;
            if self.at[j as usize] == OUT || self.touched(k) {
                continue;
            }
            self.cut_string(j, k, longest);
            cut += 1;
        }
    }

    /// A visit near the present home; the home moves on now and then. Staying in one neighbourhood keeps what is read
    /// in the processor's cache.
    fn draw_seed(&mut self) -> u32 {
        let ground = self.ground;
        if ground.open.len() < MANY_VISITS {
            return ground.open[self.random.below(ground.open.len())];
        }
        if self.home == OUT || self.step.is_multiple_of(STAY) {
            self.home = ground.open[self.random.below(ground.open.len())];
        }
        let near = ground.near(self.home);
        near[self.random.below(near.len().min(ROUND_HOME))]
    }

    /// Takes out a string of stops that holds visit `j`; half the time it leaves some stops inside it standing.
    #[expect(clippy::cast_precision_loss, reason = "counts are small")]
    fn cut_string(&mut self, j: u32, k: usize, longest: f64) {
        let len = self.routes[k].seq.len();
        let here = self.routes[k].seq.iter().position(|&x| x == j).unwrap_or(0);
        let cut = self.random.up_to(longest.min(len as f64)).min(len);
        let mut keep = 0;
        if cut > 1 && cut < len && self.random.one_in(2) {
            keep = 1;
            while cut + keep < len && !(keep >= 3 && self.random.one_in(2)) && self.random.share() > 0.01 {
                keep += 1;
            }
        }
        let total = cut + keep;
        let first = (here + 1).saturating_sub(total);
        let start = first + self.random.below(here.min(len - total) - first + 1);
        let stay = if keep > 0 { start + 1 + self.random.below(cut - 1) } else { start };
        self.take(k, |p| (start..start + total).contains(&p) && !(stay..stay + keep).contains(&p));
    }

    /// Takes out of the touched routes what costs more than it is worth, then whole routes that do not pay.
    fn trim(&mut self) {
        for x in 0..self.touched_shifts() {
            let k = self.touched_shift(x);
            while let Some(goes) = self.worst(k) {
                match goes {
                    Goes::Stop(i) => self.take(k, |p| p == i),
                    Goes::Route => self.take(k, |_| true),
                }
            }
        }
    }

    /// What it pays most to take out of the route of shift `k`.
    fn worst(&self, k: usize) -> Option<Goes> {
        let route = &self.routes[k];
        let mut best = (0, None);
        let mut worth = 0;
        for (i, &j) in route.seq.iter().enumerate() {
            let price = self.worth_at(j, k);
            worth += price;
            let gain = i64::from(self.detour(k, i)) - price;
            if gain > best.0 {
                best = (gain, Some(Goes::Stop(i)));
            }
        }
        if i64::from(route.drive) - worth > best.0 { Some(Goes::Route) } else { best.1 }
    }

    /// How much shorter the route of shift `k` would be without its `i`-th stop.
    pub(super) fn detour(&self, k: usize, i: usize) -> i32 {
        let (ground, route) = (self.ground, &self.routes[k]);
        let next = route.nodes.get(i + 2).map_or(ground.hours[k].depot, |n| n.place);
        let (here, there) = (&route.nodes[i], &route.nodes[i + 1]);
        here.leg + there.leg - ground.leg(here.place, next)
    }
}

enum Goes {
    Stop(usize),
    Route,
}
