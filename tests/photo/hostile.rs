//! Files made to do harm: cut off, damaged, lying about their lengths, far larger than they look. Nothing panics, nothing that
//! was hidden comes through, and little is unpacked.

use super::{holds, picture, pictures};
use embertide::photo::{Refused, strip};
use flate2::{Compression, Crc, write::ZlibEncoder};
use proptest::prelude::*;
use std::io::Write;

fn chunk(kind: [u8; 4], content: &[u8]) -> Vec<u8> {
    let mut crc = Crc::new();
    crc.update(&kind);
    crc.update(content);
    let mut all = u32::try_from(content.len()).unwrap().to_be_bytes().to_vec();
    all.extend_from_slice(&kind);
    all.extend_from_slice(content);
    all.extend_from_slice(&crc.sum().to_be_bytes());
    all
}

fn header(width: u32, height: u32, rest: [u8; 5]) -> Vec<u8> {
    let mut content = width.to_be_bytes().to_vec();
    content.extend_from_slice(&height.to_be_bytes());
    content.extend_from_slice(&rest);
    chunk(*b"IHDR", &content)
}

fn packed(raw: &[u8]) -> Vec<u8> {
    let mut out = ZlibEncoder::new(Vec::new(), Compression::best());
    out.write_all(raw).unwrap();
    out.finish().unwrap()
}

fn png(parts: &[Vec<u8>]) -> Vec<u8> {
    let mut all = b"\x89PNG\r\n\x1a\n".to_vec();
    all.extend(parts.concat());
    all
}

#[test]
fn a_file_cut_off_anywhere_is_refused() {
    for (name, bytes) in pictures() {
        let whole = strip(&bytes).unwrap().bytes;
        for end in 0..whole.len() {
            assert!(strip(&whole[..end]).is_err(), "{name} cut off at {end}");
        }
    }
}

#[test]
fn a_segment_that_reaches_past_the_end_is_refused() {
    let mut bytes = picture("place-1.jpg");
    // The length of the first segment.
    bytes[4..6].copy_from_slice(&[0xff, 0xff]);
    assert!(matches!(strip(&bytes), Err(Refused::Damaged(_))));
    bytes[4..6].copy_from_slice(&[0, 1]);
    assert!(matches!(strip(&bytes), Err(Refused::Damaged(_))), "a length that does not even hold itself");
}

#[test]
fn what_hides_behind_a_table_or_a_small_picture_does_not_come_through() {
    let plain = strip(&picture("grey.jpg")).unwrap().bytes;
    let hidden = b"INVENTED PLACE 44.6";
    let length = u16::try_from(hidden.len() + 2).unwrap().to_be_bytes();
    for code in (0xe0..=0xef).chain([0xfe]) {
        let mut bytes = plain[..2].to_vec();
        bytes.extend_from_slice(&[0xff, code]);
        bytes.extend_from_slice(&length);
        bytes.extend_from_slice(hidden);
        bytes.extend_from_slice(&plain[2..]);
        let made = strip(&bytes).unwrap();
        assert!(!holds(&made.bytes, hidden), "{code:x}");
        assert_eq!(made.bytes, plain, "{code:x}");
    }
    // A JFIF with a small picture in it, and Adobe's segment with more than it should hold.
    let mut jfif = b"JFIF\0\x01\x02\x00\x00\x01\x00\x01\x02\x01".to_vec();
    jfif.extend_from_slice(hidden);
    let mut adobe = b"Adobe\0\x64\0\0\0\0\x01".to_vec();
    adobe.extend_from_slice(hidden);
    for (code, content) in [(0xe0, jfif), (0xee, adobe)] {
        let mut bytes = vec![0xff, 0xd8, 0xff, code];
        bytes.extend_from_slice(&u16::try_from(content.len() + 2).unwrap().to_be_bytes());
        bytes.extend_from_slice(&content);
        bytes.extend_from_slice(&plain[2..]);
        assert!(!holds(&strip(&bytes).unwrap().bytes, hidden), "{code:x}");
    }
    // After the picture's end, and behind the packed data of a PNG.
    assert_eq!(strip(&[&plain[..], hidden].concat()).unwrap().bytes, plain);
    let mut data = packed(&[0, 7]);
    data.extend_from_slice(hidden);
    let bytes = png(&[header(1, 1, [8, 0, 0, 0, 0]), chunk(*b"IDAT", &data), chunk(*b"IEND", b"")]);
    assert!(!holds(&strip(&bytes).unwrap().bytes, hidden));
    // A table that is longer than its tables.
    let mut bytes = plain[..2].to_vec();
    bytes.extend_from_slice(&[0xff, 0xdb]);
    bytes.extend_from_slice(&length);
    bytes.extend_from_slice(hidden);
    bytes.extend_from_slice(&plain[2..]);
    assert!(strip(&bytes).is_err());
}

/// ISO/IEC 10918-1, table B.1: the codes of frames, and which of them browsers draw.
#[test]
fn rare_kinds_are_refused_in_words() {
    let plain = strip(&picture("grey.jpg")).unwrap().bytes;
    let frame = plain.windows(2).position(|w| w == [0xff, 0xc0]).unwrap();
    for code in [0xc3, 0xc5, 0xc6, 0xc7, 0xc9, 0xca, 0xcb, 0xcd, 0xce, 0xcf, 0xcc, 0xdc, 0xde, 0xdf] {
        let mut bytes = plain.clone();
        bytes[frame + 1] = code;
        assert!(matches!(strip(&bytes), Err(Refused::Rare(_))), "{code:x}");
    }
    let mut twelve = plain.clone();
    twelve[frame + 4] = 12;
    assert!(matches!(strip(&twelve), Err(Refused::Rare(_))));
    let mut twice = plain[..2].to_vec();
    let length = usize::from(u16::from_be_bytes([plain[frame + 2], plain[frame + 3]]));
    twice.extend_from_slice(&plain[frame..frame + 2 + length]);
    twice.extend_from_slice(&plain[2..]);
    assert!(strip(&twice).is_err(), "two frames");
}

#[test]
fn far_too_many_pixels_are_refused_before_anything_is_unpacked() {
    let mut bytes = picture("grey.jpg");
    let frame = bytes.windows(2).position(|w| w == [0xff, 0xc0]).unwrap();
    bytes[frame + 5..frame + 9].copy_from_slice(&[0xff, 0xff, 0xff, 0xff]);
    assert_eq!(strip(&bytes), Err(Refused::TooManyPixels));
    bytes[frame + 5..frame + 9].copy_from_slice(&[0, 0, 0, 9]);
    assert!(strip(&bytes).is_err(), "no height");
    let large = png(&[header(0x7fff_ffff, 0x7fff_ffff, [8, 2, 0, 0, 0]), chunk(*b"IDAT", &packed(&[0])), chunk(*b"IEND", b"")]);
    assert_eq!(strip(&large), Err(Refused::TooManyPixels));
    // Fifty megabytes of nothing behind a header that promises one pixel.
    let bomb = png(&[header(1, 1, [8, 0, 0, 0, 0]), chunk(*b"IDAT", &packed(&vec![0; 50_000_000])), chunk(*b"IEND", b"")]);
    assert!(matches!(strip(&bomb), Err(Refused::Damaged(_))));
    let small = png(&[header(100, 100, [8, 0, 0, 0, 0]), chunk(*b"IDAT", &packed(&[0; 99])), chunk(*b"IEND", b"")]);
    assert!(matches!(strip(&small), Err(Refused::Damaged(_))), "fewer rows than promised");
}

#[test]
fn endless_passes_are_refused() {
    let plain = strip(&picture("passes.jpg")).unwrap().bytes;
    let scan = plain.windows(2).position(|w| w == [0xff, 0xda]).unwrap();
    let mut bytes = plain[..plain.len() - 2].to_vec();
    for _ in 0..200 {
        bytes.extend_from_slice(&plain[scan..scan + 14]);
        bytes.push(0);
    }
    bytes.extend_from_slice(&[0xff, 0xd9]);
    assert!(strip(&bytes).is_err());
}

/// PNG, section 8.2: Adam7 takes the picture in seven passes; empty ones have no rows. The lengths are counted pixel by pixel here.
#[test]
fn interlaced_pictures_have_the_length_that_adam7_gives() {
    let pass_of = |x: u32, y: u32| {
        [
            [1, 6, 4, 6, 2, 6, 4, 6],
            [7; 8],
            [5, 6, 5, 6, 5, 6, 5, 6],
            [7; 8],
            [3, 6, 4, 6, 3, 6, 4, 6],
            [7; 8],
            [5, 6, 5, 6, 5, 6, 5, 6],
            [7; 8],
        ][y as usize % 8][x as usize % 8]
    };
    for (width, height) in [(1, 1), (5, 3), (8, 8), (9, 17), (2, 1), (1, 9)] {
        let mut raw = 0;
        for pass in 1..=7 {
            for y in 0..height {
                let pixels = (0..width).filter(|x| pass_of(*x, y) == pass).count();
                raw += if pixels == 0 { 0 } else { 1 + pixels * 3 };
            }
        }
        let made =
            |raw: usize| png(&[header(width, height, [8, 2, 0, 0, 1]), chunk(*b"IDAT", &packed(&vec![0; raw])), chunk(*b"IEND", b"")]);
        assert!(strip(&made(raw)).is_ok(), "{width} by {height}: {raw}");
        assert!(strip(&made(raw + 1)).is_err() && strip(&made(raw - 1)).is_err(), "{width} by {height}");
    }
}

#[test]
fn chunks_out_of_order_and_unknown_ones_are_refused() {
    let (head, data, end) = (header(1, 1, [8, 0, 0, 0, 0]), chunk(*b"IDAT", &packed(&[0, 7])), chunk(*b"IEND", b""));
    let fine = png(&[head.clone(), data.clone(), end.clone()]);
    assert!(strip(&fine).is_ok());
    for parts in [
        vec![data.clone(), head.clone(), end.clone()],
        vec![head.clone(), end.clone()],
        vec![head.clone(), chunk(*b"NEWS", b""), data.clone(), end.clone()],
        vec![head.clone(), data.clone(), chunk(*b"tEXt", b"a"), data.clone(), end.clone()],
        vec![head.clone(), head.clone(), data.clone(), end.clone()],
        vec![header(1, 1, [8, 3, 0, 0, 0]), data.clone(), end.clone()],
        vec![header(1, 1, [3, 0, 0, 0, 0]), data.clone(), end.clone()],
        vec![head.clone(), chunk(*b"PLTE", &[0; 3]), data.clone(), end.clone()],
        vec![head.clone(), data.clone()],
    ] {
        assert!(strip(&png(&parts)).is_err());
    }
    let mut damaged = fine;
    let at = damaged.len() - 14;
    damaged[at] ^= 1;
    assert!(strip(&damaged).is_err(), "a check sum that does not fit");
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(3000))]

    #[test]
    fn damaged_pictures_never_panic_and_what_is_taken_is_clean(which in 0..16_usize, spots in prop::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 1..8)) {
        let (_, mut bytes) = pictures().swap_remove(which);
        for (at, byte) in spots {
            let at = at.index(bytes.len());
            bytes[at] = byte;
        }
        if let Ok(made) = strip(&bytes) {
            let again = strip(&made.bytes);
            prop_assert_eq!(again.as_ref(), Ok(&made));
            prop_assert!(!holds(&made.bytes, b"INVENTED PERSON"));
        }
    }

    #[test]
    fn any_bytes_behind_a_start_never_panic(png in any::<bool>(), rest in prop::collection::vec(any::<u8>(), 0..400)) {
        let start: &[u8] = if png { b"\x89PNG\r\n\x1a\n" } else { &[0xff, 0xd8] };
        if let Ok(made) = strip(&[start, &rest].concat()) {
            let again = strip(&made.bytes);
            prop_assert_eq!(again.as_ref(), Ok(&made));
        }
    }
}
