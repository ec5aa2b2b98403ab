//! Files that are not what they should be: a clear sentence, never a panic.

use crate::world::{Dice, county, extract, node, way};
use embertide::roads::{import, invent::County};
use std::io::Cursor;

fn said(bytes: &[u8]) -> String {
    import(Cursor::new(bytes), None).unwrap_err().to_string()
}

#[test]
fn other_files() {
    assert!(said(b"").starts_with("the file is empty"), "{}", said(b""));
    assert!(said(b"<?xml version=\"1.0\"?><osm version=\"0.6\">").contains("It is XML"));
    assert!(said(&[0x1f, 0x8b, 8, 0, 0, 0, 0, 0, 0, 3]).contains("packed archive"));
    assert!(said(b"PK\x03\x04 and so on").contains("packed archive"));
    for junk in [&b"id,name\n1,one\n"[..], &[0; 64], &[0xff; 64], b"a", &[0, 0, 0, 5, 1, 2, 3, 4, 5, 6]] {
        assert!(said(junk).starts_with("this is not an extract"), "{}", said(junk));
    }
}

#[test]
fn a_file_cut_anywhere_is_refused() {
    let whole = extract(&[node(1, 44.0, -90.0), node(2, 44.1, -90.0)], &[way(1, &[1, 2], &[("highway", "primary")])]);
    assert!(import(Cursor::new(&whole), None).is_ok());
    for end in 0..whole.len() {
        // Cut exactly between two blocks, the file is whole as far as the form goes; then the roads or their nodes are missing.
        assert!(import(Cursor::new(&whole[..end]), None).is_err(), "cut after {end} bytes");
    }
    assert!(said(&whole[..whole.len() - 3]).contains("not fetched whole"));
}

/// Every byte of a small file turned round: an error or some network, never a panic.
#[test]
fn no_single_wrong_byte_brings_it_down() {
    let whole =
        extract(&[node(1, 44.0, -90.0), node(2, 44.1, -90.0), node(3, 44.2, -90.1)], &[way(1, &[1, 2, 3], &[("highway", "primary")])]);
    for i in 0..whole.len() {
        for wrong in [0, 0x7f, 0x80, 0xff, whole[i] ^ 1, whole[i] ^ 0x40] {
            let mut bytes = whole.clone();
            bytes[i] = wrong;
            let _ = import(Cursor::new(bytes), None);
        }
    }
}

/// Blocks that unpack well but hold nonsense: chance inside an unpacked message.
#[test]
fn no_nonsense_inside_a_block_brings_it_down() {
    let raw = |message: &[u8], kind: &str| {
        // A blob that is not packed: field 1, then the length as one or two bytes.
        let mut blob = vec![0x0a];
        let n = u8::try_from(message.len() & 0x7f).unwrap();
        blob.extend([n | 0x80, u8::try_from(message.len() >> 7).unwrap()]);
        blob.extend_from_slice(message);
        let mut header = vec![0x0a, u8::try_from(kind.len()).unwrap()];
        header.extend_from_slice(kind.as_bytes());
        let m = u8::try_from(blob.len() & 0x7f).unwrap();
        header.extend([0x18, m | 0x80, u8::try_from(blob.len() >> 7).unwrap()]);
        let mut out = u32::try_from(header.len()).unwrap().to_be_bytes().to_vec();
        out.extend(header);
        out.extend(blob);
        out
    };
    let header = raw(b"\x22\x0eOsmSchema-V0.6", "OSMHeader");
    let mut dice = Dice(99);
    for _ in 0..3_000 {
        let n = 3 + dice.below(120);
        let mut message: Vec<u8> = (0..n).map(|_| u8::try_from(dice.below(256)).unwrap()).collect();
        // Mostly small numbers that are likely to be fields of the form.
        for b in &mut message {
            if dice.below(3) > 0 {
                *b = [0x0a, 0x12, 0x1a, 0x08, 0x10, 0x42, 0x4a, 0x52, 1, 2, 3, 5, 9, 0x80, 0x88, 0xff][dice.below(16)];
            }
        }
        let bytes = [header.clone(), raw(&message, "OSMData")].concat();
        assert!(import(Cursor::new(bytes), None).is_err());
    }
}

/// Coordinates and ids whose differences do not fit a number, and coordinates that are nowhere on earth.
#[test]
fn numbers_too_large_are_nowhere() {
    use embertide::roads::invent::write::NodeOut;
    let far = |id, lat, lon| NodeOut { id, at: (lat, lon), tags: Vec::new() };
    let nodes = [
        node(1, 44.0, -90.0),
        node(2, 44.1, -90.0),
        far(3, i32::MAX, i32::MIN),
        far(4, 910_000_000, 0),
        far(i64::MAX, 440_000_000, -900_000_000),
        far(5, 440_000_000, 0),
    ];
    let ways = [way(1, &[1, 2, 3, 4, 1], &[("highway", "primary")]), way(2, &[2, i64::MAX], &[("highway", "primary")])];
    let mut bytes = Vec::new();
    // The writer's own differences wrap round too.
    embertide::roads::invent::write::write(&mut bytes, "test", None, &nodes, &ways).unwrap();
    let (network, report) = import(Cursor::new(bytes), None).unwrap();
    assert_eq!((report.missing_nodes, network.edges().len()), (2, 2));
}

#[test]
fn what_is_not_read_here_is_named() {
    let mut bytes = Vec::new();
    let mut header = b"\x22\x15HistoricalInformation".to_vec();
    let mut blob = vec![0x0a, u8::try_from(header.len()).unwrap()];
    blob.append(&mut header);
    let kind = [b"\x0a\x09OSMHeader\x18".to_vec(), vec![u8::try_from(blob.len()).unwrap()]].concat();
    bytes.extend(u32::try_from(kind.len()).unwrap().to_be_bytes());
    bytes.extend(kind);
    bytes.extend(blob);
    assert!(said(&bytes).contains("HistoricalInformation"), "{}", said(&bytes));
}

#[test]
fn larger_damage_in_a_whole_county() {
    let whole = County { wide: 5, high: 5, ..county() }.extract();
    let mut dice = Dice(5);
    for _ in 0..40 {
        let mut bytes = whole.clone();
        for _ in 0..=dice.below(4) {
            let i = dice.below(bytes.len());
            bytes[i] = u8::try_from(dice.below(256)).unwrap();
        }
        let _ = import(Cursor::new(bytes), None);
    }
}
