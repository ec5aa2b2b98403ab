//! How much treatment to take along and to have on the shelf. The part in hand: common practice, no source.

/// What is expected, with a fifth in hand.
pub const fn with_a_fifth_in_hand(expected_ml: i64) -> i64 {
    expected_ml * 6 / 5
}

/// For the van, in whole 100 mL.
pub const fn load_ml(expected_ml: i64) -> i64 {
    (with_a_fifth_in_hand(expected_ml) + 99) / 100 * 100
}

/// Whole packs that are missing on the shelf.
pub fn packs_to_order(expected_ml: i64, shelf_ml: i64, pack_ml: i64) -> i64 {
    let (missing, pack) = (with_a_fifth_in_hand(expected_ml) - shelf_ml, pack_ml.max(1));
    if missing <= 0 { 0 } else { (missing + pack - 1) / pack }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_missing_with_a_fifth_in_hand_comes_in_whole_packs() {
        assert_eq!(packs_to_order(10_000, 12_000, 5_000), 0);
        assert_eq!(packs_to_order(10_000, 11_999, 5_000), 1);
        assert_eq!(packs_to_order(10_000, 2_000, 5_000), 2);
        assert_eq!(packs_to_order(10_000, 1_999, 5_000), 3);
        assert_eq!(packs_to_order(0, 0, 5_000), 0);
        assert_eq!(load_ml(1_001), 1_300);
    }
}
