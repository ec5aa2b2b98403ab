//! A plan with times, as the checker gives it and as it is printed.

/// A plan with times. All clock times are seconds after midnight of the shift's day.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct TimedPlan {
    /// routes that have stops, in the order of the shifts
    pub routes: Vec<TimedRoute>,
    /// visits in no route, ascending
    pub unplaced: Vec<usize>,
    /// driving, in seconds
    pub drive_s: i64,
    /// price of all visits left out, in seconds
    pub unplaced_price: i64,
    /// price of lateness, of changes to what was told, of overtime and of uneven weeks, in seconds
    pub other_price: i64,
    /// the sum of the three: smaller is better
    pub objective: i64,
}

/// One technician's day.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct TimedRoute {
    /// index of the shift
    pub shift: usize,
    /// drives off: as late as the first stop allows, not before the shift starts
    pub leaves: i32,
    /// stops in driving order
    pub stops: Vec<TimedStop>,
    /// where lunch falls, if the shift has one
    pub lunch: Option<TimedLunch>,
    /// seconds of the drive home
    pub home_s: i32,
    /// metres of the drive home, if known
    pub home_m: Option<i32>,
    /// back at the depot
    pub returns: i32,
    /// all driving, in seconds
    pub drive_s: i32,
    /// driving and time on site, in seconds
    pub work_s: i32,
    /// product used, in millilitres
    pub load_ml: i64,
}

/// One stop.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct TimedStop {
    /// index of the visit
    pub visit: usize,
    /// seconds of the drive there
    pub leg_s: i32,
    /// metres of the drive there, if known
    pub leg_m: Option<i32>,
    /// on the yard
    pub arrive: i32,
    /// work starts, set-up included; after a wait or lunch it is later than the arrival
    pub start: i32,
    /// drives off
    pub leave: i32,
    /// whether set-up is shared with the stop before
    pub shares_set_up: bool,
}

/// Where lunch falls.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct TimedLunch {
    /// starts
    pub starts: i32,
    /// ends
    pub ends: i32,
    /// number of the leg: 0 goes to the first stop, the last one goes home
    pub leg: usize,
    /// where on that leg
    pub place: LunchPlace,
}

/// Where on a leg lunch is had.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LunchPlace {
    /// before driving off (at the depot, or on the yard of the stop before)
    BeforeDriving,
    /// on the road
    OnTheRoad,
    /// on arrival, before work starts
    OnArrival,
    /// back at the depot
    AfterReturn,
}
