//! How near the search comes to the best plans known, and what re-planning and levelling do.
//!
//! `cargo bench --bench routes` runs each instance with twenty seeds (weeks 2 s of processor time each, seasons 10 s with
//! four seeds, the largest published ones 60 s with two), one thread, and prints ratios to tests/reference/routes.csv: best,
//! median, worst. With names after `--` only those: `-- W2 RC208 mend level quick threads`. `-- slower 2 W2` gives twice the seconds, for
//! a machine half as fast: compare the steps a second, since 2 s here may be 1 s elsewhere. `-- write FOLDER` writes the invented
//! instances for tests/reference/routes.py, and `-- plan NAME SECONDS SEED` prints the routes found for one of them, for its checker.
#![expect(clippy::unwrap_used, reason = "a bench that cannot go on has failed")]

#[path = "routes/dice.rs"]
mod dice;
#[path = "routes/invented.rs"]
mod invented;
#[path = "routes/published.rs"]
mod published;

use embertide::route::{Change, Effort, Kind, Lock, Mending, Plan, Problem, Skills, Visit, check, season, solve, solve_paced, what_if};
use invented::{Instance, RECIPES};
use published::{File, Unit};
use std::{collections::HashMap, fs, num::NonZeroUsize, path::Path, sync::atomic::AtomicBool};

/// Processor time of this thread so far, in seconds.
fn processor() -> f64 {
    let stat = fs::read_to_string("/proc/thread-self/schedstat").unwrap();
    stat.split_whitespace().next().unwrap().parse::<f64>().unwrap() / 1e9
}

/// A pace by processor time; the clock is read now and then.
fn pace(seconds: f64) -> impl FnMut(u64) -> f64 {
    let (began, mut again, mut share) = (processor(), 0, 0.0);
    move |steps| {
        if steps >= again {
            again = steps + 64;
            share = (processor() - began) / seconds;
        }
        share
    }
}

fn run(problem: &Problem, seed: u64, seconds: f64) -> Plan {
    let plan = solve_paced(problem, seed, None, &mut pace(seconds), &AtomicBool::new(false), &mut |_| {});
    assert_eq!(check(problem, &plan.routes).unwrap().objective, plan.objective);
    plan
}

fn invented(name: &str) -> Option<Instance> {
    let instance = Instance::new(*RECIPES.iter().find(|r| r.name == name)?);
    let recipe = RECIPES.iter().find(|r| r.name == name)?;
    assert_eq!(instance.mark(), recipe.mark, "{name} is not the instance it was");
    Some(instance)
}

fn best_known() -> HashMap<String, f64> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/reference/routes.csv");
    let text = fs::read_to_string(path).unwrap();
    let row = |line: &str| {
        let cells: Vec<&str> = line.split(',').collect();
        (cells[0].to_owned(), cells[2].parse().unwrap())
    };
    text.lines().skip(1).map(row).collect()
}

/// Prints least, median and worst ratio.
#[expect(clippy::cast_precision_loss, reason = "costs are far below 2^53")]
fn tell(name: &str, seconds: f64, known: f64, mut found: Vec<i64>, steps: u64, left_out: usize) {
    found.sort_unstable();
    let ratio = |i: usize| found[i] as f64 / known;
    let n = found.len();
    let median = f64::midpoint(ratio((n - 1) / 2), ratio(n / 2));
    let per_second = steps as f64 / (seconds * n as f64) / 1000.0;
    println!(
        "{name:<9} {seconds:>4} s {n:>3} seeds: least {:.4} ({}) median {median:.4} worst {:.4}, {per_second:.0} k steps/s, {left_out} left out at most",
        ratio(0),
        found[0],
        ratio(n - 1)
    );
}

fn one(name: &str, known: &HashMap<String, f64>, slower: f64) {
    let (problem, file) = if let Some(instance) = invented(name) {
        (instance.problem(), None)
    } else {
        let file = match name.strip_suffix("-all") {
            Some(name) => File::read(name).all_served(100),
            None => File::read(name),
        };
        let unit = if name.starts_with("PR") { Unit::Hundredths } else { Unit::TenthsCut };
        (file.problem(unit), Some(file))
    };
    let (seconds, seeds) = match name {
        "PR11A" | "R1_10_1" | "C1_10_2" | "RC2_10_1" | "R1_10_1-all" => (60.0, 2),
        "S1" | "S2" | "S3" => (10.0, 4),
        _ => (2.0, 20),
    };
    let seconds = seconds * slower;
    let (mut found, mut steps, mut left_out) = (Vec::new(), 0, 0);
    for seed in 1..=seeds {
        let plan = run(&problem, seed, seconds);
        let served: usize = plan.routes.iter().map(Vec::len).sum();
        left_out = left_out.max(problem.visits().len() - served);
        steps += plan.iterations;
        found.push(match &file {
            Some(file) if name.starts_with("PR") => file.thousandths(&problem, &plan.routes),
            _ => plan.objective,
        });
    }
    tell(name, seconds, known[name], found, steps, left_out);
}

/// Wednesday's first shift is lost and four urgent visits come, Monday is over.
fn mend(name: &str, slower: f64) {
    let problem = invented(name).unwrap().problem();
    let seconds = 0.3 * slower;
    let issued = run(&problem, 1, 10.0);
    let lost = problem.shifts().iter().position(|s| s.day == 2).unwrap();
    let mut changes = vec![Change::ShiftLost(lost)];
    let spare = check(&problem, &issued.routes).unwrap().unplaced;
    for &v in spare.iter().take(4) {
        let urgent = Visit { penalty: 100_000, skills: Skills::NONE, lock: Lock::Free, ..problem.visits()[v].clone() };
        changes.push(Change::Added(Box::new(urgent)));
        changes.push(Change::Refused(v));
    }
    let elsewhere = |v: &usize| issued.routes[lost].contains(v);
    let kept: usize = issued.routes.iter().enumerate().filter(|(k, _)| *k != lost && problem.shifts()[*k].day > 0).map(|r| r.1.len()).sum();
    let (mut days, mut others) = (Vec::new(), Vec::new());
    for seed in 1..=10 {
        let question = Mending::new(&problem, &issued.routes, &changes, 1).unwrap();
        let mended = question.mend_paced(seed, &mut pace(seconds), &AtomicBool::new(false));
        let count = |is: fn(&Kind) -> bool| mended.differences.iter().filter(|d| !elsewhere(&d.visit) && is(&d.kind)).count();
        days.push(count(|k| matches!(k, Kind::Day { .. })));
        let [who, when, dropped, new] = [
            count(|k| matches!(k, Kind::Technician { .. })),
            count(|k| matches!(k, Kind::Time { .. })),
            count(|k| matches!(k, Kind::Dropped { .. })),
            count(|k| matches!(k, Kind::New { .. })),
        ];
        others.push(format!("{who}/{when}/{dropped}/{new}={}", mended.plan.objective));
    }
    println!("mend {name}, {seconds:.1} s, 10 seeds, {kept} kept visits: change day {days:?}");
    println!("mend {name}: technician only/start by over an hour/dropped/new=objective {}", others.join(" "));
}

fn level(name: &str, steps: u64) {
    let problem = invented(name).unwrap().problem();
    let effort = Effort::new(1, steps);
    let first = processor();
    let found = season(&problem, &[], 0, embertide::route::season::LEVEL_PRICE, &effort, &AtomicBool::new(false), &mut |_| {}).unwrap();
    let hours = |all: &[i64]| all.iter().map(|s| format!("{}", s / 3600)).collect::<Vec<_>>().join(" ");
    println!("level {name}, {:.0} s: hours a week before {}", processor() - first, hours(&found.uneven_s));
    println!("level {name}: after {}; driving and left out {} -> {}", hours(&found.even_s), found.cost_before, found.cost);
}

/// The first plan for 3,000 visits, and one question where a visit would fit; each is to take 50 ms at most.
fn quick() {
    let problem = invented("S3").unwrap().problem();
    let effort = Effort::new(1, 0);
    let began = processor();
    let plan = solve(&problem, &effort, &AtomicBool::new(false), &mut |_| {});
    let planned = processor();
    let slots = what_if(&problem, &plan.routes, 0);
    let asked = processor();
    println!(
        "quick: first plan {:.0} ms, {} slots for one visit {:.0} ms",
        (planned - began) * 1000.0,
        slots.len(),
        (asked - planned) * 1000.0
    );
}

/// What a second thread adds at equal steps for each thread.
fn together(name: &str, steps: u64) {
    let problem = invented(name).unwrap().problem();
    for threads in [NonZeroUsize::MIN, NonZeroUsize::MIN.saturating_add(1)] {
        let mut found: Vec<i64> = (1..=3)
            .map(|seed| {
                let effort = Effort::new(seed, steps).on(threads);
                solve(&problem, &effort, &AtomicBool::new(false), &mut |_| {}).objective
            })
            .collect();
        found.sort_unstable();
        println!("{name} {steps} steps on {threads} threads: least {} median {} worst {}", found[0], found[1], found[2]);
    }
}

/// The most memory this process has held, in megabytes.
fn memory() -> u64 {
    let status = fs::read_to_string("/proc/self/status").unwrap();
    let line = status.lines().find(|l| l.starts_with("VmHWM")).unwrap();
    line.split_whitespace().nth(1).unwrap().parse::<u64>().unwrap() / 1024
}

fn main() {
    let mut wanted: Vec<String> = std::env::args().skip(1).filter(|a| !a.starts_with("--")).collect();
    if let [word, folder] = wanted.as_slice()
        && word == "write"
    {
        for recipe in RECIPES {
            let instance = Instance::new(recipe);
            fs::write(Path::new(folder).join(recipe.name).with_extension("json"), instance.text()).unwrap();
            fs::write(Path::new(folder).join(recipe.name).with_extension("mat"), instance.table()).unwrap();
        }
        return;
    }
    if let [word, name, seconds, seed] = wanted.as_slice()
        && word == "plan"
    {
        let plan = run(&invented(name).unwrap().problem(), seed.parse().unwrap(), seconds.parse().unwrap());
        println!("{:?}", plan.routes);
        return;
    }
    let slower: f64 = wanted.iter().position(|w| w == "slower").map_or(1.0, |x| wanted.drain(x..x + 2).nth(1).unwrap().parse().unwrap());
    let asked = |name: &str| wanted.is_empty() || wanted.iter().any(|w| w == name);
    let known = best_known();
    for name in ["W1", "W2", "W3", "RC208", "p06-2-50", "PR01", "PR11A", "S1", "S2", "S3", "R1_10_1", "C1_10_2", "RC2_10_1", "R1_10_1-all"]
    {
        if asked(name) {
            one(name, &known, slower);
        }
    }
    if asked("mend") {
        mend("W2", slower);
        mend("W3", slower);
    }
    if asked("level") {
        level("S1", 1_000_000);
        level("S2", 500_000);
    }
    if asked("quick") {
        quick();
    }
    if asked("threads") {
        together("W1", 200_000);
        together("S2", 300_000);
    }
    println!("most memory held: {} MB", memory());
}
