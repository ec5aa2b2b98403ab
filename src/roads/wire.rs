//! The wire form of Protocol Buffers (the public encoding guide), read field by field, never past the end.

/// Bytes that do not say what they should.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Bad;

/// Bytes still to read.
#[derive(Clone, Copy, Debug)]
pub(super) struct Wire<'a>(pub(super) &'a [u8]);

/// What one field holds.
#[derive(Clone, Copy, Debug)]
pub(super) enum Field<'a> {
    Number(u64),
    Bytes(&'a [u8]),
    /// Fixed-width numbers, which nothing here needs.
    Fixed,
}

impl<'a> Field<'a> {
    pub(super) fn bytes(self) -> Result<&'a [u8], Bad> {
        match self {
            Self::Bytes(b) => Ok(b),
            _ => Err(Bad),
        }
    }

    pub(super) fn number(self) -> Result<u64, Bad> {
        match self {
            Self::Number(n) => Ok(n),
            _ => Err(Bad),
        }
    }

    pub(super) fn signed(self) -> Result<i64, Bad> {
        self.number().map(unzigzag)
    }
}

/// Small numbers of either sign are written as small numbers.
pub(super) fn unzigzag(n: u64) -> i64 {
    (n >> 1).cast_signed() ^ -((n & 1).cast_signed())
}

impl<'a> Wire<'a> {
    pub(super) fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    #[inline]
    pub(super) fn number(&mut self) -> Result<u64, Bad> {
        let mut n = 0_u64;
        for (i, b) in self.0.iter().enumerate().take(10) {
            n |= u64::from(b & 0x7f) << (7 * i);
            if b & 0x80 == 0 {
                self.0 = &self.0[i + 1..];
                return Ok(n);
            }
        }
        Err(Bad)
    }

    #[inline]
    pub(super) fn signed(&mut self) -> Result<i64, Bad> {
        self.number().map(unzigzag)
    }

    pub(super) fn take(&mut self, n: usize) -> Result<&'a [u8], Bad> {
        let (head, rest) = self.0.split_at_checked(n).ok_or(Bad)?;
        self.0 = rest;
        Ok(head)
    }

    /// The next field's number and value; `None` at the end.
    pub(super) fn field(&mut self) -> Result<Option<(u64, Field<'a>)>, Bad> {
        if self.is_empty() {
            return Ok(None);
        }
        let key = self.number()?;
        let value = match key & 7 {
            0 => Field::Number(self.number()?),
            1 => self.take(8).map(|_| Field::Fixed)?,
            2 => {
                let n = self.number()?;
                Field::Bytes(self.take(usize::try_from(n).map_err(|_| Bad)?)?)
            }
            5 => self.take(4).map(|_| Field::Fixed)?,
            _ => return Err(Bad),
        };
        Ok(Some((key >> 3, value)))
    }
}
