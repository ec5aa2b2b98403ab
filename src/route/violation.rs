//! What can be wrong with a plan.

use std::fmt;

use super::words::{clock, duration, litres};

/// One broken rule. Indices are those of the problem.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Violation {
    /// the plan does not have one route for each shift
    Shape {
        /// routes in the plan
        routes: usize,
        /// shifts in the problem
        shifts: usize,
    },
    /// no visit has this index
    UnknownVisit {
        /// route it stands in
        shift: usize,
        /// the index
        visit: usize,
    },
    /// a visit is planned more than once
    Twice {
        /// which
        visit: usize,
    },
    /// the technician lacks a skill the visit needs
    Skill {
        /// route
        shift: usize,
        /// visit
        visit: usize,
    },
    /// the visit is promised elsewhere
    Lock {
        /// route
        shift: usize,
        /// visit
        visit: usize,
    },
    /// the van cannot carry what the route uses
    Load {
        /// route
        shift: usize,
        /// millilitres used
        load_ml: i64,
        /// millilitres that fit
        capacity_ml: i64,
    },
    /// no road leads there, or home
    Road {
        /// route
        shift: usize,
        /// place driven from
        from: usize,
        /// place driven to
        to: usize,
    },
    /// service cannot start inside a window
    Window {
        /// route
        shift: usize,
        /// visit
        visit: usize,
        /// earliest arrival, in seconds after midnight
        arrive: i32,
    },
    /// back at the depot after the shift has ended
    Late {
        /// route
        shift: usize,
        /// earliest return
        returns: i32,
        /// end of the shift
        ends: i32,
    },
    /// the route takes longer than it may, whenever it starts
    Long {
        /// route
        shift: usize,
        /// least seconds from driving off to being back
        takes_s: i32,
        /// most seconds allowed
        most_s: i32,
    },
    /// there is no room for lunch
    Lunch {
        /// route
        shift: usize,
    },
}

impl fmt::Display for Violation {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match *self {
            Self::Shape { routes, shifts } => {
                write!(f, "the plan has {routes} routes for {shifts} shifts")
            }
            Self::UnknownVisit { shift, visit } => {
                write!(f, "route {shift}: there is no visit {visit}")
            }
            Self::Twice { visit } => write!(f, "visit {visit} is planned more than once"),
            Self::Skill { shift, visit } => write!(f, "route {shift}: the technician lacks a skill that visit {visit} needs"),
            Self::Lock { shift, visit } => {
                write!(f, "route {shift}: visit {visit} is promised elsewhere")
            }
            Self::Load { shift, load_ml, capacity_ml } => {
                write!(f, "route {shift} uses {}, the van carries {}", litres(load_ml), litres(capacity_ml))
            }
            Self::Road { shift, from, to } => {
                write!(f, "route {shift}: no road from place {from} to place {to}")
            }
            Self::Window { shift, visit, arrive } => {
                write!(f, "route {shift}: visit {visit} is reached at {}, outside its windows", clock(arrive))
            }
            Self::Late { shift, returns, ends } => {
                write!(f, "route {shift} is back at {}, the shift ends at {}", clock(returns), clock(ends))
            }
            Self::Long { shift, takes_s, most_s } => {
                write!(f, "route {shift} takes {}, it may take {}", duration(takes_s.into()), duration(most_s.into()))
            }
            Self::Lunch { shift } => write!(f, "route {shift} leaves no room for lunch"),
        }
    }
}

impl std::error::Error for Violation {}
