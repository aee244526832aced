//! Times, loads and lengths against published factors and roundings.

use crate::vector;
use proptest::prelude::*;
use tallywright::rules::quantity::{
    Grams, Load, LoadUnit, Millimetres, Millis, Pair, Rounding, TimeStep, centimetres, decimal_hundredths, inches,
    kilograms, pair, pounds,
};

fn text<'a>(row: &'a serde_json::Value, key: &str) -> &'a str {
    row[key].as_str().unwrap_or_else(|| panic!("{key} in {row}"))
}

/// A decimal without floating point, in 10^-places.
fn scaled(decimal: &str, places: usize) -> u64 {
    let (units, rest) = decimal.split_once('.').unwrap_or((decimal, ""));
    assert!(rest.len() <= places, "{decimal} has more than {places} decimals");
    format!("{units}{rest:0<places$}").parse().unwrap()
}

// Source: units.json — the international pound and inch of 1959 (NIST SP 811, App. B).
#[test]
fn pounds_become_the_grams_of_the_international_pound() {
    let units = vector("units.json");
    let rows = units["lb_to_kg"].as_array().unwrap();
    assert!(rows.len() > 25);
    for row in rows {
        let load = Load { unit: LoadUnit::Lb, hundredths: decimal_hundredths(text(row, "lb")).unwrap() };
        assert_eq!(load.grams().0, row["grams_half_even"].as_u64().unwrap(), "{row}");
        let printed = decimal_hundredths(&load.kilograms()).unwrap();
        assert_eq!(printed, scaled(text(row, "kg_2dp_half_up"), 2), "{row}");
    }
}

#[test]
fn kilograms_are_printed_in_pounds_to_the_hundredth() {
    let units = vector("units.json");
    let rows = units["kg_to_lb"].as_array().unwrap();
    assert!(rows.len() > 10);
    for row in rows {
        let load = Load { unit: LoadUnit::Kg, hundredths: decimal_hundredths(text(row, "kg")).unwrap() };
        let printed = decimal_hundredths(&load.pounds()).unwrap();
        assert_eq!(decimal_hundredths(&pounds(load.grams())), Ok(printed), "whole grams here");
        assert_eq!(printed, (scaled(text(row, "lb_6dp"), 6) + 5_000) / 10_000, "{row}");
    }
}

// The properties that units.json states.
#[test]
fn whole_pounds_survive_grams_and_half_pounds_stay_apart() {
    let mut before = None;
    for halves in 0..=4000_u64 {
        let grams = Load { unit: LoadUnit::Lb, hundredths: halves * 50 }.grams();
        assert!(before < Some(grams));
        before = Some(grams);
        if halves % 2 == 0 {
            let back = decimal_hundredths(&pounds(grams)).unwrap();
            assert_eq!((back + 50) / 100, halves / 2);
        }
    }
}

#[test]
fn inches_are_25_4_millimetres() {
    let units = vector("units.json");
    let in_inches = |unit: &str| match unit {
        "in" => 1,
        "ft" => 12,
        "yd" => 36,
        "mi" => 63_360,
        other => panic!("{other}"),
    };
    for row in units["length"].as_array().unwrap() {
        let hundredths = decimal_hundredths(text(row, "value")).unwrap() * in_inches(text(row, "unit"));
        let tenths_of_millimetres = scaled(text(row, "metres_exact"), 4);
        let rounded = Millimetres::from_inch_hundredths(hundredths).0;
        assert!(rounded * 10 <= tenths_of_millimetres + 5 && tenths_of_millimetres <= rounded * 10 + 5, "{row}");
    }
    assert_eq!(kilograms(Grams(102_058)), "102.06");
    assert_eq!(centimetres(Millimetres(508)), "50.8");
    assert_eq!(inches(20_00), "20");
}

// Source: time_rounding.json — "to the next longer step" is hand timing in World Athletics'
// Technical Rules (TR 19); cutting is World Aquatics' SW 11.2. The rows about two or three watches
// are other federations' ways of making one time of several, which nobody here does.
#[test]
fn times_are_cut_or_lengthened_to_their_step() {
    let vector = vector("time_rounding.json");
    let mut checked = 0;
    for row in vector["rows"].as_array().unwrap() {
        let (rounding, step) = match (text(row, "rule"), row["unit"].as_str()) {
            ("round_up_to_longer", Some("1")) => (Rounding::Up, TimeStep::Second),
            ("round_up_to_longer", Some("0.1")) => (Rounding::Up, TimeStep::Tenth),
            ("round_up_to_longer", Some("0.01")) => (Rounding::Up, TimeStep::Hundredth),
            ("truncate_hundredths", None) => (Rounding::Down, TimeStep::Hundredth),
            ("swim_manual_three_watches" | "athletics_hand_watches", _) => continue,
            other => panic!("{other:?}"),
        };
        let time = Millis(scaled(text(row, "input_seconds"), 3));
        assert_eq!(time.rounded(step, rounding).0, scaled(text(row, "expected"), 3), "{row}");
        checked += 1;
    }
    assert_eq!(checked, 17);
}

// Common practice, no source: how gyms name the same bell or plate in both units.
#[test]
fn the_pairs_of_the_trade_are_one_load() {
    for (lb, kg) in [(35, 16), (45, 20), (55, 25), (65, 30), (75, 35)] {
        assert_eq!(pair(kg * 100, lb * 100), Pair::Same, "{lb} lb / {kg} kg");
    }
}

// Common practice, no source: workout_scores.json; 25/10 and 10/5 are the pairs that are odd.
#[test]
fn only_two_nominal_pairs_are_odd_and_none_is_refused() {
    let vector = vector("workout_scores.json");
    let mut odd = Vec::new();
    for row in vector["nominal_load_pairs"].as_array().unwrap() {
        let (lb, kg) = (row["lb"].as_u64().unwrap(), row["nominal_kg"].as_u64().unwrap());
        match pair(kg * 100, lb * 100) {
            Pair::Same => {}
            Pair::Odd(_) => odd.push((lb, kg)),
            Pair::Apart(_) => panic!("{lb} lb / {kg} kg"),
        }
    }
    assert_eq!(odd, [(25, 10), (10, 5)]);
}

#[test]
fn a_pair_is_judged_at_exactly_6_and_15_percent_of_its_smaller_side() {
    // 45 359.237 lb are 20 574.6… kg; in these numbers both sides are whole: 100 000 000 lb are
    // 45 359 237 kg.
    let lb = 10_000_000_000;
    let above = |percent: u64| 4_535_923_700 + 45_359_237 * percent;
    assert_eq!(pair(above(6), lb), Pair::Same);
    assert!(matches!(pair(above(6) + 1, lb), Pair::Odd(_)));
    assert!(matches!(pair(above(15), lb), Pair::Odd(_)));
    assert!(matches!(pair(above(15) + 1, lb), Pair::Apart(_)));
    assert!(matches!(pair(0, 100), Pair::Apart(_)));
}

#[test]
fn an_odd_pair_says_both_sides_converted() {
    let Pair::Odd(sentence) = pair(10_00, 25_00) else { panic!() };
    assert_eq!(
        sentence.say(super::LANG),
        "10 kg and 25 lb are more than 6 % apart: 10 kg is 22.05 lb, 25 lb is 11.34 kg. Check both figures."
    );
}

#[test]
fn times_are_read_as_people_write_them() {
    for (written, millis) in [
        ("9:32", 572_000),
        ("9:32.4", 572_400),
        ("9:32,45", 572_450),
        ("9:32.400000", 572_400),
        ("9'32\"", 572_000),
        ("9′32″", 572_000),
        ("9’32’’", 572_000),
        ("9'32\"4", 572_400),
        ("9'5\"", 545_000),
        ("9'", 540_000),
        ("45\"", 45_000),
        (" ９：３２ ", 572_000),
        ("09:32", 572_000),
        ("92:10", 5_530_000),
        ("1:04:10", 3_850_000),
        ("0:00", 0),
        ("99:59:59.999", 359_999_999),
    ] {
        assert_eq!(Millis::parse(written), Ok(Millis(millis)), "{written}");
    }
}

#[test]
fn times_that_cannot_be_say_why() {
    for (written, code) in [
        ("9:75", "time_seconds"),
        ("9:5", "time_one_digit"),
        ("9:32.4567", "time_decimals"),
        ("100:00:00", "time_too_long"),
        ("999999999:00", "time_too_long"),
        ("1:4:10", "time_unreadable"),
        ("1:64:10", "time_unreadable"),
        ("1:2:3:4", "time_unreadable"),
        ("9:32.", "time_unreadable"),
        ("9:", "time_unreadable"),
        (":32", "time_unreadable"),
        ("9'32'4", "time_unreadable"),
        ("1:9'32", "time_unreadable"),
        ("'", "time_unreadable"),
        ("\"\"", "time_unreadable"),
        ("-9:32", "time_unreadable"),
        ("٩", "time_unreadable"),
        ("", "time_unreadable"),
    ] {
        assert_eq!(Millis::parse(written).map_err(|s| s.code.into_owned()), Err(code.to_owned()), "{written}");
    }
}

#[test]
fn loads_are_read_in_both_units_with_point_or_comma() {
    for (written, grams) in [
        ("102.5 kg", 102_500),
        ("102,5kg", 102_500),
        ("102.500 KG", 102_500),
        ("225 lb", 102_058),
        ("225#", 102_058),
        ("225 Lbs.", 102_058),
        (".5 kg", 500),
        ("0 kg", 0),
    ] {
        assert_eq!(Load::parse(written).map(Load::grams), Ok(Grams(grams)), "{written}");
    }
    for (written, code) in [
        ("225", "load_needs_unit"),
        ("kg", "load_unreadable"),
        ("22x kg", "load_unreadable"),
        ("1,250 kg", "load_thousands"),
        ("1.250 kg", "load_thousands"),
        ("10,000 lb", "load_thousands"),
        ("102.125 kg", "number_decimals"),
        ("10001 kg", "load_too_heavy"),
        ("99999999999999999999 kg", "number_too_large"),
        (". kg", "load_unreadable"),
        ("5. kg", "number_unreadable"),
        ("1.2.3 kg", "number_unreadable"),
    ] {
        assert_eq!(Load::parse(written).map_err(|s| s.code.into_owned()), Err(code.to_owned()), "{written}");
    }
}

proptest! {
    #[test]
    fn an_exact_time_reads_back(millis in 0..=359_999_999_u64) {
        prop_assert_eq!(Millis::parse(&Millis(millis).exact()), Ok(Millis(millis)));
    }

    #[test]
    fn a_load_reads_back(hundredths in 0..=1_000_000_u64, kg: bool) {
        let load = Load { unit: if kg { LoadUnit::Kg } else { LoadUnit::Lb }, hundredths };
        prop_assert_eq!(Load::parse(&load.text()), Ok(load));
    }

    #[test]
    fn heavier_is_never_fewer_grams(a in 0..2_000_000_u64, b in 0..2_000_000_u64) {
        let grams = |hundredths| Load { unit: LoadUnit::Lb, hundredths }.grams();
        prop_assert_eq!(a <= b, grams(a) <= grams(b));
    }
}
