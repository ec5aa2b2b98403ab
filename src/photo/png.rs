//! A PNG, chunk by chunk (ISO/IEC 15948; W3C Portable Network Graphics, second edition).

use super::{Kind, Picture, Refused, sides};
use flate2::{Crc, Decompress, FlushDecompress, Status};

pub(super) const START: [u8; 8] = *b"\x89PNG\r\n\x1a\n";

const CUT_OFF: Refused = Refused::Damaged("it ends too early");
const STRAY: Refused = Refused::Damaged("something that does not belong there");
const HEADER: Refused = Refused::Damaged("its header");
const DATA: Refused = Refused::Damaged("the picture’s data");

/// Kind and content of the next chunk; its check sum is looked at.
fn chunk<'a>(rest: &mut &'a [u8]) -> Result<([u8; 4], &'a [u8]), Refused> {
    let (length, after) = rest.split_first_chunk::<4>().ok_or(CUT_OFF)?;
    let length = usize::try_from(u32::from_be_bytes(*length)).map_err(|_| CUT_OFF)?;
    let (kind, after) = after.split_first_chunk::<4>().ok_or(CUT_OFF)?;
    let (content, after) = after.split_at_checked(length).ok_or(CUT_OFF)?;
    let (sum, after) = after.split_first_chunk::<4>().ok_or(CUT_OFF)?;
    if check_sum(*kind, content) != u32::from_be_bytes(*sum) {
        return Err(Refused::Damaged("a check sum does not fit"));
    }
    *rest = after;
    Ok((*kind, content))
}

fn check_sum(kind: [u8; 4], content: &[u8]) -> u32 {
    let mut crc = Crc::new();
    crc.update(&kind);
    crc.update(content);
    crc.sum()
}

fn add(to: &mut Vec<u8>, kind: [u8; 4], content: &[u8]) {
    // Shorter than the file that it was read from, whose lengths have four bytes.
    to.extend_from_slice(&u32::try_from(content.len()).unwrap_or(u32::MAX).to_be_bytes());
    to.extend_from_slice(&kind);
    to.extend_from_slice(content);
    to.extend_from_slice(&check_sum(kind, content).to_be_bytes());
}

/// What the header says.
#[derive(Clone, Copy)]
struct Header {
    width: u16,
    height: u16,
    /// Bits of a pixel.
    bits: u64,
    colour: u8,
    interlaced: bool,
}

impl Header {
    fn read(content: &[u8]) -> Result<Self, Refused> {
        let [w0, w1, w2, w3, h0, h1, h2, h3, depth, colour, 0, 0, interlace @ (0 | 1)] = *content else { return Err(HEADER) };
        let (width, height) = sides(u32::from_be_bytes([w0, w1, w2, w3]), u32::from_be_bytes([h0, h1, h2, h3]))?;
        let samples = match (colour, depth) {
            (0, 1 | 2 | 4 | 8 | 16) | (3, 1 | 2 | 4 | 8) => 1,
            (2, 8 | 16) => 3,
            (4, 8 | 16) => 2,
            (6, 8 | 16) => 4,
            _ => return Err(HEADER),
        };
        Ok(Self { width, height, bits: samples * u64::from(depth), colour, interlaced: interlace == 1 })
    }

    /// Bytes of the picture before it was compressed: each row has one more for its filter. An interlaced picture is seven
    /// small ones (Adam7).
    fn raw_bytes(self) -> u64 {
        const PASSES: [(u64, u64, u64, u64); 7] =
            [(0, 0, 8, 8), (4, 0, 8, 8), (0, 4, 4, 8), (2, 0, 4, 4), (0, 2, 2, 4), (1, 0, 2, 2), (0, 1, 1, 2)];
        let passes: &[_] = if self.interlaced { &PASSES } else { &[(0, 0, 1, 1)] };
        let some = |side: u16, from: u64, step: u64| u64::from(side).saturating_sub(from).div_ceil(step);
        let bytes = passes.iter().map(|(x, y, dx, dy)| match some(self.width, *x, *dx) {
            0 => 0,
            width => some(self.height, *y, *dy) * (1 + (width * self.bits).div_ceil(8)),
        });
        bytes.sum()
    }
}

/// What is kept beside the header, while the walk goes on.
#[derive(Default)]
struct Kept {
    standard_colours: Option<u8>,
    gamma: Option<[u8; 4]>,
    palette: Option<Vec<u8>>,
    clear: Option<Vec<u8>>,
    data: Vec<u8>,
    data_is_over: bool,
}

pub(super) fn strip(bytes: &[u8]) -> Result<Picture, Refused> {
    let mut rest = bytes.strip_prefix(&START).ok_or(Refused::NotAPicture)?;
    let (kind, content) = chunk(&mut rest)?;
    if kind != *b"IHDR" {
        return Err(HEADER);
    }
    let header = Header::read(content)?;
    let mut kept = Kept::default();
    loop {
        let (kind, content) = chunk(&mut rest)?;
        if kind == *b"IEND" {
            break;
        }
        kept.chunk(header, kind, content)?;
    }
    kept.whole(header, bytes)
}

impl Kept {
    fn chunk(&mut self, header: Header, kind: [u8; 4], content: &[u8]) -> Result<(), Refused> {
        let before_data = self.data.is_empty();
        if kind != *b"IDAT" {
            self.data_is_over = !before_data;
        }
        match &kind {
            b"IDAT" if self.data_is_over => return Err(STRAY),
            b"IDAT" => self.data.extend_from_slice(content),
            b"PLTE" => {
                let sound = before_data && self.palette.is_none() && content.len().is_multiple_of(3) && (3..=768).contains(&content.len());
                self.palette = Some(content.to_vec()).filter(|_| sound && !matches!(header.colour, 0 | 4));
                if self.palette.is_none() {
                    return Err(STRAY);
                }
            }
            b"tRNS" if before_data && self.fits(header, content) => self.clear = Some(content.to_vec()),
            b"gAMA" if before_data => self.gamma = content.try_into().ok(),
            b"sRGB" if before_data => self.standard_colours = content.first().copied().filter(|intent| content.len() == 1 && *intent <= 3),
            // A small letter first says that a picture can be drawn without it.
            [first, ..] if first.is_ascii_lowercase() => {}
            _ => return Err(Refused::Rare("how it is built")),
        }
        Ok(())
    }

    /// Whether this says what is see-through, as the kind of colours wants it.
    fn fits(&self, header: Header, content: &[u8]) -> bool {
        match header.colour {
            0 => content.len() == 2,
            2 => content.len() == 6,
            3 => self.palette.as_ref().is_some_and(|p| (1..=p.len() / 3).contains(&content.len())),
            _ => false,
        }
    }

    fn whole(self, header: Header, bytes: &[u8]) -> Result<Picture, Refused> {
        if header.colour == 3 && self.palette.is_none() {
            return Err(HEADER);
        }
        let used = unpacked(&self.data, header.raw_bytes())?;
        let mut out = START.to_vec();
        // The header begins after the start and its own length and kind, and is as long as it always is.
        add(&mut out, *b"IHDR", bytes.get(16..29).ok_or(CUT_OFF)?);
        if let Some(intent) = self.standard_colours {
            add(&mut out, *b"sRGB", &[intent]);
        }
        for (kind, content) in [(*b"gAMA", self.gamma.map(|g| g.to_vec())), (*b"PLTE", self.palette), (*b"tRNS", self.clear)] {
            if let Some(content) = content {
                add(&mut out, kind, &content);
            }
        }
        add(&mut out, *b"IDAT", self.data.get(..used).ok_or(CUT_OFF)?);
        add(&mut out, *b"IEND", &[]);
        Ok(Picture { kind: Kind::Png, bytes: out, width: header.width, height: header.height })
    }
}

/// How many bytes of the data are the picture. They have to give exactly as much as the header promises, and no more is unpacked.
fn unpacked(data: &[u8], raw: u64) -> Result<usize, Refused> {
    let mut unpack = Decompress::new(true);
    let mut room = [0; 16 * 1024];
    loop {
        let (seen, made) = (unpack.total_in(), unpack.total_out());
        let from = usize::try_from(seen).ok().and_then(|seen| data.get(seen..)).ok_or(DATA)?;
        let status = unpack.decompress(from, &mut room, FlushDecompress::None).map_err(|_| DATA)?;
        if unpack.total_out() > raw {
            return Err(DATA);
        }
        match status {
            Status::StreamEnd if unpack.total_out() == raw => return usize::try_from(unpack.total_in()).map_err(|_| DATA),
            Status::StreamEnd => return Err(DATA),
            // No step forward: the data ends too early.
            Status::Ok | Status::BufError if (seen, made) == (unpack.total_in(), unpack.total_out()) => return Err(DATA),
            Status::Ok | Status::BufError => {}
        }
    }
}
