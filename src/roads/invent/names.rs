//! Invented names. None is meant to be anybody's or any place's.

pub(super) const WORDS: [&str; 36] = [
    "Ash", "Barrow", "Cinder", "Dell", "Elder", "Fallow", "Gorse", "Hazel", "Ivy", "Juniper", "Kestrel", "Larch", "Mallow", "Nettle",
    "Otter", "Plover", "Quarry", "Rowan", "Sedge", "Tarn", "Umber", "Vetch", "Willow", "Yarrow", "Alder", "Bracken", "Clover", "Drover",
    "Ember", "Fern", "Granary", "Heron", "Linnet", "Moss", "Orchard", "Pine",
];
const EAST_WEST: [&str; 3] = ["Road", "Line Road", "Hill Road"];
const NORTH_SOUTH: [&str; 3] = ["Lane", "Hollow Lane", "Mill Lane"];
const TOWN_ENDS: [&str; 6] = ["ford", " Corner", " Hollow", "by", " Flat", "stead"];
const LAKES: [&str; 3] = ["Lake", "Pond", "Mere"];

/// The road along a section line.
pub(super) fn road(line: usize, east_west: bool) -> String {
    let ends = if east_west { EAST_WEST } else { NORTH_SOUTH };
    let word = WORDS[(line * 7 + usize::from(east_west) * 3) % WORDS.len()];
    format!("{word} {}", ends[line / WORDS.len() % ends.len()])
}

pub(super) fn town(n: usize) -> String {
    format!("{}{}", WORDS[(n * 5 + 1) % WORDS.len()], TOWN_ENDS[n % TOWN_ENDS.len()])
}

pub(super) fn lake(n: usize) -> String {
    format!("{} {}", WORDS[(n * 11 + 4) % WORDS.len()], LAKES[n % LAKES.len()])
}

pub(super) fn river(n: usize) -> String {
    format!("{} River", WORDS[(n * 13 + 18) % WORDS.len()])
}
