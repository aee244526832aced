//! Places in one workout, as other programs give them, and what must hold for any field.

use crate::vector;
use proptest::prelude::*;
use serde_json::Value;
use tallywright::rules::order::Key;
use tallywright::rules::place::{Column, level_of, places};

fn numbers(list: &Value) -> Vec<i64> {
    list.as_array().unwrap().iter().map(|n| n.as_i64().unwrap()).collect()
}

fn ranks(list: &Value) -> Vec<Option<u32>> {
    let rank = |n: &Value| n.as_f64().map(|n| n.to_string().parse().unwrap());
    list.as_array().unwrap().iter().map(rank).collect()
}

/// Source: scipy 1.17.1 `rankdata` docstring; other inputs agreed by scipy, pandas 3.1.1, polars
/// 2.1.0, `SQLite` 3.40.1, `PostgreSQL` 15.18 and R 4.2.2 (18 lists).
#[test]
fn places_are_those_of_six_other_programs() {
    let file = vector("ranking_functions.json");
    let cases = file["rank_cases"].as_array().unwrap();
    assert_eq!(cases.len(), 18);
    for case in cases {
        let low_is_best = case["direction"] == "low_is_best";
        let keys: Vec<_> =
            numbers(&case["values"]).into_iter().map(|n| Some(Key(if low_is_best { n } else { 1000 - n }))).collect();
        assert_eq!(places(&keys), ranks(&case["standard_competition"]), "{}", case["name"]);
    }
}

/// Source: the same programs; pandas keeps a missing value missing and ranks around it.
#[test]
fn a_missing_score_has_no_place_and_takes_none() {
    let file = vector("ranking_functions.json");
    let nulls = &file["null_ordering"];
    let keys: Vec<_> = nulls["values"].as_array().unwrap().iter().map(|v| v.as_i64().map(Key)).collect();
    assert_eq!(places(&keys), ranks(&nulls["pandas_keep"]));
}

/// Source: `bokeh_sampledata` 2026.1, olympics2014.json (BSD-3-Clause), a snapshot of a table of
/// medals ranked by gold, then silver, then bronze: a key with several fields, as ours.
#[test]
fn fields_packed_from_the_top_rank_as_the_fields_do() {
    let file = vector("lexicographic_medals.json");
    let rows = file["rows"].as_array().unwrap();
    let key = |row: &Value| {
        ["gold", "silver", "bronze"].iter().fold(0, |key, medal| key << 8 | (255 - row[medal].as_i64().unwrap()))
    };
    let keys: Vec<_> = rows.iter().map(|row| Some(Key(key(row)))).collect();
    let expected: Vec<_> = rows.iter().map(|row| ranks(&Value::from(vec![row["place"].clone()]))[0]).collect();
    assert!(rows.len() > 20);
    assert_eq!(places(&keys), expected);
}

#[test]
fn the_level_is_the_top_of_the_key() {
    for level in 0..8 {
        let top = i64::from(level) << 60;
        assert_eq!(level_of(Key(top)), level);
        assert_eq!(level_of(Key(top | ((1 << 60) - 1))), level);
    }
}

fn field() -> impl Strategy<Value = Vec<Option<Key>>> {
    proptest::collection::vec(proptest::option::weighted(0.8, (0i64..12).prop_map(Key)), 0..60)
}

proptest! {
    #[test]
    fn a_place_is_one_more_than_the_number_of_better_scores(keys in field()) {
        for (key, place) in keys.iter().zip(places(&keys)) {
            let better = |key: Key| keys.iter().flatten().filter(|other| **other < key).count();
            prop_assert_eq!(place, key.map(|key| u32::try_from(better(key)).unwrap() + 1));
        }
    }

    #[test]
    fn places_do_not_depend_on_the_order_of_rows(
        (keys, shuffled) in field().prop_flat_map(|keys| {
            let rows: Vec<usize> = (0..keys.len()).collect();
            (Just(keys), Just(rows).prop_shuffle())
        })
    ) {
        let straight = places(&keys);
        let mixed = places(&shuffled.iter().map(|row| keys[*row]).collect::<Vec<_>>());
        for (at, row) in shuffled.iter().enumerate() {
            prop_assert_eq!(mixed[at], straight[*row]);
        }
    }

    #[test]
    fn removing_a_row_never_worsens_the_place_of_another(keys in field(), removed in any::<prop::sample::Index>()) {
        prop_assume!(!keys.is_empty());
        let removed = removed.index(keys.len());
        let before = places(&keys);
        let mut fewer = keys.clone();
        fewer[removed] = None;
        for (row, (before, after)) in before.iter().zip(places(&fewer)).enumerate() {
            prop_assert!(row == removed || after <= *before);
        }
    }

    #[test]
    fn the_first_of_a_place_stands_at_its_number(keys in field()) {
        let (places, order) = (places(&keys), Column::of(&keys).order());
        prop_assert_eq!(order.len(), keys.iter().flatten().count());
        for (at, row) in order.iter().enumerate() {
            let place = usize::try_from(places[*row as usize].unwrap()).unwrap();
            prop_assert!(place <= at + 1);
            prop_assert_eq!(places[order[place - 1] as usize], places[*row as usize]);
        }
    }

    #[test]
    fn a_column_that_is_changed_is_the_column_made_anew(keys in field(), to in field()) {
        let cells: Vec<(u32, Option<Key>)> = (0..).zip(keys.iter().zip(&to)).map(|(row, (_, to))| (row, *to)).collect();
        let mut now = keys.clone();
        for (row, key) in &cells {
            now[*row as usize] = *key;
        }
        let changed = Column::of(&keys).changed(&cells);
        let place = |column: &Column, row: u32| (column.key(row), column.place(row));
        for (row, key) in (0..).zip(&now) {
            prop_assert_eq!(place(&changed, row), (*key, places(&now)[row as usize]));
        }
        let some: Vec<u32> = (0..).zip(&now).map(|(row, _)| row).filter(|row| row % 3 > 0).collect();
        let only: Vec<Option<Key>> = some.iter().map(|row| now[*row as usize]).collect();
        prop_assert_eq!(changed.subset(&some), Column::of(&only));
    }
}
