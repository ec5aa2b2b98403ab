//! The generator the instances were first made with, so that they come out the same to the byte: the Mersenne Twister
//! MT19937 (Matsumoto and Nishimura 1998) and, over it, the draws of Python's `random` module as its documentation and
//! its source describe them.

const N: usize = 624;

pub(crate) struct Dice {
    state: Vec<u32>,
    next: usize,
    spare: Option<f64>,
}

impl Dice {
    pub(crate) fn new(seed: u32) -> Self {
        let mut state = vec![19_650_218_u32; N];
        for i in 1..N {
            state[i] = stirred(state[i - 1], 1_812_433_253).wrapping_add(small(i));
        }
        let mut i = 1;
        let mut turn = |state: &mut Vec<u32>| {
            i += 1;
            if i >= N {
                state[0] = state[N - 1];
                i = 1;
            }
            i
        };
        let mut at = 1;
        for _ in 0..N {
            state[at] = (state[at] ^ stirred(state[at - 1], 1_664_525)).wrapping_add(seed);
            at = turn(&mut state);
        }
        for _ in 1..N {
            state[at] = (state[at] ^ stirred(state[at - 1], 1_566_083_941)).wrapping_sub(small(at));
            at = turn(&mut state);
        }
        state[0] = 0x8000_0000;
        Self { state, next: N, spare: None }
    }

    fn word(&mut self) -> u32 {
        if self.next == N {
            for i in 0..N {
                let y = (self.state[i] & 0x8000_0000) | (self.state[(i + 1) % N] & 0x7FFF_FFFF);
                let odd = if y & 1 == 1 { 0x9908_B0DF } else { 0 };
                self.state[i] = self.state[(i + 397) % N] ^ (y >> 1) ^ odd;
            }
            self.next = 0;
        }
        let mut y = self.state[self.next];
        self.next += 1;
        y ^= y >> 11;
        y ^= (y << 7) & 0x9D2C_5680;
        y ^= (y << 15) & 0xEFC6_0000;
        y ^ (y >> 18)
    }

    /// From 0 up to, not including, 1.
    pub(crate) fn share(&mut self) -> f64 {
        let (a, b) = (self.word() >> 5, self.word() >> 6);
        (f64::from(a) * 67_108_864.0 + f64::from(b)) / 9_007_199_254_740_992.0
    }

    pub(crate) fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.share()
    }

    pub(crate) fn below(&mut self, n: usize) -> usize {
        let bits = usize::BITS - n.leading_zeros();
        loop {
            let draw = (self.word() >> (32 - bits)) as usize;
            if draw < n {
                return draw;
            }
        }
    }

    pub(crate) fn gauss(&mut self, mean: f64, deviation: f64) -> f64 {
        let z = self.spare.take().unwrap_or_else(|| {
            let turn = self.share() * std::f64::consts::TAU;
            let far = (-2.0 * (1.0 - self.share()).ln()).sqrt();
            self.spare = Some(turn.sin() * far);
            turn.cos() * far
        });
        mean + z * deviation
    }

    /// Index into `weights`, in proportion to them.
    pub(crate) fn weighted(&mut self, weights: &[f64]) -> usize {
        let mut sum = 0.0;
        let sums: Vec<f64> = weights
            .iter()
            .map(|w| {
                sum += w;
                sum
            })
            .collect();
        let at = self.share() * sum;
        sums.iter().take(weights.len() - 1).filter(|s| **s <= at).count()
    }

    /// `count` different numbers below `n`, in order of drawing.
    pub(crate) fn some_of(&mut self, n: usize, count: usize) -> Vec<usize> {
        let mut pool: Vec<usize> = (0..n).collect();
        (0..count)
            .map(|i| {
                let j = self.below(n - i);
                let drawn = pool[j];
                pool[j] = pool[n - i - 1];
                drawn
            })
            .collect()
    }

    pub(crate) fn shuffle(&mut self, all: &mut [usize]) {
        for i in (1..all.len()).rev() {
            let j = self.below(i + 1);
            all.swap(i, j);
        }
    }
}

fn stirred(x: u32, factor: u32) -> u32 {
    (x ^ (x >> 30)).wrapping_mul(factor)
}

fn small(i: usize) -> u32 {
    u32::try_from(i).unwrap()
}
