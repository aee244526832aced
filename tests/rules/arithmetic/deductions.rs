//! What a referee takes off.

use super::LANG;
use super::generate::task_and_lines;
use super::written_forms::{amrap, for_time, intervals, max_count, max_load, send};
use proptest::prelude::*;
use tallywright::rules::order::key;
use tallywright::rules::performance::{Deduction, Figures};
use tallywright::rules::workout::{CountUnit, IntervalMeasure, Task, Tiebreak};

/// The outcome as text, or what is refused.
fn deduct(task: &Task, line: &str, deduction: Deduction<'_>) -> Result<String, Vec<String>> {
    let before = send(task, line).unwrap().value;
    match before.deduct(task, &deduction) {
        Ok(checked) => Ok(checked.value.text(task)),
        Err(faults) => {
            assert!(!faults.is_empty());
            Err(faults.iter().map(|f| f.sentence.say(LANG)).collect())
        }
    }
}

fn reps<'a>(n: u64) -> Deduction<'a> {
    Deduction { reps: Some(n), ..Deduction::default() }
}

#[test]
fn reps_come_off_and_the_tiebreak_stays_while_its_marker_is_passed() {
    assert_eq!(deduct(&amrap(), "6+14 tb 11:24", reps(14)), Ok("6+0 tb 11:24".into()));
    assert_eq!(deduct(&amrap(), "6+14", reps(20)), Ok("5+38".into()));
    assert_eq!(deduct(&amrap(), "0+14", reps(14)), Ok("0+0".into()));
    assert_eq!(deduct(&for_time(), "148 reps tb 8:00", reps(3)), Ok("145 reps tb 8:00".into()));
    assert_eq!(deduct(&max_count(CountUnit::Calories), "57", reps(7)), Ok("50 cal".into()));
}

#[test]
fn a_marker_no_longer_passed_needs_the_right_tiebreak_or_none() {
    let said = "11:24 was taken at a point that is no longer reached: give the clock when round 5 ended, or say that there is none.";
    assert_eq!(deduct(&amrap(), "6+14 tb 11:24", reps(15)), Err(vec![said.to_owned()]));
    let with = Deduction { tiebreak: Some("9:40"), ..reps(15) };
    assert_eq!(deduct(&amrap(), "6+14 tb 11:24", with), Ok("5+43 tb 9:40".into()));
    let without = Deduction { no_tiebreak: true, ..reps(15) };
    assert_eq!(deduct(&amrap(), "6+14 tb 11:24", without), Ok("5+43".into()));
    // Where no marker is passed any more there is nothing to give.
    assert_eq!(deduct(&amrap(), "1+3 tb 2:00", reps(4)), Ok("0+43".into()));
    let both = Deduction { tiebreak: Some("9:40"), no_tiebreak: true, ..reps(15) };
    assert!(deduct(&amrap(), "6+14 tb 11:24", both).is_err());
    let late = Deduction { tiebreak: Some("12:40"), ..reps(15) };
    assert_eq!(
        deduct(&amrap(), "6+14 tb 11:24", late),
        Err(vec!["12:40 is after the cap; the tiebreak is when round 5 ended.".to_owned()])
    );
}

#[test]
fn a_finish_time_grows_up_to_its_cap() {
    let rate = |n| Deduction { seconds_per_rep: Some(5), ..reps(n) };
    assert_eq!(deduct(&for_time(), "9:32.4", rate(3)), Ok("9:47.4".into()));
    assert_eq!(deduct(&for_time(), "11:50", rate(2)), Ok("12:00".into()));
    assert_eq!(
        deduct(&for_time(), "11:50", rate(3)),
        Err(vec![
            "11:50 with this added passes the cap of 12:00: rule replace, with the reps done at the cap.".to_owned()
        ])
    );
    let seconds = Deduction { seconds: Some(10), ..Deduction::default() };
    assert_eq!(deduct(&for_time(), "9:32", seconds), Ok("9:42".into()));
    assert_eq!(
        deduct(&for_time(), "9:32", reps(3)),
        Err(vec!["This workout publishes no seconds for a rep: give the seconds that are added.".to_owned()])
    );
    assert!(deduct(&for_time(), "9:32", rate(u64::MAX)).is_err());
    let finishers = Task { tiebreak_for_finishers: true, ..for_time() };
    assert_eq!(deduct(&finishers, "9:32 tb 8:00", rate(1)), Ok("9:37 tb 8:00".into()));
}

#[test]
fn what_cannot_be_taken_off_is_refused() {
    assert_eq!(
        deduct(&amrap(), "0+14", reps(15)),
        Err(vec!["15 cannot be taken off 14: take off at most 14, or strike the score.".to_owned()])
    );
    assert!(deduct(&amrap(), "0+14", reps(0)).is_err());
    assert!(deduct(&amrap(), "0+14", Deduction::default()).is_err());
    assert!(deduct(&amrap(), "0+14", Deduction { seconds: Some(3), ..Deduction::default() }).is_err());
    assert!(deduct(&for_time(), "9:32", Deduction { seconds: Some(3), ..reps(3) }).is_err());
    assert!(deduct(&for_time(), "9:32", Deduction::default()).is_err());
    let replace = "Nothing can be deducted from these figures: rule replace, with the right ones.".to_owned();
    assert_eq!(deduct(&max_load(&["press"]), "100 kg", reps(1)), Err(vec![replace.clone()]));
    assert_eq!(deduct(&intervals(2, IntervalMeasure::Count), "20/19", reps(1)), Err(vec![replace]));
}

#[test]
fn the_moment_of_the_last_rep_goes_with_the_last_rep() {
    let task = Task { tiebreak: Tiebreak::Time, ..max_count(CountUnit::Reps) };
    assert_eq!(deduct(&task, "57 tb 3:50", reps(57)), Ok("0 reps".into()));
    assert_eq!(deduct(&task, "57 tb 3:50", reps(7)), Ok("50 reps tb 3:50".into()));
}

proptest! {
    /// Nobody gains by a deduction, and what is left could have been sent.
    #[test]
    fn a_deduction_never_betters((task, lines) in task_and_lines(8), n in 1..40_u64) {
        for line in lines {
            let Ok(before) = send(&task, &line) else { continue };
            let before = before.value;
            let deduction = Deduction { reps: Some(n), seconds_per_rep: Some(2), no_tiebreak: true, ..Deduction::default() };
            if let Ok(after) = before.deduct(&task, &deduction) {
                prop_assert!(key(&task, 0, &before).unwrap() < key(&task, 0, &after.value).unwrap());
                let sent = send(&task, &after.value.text(&task)).unwrap();
                prop_assert_eq!(sent.value, after.value);
            } else if let Figures::Reps { total, .. } = before.figures() {
                prop_assert!(*total < n);
            }
        }
    }
}
