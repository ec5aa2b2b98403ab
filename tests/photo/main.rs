//! The photo room: nothing but the picture comes through, whatever is sent.
#![expect(clippy::unwrap_used, reason = "a test may stop at once")]

mod hostile;
mod stripped;

use std::path::PathBuf;

/// The pictures that `tests/reference/photos.py` wrote with Pillow: name and bytes.
fn pictures() -> Vec<(String, Vec<u8>)> {
    let folder = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("tests/reference/photos");
    let mut all: Vec<_> = std::fs::read_dir(folder)
        .unwrap()
        .map(|f| f.unwrap().path())
        .map(|p| (p.file_name().unwrap().to_string_lossy().into_owned(), std::fs::read(&p).unwrap()))
        .collect();
    all.sort();
    assert_eq!(all.len(), 16);
    all
}

fn picture(name: &str) -> Vec<u8> {
    pictures().into_iter().find(|(n, _)| n == name).unwrap().1
}

fn holds(bytes: &[u8], words: &[u8]) -> bool {
    bytes.windows(words.len()).any(|w| w == words)
}
