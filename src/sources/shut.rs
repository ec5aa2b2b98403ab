//! Roads with some of them closed, made ready once for each set of closures.

use crate::{
    roads::{Roads, closed::Closure},
    store,
};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError, Weak};

/// So many sets are kept at hand: this week's, the next one's, and what is being looked at. Each takes as much memory as the roads themselves.
const MOST: usize = 3;

#[derive(Debug)]
struct Kept {
    /// the open roads that it was made from
    of: Weak<Roads>,
    closures: Vec<Closure>,
    roads: Arc<Roads>,
}

/// The sets asked for lately, the newest last.
#[derive(Debug, Default)]
pub(super) struct Shut {
    kept: Mutex<Vec<Kept>>,
    /// one makes them at a time, so that the second finds what the first made
    turn: tokio::sync::Mutex<()>,
}

/// The same set in the same order, however it was asked for.
fn in_order(closures: &[Closure]) -> Vec<Closure> {
    let mut all = closures.to_vec();
    let key = |c: &Closure| [c.at.lat(), c.at.lon(), c.radius_m];
    all.sort_by(|a, b| key(a).iter().zip(key(b)).map(|(a, b)| a.total_cmp(&b)).find(|o| o.is_ne()).unwrap_or(std::cmp::Ordering::Equal));
    all.dedup();
    all
}

impl Shut {
    fn kept(&self) -> MutexGuard<'_, Vec<Kept>> {
        self.kept.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// What is at hand; what was made from roads that are no longer in use goes.
    fn at_hand(&self, open: &Arc<Roads>, closures: &[Closure]) -> Option<Arc<Roads>> {
        let mut kept = self.kept();
        let now = Arc::downgrade(open);
        kept.retain(|k| k.of.ptr_eq(&now));
        let place = kept.iter().position(|k| k.closures == closures)?;
        let found = kept.remove(place);
        let roads = Arc::clone(&found.roads);
        kept.push(found);
        Some(roads)
    }

    /// The open roads without these.
    pub(super) async fn roads(&self, open: &Arc<Roads>, closures: &[Closure]) -> store::Result<Arc<Roads>> {
        let closures = in_order(closures);
        let _turn = self.turn.lock().await;
        if let Some(roads) = self.at_hand(open, &closures) {
            return Ok(roads);
        }
        let (base, set) = (Arc::clone(open), closures.clone());
        let made = tokio::task::spawn_blocking(move || base.closing(&set)).await;
        let odd = |why: String| store::Error::Corrupt { table: "road_closures", id: "all".to_owned(), why };
        let roads = Arc::new(made.map_err(|e| odd(e.to_string()))?.map_err(|e| odd(e.to_string()))?);
        let mut kept = self.kept();
        kept.push(Kept { of: Arc::downgrade(open), closures, roads: Arc::clone(&roads) });
        let many = kept.len().saturating_sub(MOST);
        kept.drain(..many);
        Ok(roads)
    }
}
