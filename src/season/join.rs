//! Jobs of one unit that can be done together become one proposed visit.

use std::collections::BTreeSet;

use super::due::DueItem;
use super::job::JobKind;
use super::priority::Priority;
use super::window::{DueWindow, WindowState};

/// One visit to one unit, with all jobs that go together.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ProposedVisit {
    /// Never empty; most pressing first.
    pub jobs: Vec<DueItem>,
    /// The days on which every job fits. Jobs past due no longer bound it.
    pub window: DueWindow,
    /// Minutes at the unit: the jobs' sum, with the longest set-up counted once.
    pub minutes: u32,
    /// Of these, the minutes of set-up: spent once at a place.
    pub setup_minutes: u32,
    /// Every skill a job needs.
    pub skills: BTreeSet<String>,
    /// That of the most pressing job.
    pub priority: Priority,
}

impl ProposedVisit {
    /// Somebody asked for one of its jobs.
    pub fn is_asked(&self) -> bool {
        self.jobs.iter().any(|job| job.cause.is_asked())
    }

    /// The jobs' reasons, in order.
    pub fn reasons(&self) -> impl Iterator<Item = &str> {
        self.jobs.iter().map(|job| job.reason.as_str())
    }
}

/// Groups the due items of ONE unit. Every item is in exactly one visit, but for those that wait for a cold firebox: they are in none.
///
/// An item joins the first visit whose window it shares at least a day with; a job past due joins whatever is
/// open now, and waits for nothing that opens later. Kinds that do not join stand alone. An item whose kind is
/// not among `kinds` stands alone with 0 minutes.
pub fn join(items: &[DueItem], kinds: &[JobKind]) -> Vec<ProposedVisit> {
    let mut sorted: Vec<&DueItem> = items.iter().filter(|item| !item.waits).collect();
    sorted.sort_by_key(|item| (item.priority, item.window.closes(), item.window.opens(), item.kind.clone()));
    let mut groups: Vec<(bool, Vec<&DueItem>)> = Vec::new();
    for item in sorted {
        let joins = kind_of(item, kinds).is_some_and(|kind| kind.joins);
        let open = groups.iter_mut().find(|(may_join, jobs)| joins && *may_join && common_with(jobs, item).is_some());
        match open {
            Some((_, jobs)) => jobs.push(item),
            None => groups.push((joins, vec![item])),
        }
    }
    groups.into_iter().map(|(_, jobs)| visit(&jobs, kinds)).collect()
}

fn kind_of<'a>(item: &DueItem, kinds: &'a [JobKind]) -> Option<&'a JobKind> {
    kinds.iter().find(|kind| kind.code() == item.kind)
}

fn common_with(jobs: &[&DueItem], item: &DueItem) -> Option<DueWindow> {
    let all: Vec<&DueItem> = jobs.iter().copied().chain([item]).collect();
    common(&all)
}

/// The days on which all jobs fit.
fn common(jobs: &[&DueItem]) -> Option<DueWindow> {
    let is_past = |job: &&&DueItem| matches!(job.state, WindowState::Past { .. });
    let any_past = jobs.iter().any(|job| is_past(&job));
    if any_past && jobs.iter().any(|job| !job.state.has_opened()) {
        return None;
    }
    let opens = jobs.iter().map(|job| job.window.opens()).max()?;
    let bounding = jobs.iter().filter(|job| !is_past(job)).map(|job| job.window.closes()).min();
    let closes = bounding.or_else(|| jobs.iter().map(|job| job.window.closes()).max())?;
    DueWindow::new(opens, closes).ok()
}

fn visit(jobs: &[&DueItem], kinds: &[JobKind]) -> ProposedVisit {
    let known: Vec<&JobKind> = jobs.iter().filter_map(|job| kind_of(job, kinds)).collect();
    let minutes: u32 = known.iter().map(|kind| u32::from(kind.minutes() - kind.setup_minutes())).sum();
    let shared = known.iter().map(|kind| u32::from(kind.setup_minutes())).max().unwrap_or(0);
    let first = jobs[0];
    ProposedVisit {
        window: common(jobs).unwrap_or(first.window),
        minutes: minutes + shared,
        setup_minutes: shared,
        skills: known.iter().flat_map(|kind| kind.skills.iter().cloned()).collect(),
        priority: jobs.iter().map(|job| job.priority).min().unwrap_or(first.priority),
        jobs: jobs.iter().map(|job| (*job).clone()).collect(),
    }
}
