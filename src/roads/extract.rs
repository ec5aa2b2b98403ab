//! Reading an OpenStreetMap extract in the PBF form (`.osm.pbf`), block by block, several at a time, in the order of the file.
//!
//! Source: the OpenStreetMap wiki, page "PBF Format", and its two message files `fileformat.proto` and `osmformat.proto`.

use super::{
    point::Point,
    speeds::Tags,
    wire::{Bad, Field, Wire, unzigzag},
};
use std::{
    io::{self, Read},
    sync::atomic::{AtomicUsize, Ordering},
};

/// Longest header of a blob that the format lets a writer make, in bytes.
const MOST_HEADER: u32 = 64 * 1024;
/// Largest blob, packed or not, in bytes.
const MOST_BLOB: u64 = 32 * 1024 * 1024;

/// Why an extract cannot be read.
#[derive(Debug, thiserror::Error)]
pub enum ExtractError {
    #[error("the file is empty. Fetch the extract again")]
    Empty,
    #[error("this is not an extract in the form .osm.pbf. {hint}")]
    Other { hint: &'static str },
    #[error("the file ends in the middle of a block, {at} bytes in. It was not fetched whole; fetch it again")]
    Cut { at: u64 },
    #[error("the file is damaged {at} bytes in: {what}. Fetch it again")]
    Damaged { at: u64, what: &'static str },
    #[error("the extract needs “{feature}”, which is not read here. Take a plain extract of today’s map")]
    Needs { feature: String },
    #[error("the extract is packed in a way that is not read here ({how}). Take one that is packed with zlib, as extracts usually are")]
    Packed { how: &'static str },
    #[error("the file cannot be read: {0}")]
    Read(#[from] io::Error),
}

/// What the file says of itself.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(super) struct Header {
    /// The day of the data, in seconds since 1970, where the file says it.
    pub(super) data_of: Option<i64>,
    /// The program that wrote it.
    pub(super) written_by: String,
}

/// Takes what a block holds.
pub(super) trait Sink {
    /// Whether nodes without a tag are wanted too.
    const EVERY_NODE: bool;
    /// Whether ways are wanted.
    const WAYS: bool;
    /// `at` is `None` when the coordinates are nowhere on earth.
    fn node(&mut self, id: i64, at: Option<Point>, tags: Tags<'_>);
    fn way(&mut self, refs: &[i64], tags: Tags<'_>);
}

struct Blob {
    at: u64,
    data: Vec<u8>,
}

/// A file being read.
struct Blobs<R> {
    from: R,
    at: u64,
}

impl<R: Read> Blobs<R> {
    fn exactly(&mut self, n: u64) -> Result<Vec<u8>, ExtractError> {
        let mut bytes = Vec::new();
        let got = self.from.by_ref().take(n).read_to_end(&mut bytes)?;
        self.at += got as u64;
        if (got as u64) < n { Err(ExtractError::Cut { at: self.at }) } else { Ok(bytes) }
    }

    /// The next blob's kind and its message, still packed; `None` at the end of the file.
    fn next(&mut self) -> Result<Option<(Vec<u8>, Blob)>, ExtractError> {
        let at = self.at;
        let mut length = [0; 4];
        let got = read_some(&mut self.from, &mut length)?;
        self.at += got as u64;
        if got == 0 {
            return Ok(None);
        }
        if got < 4 {
            return Err(if at == 0 { not_an_extract(&length[..got]) } else { ExtractError::Cut { at: self.at } });
        }
        let length_of_header = u32::from_be_bytes(length);
        if length_of_header == 0 || length_of_header > MOST_HEADER {
            return Err(if at == 0 { not_an_extract(&length) } else { damaged(at, "a block's header has no sensible length") });
        }
        let header = match self.exactly(u64::from(length_of_header)) {
            Err(ExtractError::Cut { .. }) if at == 0 => return Err(not_an_extract(&length)),
            other => other?,
        };
        let not_a_header = if at == 0 { not_an_extract(&length) } else { damaged(at, "a block's header cannot be read") };
        let Ok((kind, size)) = blob_header(&header) else { return Err(not_a_header) };
        if size > MOST_BLOB {
            return Err(damaged(at, "a block is larger than the format allows"));
        }
        Ok(Some((kind, Blob { at, data: self.exactly(size)? })))
    }
}

fn damaged(at: u64, what: &'static str) -> ExtractError {
    ExtractError::Damaged { at, what }
}

fn not_an_extract(start: &[u8]) -> ExtractError {
    let hint = match start {
        [b'<', ..] => "It is XML; take the same extract as .osm.pbf.",
        [0x1f, 0x8b, ..] | [b'B', b'Z', b'h', ..] | [b'P', b'K', ..] => {
            "It is a packed archive; unpack it, or take the same extract as .osm.pbf."
        }
        _ => "Take the file that ends in .osm.pbf.",
    };
    ExtractError::Other { hint }
}

/// Reads until the buffer is full or the file ends.
fn read_some(from: &mut impl Read, buffer: &mut [u8]) -> io::Result<usize> {
    let mut got = 0;
    while got < buffer.len() {
        match from.read(&mut buffer[got..]) {
            Ok(0) => break,
            Ok(n) => got += n,
            Err(e) if e.kind() == io::ErrorKind::Interrupted => {}
            Err(e) => return Err(e),
        }
    }
    Ok(got)
}

fn blob_header(bytes: &[u8]) -> Result<(Vec<u8>, u64), Bad> {
    let mut wire = Wire(bytes);
    let (mut kind, mut size) = (None, None);
    while let Some((number, field)) = wire.field()? {
        match number {
            1 => kind = Some(field.bytes()?.to_vec()),
            3 => size = Some(field.number()?),
            _ => {}
        }
    }
    kind.zip(size).ok_or(Bad)
}

/// The message inside a blob.
fn unpack(blob: &Blob) -> Result<Vec<u8>, ExtractError> {
    let bad = |_: Bad| damaged(blob.at, "a block cannot be read");
    let mut wire = Wire(&blob.data);
    let (mut size, mut packed) = (0, None);
    while let Some((number, field)) = wire.field().map_err(bad)? {
        match number {
            1 => return field.bytes().map(<[u8]>::to_vec).map_err(bad),
            2 => size = field.number().map_err(bad)?,
            3 => packed = Some(field.bytes().map_err(bad)?),
            4 => return Err(ExtractError::Packed { how: "LZMA" }),
            5 => return Err(ExtractError::Packed { how: "bzip2" }),
            6 => return Err(ExtractError::Packed { how: "LZ4" }),
            7 => return Err(ExtractError::Packed { how: "Zstandard" }),
            _ => {}
        }
    }
    let Some(packed) = packed else { return Err(damaged(blob.at, "a block holds nothing")) };
    if size > MOST_BLOB {
        return Err(damaged(blob.at, "a block says it is larger than the format allows"));
    }
    let mut out = Vec::with_capacity(usize::try_from(size).unwrap_or(0));
    // One byte more than promised is enough to see that there are more.
    let read = flate2::read::ZlibDecoder::new(packed).take(size + 1).read_to_end(&mut out);
    if read.is_err() || out.len() as u64 != size {
        return Err(damaged(blob.at, "a block does not unpack to what it promised"));
    }
    Ok(out)
}

fn header(bytes: &[u8]) -> Result<(Header, Vec<String>), Bad> {
    let mut wire = Wire(bytes);
    let (mut header, mut needs) = (Header::default(), Vec::new());
    let text = |field: Field<'_>| Ok(String::from_utf8_lossy(field.bytes()?).into_owned());
    while let Some((number, field)) = wire.field()? {
        match number {
            4 => needs.push(text(field)?),
            16 => header.written_by = text(field)?,
            32 => header.data_of = Some(field.number()?.cast_signed()).filter(|s| *s > 0),
            _ => {}
        }
    }
    Ok((header, needs))
}

/// Reads a whole file: every block into a sink of its own, on as many threads as there are processors, given back in the file's order.
pub(super) fn read<R: Read, S: Sink + Default + Send>(from: R, mut take: impl FnMut(S)) -> Result<Header, ExtractError> {
    let mut blobs = Blobs { from, at: 0 };
    let mut about = None;
    let threads = std::thread::available_parallelism().map_or(1, std::num::NonZero::get).min(8);
    let mut batch = Vec::new();
    loop {
        let next = blobs.next()?;
        let end = next.is_none();
        match next {
            Some((kind, blob)) if kind == b"OSMHeader" => {
                let (header, needs) = header(&unpack(&blob)?).map_err(|_| damaged(blob.at, "the file's header cannot be read"))?;
                if let Some(feature) = needs.into_iter().find(|n| n != "OsmSchema-V0.6" && n != "DenseNodes") {
                    return Err(ExtractError::Needs { feature });
                }
                about = Some(header);
            }
            Some((kind, blob)) if kind == b"OSMData" => {
                if about.is_none() {
                    return Err(damaged(blob.at, "data comes before the file's header"));
                }
                batch.push(blob);
            }
            // The format asks readers to pass over what they do not know.
            _ => {}
        }
        if batch.len() >= 8 * threads || end {
            work(&batch, threads)?.into_iter().for_each(&mut take);
            batch.clear();
        }
        if end {
            return about.ok_or(ExtractError::Empty);
        }
    }
}

/// Every blob of a batch into a sink; the first that fails, in the file's order, is told.
fn work<S: Sink + Default + Send>(batch: &[Blob], threads: usize) -> Result<Vec<S>, ExtractError> {
    let next = AtomicUsize::new(0);
    let one = || {
        let mut done = Vec::new();
        loop {
            let i = next.fetch_add(1, Ordering::Relaxed);
            let Some(blob) = batch.get(i) else { return done };
            done.push((i, into_sink(blob)));
        }
    };
    let mut all = std::thread::scope(|scope| {
        let others: Vec<_> = (1..threads.min(batch.len())).map(|_| scope.spawn(one)).collect();
        let mut all = one();
        for other in others {
            match other.join() {
                Ok(done) => all.extend(done),
                Err(panic) => std::panic::resume_unwind(panic),
            }
        }
        all
    });
    all.sort_unstable_by_key(|d| d.0);
    all.into_iter().map(|d| d.1).collect()
}

fn into_sink<S: Sink + Default>(blob: &Blob) -> Result<S, ExtractError> {
    let bytes = unpack(blob)?;
    let mut sink = S::default();
    Block::parse(&bytes)
        .and_then(|block| block.groups.iter().try_for_each(|g| block.group(g, &mut sink)))
        .map_err(|_| damaged(blob.at, "a block's contents make no sense"))?;
    Ok(sink)
}

struct Block<'a> {
    strings: Vec<&'a str>,
    groups: Vec<&'a [u8]>,
    granularity: i64,
    lat_offset: i64,
    lon_offset: i64,
}

impl<'a> Block<'a> {
    fn parse(bytes: &'a [u8]) -> Result<Self, Bad> {
        let mut block = Self { strings: Vec::new(), groups: Vec::new(), granularity: 100, lat_offset: 0, lon_offset: 0 };
        let mut wire = Wire(bytes);
        while let Some((number, field)) = wire.field()? {
            match number {
                1 => {
                    let mut table = Wire(field.bytes()?);
                    while let Some((number, field)) = table.field()? {
                        if number == 1 {
                            block.strings.push(std::str::from_utf8(field.bytes()?).unwrap_or_default());
                        }
                    }
                }
                2 => block.groups.push(field.bytes()?),
                17 => block.granularity = field.number()?.cast_signed(),
                19 => block.lat_offset = field.number()?.cast_signed(),
                20 => block.lon_offset = field.number()?.cast_signed(),
                _ => {}
            }
        }
        Ok(block)
    }

    fn group<S: Sink>(&self, bytes: &[u8], sink: &mut S) -> Result<(), Bad> {
        let mut wire = Wire(bytes);
        while let Some((number, field)) = wire.field()? {
            match number {
                1 => self.node(field.bytes()?, sink)?,
                2 => self.dense(field.bytes()?, sink)?,
                3 if S::WAYS => self.way(field.bytes()?, sink)?,
                _ => {}
            }
        }
        Ok(())
    }

    /// Billionths of a degree are offset + granularity × number.
    fn at(&self, lat: i64, lon: i64) -> Option<Point> {
        let degree = |offset: i64, n: i64| self.granularity.checked_mul(n)?.checked_add(offset).map(|d| d.div_euclid(100));
        Point::new(degree(self.lat_offset, lat)?, degree(self.lon_offset, lon)?)
    }

    fn string(&self, i: u64) -> Result<&'a str, Bad> {
        usize::try_from(i).ok().and_then(|i| self.strings.get(i)).copied().ok_or(Bad)
    }

    fn node<S: Sink>(&self, bytes: &[u8], sink: &mut S) -> Result<(), Bad> {
        let mut wire = Wire(bytes);
        let (mut id, mut lat, mut lon) = (0, 0, 0);
        let (mut keys, mut values): (&[u8], &[u8]) = (&[], &[]);
        while let Some((number, field)) = wire.field()? {
            match number {
                1 => id = field.signed()?,
                2 => keys = field.bytes()?,
                3 => values = field.bytes()?,
                8 => lat = field.signed()?,
                9 => lon = field.signed()?,
                _ => {}
            }
        }
        let tags = self.tags(keys, values)?;
        if S::EVERY_NODE || !tags.is_empty() {
            sink.node(id, self.at(lat, lon), Tags(&tags));
        }
        Ok(())
    }

    fn dense<S: Sink>(&self, bytes: &[u8], sink: &mut S) -> Result<(), Bad> {
        let mut wire = Wire(bytes);
        let (mut ids, mut lats, mut lons, mut tagged) = (Wire(&[]), Wire(&[]), Wire(&[]), Wire(&[]));
        while let Some((number, field)) = wire.field()? {
            match number {
                1 => ids = Wire(field.bytes()?),
                8 => lats = Wire(field.bytes()?),
                9 => lons = Wire(field.bytes()?),
                10 => tagged = Wire(field.bytes()?),
                _ => {}
            }
        }
        if tagged.is_empty() && !S::EVERY_NODE {
            return Ok(());
        }
        let (mut id, mut lat, mut lon) = (0_i64, 0_i64, 0_i64);
        let mut tags = Vec::new();
        while !ids.is_empty() {
            id = id.wrapping_add(ids.signed()?);
            lat = lat.wrapping_add(lats.signed()?);
            lon = lon.wrapping_add(lons.signed()?);
            tags.clear();
            while !tagged.is_empty() {
                let key = tagged.number()?;
                if key == 0 {
                    break;
                }
                let value = tagged.number()?;
                if !S::EVERY_NODE {
                    tags.push((self.string(key)?, self.string(value)?));
                }
            }
            if S::EVERY_NODE || !tags.is_empty() {
                sink.node(id, self.at(lat, lon), Tags(&tags));
            }
        }
        Ok(())
    }

    fn way<S: Sink>(&self, bytes: &[u8], sink: &mut S) -> Result<(), Bad> {
        let mut wire = Wire(bytes);
        let (mut keys, mut values, mut nodes): (&[u8], &[u8], &[u8]) = (&[], &[], &[]);
        while let Some((number, field)) = wire.field()? {
            match number {
                2 => keys = field.bytes()?,
                3 => values = field.bytes()?,
                8 => nodes = field.bytes()?,
                _ => {}
            }
        }
        if keys.is_empty() {
            return Ok(());
        }
        let tags = self.tags(keys, values)?;
        let mut refs = Vec::new();
        let mut id = 0_i64;
        let mut nodes = Wire(nodes);
        while !nodes.is_empty() {
            id = id.wrapping_add(unzigzag(nodes.number()?));
            refs.push(id);
        }
        sink.way(&refs, Tags(&tags));
        Ok(())
    }

    fn tags(&self, keys: &[u8], values: &[u8]) -> Result<Vec<(&'a str, &'a str)>, Bad> {
        let (mut keys, mut values) = (Wire(keys), Wire(values));
        let mut tags = Vec::new();
        while !keys.is_empty() {
            tags.push((self.string(keys.number()?)?, self.string(values.number()?)?));
        }
        Ok(tags)
    }
}
