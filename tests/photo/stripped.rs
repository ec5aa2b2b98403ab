//! Pictures by another program (Pillow 13.0.0), with the notes of a camera: place, maker, person, a second picture behind the first.
//! What comes out is left in `target/tmp/stripped`, where the reference script compares its pixels with the original's.

use super::{holds, picture, pictures};
use embertide::photo::{Kind, Refused, strip};
use std::path::PathBuf;

/// Codes of a JPEG's segments up to the first scan, and kinds of a PNG's chunks.
fn parts(bytes: &[u8]) -> Vec<String> {
    let mut found = Vec::new();
    if bytes.starts_with(&[0xff, 0xd8]) {
        let mut at = 2;
        while bytes[at + 1] != 0xda {
            found.push(format!("{:02x}", bytes[at + 1]));
            at += 2 + usize::from(u16::from_be_bytes([bytes[at + 2], bytes[at + 3]]));
        }
        return found;
    }
    let mut at = 8;
    while at < bytes.len() {
        found.push(String::from_utf8_lossy(&bytes[at + 4..at + 8]).into_owned());
        at += 12 + usize::try_from(u32::from_be_bytes(bytes[at..at + 4].try_into().unwrap())).unwrap();
    }
    found
}

#[test]
fn nothing_but_the_picture_comes_through() {
    let out = PathBuf::from(env!("CARGO_TARGET_TMPDIR")).join("stripped");
    std::fs::create_dir_all(&out).unwrap();
    for (name, bytes) in pictures() {
        let made = strip(&bytes).unwrap();
        for words in [&b"INVENTED"[..], b"2026", b"ICC_PROFILE", b"iCCP", b"eXIf", b"tEXt", b"iTXt", b"tIME"] {
            assert!(!holds(&made.bytes, words), "{name} holds {}", String::from_utf8_lossy(words));
        }
        assert_eq!(strip(&made.bytes).as_ref(), Ok(&made), "{name}: once more changes nothing");
        assert!(made.bytes.len() <= bytes.len());
        std::fs::write(out.join(name), &made.bytes).unwrap();
    }
    assert!(holds(&picture("place-6.jpg"), b"INVENTED FILM") && holds(&picture("place.png"), b"INVENTED PLACE"), "there was something");
}

#[test]
fn only_parts_that_draw_are_left() {
    let allowed = ["e0", "e1", "ee", "db", "c4", "c0", "c1", "c2", "dd", "IHDR", "PLTE", "tRNS", "gAMA", "sRGB", "IDAT", "IEND"];
    for (name, bytes) in pictures() {
        let left = parts(&strip(&bytes).unwrap().bytes);
        assert!(left.iter().all(|p| allowed.contains(&p.as_str())), "{name}: {left:?}");
        // Notes are left where they say that the picture is turned, and say only that: 36 bytes with their name and length.
        let turned = name.starts_with("place-") && name != "place-1.jpg";
        assert_eq!(left.contains(&"e1".to_owned()), turned, "{name}: {left:?}");
    }
    assert_eq!(parts(&strip(&picture("palette.png")).unwrap().bytes), ["IHDR", "gAMA", "PLTE", "tRNS", "IDAT", "IEND"]);
}

/// Exif 2.32, tag 0x0112: 1 to 4 lie as they are shown, 5 to 8 on their side. The picture is 48 by 32.
#[test]
fn the_way_up_is_kept_and_its_sides_are_as_shown() {
    for turn in 1..=8 {
        let made = strip(&picture(&format!("place-{turn}.jpg"))).unwrap();
        let sides = if turn < 5 { (48, 32) } else { (32, 48) };
        assert_eq!((made.width, made.height), sides, "{turn}");
        let entry = [0x01, 0x12, 0, 3, 0, 0, 0, 1, 0, turn, 0, 0];
        assert_eq!(holds(&made.bytes, &entry), turn != 1, "{turn}");
    }
}

#[test]
fn kinds_and_sizes_are_told() {
    for (name, bytes) in pictures() {
        let made = strip(&bytes).unwrap();
        let is_png = std::path::Path::new(&name).extension().is_some_and(|e| e == "png");
        assert_eq!(made.kind, if is_png { Kind::Png } else { Kind::Jpeg }, "{name}");
        assert_eq!(u32::from(made.width) * u32::from(made.height), 48 * 32, "{name}");
        assert_eq!(Kind::parse(made.kind.as_str()), Some(made.kind));
    }
}

#[test]
fn what_is_no_picture_is_refused_in_words() {
    for other in
        [&b""[..], b"GIF89a", b"%PDF-1.7", b"<svg xmlns='http://www.w3.org/2000/svg'/>", b"RIFF\0\0\0\0WEBP", b"\0\0\0\x18ftypheic"]
    {
        assert_eq!(strip(other), Err(Refused::NotAPicture));
    }
    let says = Refused::NotAPicture.to_string();
    assert!(says.contains("JPEG") && says.contains("Take it"), "{says}");
}
