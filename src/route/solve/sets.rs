//! Sets of small numbers, one bit for each: a season has hundreds of shifts, and few have room.

/// Numbers in a word.
pub(super) const WORD: usize = u64::BITS as usize;

/// Several sets, numbered from 0.
pub(super) struct Sets {
    words: usize,
    bits: Vec<u64>,
}

impl Sets {
    /// So many empty sets of numbers below `end`.
    pub(super) fn new(sets: usize, end: usize) -> Self {
        let words = end.div_ceil(WORD);
        Self { words, bits: vec![0; sets * words] }
    }

    /// From now on set `s` holds number `x`, or not.
    #[inline]
    pub(super) fn put(&mut self, s: usize, x: usize, holds: bool) {
        let (word, bit) = (&mut self.bits[s * self.words + x / WORD], 1 << (x % WORD));
        *word = if holds { *word | bit } else { *word & !bit };
    }

    /// Whether set `s` holds number `x`.
    #[inline]
    pub(super) fn has(&self, s: usize, x: usize) -> bool {
        self.bits[s * self.words + x / WORD] >> (x % WORD) & 1 == 1
    }

    /// Set `s`, word by word.
    #[inline]
    pub(super) fn words(&self, s: usize) -> &[u64] {
        &self.bits[s * self.words..][..self.words]
    }

    /// Set `s` gets those of `more`, too.
    pub(super) fn join(&mut self, s: usize, more: &[u64]) {
        let set = &mut self.bits[s * self.words..][..self.words];
        set.iter_mut().zip(more).for_each(|(word, more)| *word |= more);
    }

    /// Set `s + 1` becomes set `s` without those of `gone`.
    #[inline]
    pub(super) fn leave_out(&mut self, s: usize, gone: &[u64]) {
        let (set, next) = self.bits[s * self.words..][..2 * self.words].split_at_mut(self.words);
        next.iter_mut().zip(set).zip(gone).for_each(|((next, word), gone)| *next = *word & !gone);
    }
}

/// The numbers in word number `x` of a set, in order.
#[inline]
pub(super) fn numbers_in(x: usize, mut word: u64) -> impl Iterator<Item = usize> {
    std::iter::from_fn(move || {
        let first = (word != 0).then(|| x * WORD + word.trailing_zeros() as usize);
        word &= word.saturating_sub(1);
        first
    })
}
