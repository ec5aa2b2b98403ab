//! The one thing of a camera's notes that is kept: which way up the picture is (Exif 2.32, tag 0x0112, in a TIFF 6.0 directory).

/// What stands before the notes in a JPEG.
pub(super) const NAME: &[u8] = b"Exif\0\0";

/// Which way up a picture is: 1 as it lies, up to 8; 5 and more lie on their side.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Orientation(u8);

impl Orientation {
    pub(super) fn is_on_its_side(self) -> bool {
        self.0 >= 5
    }
}

/// Reads numbers in the order of bytes that the notes are written in.
struct Tiff<'a> {
    bytes: &'a [u8],
    small_end_first: bool,
}

impl Tiff<'_> {
    fn short(&self, at: usize) -> Option<u16> {
        let two: [u8; 2] = self.bytes.get(at..at.checked_add(2)?)?.try_into().ok()?;
        Some(if self.small_end_first { u16::from_le_bytes(two) } else { u16::from_be_bytes(two) })
    }

    fn long(&self, at: usize) -> Option<u32> {
        let four: [u8; 4] = self.bytes.get(at..at.checked_add(4)?)?.try_into().ok()?;
        Some(if self.small_end_first { u32::from_le_bytes(four) } else { u32::from_be_bytes(four) })
    }
}

/// The orientation in a camera's notes, without their name; `None` where there is none or they cannot be read.
pub(super) fn orientation(notes: &[u8]) -> Option<Orientation> {
    let small_end_first = match notes.get(..4)? {
        b"II*\0" => true,
        b"MM\0*" => false,
        _ => return None,
    };
    let tiff = Tiff { bytes: notes, small_end_first };
    let directory = usize::try_from(tiff.long(4)?).ok()?;
    let entries = usize::from(tiff.short(directory)?);
    for n in 0..entries {
        let entry = directory.checked_add(2)?.checked_add(n * 12)?;
        let tag = tiff.short(entry)?;
        if tag == 0x0112 {
            let one_short = tiff.short(entry + 2)? == 3 && tiff.long(entry + 4)? == 1;
            let value = u8::try_from(tiff.short(entry + 8)?).ok()?;
            return (one_short && (1..=8).contains(&value)).then_some(Orientation(value));
        }
    }
    None
}

/// Notes that say the orientation and nothing else, with their name; empty where the picture lies as it is.
pub(super) fn only(orientation: Option<Orientation>) -> Vec<u8> {
    let Some(Orientation(value)) = orientation.filter(|o| o.0 != 1) else { return Vec::new() };
    let mut notes = NAME.to_vec();
    // Big end first; one directory at 8 with one entry: tag, kind "short", one of them, the value; no further directory.
    notes.extend_from_slice(b"MM\0*\0\0\0\x08\0\x01\x01\x12\0\x03\0\0\0\x01\0");
    notes.extend_from_slice(&[value, 0, 0, 0, 0, 0, 0]);
    notes
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_written_is_read() {
        for value in 2..=8 {
            let notes = only(Some(Orientation(value)));
            assert_eq!(orientation(&notes[NAME.len()..]), Some(Orientation(value)));
        }
        assert!(only(Some(Orientation(1))).is_empty() && only(None).is_empty());
    }

    #[test]
    fn any_bytes_are_read_without_harm() {
        let notes = only(Some(Orientation(6)));
        let notes = &notes[NAME.len()..];
        for end in 0..notes.len() {
            let _ = orientation(&notes[..end]);
        }
        // A directory that claims to lie past the end, and one of 65535 entries.
        assert_eq!(orientation(b"II*\0\xff\xff\xff\xff"), None);
        assert_eq!(orientation(b"II*\0\x08\0\0\0\xff\xff"), None);
    }
}
