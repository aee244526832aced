//! Check values of the trade: common practice, no source (`workout_scores.json` says so).

use super::generate::{reps, work};
use super::written_forms::{for_time, send};
use crate::vector;
use serde_json::Value;
use tallywright::rules::order::{Key, key};
use tallywright::rules::performance::{Around, RawPerformance, check};
use tallywright::rules::quantity::{Grams, Millis};
use tallywright::rules::scheme::{Repeat, Scheme, Station, TotalError};
use tallywright::rules::workout::{Format, Task, Tiebreak};

fn number(row: &Value, key: &str) -> u64 {
    row[key].as_u64().unwrap_or_else(|| panic!("{key} in {row}"))
}

fn endless(row: &Value) -> Scheme {
    let counts = row["reps_per_movement"].as_array().unwrap();
    let stations =
        counts.iter().enumerate().map(|(i, n)| reps(&format!("movement {i}"), n.as_u64().unwrap())).collect();
    Scheme::new(vec![work(stations, Repeat::Endless)], true).unwrap()
}

#[test]
fn rounds_and_reps_make_the_totals_of_the_trade() {
    for row in vector("workout_scores.json")["rounds_plus_reps"].as_array().unwrap() {
        let total = endless(row).total(number(row, "rounds"), number(row, "extra_reps"));
        match row["total_reps"].as_u64() {
            Some(expected) => assert_eq!(total, Ok(expected), "{row}"),
            None => assert_eq!(total, Err(TotalError::WholeRound { size: 30, rounds: 8, reps: 0 }), "{row}"),
        }
    }
}

#[test]
fn totals_make_the_rounds_and_reps_of_the_trade() {
    for row in vector("workout_scores.json")["reps_to_rounds"].as_array().unwrap() {
        let at = endless(row).split(number(row, "total_reps")).unwrap();
        assert_eq!((at.rounds, at.reps), (Some(number(row, "rounds")), number(row, "extra_reps")), "{row}");
    }
}

#[test]
fn ladders_add_up() {
    for row in vector("workout_scores.json")["ascending_ladder"].as_array().unwrap() {
        let step = i64::try_from(number(row, "increment")).unwrap();
        let ladder = Repeat::Ladder { start: vec![number(row, "first")], step: vec![step], rounds: None };
        let stations = vec![Station { movement: "burpee".into(), counts: None }];
        let scheme = Scheme::new(vec![work(stations, ladder)], true).unwrap();
        let total = number(row, "total_reps");
        assert_eq!(scheme.total(number(row, "full_steps"), number(row, "extra_reps")), Ok(total), "{row}");
    }
}

#[test]
fn what_is_left_at_the_cap_is_what_was_not_done() {
    for row in vector("workout_scores.json")["cap_plus_form"].as_array().unwrap() {
        let station = vec![reps("swing", number(row, "reps_total"))];
        let task = Task {
            scheme: Some(Scheme::new(vec![work(station, Repeat::Rounds(1))], false).unwrap()),
            cap: Some(Millis(number(row, "cap_s") * 1000)),
            tiebreak: Tiebreak::None,
            ..for_time()
        };
        let value = send(&task, &format!("cap+{}", number(row, "remaining"))).unwrap().value;
        assert_eq!(value.total_reps(), Some(number(row, "reps_done")), "{row}");
    }
}

/// The key of a row, where it has figures.
fn key_of(task: &Task, row: &Value) -> Option<Key> {
    let tiebreak = row["tiebreak_ms"].as_u64().map_or_else(String::new, |ms| format!(" tb {}", Millis(ms).exact()));
    let main = if let Some(ms) = row["time_ms"].as_u64() {
        Millis(ms).exact()
    } else if let Some(n) = row["reps"].as_u64() {
        format!("{n} reps")
    } else if row["grams"].is_u64() {
        return None;
    } else {
        assert!(row["status"].is_string(), "{row}");
        return None;
    };
    let raw = RawPerformance::Text(main + &tiebreak);
    Some(key(task, 0, &check(task, &raw, &Around::default()).unwrap().value).unwrap())
}

/// Places by key: 1 + the number of smaller ones.
fn assert_places(ranking: &Value, keys: &[(&str, Option<Key>)]) {
    for (id, own) in keys {
        let place = own.map(|own| 1 + keys.iter().filter(|(_, k)| k.is_some_and(|k| k < own)).count() as u64);
        assert_eq!(place, ranking["expected_places"][*id].as_u64(), "{id} in {}", ranking["kind"]);
    }
}

#[test]
fn caps_and_tiebreaks_place_as_in_the_trade() {
    let vector = vector("workout_scores.json");
    let rankings = vector["rankings"].as_array().unwrap();
    let station = |n| vec![work(vec![reps("swing", n)], Repeat::Rounds(1))];
    for ranking in rankings {
        let rows = ranking["rows"].as_array().unwrap();
        let task = match ranking["kind"].as_str().unwrap() {
            // The file's times are ranked in milliseconds; a hundredth keeps its rows apart, cut.
            "time_cap" => Task {
                scheme: Some(Scheme::new(station(151), false).unwrap()),
                cap: Some(Millis(number(ranking, "cap_ms"))),
                tiebreak: Tiebreak::At(vec![100]),
                time_step: tallywright::rules::quantity::TimeStep::Hundredth,
                ..Task::of(Format::ForTime)
            },
            "reps" => Task {
                scheme: Some(Scheme::new(vec![work(vec![reps("swing", 30)], Repeat::Endless)], true).unwrap()),
                cap: Some(Millis(600_000)),
                tiebreak: Tiebreak::EachRound,
                ..Task::of(Format::Amrap)
            },
            "load" => continue,
            other => panic!("{other}"),
        };
        let keys: Vec<_> = rows.iter().map(|row| (row["id"].as_str().unwrap(), key_of(&task, row))).collect();
        assert_places(ranking, &keys);
    }
}

// The file gives a load of 0 g no place; here it is a performance without a good lift, placed last.
#[test]
fn loads_place_as_in_the_trade_and_no_lift_is_last() {
    let vector = vector("workout_scores.json");
    let ranking = vector["rankings"].as_array().unwrap().iter().find(|r| r["kind"] == "load").unwrap();
    let task = Task::of(Format::MaxLoad);
    // 102 058 g is 225 lb; the others are whole hundredths of a kilogram.
    let lines = |grams: u64| {
        if grams == 102_058 { "225 lb".to_owned() } else { format!("{}.{:02} kg", grams / 1000, grams % 1000 / 10) }
    };
    let placed: Vec<_> = ranking["rows"]
        .as_array()
        .unwrap()
        .iter()
        .map(|row| {
            let value = send(&task, &lines(number(row, "grams"))).unwrap().value;
            assert_eq!(value.grams(&task), Some(Grams(number(row, "grams"))));
            (row["id"].as_str().unwrap(), key(&task, 0, &value).unwrap())
        })
        .collect();
    for (id, own) in &placed {
        let place = 1 + placed.iter().filter(|(_, k)| k < own).count() as u64;
        assert_eq!(place, ranking["expected_places"][*id].as_u64().unwrap_or(5), "{id}");
    }
}
