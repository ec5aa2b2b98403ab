//! Writing a small extract in the PBF form: enough for invented roads, carrying nobody's data. Source of the form: see `extract`.

use super::super::point::Point;
use std::{
    collections::HashMap,
    io::{self, Write},
};

/// Nodes or ways in one block.
const BLOCK: usize = 8_000;

/// A node as it is written.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct NodeOut {
    pub id: i64,
    /// ten-millionths of a degree north and east
    pub at: (i32, i32),
    pub tags: Vec<(String, String)>,
}

impl NodeOut {
    pub fn new(id: i64, at: Point) -> Self {
        Self { id, at: (at.lat(), at.lon()), tags: Vec::new() }
    }
}

/// A way as it is written.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct WayOut {
    pub id: i64,
    pub refs: Vec<i64>,
    pub tags: Vec<(String, String)>,
}

fn number(out: &mut Vec<u8>, mut n: u64) {
    while n >= 0x80 {
        out.push((n & 0x7f) as u8 | 0x80);
        n >>= 7;
    }
    out.push((n & 0x7f) as u8);
}

fn signed(out: &mut Vec<u8>, n: i64) {
    number(out, ((n << 1) ^ (n >> 63)).cast_unsigned());
}

fn bytes_field(out: &mut Vec<u8>, field: u64, bytes: &[u8]) {
    number(out, (field << 3) | 2);
    number(out, bytes.len() as u64);
    out.extend_from_slice(bytes);
}

fn number_field(out: &mut Vec<u8>, field: u64, n: u64) {
    number(out, field << 3);
    number(out, n);
}

/// Each text of a block once.
struct Strings {
    place: HashMap<String, u64>,
    table: Vec<u8>,
}

impl Strings {
    fn new() -> Self {
        let mut table = Vec::new();
        bytes_field(&mut table, 1, b"");
        Self { place: HashMap::new(), table }
    }

    fn of(&mut self, text: &str) -> u64 {
        if let Some(i) = self.place.get(text) {
            return *i;
        }
        let i = self.place.len() as u64 + 1;
        self.place.insert(text.to_owned(), i);
        bytes_field(&mut self.table, 1, text.as_bytes());
        i
    }
}

fn blob(out: &mut impl Write, kind: &str, message: &[u8]) -> io::Result<()> {
    let mut packer = flate2::write::ZlibEncoder::new(Vec::new(), flate2::Compression::default());
    packer.write_all(message)?;
    let mut blob = Vec::new();
    number_field(&mut blob, 2, message.len() as u64);
    bytes_field(&mut blob, 3, &packer.finish()?);
    let mut header = Vec::new();
    bytes_field(&mut header, 1, kind.as_bytes());
    number_field(&mut header, 3, blob.len() as u64);
    out.write_all(&u32::try_from(header.len()).unwrap_or(0).to_be_bytes())?;
    out.write_all(&header)?;
    out.write_all(&blob)
}

fn block(out: &mut impl Write, strings: &Strings, group: &[u8]) -> io::Result<()> {
    let mut message = Vec::new();
    bytes_field(&mut message, 1, &strings.table);
    bytes_field(&mut message, 2, group);
    blob(out, "OSMData", &message)
}

fn dense(nodes: &[NodeOut], strings: &mut Strings) -> Vec<u8> {
    let (mut ids, mut lats, mut lons, mut tags) = (Vec::new(), Vec::new(), Vec::new(), Vec::new());
    let mut last = (0, 0, 0);
    for n in nodes {
        let now = (n.id, i64::from(n.at.0), i64::from(n.at.1));
        signed(&mut ids, now.0.wrapping_sub(last.0));
        signed(&mut lats, now.1 - last.1);
        signed(&mut lons, now.2 - last.2);
        last = now;
        for (key, value) in &n.tags {
            number(&mut tags, strings.of(key));
            number(&mut tags, strings.of(value));
        }
        number(&mut tags, 0);
    }
    let mut dense = Vec::new();
    for (field, list) in [(1, ids), (8, lats), (9, lons), (10, tags)] {
        bytes_field(&mut dense, field, &list);
    }
    let mut group = Vec::new();
    bytes_field(&mut group, 2, &dense);
    group
}

fn way(w: &WayOut, strings: &mut Strings) -> Vec<u8> {
    let (mut keys, mut values, mut refs) = (Vec::new(), Vec::new(), Vec::new());
    for (key, value) in &w.tags {
        number(&mut keys, strings.of(key));
        number(&mut values, strings.of(value));
    }
    let mut last = 0;
    for id in &w.refs {
        signed(&mut refs, id.wrapping_sub(last));
        last = *id;
    }
    let mut way = Vec::new();
    number_field(&mut way, 1, w.id.cast_unsigned());
    for (field, list) in [(2, keys), (3, values), (8, refs)] {
        bytes_field(&mut way, field, &list);
    }
    way
}

/// Writes an extract. `data_of` is the day of the data in seconds since 1970.
pub fn write(out: &mut impl Write, writer: &str, data_of: Option<i64>, nodes: &[NodeOut], ways: &[WayOut]) -> io::Result<()> {
    let mut header = Vec::new();
    bytes_field(&mut header, 4, b"OsmSchema-V0.6");
    bytes_field(&mut header, 4, b"DenseNodes");
    bytes_field(&mut header, 16, writer.as_bytes());
    if let Some(day) = data_of {
        number_field(&mut header, 32, day.cast_unsigned());
    }
    blob(out, "OSMHeader", &header)?;
    for part in nodes.chunks(BLOCK) {
        let mut strings = Strings::new();
        let group = dense(part, &mut strings);
        block(out, &strings, &group)?;
    }
    for part in ways.chunks(BLOCK) {
        let mut strings = Strings::new();
        let mut group = Vec::new();
        for w in part {
            let way = way(w, &mut strings);
            bytes_field(&mut group, 3, &way);
        }
        block(out, &strings, &group)?;
    }
    Ok(())
}
