//! The overall result against worked and real series: sums of places, left-out results, ties.
//! Places are given as matrices, doubled, because some series share places in halves.

use crate::vector;
use serde_json::Value;
use std::collections::BTreeMap;
use tallywright::rules::order::Key;
use tallywright::rules::place::{Cell, Cells, Column, Counting, Overall, OverallRules, Standing, Ties, overall};

fn doubled(value: &Value) -> u32 {
    let twice = value.as_f64().unwrap() * 2.0;
    assert!((twice - twice.round()).abs() < 1e-9, "{value} is not a whole number of halves");
    format!("{twice:.0}").parse().unwrap()
}

/// Rows in which every result is placed and worth its place.
fn by_places(rows: &[Vec<u32>]) -> Vec<Cells> {
    let cell = |place: &u32| Cell { place: *place, points: u64::from(*place), level: 0, placed: true };
    rows.iter().map(|row| row.iter().map(cell).collect()).collect()
}

fn left_out(standing: &Standing, workouts: usize) -> Vec<u64> {
    (0..workouts).filter(|n| standing.sum.counted & (1 << n) == 0).map(|n| n as u64 + 1).collect()
}

fn numbers(list: &Value) -> Vec<u64> {
    list.as_array().unwrap().iter().map(|n| n.as_u64().unwrap()).collect()
}

/// Source: named in each case of the file (a guide for race officials, open test fixtures, and
/// published results): totals, nets, order, and left-out races of 14 of 15 series. The one left
/// over breaks ties by the last race alone, which is no option here.
#[test]
fn fourteen_series_come_out_as_published() {
    let file = vector("series_by_places.json");
    let mut checked = 0;
    for case in file["cases"].as_array().unwrap() {
        if case["tie_rule"] == "A8.2 only" {
            continue;
        }
        let id = case["id"].as_str().unwrap();
        let countback = case["tie_rule"] == "A8";
        let rules = OverallRules {
            drop_worst: u32::try_from(case["excluded_scores"].as_u64().unwrap()).unwrap(),
            ties: if countback { Ties::Countback } else { Ties::Shared },
            last_workout: countback,
            ..OverallRules::default()
        };
        let boats = case["race_scores"].as_object().unwrap();
        let rows: Vec<Vec<u32>> =
            boats.values().map(|row| row.as_array().unwrap().iter().map(doubled).collect()).collect();
        let workouts = rows[0].len();
        let standings = overall(&rules, &by_places(&rows));
        let by_boat: BTreeMap<_, _> = boats.keys().zip(standings.iter().zip(&rows)).collect();
        for expected in case["expected"].as_array().unwrap() {
            let boat = expected["boat"].as_str().unwrap().to_owned();
            let (standing, row) = by_boat[&boat];
            let at = format!("{id}, {boat}");
            assert_eq!(standing.standing.map(u64::from), expected["place"].as_u64(), "{at}");
            assert_eq!(standing.sum.points, u64::from(doubled(&expected["net"])), "{at}: net");
            let total: u32 = row.iter().sum();
            assert_eq!(total, doubled(&expected["total"]), "{at}: total");
            assert_eq!(standing.sum.placed_points, u64::from(total), "{at}: total");
            assert_eq!(left_out(standing, workouts), numbers(&expected["excluded_races"]), "{at}: left out");
        }
        checked += 1;
    }
    assert_eq!(checked, 14);
}

/// Source: the same file; A8.1 ignores left-out results and A8.2 uses them, so in one series of
/// four boats with equal counted scores the order is that of the last race, left out or not.
#[test]
fn without_the_last_workout_equal_counted_places_share_a_standing() {
    let file = vector("series_by_places.json");
    let case = &file["cases"][1];
    assert_eq!(case["id"], "officials-ref-4races");
    let rows: Vec<Vec<u32>> = case["race_scores"]
        .as_object()
        .unwrap()
        .values()
        .map(|row| row.as_array().unwrap().iter().map(doubled).collect())
        .collect();
    let rules = OverallRules { drop_worst: 1, ..OverallRules::default() };
    let standings = overall(&rules, &by_places(&rows));
    assert!(standings.iter().all(|s| s.standing == Some(1) && s.shared == 4));
}

/// Source: prince 0.23.0 decathlon.csv (MIT), places by pandas `rank(method="min")`: 41 athletes
/// of two meetings in 10 events, sums of places, with and without countback.
#[test]
fn two_decathlons_by_sum_of_places() {
    let file = vector("decathlon_sum_of_places.json");
    let mut athletes = 0;
    for meeting in file["competitions"].as_object().unwrap().values() {
        let meeting = meeting.as_array().unwrap();
        let rows: Vec<Vec<u32>> = meeting
            .iter()
            .map(|a| numbers(&a["places"]).into_iter().map(|n| u32::try_from(n).unwrap()).collect())
            .collect();
        let rows = by_places(&rows);
        let shared = overall(&OverallRules { ties: Ties::Shared, ..OverallRules::default() }, &rows);
        let countback = overall(&OverallRules::default(), &rows);
        for ((athlete, shared), countback) in meeting.iter().zip(shared).zip(countback) {
            let name = &athlete["athlete"];
            assert_eq!(Some(shared.sum.points), athlete["sum_of_places"].as_u64(), "{name}");
            assert_eq!(shared.standing.map(u64::from), athlete["place_shared"].as_u64(), "{name}");
            assert_eq!(countback.standing.map(u64::from), athlete["place_countback"].as_u64(), "{name}");
            athletes += 1;
        }
    }
    assert_eq!(athletes, 41);
}

/// The same athletes with their places as keys: what is worked out from columns says the same.
#[test]
fn the_decathlons_come_out_the_same_by_columns() {
    let file = vector("decathlon_sum_of_places.json");
    for meeting in file["competitions"].as_object().unwrap().values() {
        let meeting = meeting.as_array().unwrap();
        let events = numbers(&meeting[0]["places"]).len();
        let key = |athlete: &Value, event: usize| i64::try_from(numbers(&athlete["places"])[event]).unwrap();
        let column = |event| meeting.iter().map(|a| Some(Key(key(a, event)))).collect::<Vec<_>>();
        let columns: Vec<Column> = (0..events).map(|event| Column::of(&column(event))).collect();
        let asked: Vec<Counting> = (0..events).map(|column| Counting { column, weight: 1 }).collect();
        let standings = Overall::of(&OverallRules::default(), &columns, &asked).standings(meeting.len());
        for (athlete, standing) in meeting.iter().zip(standings) {
            assert_eq!(standing.map(u64::from), athlete["place_countback"].as_u64(), "{}", athlete["athlete"]);
        }
    }
}
