//! Times one sequence of visits: asks, stop by stop, for the earliest time with lunch still to come and the
//! earliest time with lunch had. Shares no code with the search.

use super::problem::{Lock, Lunch, Problem, Shift, Visit};
use super::times::{LunchPlace, TimedLunch, TimedRoute, TimedStop};
use super::violation::Violation;

/// First start not before `ready`, if there is one.
fn first_start(v: &Visit, day: usize, ready: i64) -> Option<i64> {
    if let Lock::At { from, to, .. } = v.lock {
        return (ready <= i64::from(to)).then(|| ready.max(i64::from(from)));
    }
    let today = v.windows.iter().filter(|w| w.day == day && ready <= i64::from(w.to));
    today.map(|w| ready.max(i64::from(w.from))).min()
}

/// What is known after a stop (or, at the end, at home).
#[derive(Clone, Copy)]
struct Mark {
    arrive: i64,
    start: i64,
    leave: i64,
    /// lunch on the leg that led here
    lunch: Option<(i64, LunchPlace)>,
    /// whether lunch was had before that leg
    had: bool,
}

/// Known with lunch still to come, and with lunch had.
type Known = [Option<Mark>; 2];

/// A leg driven from `leave`: arrival, readiness, lunch.
struct Driven {
    arrive: i64,
    ready: i64,
    lunch: Option<(i64, LunchPlace)>,
}

fn straight(leave: i64, leg: i64) -> Driven {
    Driven { arrive: leave + leg, ready: leave + leg, lunch: None }
}

fn with_lunch(leave: i64, leg: i64, lunch: Lunch) -> Option<Driven> {
    let (from, to, long) = (i64::from(lunch.from), i64::from(lunch.to), i64::from(lunch.seconds));
    if leave > to {
        return None;
    }
    let arrive = leave + leg;
    Some(if leave >= from {
        Driven { arrive: arrive + long, ready: arrive + long, lunch: Some((leave, LunchPlace::BeforeDriving)) }
    } else if arrive >= from {
        let place = if arrive == from { LunchPlace::OnArrival } else { LunchPlace::OnTheRoad };
        let reached = if arrive == from { arrive } else { arrive + long };
        Driven { arrive: reached, ready: arrive + long, lunch: Some((from, place)) }
    } else {
        Driven { arrive, ready: from + long, lunch: Some((from, LunchPlace::OnArrival)) }
    })
}

/// Times one sequence of existing visits in a shift. Skills, locks to other shifts, loads and doubles are not looked at.
///
/// # Errors
/// The first of: no road, a window missed, back too late, no room for lunch, too long on the way.
pub(super) fn time_route(problem: &Problem, shift: usize, sequence: &[usize]) -> Result<TimedRoute, Violation> {
    let s = &problem.shifts()[shift];
    let early = time_early(problem, shift, sequence)?;
    let Some(most_s) = s.most_s else {
        return Ok(early);
    };
    let takes = |r: &TimedRoute| r.returns - r.leaves;
    if takes(&early) <= most_s {
        return Ok(early);
    }
    let later = departures(problem, shift, sequence).into_iter();
    let later = later.filter_map(|(at, had)| time_from(problem, shift, sequence, at, had).ok());
    let best = later.chain([early]).min_by_key(takes);
    best.filter(|r| takes(r) <= most_s).ok_or_else(|| {
        let later = departures(problem, shift, sequence).into_iter();
        let later = later.filter_map(|(at, had)| time_from(problem, shift, sequence, at, had).ok());
        Violation::Long { shift, takes_s: later.map(|r| takes(&r)).min().unwrap_or(i32::MAX), most_s }
    })
}

/// The same, driven off as soon as the shift starts; the longest route is not looked at.
pub(super) fn time_early(problem: &Problem, shift: usize, sequence: &[usize]) -> Result<TimedRoute, Violation> {
    let s = &problem.shifts()[shift];
    time_from(problem, shift, sequence, i64::from(s.starts), s.lunch_inside().is_none())
}

/// Departures one of which gives the shortest route, each with whether lunch is had before: the best is just in
/// time for the start or the end of some window or of lunch.
fn departures(problem: &Problem, shift: usize, sequence: &[usize]) -> Vec<(i64, bool)> {
    let s = &problem.shifts()[shift];
    let lunch = s.lunch_inside();
    let long = lunch.map_or(0, |l| i64::from(l.seconds));
    let (mut on_the_way, mut here, mut at) = (0, s.depot, vec![i64::from(s.starts)]);
    for (i, &visit) in sequence.iter().enumerate() {
        let v = &problem.visits()[visit];
        let leg = i64::from(problem.drive().seconds(here, v.place).unwrap_or(0));
        let pause = lunch.map(|l| [i64::from(l.from) - on_the_way - leg, i64::from(l.to) - on_the_way]);
        at.extend(pause.into_iter().flatten());
        on_the_way += leg;
        let promised = if let Lock::At { from, to, .. } = v.lock { Some([from, to]) } else { None };
        let opens = v.windows.iter().filter(|w| w.day == s.day).map(|w| [w.from, w.to]).chain(promised).flatten();
        for open in opens {
            at.extend([i64::from(open) - on_the_way, i64::from(open) - on_the_way - long]);
        }
        on_the_way += i64::from(v.service_s) + if i > 0 && here == v.place { 0 } else { i64::from(v.set_up_s) };
        here = v.place;
    }
    let first = i64::from(s.starts);
    let mut all: Vec<(i64, bool)> = at.iter().filter(|&&t| t >= first).map(|&t| (t, lunch.is_none())).collect();
    if let Some(l) = lunch {
        let eaten = first.max(i64::from(l.from)) + long;
        all.extend(at.iter().map(|&t| (t.max(eaten), true)));
    }
    all
}

/// Times a sequence that is started at `from`, with lunch had or not.
fn time_from(problem: &Problem, shift: usize, sequence: &[usize], from: i64, had: bool) -> Result<TimedRoute, Violation> {
    let s = &problem.shifts()[shift];
    let lunch = s.lunch_inside();
    let start = Mark { arrive: 0, start: 0, leave: from, lunch: None, had };
    let mut marks = vec![if had { [None, Some(start)] } else { [Some(start), None] }];
    let mut here = s.depot;
    let mut legs = Vec::with_capacity(sequence.len() + 1);
    for (i, &visit) in sequence.iter().enumerate() {
        let v = &problem.visits()[visit];
        let road = Violation::Road { shift, from: here, to: v.place };
        let leg = problem.drive().seconds(here, v.place).ok_or(road)?;
        let shares = i > 0 && here == v.place;
        let stay = i64::from(v.service_s) + if shares { 0 } else { i64::from(v.set_up_s) };
        let next = serve(v, s.day, stay, ways(&marks[i], i64::from(leg), lunch));
        marks.push(next.map_err(|arrive| Violation::Window { shift, visit, arrive })?);
        legs.push((leg, shares));
        here = v.place;
    }
    let road = Violation::Road { shift, from: here, to: s.depot };
    let home = problem.drive().seconds(here, s.depot).ok_or(road)?;
    let back = ways(&marks[sequence.len()], i64::from(home), lunch);
    let end = come_home(shift, s, back, lunch)?;
    let mut route = trace(problem, shift, sequence, from, &marks, &legs, home, end);
    if had && let Some(l) = lunch {
        let starts = s.starts.max(l.from);
        route.lunch = Some(TimedLunch { starts, ends: starts + l.seconds, leg: 0, place: LunchPlace::BeforeDriving });
    }
    Ok(route)
}

/// What is known after a stop that can be reached in these ways, or the earliest arrival if that is too late.
fn serve(v: &Visit, day: usize, stay: i64, ways: Vec<(bool, Driven)>) -> Result<Known, i32> {
    let mut next = [None, None];
    let mut earliest = i64::MAX;
    for (had, way) in ways {
        earliest = earliest.min(way.arrive);
        if let Some(start) = first_start(v, day, way.ready) {
            let leave = start + stay;
            sooner(&mut next, Mark { arrive: way.arrive, start, leave, lunch: way.lunch, had });
        }
    }
    if next.iter().all(Option::is_none) { Err(clamp(earliest)) } else { Ok(next) }
}

/// All ways to drive a leg from what is known before it, with whether lunch was had before.
fn ways(known: &Known, leg: i64, lunch: Option<Lunch>) -> Vec<(bool, Driven)> {
    let mut ways = Vec::with_capacity(3);
    if let Some(mark) = known[1] {
        ways.push((true, straight(mark.leave, leg)));
    }
    if let Some(mark) = known[0] {
        ways.push((false, straight(mark.leave, leg)));
        ways.extend(lunch.and_then(|l| with_lunch(mark.leave, leg, l)).map(|way| (false, way)));
    }
    ways
}

fn sooner(next: &mut Known, mark: Mark) {
    let cell = &mut next[usize::from(mark.had || mark.lunch.is_some())];
    if cell.is_none_or(|old| mark.leave < old.leave) {
        *cell = Some(mark);
    }
}

/// The earliest allowed way home.
fn come_home(shift: usize, s: &Shift, ways: Vec<(bool, Driven)>, lunch: Option<Lunch>) -> Result<Mark, Violation> {
    let (mut best, mut any, mut earliest): (Option<Mark>, bool, i64) = (None, false, i64::MAX);
    for (had, way) in ways {
        earliest = earliest.min(way.ready);
        if way.ready > i64::from(s.ends) {
            continue;
        }
        any = true;
        let mut eaten = way.lunch;
        if !had && eaten.is_none() {
            let Some(l) = lunch.filter(|l| way.ready <= i64::from(l.to)) else {
                continue;
            };
            eaten = Some((way.ready.max(i64::from(l.from)), LunchPlace::AfterReturn));
        }
        if best.is_none_or(|b| way.ready < b.start) {
            best = Some(Mark { arrive: way.arrive, start: way.ready, leave: way.ready, lunch: eaten, had });
        }
    }
    match best {
        Some(mark) => Ok(mark),
        None if any => Err(Violation::Lunch { shift }),
        None => Err(Violation::Late { shift, returns: clamp(earliest), ends: s.ends }),
    }
}

/// Follows the marks back from home and writes the route down.
#[expect(clippy::too_many_arguments, reason = "all that is known of one route")]
fn trace(
    problem: &Problem,
    shift: usize,
    sequence: &[usize],
    from: i64,
    marks: &[Known],
    legs: &[(i32, bool)],
    home_s: i32,
    end: Mark,
) -> TimedRoute {
    let s = &problem.shifts()[shift];
    let long = s.lunch_inside().map_or(0, |l| l.seconds);
    let eaten = |leg, (at, place): (i64, LunchPlace)| {
        let starts = clamp(at);
        TimedLunch { starts, ends: starts + long, leg, place }
    };
    let mut lunch = end.lunch.map(|l| eaten(sequence.len(), l));
    let mut had = end.had;
    let mut stops = Vec::with_capacity(sequence.len());
    for (i, &visit) in sequence.iter().enumerate().rev() {
        let Some(mark) = marks[i + 1][usize::from(had)] else {
            continue;
        };
        lunch = mark.lunch.map(|l| eaten(i, l)).or(lunch);
        had = mark.had;
        let before = i.checked_sub(1).map_or(s.depot, |b| problem.visits()[sequence[b]].place);
        stops.push(TimedStop {
            visit,
            leg_s: legs[i].0,
            leg_m: problem.drive().metres(before, problem.visits()[visit].place),
            arrive: clamp(mark.arrive),
            start: clamp(mark.start),
            leave: clamp(mark.leave),
            shares_set_up: legs[i].1,
        });
    }
    stops.reverse();
    let leaves = set_off(clamp(from), &mut stops, lunch);
    let last = sequence.last().map_or(s.depot, |&v| problem.visits()[v].place);
    TimedRoute {
        shift,
        leaves,
        lunch,
        home_s,
        home_m: problem.drive().metres(last, s.depot),
        returns: clamp(end.arrive),
        drive_s: legs.iter().map(|l| l.0).sum::<i32>() + home_s,
        work_s: legs.iter().map(|l| l.0).sum::<i32>() + home_s + stops.iter().map(|s| s.leave - s.start).sum::<i32>(),
        load_ml: sequence.iter().map(|&v| problem.visits()[v].load_ml).sum(),
        stops,
    }
}

/// When to drive off: without lunch on the first leg, just in time for the first stop.
fn set_off(from: i32, stops: &mut [TimedStop], lunch: Option<TimedLunch>) -> i32 {
    let Some(first) = stops.first_mut() else {
        return from;
    };
    match lunch.filter(|l| l.leg == 0) {
        Some(l) if l.place == LunchPlace::BeforeDriving => l.ends,
        Some(_) => from,
        None => {
            first.arrive = first.start;
            first.start - first.leg_s
        }
    }
}

fn clamp(t: i64) -> i32 {
    i32::try_from(t).unwrap_or(i32::MAX)
}
