//! Which shifts are alike.

/// Which shifts are alike: while they are empty, each serves as well as the other.
#[derive(Default)]
pub(super) struct Alike {
    groups: Vec<Vec<usize>>,
    group: Vec<usize>,
}

impl Alike {
    /// Groups so many shifts; what is like the first of a group is like all of it.
    pub(super) fn new(shifts: usize, are_alike: impl Fn(usize, usize) -> bool) -> Self {
        let mut alike = Self::default();
        for k in 0..shifts {
            let group = alike.groups.iter().position(|g| are_alike(g[0], k)).unwrap_or(alike.groups.len());
            if group == alike.groups.len() {
                alike.groups.push(Vec::new());
            }
            alike.groups[group].push(k);
            alike.group.push(group);
        }
        alike
    }

    /// Shift `k` and those like it, in order.
    pub(super) fn to(&self, k: usize) -> &[usize] {
        &self.groups[self.group[k]]
    }

    /// How much shifts differ, from little above 0 (all are alike) to 1.
    #[expect(clippy::cast_precision_loss, reason = "shifts are few")]
    pub(super) fn unlike(&self) -> f64 {
        self.groups.len() as f64 / self.group.len().max(1) as f64
    }
}
