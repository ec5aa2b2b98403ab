//! The road file: a short header (magic, version, length, check sum) and the network as small numbers, differences where neighbours lie close.
//!
//! Read with every step checked: a damaged or foreign file is an error, never a wrong road. The hierarchy is not kept; it is prepared at load.

use super::{
    graph::{Edge, House, Misfit, Network, Origin, Parts, Size, Town, Water},
    point::{Point, index},
    speeds::Class,
    wire::{Bad, Wire},
};

const MAGIC: &[u8; 8] = b"EMBRROAD";
const VERSION: u8 = 1;
/// Magic, version, length, check sum.
const HEADER: usize = 8 + 1 + 8 + 4;

/// Why a road file cannot be used.
#[derive(Debug, thiserror::Error)]
pub enum RoadFileError {
    #[error("this is no road file. Make one with `embertide import-roads`")]
    Other,
    #[error("the road file has the form {found}, and this program reads form {VERSION}. Import the extract again")]
    Version { found: u8 },
    #[error("the road file is damaged. Import the extract again")]
    Damaged,
    #[error("the road file is damaged: {0}. Import the extract again")]
    Misfit(#[from] Misfit),
}

impl From<Bad> for RoadFileError {
    fn from(_: Bad) -> Self {
        Self::Damaged
    }
}

fn check_sum(bytes: &[u8]) -> u32 {
    let mut crc = flate2::Crc::new();
    crc.update(bytes);
    crc.sum()
}

#[derive(Default)]
struct Out(Vec<u8>);

impl Out {
    fn number(&mut self, mut n: u64) {
        while n >= 0x80 {
            self.0.push((n & 0x7f) as u8 | 0x80);
            n >>= 7;
        }
        self.0.push((n & 0x7f) as u8);
    }

    fn signed(&mut self, n: i64) {
        self.number(((n << 1) ^ (n >> 63)).cast_unsigned());
    }

    fn text(&mut self, s: &str) {
        self.number(s.len() as u64);
        self.0.extend_from_slice(s.as_bytes());
    }

    /// As a difference from the point before.
    fn point(&mut self, p: Point, last: &mut Point) {
        self.signed(i64::from(p.lat()) - i64::from(last.lat()));
        self.signed(i64::from(p.lon()) - i64::from(last.lon()));
        *last = p;
    }

    fn count<T>(&mut self, list: &[T]) {
        self.number(list.len() as u64);
    }
}

fn origin_point() -> Point {
    Point::near(0.0, 0.0)
}

/// The network as the bytes of a road file. The same network gives the same bytes.
pub fn encode(network: &Network) -> Vec<u8> {
    let parts = network.parts();
    let mut out = Out::default();
    out.number(u64::from(parts.origin.invented));
    out.signed(parts.origin.data_of.unwrap_or(0));
    out.count(&parts.nodes);
    let mut last = origin_point();
    parts.nodes.iter().for_each(|p| out.point(*p, &mut last));
    out.count(&parts.names);
    parts.names.iter().for_each(|n| out.text(n));
    out.count(&parts.edges);
    for (i, e) in (0..).zip(&parts.edges) {
        edge(&mut out, e, network.shape(i));
    }
    out.count(&parts.towns);
    for t in &parts.towns {
        out.point(t.at, &mut last);
        out.number(t.size as u64);
        out.text(&t.name);
    }
    out.count(&parts.houses);
    for h in &parts.houses {
        out.point(h.at, &mut last);
        out.text(&h.number);
        out.text(&h.street);
        out.text(&h.town);
    }
    out.count(&parts.waters);
    for w in &parts.waters {
        out.text(&w.name);
        out.count(&w.line);
        w.line.iter().for_each(|p| out.point(*p, &mut last));
    }
    let body = out.0;
    let mut file = Vec::with_capacity(HEADER + body.len());
    file.extend_from_slice(MAGIC);
    file.push(VERSION);
    file.extend_from_slice(&(body.len() as u64).to_le_bytes());
    file.extend_from_slice(&check_sum(&body).to_le_bytes());
    file.extend_from_slice(&body);
    file
}

fn edge(out: &mut Out, e: &Edge, shape: &[Point]) {
    out.number(u64::from(e.a));
    out.signed(i64::from(e.b) - i64::from(e.a));
    out.number(u64::from(e.forward_ms.unwrap_or(0)));
    out.number(u64::from(e.backward_ms.unwrap_or(0)));
    out.number(u64::from(e.dm));
    out.number(u64::from(e.name));
    out.number(e.class as u64 | u64::from(e.link) << 4 | u64::from(e.private) << 5);
    // Both ends are junctions, and known.
    let between = shape.get(1..shape.len().saturating_sub(1)).unwrap_or_default();
    out.count(between);
    let mut last = shape.first().copied().unwrap_or(origin_point());
    for p in between {
        out.point(*p, &mut last);
    }
}

/// The body, still to read.
struct In<'a> {
    wire: Wire<'a>,
    last: Point,
}

impl In<'_> {
    fn number<T: TryFrom<u64>>(&mut self) -> Result<T, Bad> {
        T::try_from(self.wire.number()?).map_err(|_| Bad)
    }

    fn text(&mut self) -> Result<String, Bad> {
        let n = self.number()?;
        std::str::from_utf8(self.wire.take(n)?).map(str::to_owned).map_err(|_| Bad)
    }

    fn point(&mut self) -> Result<Point, Bad> {
        let lat = i64::from(self.last.lat()).checked_add(self.wire.signed()?).ok_or(Bad)?;
        let lon = i64::from(self.last.lon()).checked_add(self.wire.signed()?).ok_or(Bad)?;
        self.last = Point::new(lat, lon).ok_or(Bad)?;
        Ok(self.last)
    }

    /// Each of a list takes a byte or more, so that a wrong count cannot ask for more room than the file is long.
    fn list<T>(&mut self, one: impl Fn(&mut Self) -> Result<T, Bad>) -> Result<Vec<T>, Bad> {
        let n: usize = self.number()?;
        if n > self.wire.0.len() {
            return Err(Bad);
        }
        (0..n).map(|_| one(self)).collect()
    }

    fn edge(&mut self, parts: &mut Parts) -> Result<(), Bad> {
        let a: u32 = self.number()?;
        let b = u32::try_from(i64::from(a).checked_add(self.wire.signed()?).ok_or(Bad)?).map_err(|_| Bad)?;
        let (forward, backward): (u32, u32) = (self.number()?, self.number()?);
        let (dm, name): (u32, u32) = (self.number()?, self.number()?);
        let kind: usize = self.number()?;
        let shape = index(parts.shape.len());
        let ends = parts.nodes.get(a as usize).copied().zip(parts.nodes.get(b as usize).copied());
        let (first, last) = ends.ok_or(Bad)?;
        parts.shape.push(first);
        self.last = first;
        let between: usize = self.number()?;
        for _ in 0..between {
            let p = self.point()?;
            parts.shape.push(p);
        }
        parts.shape.push(last);
        let ms = |ms: u32| (ms > 0).then_some(ms);
        parts.edges.push(Edge {
            a,
            b,
            forward_ms: ms(forward),
            backward_ms: ms(backward),
            dm,
            shape,
            name,
            class: Class::ALL.get(kind & 15).copied().ok_or(Bad)?,
            link: kind & 16 > 0,
            private: kind & 32 > 0,
        });
        Ok(())
    }
}

/// The network in a road file.
///
/// # Errors
/// [`RoadFileError`] when the bytes are no road file, of another form, or damaged.
pub fn decode(file: &[u8]) -> Result<Network, RoadFileError> {
    let (magic, rest) = file.split_first_chunk::<8>().ok_or(RoadFileError::Other)?;
    if magic != MAGIC {
        return Err(RoadFileError::Other);
    }
    let (&[version], rest) = rest.split_first_chunk::<1>().ok_or(RoadFileError::Damaged)?;
    if version != VERSION {
        return Err(RoadFileError::Version { found: version });
    }
    let (length, rest) = rest.split_first_chunk::<8>().ok_or(RoadFileError::Damaged)?;
    let (sum, body) = rest.split_first_chunk::<4>().ok_or(RoadFileError::Damaged)?;
    if u64::from_le_bytes(*length) != body.len() as u64 || u32::from_le_bytes(*sum) != check_sum(body) {
        return Err(RoadFileError::Damaged);
    }
    Ok(Network::new(parts(body)?)?)
}

fn parts(body: &[u8]) -> Result<Parts, Bad> {
    let mut input = In { wire: Wire(body), last: origin_point() };
    let mut parts = Parts::default();
    let invented = input.number::<u64>()? == 1;
    let data_of = Some(input.wire.signed()?).filter(|s| *s > 0);
    parts.origin = Origin { data_of, invented };
    parts.nodes = input.list(In::point)?;
    parts.names = input.list(In::text)?;
    let before = input.last;
    let edges: usize = input.number()?;
    for _ in 0..edges {
        input.edge(&mut parts)?;
    }
    input.last = before;
    let size = |i: &mut In<'_>| Size::ALL.get(i.number::<usize>()?).copied().ok_or(Bad);
    parts.towns = input.list(|i| Ok(Town { at: i.point()?, size: size(i)?, name: i.text()? }))?;
    parts.houses = input.list(|i| Ok(House { at: i.point()?, number: i.text()?, street: i.text()?, town: i.text()? }))?;
    parts.waters = input.list(|i| Ok(Water { name: i.text()?, line: i.list(In::point)? }))?;
    if input.wire.is_empty() { Ok(parts) } else { Err(Bad) }
}
