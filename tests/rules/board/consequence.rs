//! How many places hang on one score: counted by hand on small boards, and, for any board, equal to
//! what ranking everybody anew says.

use super::{applied, entry, sample, score, whole};
use proptest::prelude::*;
use std::sync::Arc;
use tallywright::rules::order::Key;
use tallywright::rules::place::{Changes, Column, OverallRules, Places, places};
use tallywright::standings::{Board, Moved};

/// Ten of one division in one workout, a second apart, bibs 1 to 10; bib 11 has no score.
fn ten() -> Board {
    let competition = sample::competition(OverallRules::default(), &[("w1", 1)], &[("a", &[])]);
    let entries = (1..=11).map(|bib| entry(bib.into(), bib, "a", None, "", ""));
    let scores = (1..=10).map(|bib| score(u64::from(bib) + 20, bib, "w1", Some(i64::from(bib) * 100)));
    let board = Board::default();
    board.load(1, applied(1, Arc::new(competition)), 40, entries.chain(scores));
    board
}

#[test]
fn striking_the_first_moves_all_behind_and_striking_the_last_moves_nobody() {
    let board = ten();
    let struck = |bib| board.moved_by(1, &whole("a"), 0, bib, None);
    assert_eq!(struck(1), Some(Moved { place: None, places: 9, standings: 9 }));
    assert_eq!(struck(4), Some(Moved { place: None, places: 6, standings: 6 }));
    assert_eq!(struck(10), Some(Moved { place: None, places: 0, standings: 0 }));
}

#[test]
fn putting_a_score_back_or_right_moves_those_it_passes() {
    let board = ten();
    let moved = |bib, key| board.moved_by(1, &whole("a"), 0, bib, Some(Key(key)));
    assert_eq!(moved(11, 350), Some(Moved { place: Some(4), places: 7, standings: 7 }), "restored behind the third");
    assert_eq!(
        moved(5, 750),
        Some(Moved { place: Some(7), places: 2, standings: 2 }),
        "the sixth and the seventh pass"
    );
    assert_eq!(moved(8, 300), Some(Moved { place: Some(3), places: 4, standings: 4 }), "shares third: four move down");
    assert_eq!(moved(5, 510), Some(Moved { place: Some(5), places: 0, standings: 0 }));
}

#[test]
fn the_cheap_count_of_places_says_the_same() {
    let board = ten();
    let view = board.view(1).unwrap();
    for (bib, key) in [(1, None), (4, None), (11, Some(350)), (5, Some(750)), (8, Some(300)), (11, None)] {
        let key = key.map(Key);
        let exact = view.moved_by(&whole("a"), 0, bib, key).map(|m| m.places);
        assert_eq!(view.places_moved_by(&whole("a"), 0, bib, key), exact, "bib {bib} to {key:?}");
    }
    assert_eq!(view.places_moved_by(&whole("a"), 0, 99, None), None);
    assert_eq!(view.places_moved_by(&whole("nobody"), 0, 1, None), None);
    assert_eq!(view.place_of(&whole("a"), 0, 4), Some((Some(4), 10)));
    assert_eq!(view.place_of(&whole("a"), 0, 11), Some((None, 10)));
}

proptest! {
    #[test]
    fn shifted_is_how_many_others_rank_otherwise_then(
        keys in prop::collection::vec(prop::option::weighted(0.8, 0_i64..6), 1..14), row in 0_usize..14, to in prop::option::of(-1_i64..7),
    ) {
        let keys: Vec<Option<Key>> = keys.into_iter().map(|k| k.map(Key)).collect();
        let (row, to) = (row % keys.len(), to.map(Key));
        let mut then = keys.clone();
        then[row] = to;
        let (before, after) = (places(&keys), places(&then));
        let others = (0..keys.len()).filter(|n| *n != row && before[*n] != after[*n]).count();
        let ranked = Places { columns: &[Column::of(&keys)], changes: &Changes::default() };
        prop_assert_eq!(usize::try_from(ranked.shifted(0, keys[row], to)).unwrap(), others);
    }
}
