//! A JPEG, segment by segment (ISO/IEC 10918-1, annex B; JFIF 1.02 for APP0; ISO/IEC 10918-6 for APP14).

use super::{Kind, Picture, Refused, exif, sides};

/// Start of image.
pub(super) const START: [u8; 2] = [0xff, 0xd8];
const END: [u8; 2] = [0xff, 0xd9];
/// More scans than any camera or browser writes only serve to stall whoever draws them.
const MOST_SCANS: usize = 100;

const CUT_OFF: Refused = Refused::Damaged("it ends too early");
const TABLE: Refused = Refused::Damaged("a table in it");
const STRAY: Refused = Refused::Damaged("something that does not belong there");

/// Where the walk stands in the file.
struct Walk<'a> {
    rest: &'a [u8],
}

impl<'a> Walk<'a> {
    fn take(&mut self, n: usize) -> Result<&'a [u8], Refused> {
        let (taken, rest) = self.rest.split_at_checked(n).ok_or(CUT_OFF)?;
        self.rest = rest;
        Ok(taken)
    }

    /// The next marker's code. Any number of FF may stand before it.
    fn marker(&mut self) -> Result<u8, Refused> {
        if self.take(1)? != [0xff] {
            return Err(STRAY);
        }
        loop {
            match self.take(1)? {
                [0xff] => {}
                [code] => return Ok(*code),
                _ => return Err(CUT_OFF),
            }
        }
    }

    /// What stands in a segment, after its length.
    fn segment(&mut self) -> Result<&'a [u8], Refused> {
        let length: [u8; 2] = self.take(2)?.try_into().map_err(|_| CUT_OFF)?;
        let length = usize::from(u16::from_be_bytes(length));
        self.take(length.checked_sub(2).ok_or(STRAY)?)
    }

    /// The compressed data of a scan: up to the next marker that is neither a stuffed FF nor a restart.
    fn scan(&mut self) -> Result<&'a [u8], Refused> {
        let mut at = 0;
        loop {
            let next = self.rest.get(at..).and_then(|rest| rest.iter().position(|b| *b == 0xff)).ok_or(CUT_OFF)?;
            at += next;
            match self.rest.get(at + 1).ok_or(CUT_OFF)? {
                0x00 | 0xd0..=0xd7 => at += 2,
                0xff => at += 1,
                _ => return self.take(at),
            }
        }
    }
}

/// What is kept of a picture.
#[derive(Default)]
struct Kept {
    jfif: Vec<u8>,
    orientation: Option<exif::Orientation>,
    adobe: Vec<u8>,
    frame: Option<(u16, u16)>,
    scans: usize,
    body: Vec<u8>,
}

/// Adds a segment with its marker and length.
fn add(to: &mut Vec<u8>, code: u8, segment: &[u8]) {
    // A segment was read with a length of two bytes, so it can be written with one.
    let length = u16::try_from(segment.len() + 2).unwrap_or(u16::MAX);
    to.extend_from_slice(&[0xff, code]);
    to.extend_from_slice(&length.to_be_bytes());
    to.extend_from_slice(segment);
}

pub(super) fn strip(bytes: &[u8]) -> Result<Picture, Refused> {
    let mut walk = Walk { rest: bytes.strip_prefix(&START).ok_or(Refused::NotAPicture)? };
    let mut kept = Kept::default();
    loop {
        let code = walk.marker()?;
        if code == END[1] {
            break;
        }
        // Without a length: start, restarts, and one that is of no use outside of arithmetic coding.
        if matches!(code, 0x00 | 0x01 | 0xd0..=0xd8) {
            return Err(STRAY);
        }
        let segment = walk.segment()?;
        kept.segment(code, segment)?;
        if code == 0xda {
            kept.body.extend_from_slice(walk.scan()?);
        }
    }
    kept.whole()
}

impl Kept {
    fn segment(&mut self, code: u8, segment: &[u8]) -> Result<(), Refused> {
        match code {
            0xe0 => self.jfif(segment),
            0xe1 => self.notes(segment),
            0xee => self.adobe(segment),
            // Everything else that programs and cameras add: places, colour profiles, second pictures, comments.
            0xe2..=0xed | 0xef | 0xfe => {}
            0xdb => self.table(code, segment, quantization(segment))?,
            0xc4 => self.table(code, segment, huffman(segment))?,
            0xdd => self.table(code, segment, segment.len() == 2)?,
            0xc0..=0xc2 => self.frame(code, segment)?,
            0xda => self.scan_header(segment)?,
            0xc3 | 0xc5..=0xcf => return Err(Refused::Rare("how it is compressed")),
            _ => return Err(Refused::Rare("how it is built")),
        }
        Ok(())
    }

    /// Resolution and version; a small picture that may follow is left out.
    fn jfif(&mut self, segment: &[u8]) {
        if self.jfif.is_empty() && segment.starts_with(b"JFIF\0") && segment.len() >= 14 {
            self.jfif = segment[..12].to_vec();
            self.jfif.extend_from_slice(&[0, 0]);
        }
    }

    fn notes(&mut self, segment: &[u8]) {
        if self.orientation.is_none() {
            self.orientation = segment.strip_prefix(exif::NAME).and_then(exif::orientation);
        }
    }

    /// How the colours are meant; without it some pictures have false ones.
    fn adobe(&mut self, segment: &[u8]) {
        if self.adobe.is_empty() && segment.starts_with(b"Adobe") && segment.len() >= 12 {
            self.adobe = segment[..12].to_vec();
        }
    }

    fn table(&mut self, code: u8, segment: &[u8], is_sound: bool) -> Result<(), Refused> {
        if !is_sound {
            return Err(TABLE);
        }
        add(&mut self.body, code, segment);
        Ok(())
    }

    fn frame(&mut self, code: u8, segment: &[u8]) -> Result<(), Refused> {
        let [precision, h0, h1, w0, w1, components, rest @ ..] = segment else { return Err(TABLE) };
        if self.frame.is_some() {
            return Err(STRAY);
        }
        if *precision != 8 {
            return Err(Refused::Rare("how many bits a colour has"));
        }
        if !(1..=4).contains(components) || rest.len() != 3 * usize::from(*components) {
            return Err(TABLE);
        }
        let (width, height) = (u16::from_be_bytes([*w0, *w1]), u16::from_be_bytes([*h0, *h1]));
        self.frame = Some(sides(width.into(), height.into())?);
        add(&mut self.body, code, segment);
        Ok(())
    }

    fn scan_header(&mut self, segment: &[u8]) -> Result<(), Refused> {
        let components = usize::from(*segment.first().ok_or(TABLE)?);
        if self.frame.is_none() || !(1..=4).contains(&components) || segment.len() != 4 + 2 * components {
            return Err(TABLE);
        }
        self.scans += 1;
        if self.scans > MOST_SCANS {
            return Err(Refused::Rare("how many passes it takes"));
        }
        add(&mut self.body, 0xda, segment);
        Ok(())
    }

    fn whole(self) -> Result<Picture, Refused> {
        let (width, height) = self.frame.filter(|_| self.scans > 0).ok_or(CUT_OFF)?;
        let mut bytes = START.to_vec();
        let notes = exif::only(self.orientation);
        for (code, segment) in [(0xe0, &self.jfif), (0xe1, &notes), (0xee, &self.adobe)] {
            if !segment.is_empty() {
                add(&mut bytes, code, segment);
            }
        }
        bytes.extend_from_slice(&self.body);
        bytes.extend_from_slice(&END);
        let on_its_side = self.orientation.is_some_and(exif::Orientation::is_on_its_side);
        let (width, height) = if on_its_side { (height, width) } else { (width, height) };
        Ok(Picture { kind: Kind::Jpeg, bytes, width, height })
    }
}

/// Whether a segment holds quantization tables and nothing else.
fn quantization(mut rest: &[u8]) -> bool {
    while let [head, table @ ..] = rest {
        let length = match head >> 4 {
            0 => 64,
            1 => 128,
            _ => return false,
        };
        let Some(after) = table.get(length..).filter(|_| head & 15 <= 3) else { return false };
        rest = after;
    }
    true
}

/// Whether a segment holds Huffman tables and nothing else.
fn huffman(mut rest: &[u8]) -> bool {
    while let [head, table @ ..] = rest {
        let Some((counts, values)) = table.split_at_checked(16) else { return false };
        let many: usize = counts.iter().map(|c| usize::from(*c)).sum();
        let Some(after) = values.get(many..).filter(|_| head >> 4 <= 1 && head & 15 <= 3 && many <= 256) else { return false };
        rest = after;
    }
    true
}
