//! Ages and windows: `age_on_date.json`, `deadline_time_zones.json`.

use super::vector;
use jiff::Timestamp;
use jiff::civil::Date;
use tallywright::rules::competition::{self, LeapBirthday};
use tallywright::rules::division::{Category, age_on, check_eligible};
use tallywright::rules::event::Extension;
use tallywright::rules::window::{for_entry, instant};
use tallywright::rules::workout::Workout;
use tallywright::words::Lang;

/// Worked out with `age()` of `PostgreSQL`, jiff, chrono and python-dateutil.
#[test]
fn ages_under_both_leap_rules() {
    for case in vector("age_on_date.json")["cases"].as_array().unwrap() {
        let date = |key: &str| case[key].as_str().unwrap().parse::<Date>().unwrap();
        let age = |leap| age_on(date("born"), date("on"), leap).map(u64::from);
        assert_eq!(age(LeapBirthday::Mar1), case["age_completed_years_mar1_rule"].as_u64(), "{case}");
        assert_eq!(age(LeapBirthday::Feb28), case["age_feb28_rule"].as_u64(), "{case}");
    }
}

/// Python's zoneinfo (PEP 495) and jiff's bundled tz database.
#[test]
fn local_times_in_a_gap_are_refused_and_ambiguous_ones_asked() {
    let cases = vector("deadline_time_zones.json");
    for case in cases["cases"].as_array().unwrap() {
        let text = |key: &str| case[key].as_str().unwrap();
        let zone = competition::find_zone(text("zone")).unwrap();
        let at = |key: &str| text(key).parse::<Timestamp>().unwrap();
        let read = instant(text("local"), &zone);
        match text("kind") {
            "unique" => assert_eq!(read.unwrap(), at("fold0_utc"), "{case}"),
            "gap" => assert_eq!(read.unwrap_err().code, "time_in_gap", "{case}"),
            "overlap" => {
                let asked = read.unwrap_err();
                assert_eq!(asked.code, "time_ambiguous", "{case}");
                let reading =
                    |name: &str| asked.args.iter().find(|(n, _)| n == name).unwrap().1.say(Lang::En).into_owned();
                assert_eq!(instant(&reading("first"), &zone).unwrap(), at("earlier_utc"), "{case}");
                assert_eq!(instant(&reading("second"), &zone).unwrap(), at("later_utc"), "{case}");
            }
            other => panic!("unknown kind {other}"),
        }
    }
}

#[test]
fn the_sentences_show_what_to_write() {
    let zone = competition::find_zone("Europe/Lisbon").unwrap();
    let said = |text: &str| instant(text, &zone).unwrap_err().say(Lang::En);
    insta::assert_snapshot!(said("2027-10-31T01:30"), @"2027-10-31T01:30 happens twice in Europe/Lisbon, when clocks are set back. Write 2027-10-31T01:30+01:00 for the first time, 2027-10-31T01:30+00:00 for the second.");
    insta::assert_snapshot!(said("2027-03-28T01:30"), @"2027-03-28T01:30 does not exist in Europe/Lisbon: clocks are set forward over it. Write the time before, 2027-03-28 00:30, or after, 2027-03-28 02:30.");
    insta::assert_snapshot!(said("2027-01-12T18:00+01:00"), @"Europe/Lisbon is not at +01:00 then: write 2027-01-12T18:00+00:00, or leave the offset out.");
    insta::assert_snapshot!(said("tomorrow"), @r#""tomorrow" is no date and time: write it as 2027-01-12T18:00."#);
    for odd in [
        "",
        "2027-01-12",
        "2027-02-30T10:00",
        "2027-01-12T24:00",
        "2027-01-12T18:00:61",
        "٢٠٢٧-01-12T18:00",
        "2027-1-2T3:04",
    ] {
        assert_eq!(instant(odd, &zone).unwrap_err().code, "instant_unreadable", "{odd}");
    }
    let utc = "2027-07-12T18:00:00Z".parse::<Timestamp>().unwrap();
    assert_eq!(instant("2027-07-12T18:00Z", &zone).unwrap(), utc, "Z names the instant itself");
    assert_eq!(instant("2027-07-12 19:00:00", &zone).unwrap(), utc);
}

#[test]
fn a_zone_that_is_nearly_right_is_named() {
    let near = |name: &str| competition::find_zone(name).unwrap_err().say(Lang::En);
    assert_eq!(near("Europe/Lisboa"), "There is no time zone Europe/Lisboa. Did you mean Europe/Lisbon?");
    assert_eq!(near("Lisbon"), "There is no time zone Lisbon. Did you mean Europe/Lisbon?");
    assert!(near("").starts_with("There is no time zone :"), "an empty name is none");
}

fn saltmarsh() -> competition::Competition {
    let raw = competition::from_toml(include_str!("../data/saltmarsh.toml")).unwrap();
    competition::compile(&raw).unwrap().value
}

#[test]
fn a_refused_entry_hears_its_age_and_the_division_that_fits() {
    let competition = saltmarsh();
    let women = competition.division("women").unwrap();
    let refused = check_eligible(&competition, women, jiff::civil::date(1986, 6, 1), Category::Women).unwrap_err();
    let said: Vec<String> = refused.iter().map(|s| s.say(Lang::En)).collect();
    assert_eq!(said, ["Born 1986-06-01 is 40 on 2027-01-15; Women is for 18-39.", "What would fit: women-40."]);
    let teen = check_eligible(&competition, women, jiff::civil::date(2015, 6, 1), Category::Men).unwrap_err();
    assert_eq!(teen.last().unwrap().code, "entry_no_division_fits");
    let all = competition.division("women-all").unwrap();
    let combined = check_eligible(&competition, all, jiff::civil::date(1990, 6, 1), Category::Women).unwrap_err();
    assert_eq!(combined[0].say(Lang::En), "women-all ranks the entries of women, women-40: enter one of these.");
}

#[test]
fn windows_are_half_open_and_extensions_move_them() {
    let competition = saltmarsh();
    let w3 = competition.workout("w3").unwrap();
    let (opens, closes) = (w3.window.opens, w3.window.closes);
    let second = jiff::SignedDuration::from_secs(1);
    assert!(!w3.window.running(opens - second) && w3.window.running(opens) && !w3.window.running(closes));
    assert!(w3.window.takes_scores(closes) && w3.window.takes_scores(closes + second * 14));
    assert!(!w3.window.takes_scores(closes + second * 15), "the grace of this workout is 15 s");
    assert_eq!(w3.window.late_by(closes + second * 3), second * 3);
    assert_eq!(w3.window.late_by(opens), jiff::SignedDuration::ZERO);
    assert_eq!(w3.window.default_performed_at(closes + second * 9), closes - second);

    let later = |hours: i64, gym: Option<&str>, region: Option<&str>| Extension {
        workout: "w3".into(),
        gym: gym.map(Into::into),
        region: region.map(Into::into),
        closes: closes + jiff::SignedDuration::from_hours(hours),
        attest_by: closes + jiff::SignedDuration::from_hours(hours + 24),
        taken_back: false,
    };
    let extensions = [later(1, None, Some("Algarve")), later(2, Some("quayside"), None), later(3, None, None)];
    let hours = |gym, region| (for_entry(w3, &extensions, gym, region).closes - closes).as_hours();
    assert_eq!(for_entry(w3, &extensions, None, ""), w3.window);
    assert_eq!(hours(None, "ALGARVE"), 1);
    assert_eq!(hours(Some("quayside"), "algarve"), 2, "the last that fits holds");
    let moved = for_entry(w3, &extensions, Some("quayside"), "");
    assert_eq!(moved.grace_ends, moved.closes + second * 15);
}

/// What was taken back, and what a later file overtakes, leaves nobody with less than all others have.
#[test]
fn nobodys_window_closes_before_everybodys() {
    let competition = saltmarsh();
    let mut w3 = competition.workout("w3").unwrap().clone();
    let (closes, attest_by) = (w3.window.closes, w3.window.attest_by);
    let hour = jiff::SignedDuration::from_hours(1);
    let more = |hours: i32, gym: Option<&str>, region: Option<&str>| Extension {
        workout: "w3".into(),
        gym: gym.map(Into::into),
        region: region.map(Into::into),
        closes: closes + hour * hours,
        attest_by: attest_by + hour * hours,
        taken_back: hours == 0,
    };
    let quayside = |hours| more(hours, Some("quayside"), None);
    let north = |hours| more(hours, None, Some("North"));
    let hours = |x: &Workout, all: &[Extension]| {
        let window = for_entry(x, all, Some("quayside"), "north");
        assert_eq!(window.attest_by - attest_by, window.closes - closes, "its judges too");
        assert_eq!(window.grace_ends - window.closes, x.window.grace_ends - x.window.closes);
        (window.closes - closes).as_hours()
    };
    // The gym's own is taken back: its region's holds, whichever came first; and the other way round.
    assert_eq!(hours(&w3, &[north(3), quayside(5), quayside(0)]), 3);
    assert_eq!(hours(&w3, &[quayside(5), north(3), quayside(0)]), 3);
    assert_eq!(hours(&w3, &[quayside(5), north(3), more(0, None, Some("NORTH"))]), 5);
    assert_eq!(hours(&w3, &[quayside(5), north(3), quayside(0), north(0)]), 0);
    assert_eq!(hours(&w3, &[quayside(5), quayside(0), quayside(2)]), 2, "given anew");
    // The file moves the close for all, to later and to earlier.
    let whole = w3.window;
    for moved in [4, -2] {
        w3.window.closes = whole.closes + hour * moved;
        w3.window.grace_ends = whole.grace_ends + hour * moved;
        w3.window.attest_by = whole.attest_by + hour * moved;
        assert_eq!(hours(&w3, &[quayside(5), quayside(0)]), i64::from(moved), "the file's times hold");
        assert_eq!(hours(&w3, &[quayside(3)]), i64::from(moved.max(3)));
        assert_eq!(hours(&w3, &[quayside(5)]), 5);
        assert_eq!(hours(&w3, &[north(5), quayside(3)]), if moved == 4 { 5 } else { 3 });
    }
}

#[test]
fn a_performance_lies_in_its_window_and_not_ahead_of_receipt() {
    let competition = saltmarsh();
    let (window, zone) = (competition.workouts[0].window, &competition.time_zone);
    let minute = jiff::SignedDuration::from_mins(1);
    let received = window.opens + minute * 60;
    assert!(window.check_performed_at(received + minute * 5, received, zone).is_ok());
    let ahead = window.check_performed_at(received + minute * 6, received, zone).unwrap_err();
    assert_eq!(ahead.code, "performed_in_future");
    for outside in [window.opens - minute, window.closes] {
        let refused = window.check_performed_at(outside, window.closes + minute, zone).unwrap_err();
        assert_eq!(refused.code, "performed_outside_window");
    }
}
