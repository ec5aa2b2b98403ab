//! Stops part-way along a piece of road: the way to its junctions, and between two stops on one piece.

use super::{
    cost::Cost,
    graph::{Edge, Network},
    point::counted,
    snap::Snap,
};

/// A junction and the cost to or from it.
pub(super) type End = (u32, Cost);

/// That share of a piece's cost.
pub(super) fn part(ms: u32, dm: u32, share: f64) -> Cost {
    Cost::new(counted(f64::from(ms) * share), counted(f64::from(dm) * share))
}

/// The junction that a stop right at the end of a piece stands on: whatever the piece's direction, it is left and reached by all its roads.
fn junction(e: &Edge, share: f64) -> Option<u32> {
    if share <= 0.0 {
        return Some(e.a);
    }
    (share >= 1.0).then_some(e.b)
}

fn both(e: &Edge, share: f64, ahead: Option<End>, back: Option<End>) -> impl Iterator<Item = End> + Clone + use<> {
    let ends = junction(e, share).map_or([ahead, back], |v| [Some((v, Cost::ZERO)), None]);
    ends.into_iter().flatten()
}

/// The junctions that a van leaving the stop comes to first.
pub(super) fn exits(network: &Network, s: &Snap) -> impl Iterator<Item = End> + Clone + use<> {
    let e = network.edge(s.edge);
    let ahead = e.forward_ms.map(|ms| (e.b, part(ms, e.dm, 1.0 - s.share)));
    both(e, s.share, ahead, e.backward_ms.map(|ms| (e.a, part(ms, e.dm, s.share))))
}

/// The junctions from which a van comes to the stop.
pub(super) fn entries(network: &Network, s: &Snap) -> impl Iterator<Item = End> + Clone + use<> {
    let e = network.edge(s.edge);
    let ahead = e.forward_ms.map(|ms| (e.a, part(ms, e.dm, s.share)));
    both(e, s.share, ahead, e.backward_ms.map(|ms| (e.b, part(ms, e.dm, 1.0 - s.share))))
}

/// Whether the stop stands on a junction.
pub(super) fn on_junction(s: &Snap) -> bool {
    s.share <= 0.0 || s.share >= 1.0
}

/// Straight along the piece that both stops lie on; [`Cost::NEVER`] when they do not, or it is driven the other way only.
pub(super) fn along(network: &Network, s: &Snap, t: &Snap) -> Cost {
    if s.edge != t.edge {
        return Cost::NEVER;
    }
    between(network.edge(s.edge), s.share, t.share)
}

#[expect(clippy::float_cmp, reason = "the same stop has the very same share")]
fn between(e: &Edge, from: f64, to: f64) -> Cost {
    if from == to {
        return Cost::ZERO;
    }
    let ms = if from < to { e.forward_ms } else { e.backward_ms };
    ms.map_or(Cost::NEVER, |ms| part(ms, e.dm, (to - from).abs()))
}
