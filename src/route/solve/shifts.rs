//! Sets of shifts, one bit for each shift: a season has hundreds of them, and few have room. And which are alike.

const WORD: usize = u64::BITS as usize;

/// Several sets, numbered from 0.
pub(super) struct Sets {
    words: usize,
    bits: Vec<u64>,
}

impl Sets {
    /// So many empty sets of up to so many shifts.
    pub(super) fn new(sets: usize, shifts: usize) -> Self {
        let words = shifts.div_ceil(WORD);
        Self { words, bits: vec![0; sets * words] }
    }

    /// From now on set `s` holds shift `k`, or not.
    #[inline]
    pub(super) fn put(&mut self, s: usize, k: usize, holds: bool) {
        let (word, bit) = (&mut self.bits[s * self.words + k / WORD], 1 << (k % WORD));
        *word = if holds { *word | bit } else { *word & !bit };
    }

    /// Whether set `s` holds shift `k`.
    #[inline]
    pub(super) fn has(&self, s: usize, k: usize) -> bool {
        self.bits[s * self.words + k / WORD] >> (k % WORD) & 1 == 1
    }

    /// Set `s`, word by word.
    #[inline]
    pub(super) fn words(&self, s: usize) -> &[u64] {
        &self.bits[s * self.words..][..self.words]
    }
}

/// The shifts in word number `x` of a set, in order.
#[inline]
pub(super) fn shifts_in(x: usize, mut word: u64) -> impl Iterator<Item = usize> {
    std::iter::from_fn(move || {
        let first = (word != 0).then(|| x * WORD + word.trailing_zeros() as usize);
        word &= word.saturating_sub(1);
        first
    })
}

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
