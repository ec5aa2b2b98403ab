//! The moves of the search: take strings of stops out, put visits in, trim what does not pay.
//!
//! After "Slack Induction by String Removals for Vehicle Routing Problems", Transportation Science 54(2), 2020
//! (the idea and the settings 10, 10, 0.01 and 0.5 from memory), widened here by days, prices, lunch and
//! the move that puts a whole cluster in.

use super::ground::NEVER;
use super::state::{OUT, State};

/// Mean number of stops taken out in a step.
const MEAN_OUT: f64 = 10.0;
/// Longest string taken out of one route.
const LONGEST: f64 = 10.0;
/// Of 1024 looks at an insertion, how many are skipped.
const BLINKS: u64 = 10;
/// One step in so many tries a cluster of visits that are out.
const CLUSTER_EVERY: usize = 8;
/// One step in so many passes over some positions.
const LOOSE_EVERY: usize = 16;
/// Of the visits that were out before the step, at least so many near its focus are tried ...
const REACH_FROM: usize = 8;
/// ... and up to so many more.
const REACH_MORE: usize = 40;
/// Share of the steps that try visits by their worth for the time they take, when some were out.
const BY_WORTH: f64 = 0.85;
/// How far chance stretches that worth: up to three times.
const STRETCH: i64 = 2;

/// Bits that hold any visit: there are at most 20,000. What is sorted by fits in the 46 above and a sign.
const VISIT_BITS: u32 = 15;

impl State<'_> {
    /// First plan: every visit that pays is put in.
    pub(super) fn fill(&mut self) {
        self.begin();
        self.was_out.fill(0);
        self.put_in(false);
        self.note_best();
    }

    /// One step: take out, put in, keep it if it is better or if chance at this temperature allows.
    pub(super) fn advance(&mut self, temperature: f64) {
        self.begin();
        let cluster = !self.out.is_empty() && self.random.one_in(CLUSTER_EVERY);
        self.focus = OUT;
        if cluster {
            self.pick_cluster();
        }
        if !cluster || self.random.one_in(2) {
            self.take_strings();
        }
        self.put_in(cluster);
        if cluster {
            self.trim();
        }
        #[expect(clippy::cast_precision_loss, reason = "costs are far below 2^53")]
        let rise = self.rise() as f64;
        if rise < -temperature * self.random.share().max(1e-12).ln() {
            self.note_best();
        } else {
            self.undo();
        }
    }

    /// Marks a visit that is out and its nearest that are out: they go in at any price.
    fn pick_cluster(&mut self) {
        let want = 4 + self.random.below(16);
        let seed = self.out[self.random.below(self.out.len())];
        self.focus = seed;
        let out = |j: &&u32| self.at[**j as usize] == OUT;
        for &j in self.ground.tasks[seed as usize].near.iter().filter(out).take(want) {
            self.forced[j as usize] = self.step;
        }
    }

    /// Takes a string of stops out of each of several routes near a visit drawn by lot.
    #[expect(clippy::cast_precision_loss, reason = "counts are small")]
    fn take_strings(&mut self) {
        let used = self.routes.iter().filter(|r| !r.seq.is_empty()).count();
        if used == 0 {
            return;
        }
        let stops: usize = self.routes.iter().map(|r| r.seq.len()).sum();
        let longest = LONGEST.min(stops as f64 / used as f64);
        let strings = self.random.up_to(4.0 * MEAN_OUT / (1.0 + longest) - 1.0);
        let ground = self.ground;
        let seed = if self.focus == OUT { ground.open[self.random.below(ground.open.len())] } else { self.focus };
        self.focus = seed;
        let mut cut = 0;
        for &j in &ground.tasks[seed as usize].near {
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

    /// Takes out a string of stops that holds visit `j`; half the time it leaves some stops inside it standing.
    #[expect(clippy::cast_precision_loss, reason = "counts are small")]
    fn cut_string(&mut self, j: u32, k: usize, longest: f64) {
        let len = self.routes[k].seq.len();
        let Some(here) = self.routes[k].seq.iter().position(|&x| x == j) else {
            return;
        };
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

    /// Puts visits that are out where they cost least, in an order drawn by lot, as long as they pay.
    /// Visits that were out before the step are tried only where something changed, but for one step in 16.
    fn put_in(&mut self, cluster: bool) {
        let mut order = std::mem::take(&mut self.order);
        self.pick(cluster);
        self.sort_picked(&mut order);
        let loose = self.random.one_in(LOOSE_EVERY);
        let everywhere = self.random.one_in(16);
        for packed in &order {
            let j = visit_of(*packed);
            let forced = cluster && self.forced[j as usize] == self.step;
            let waiting = self.was_out[j as usize] == self.step && !everywhere && !forced;
            if let Some((k, position)) = self.choose(j, forced, waiting, loose) {
                self.drop_out(j);
                self.put(j, k, position);
            }
        }
        self.order = order;
    }

    /// The shift and position where visit `j` costs least, if it pays. A visit that has been `waiting` is tried in
    /// the touched shifts only: elsewhere nothing has changed.
    fn choose(&mut self, j: u32, forced: bool, waiting: bool, loose: bool) -> Option<(usize, u32)> {
        self.gather_shifts(j, waiting);
        let mut least = if forced { i64::from(NEVER) } else { self.ground.tasks[j as usize].price };
        let mut chosen = None;
        for x in 0..self.shifts.len() {
            let k = self.shifts[x] as usize;
            let (added, position) = if loose { self.loose_insertion(j, k) } else { self.insertion(j, k, forced) };
            if added == NEVER {
                continue;
            }
            let costs = self.costs(j, k, added, position);
            if costs < least && self.random.next() & 1023 >= BLINKS {
                least = costs;
                chosen = Some((k, position));
            }
        }
        chosen
    }

    /// Which of the visits that are out this step tries: those it took out itself, those it forces, and of the others
    /// the nearest to its focus; all of them now and then.
    fn pick(&mut self, cluster: bool) {
        let mut picked = std::mem::take(&mut self.picked);
        picked.clear();
        let reach = REACH_FROM + self.random.below(REACH_MORE);
        if self.focus == OUT || reach >= self.out.len() || self.random.one_in(16) {
            picked.extend_from_slice(&self.out);
        } else {
            let fresh = |j: u32| self.was_out[j as usize] != self.step || (cluster && self.forced[j as usize] == self.step);
            picked.extend(self.out.iter().copied().filter(|&j| fresh(j)));
            let near = self.ground.tasks[self.focus as usize].near.iter().copied();
            picked.extend(near.filter(|&j| self.at[j as usize] == OUT && !fresh(j)).take(reach));
        }
        self.picked = picked;
    }

    /// The picked visits in the order in which to try them; mostly locked ones first.
    /// Each number holds the visit in its lowest [`VISIT_BITS`] and what it is sorted by above.
    fn sort_picked(&mut self, order: &mut Vec<i64>) {
        let by_worth = self.many_were_out() && self.random.share() < BY_WORTH;
        let mode = if by_worth { 5 } else { self.random.below(12) };
        let locked_first = !self.random.one_in(4);
        order.clear();
        for &j in &self.picked {
            let task = &self.ground.tasks[j as usize];
            let chance = (self.random.next() >> 18).cast_signed();
            let key = match mode {
                0..=3 => chance,
                4..=6 => -task.density * (1024 + STRETCH * (chance & 1023)),
                7 => -i64::from(task.service),
                8 => -i64::from(task.far),
                9 => i64::from(task.far),
                _ => task.open,
            };
            let first = if task.locked && locked_first { 1 << 62 } else { 0 };
            order.push((key << VISIT_BITS) + i64::from(j) - first);
        }
        order.sort_unstable();
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
        let (ground, route) = (self.ground, &self.routes[k]);
        let mut best = (0, None);
        let mut worth = 0;
        for (i, &j) in route.seq.iter().enumerate() {
            let price = ground.tasks[j as usize].price - ground.bias(j, k);
            worth += price;
            let next = route.nodes.get(i + 2).map_or(ground.hours[k].depot, |n| n.place);
            let (here, there) = (&route.nodes[i], &route.nodes[i + 1]);
            let gain = i64::from(here.leg + there.leg - ground.leg(here.place, next)) - price;
            if gain > best.0 {
                best = (gain, Some(Goes::Stop(i)));
            }
        }
        if i64::from(route.drive) - worth > best.0 { Some(Goes::Route) } else { best.1 }
    }
}

/// The visit in the lowest bits.
#[expect(clippy::cast_sign_loss, reason = "only the lowest bits are kept")]
fn visit_of(packed: i64) -> u32 {
    (packed & ((1 << VISIT_BITS) - 1)) as u32
}

enum Goes {
    Stop(usize),
    Route,
}
