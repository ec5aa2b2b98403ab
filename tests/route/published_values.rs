//! Published instances reach their known values with a fixed number of steps. Sources: tests/reference/routes/SOURCE.md.

use embertide::route::check;

use crate::published::{File, Unit};
use crate::world::plan;

#[test]
fn the_prize_collecting_instance_reaches_its_known_value() {
    let problem = File::read("p06-2-50").problem(Unit::TenthsCut);
    let plan = plan(&problem, 1, 20_000);
    assert_eq!(check(&problem, &plan.routes).unwrap().objective, 7269);
}

/// Vehicles that may not go everywhere and a longest route with a free start; planned in hundredths, weighed in thousandths.
#[test]
fn the_instance_with_a_longest_route_reaches_its_known_value() {
    let file = File::read("PR01");
    let problem = file.problem(Unit::Hundredths);
    let plan = plan(&problem, 1, 20_000);
    assert!(check(&problem, &plan.routes).is_ok());
    assert_eq!(file.thousandths(&problem, &plan.routes), 1_655_420);
}
