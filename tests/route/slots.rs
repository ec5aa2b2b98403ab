//! "What if": the cheapest slots against every position tried with the checker; and what a placed visit costs.

use embertide::route::{Lock, Problem, Visit, check, shares, what_if};

use crate::world::{Size, line, plan, random_week, shift, visit};

#[test]
fn the_first_slot_is_the_cheapest_there_is() {
    let mut told = 0;
    for seed in 0..200 {
        let week = random_week(seed, Size { days: 3, technicians: 2, visits: 10, rough: false });
        let found = plan(&week, seed, 100);
        for v in 0..week.visits().len() {
            let mut without = found.routes.clone();
            for route in &mut without {
                route.retain(|&j| j != v);
            }
            let Ok(base) = check(&week, &without) else { continue };
            let mut best = None;
            for k in 0..without.len() {
                for at in 0..=without[k].len() {
                    let mut with = without.clone();
                    with[k].insert(at, v);
                    let more = check(&week, &with).ok().map(|t| t.drive_s - base.drive_s);
                    best = [best, more].into_iter().flatten().min();
                }
            }
            let slots = what_if(&week, &found.routes, v);
            assert_eq!(slots.first().map(|s| s.drive_s), best, "seed {seed} visit {v}");
            assert!(slots.is_sorted_by_key(|s| s.costs) && slots.len() <= 5);
            told += slots.len();
        }
    }
    assert!(told > 500, "{told}");
}

/// Places 10 and 30 min out on one road: the nearer costs no driving once the farther is on the route.
#[test]
fn a_visit_on_the_way_costs_its_time_on_site_only() {
    let problem = Problem::new(1, vec![shift(0, 0)], vec![visit(1), visit(2)], line(&[0, 10, 30])).unwrap();
    let got = shares(&problem, &[vec![0, 1]]);
    assert_eq!((got[0].drive_s, got[0].work_s), (0, 3600));
    assert_eq!((got[1].drive_s, got[1].work_s), (2400, 2400 + 3600));
    let slots = what_if(&problem, &[vec![1]], 0);
    assert_eq!((slots[0].position, slots[0].drive_s, slots[0].start), (0, 0, 8 * 3600 + 600));
    assert_eq!(what_if(&problem, &[vec![1]], 7), []);
    let elsewhere = Visit { lock: Lock::Technician(1), ..visit(1) };
    let problem = Problem::new(1, vec![shift(0, 0)], vec![elsewhere], line(&[0, 10])).unwrap();
    assert_eq!(what_if(&problem, &[vec![]], 0), []);
}
