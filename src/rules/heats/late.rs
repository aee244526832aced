//! Heats that run late, or make up time: what was moved, from which heat on, and what of it cannot be.

use super::{MAX_MINUTES, Plan};
use crate::rules::fault::Fault;
use crate::rules::window::Window;
use crate::words::Sentence;
use jiff::Timestamp;
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, BTreeSet};

/// From a heat on everything starts later, or earlier.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Later {
    /// The first one that does.
    pub heat: u32,
    /// By how many minutes; below 0: earlier.
    pub minutes: i32,
}

impl Plan {
    /// The same places, all that starts from a heat on moved; what was moved before stays so.
    #[must_use]
    pub fn moved(&self, by: Later) -> Self {
        Self { later: add(&self.later, by), ..self.clone() }
    }

    /// What of moving these heats cannot be: one that is not there, unless it was moved before (who had a place
    /// in it may have been taken out since); by nothing, or too much at once; past the end of the workout there
    /// (`window`), before it opens, or before the heat that comes first. What was planned outside the window
    /// before stands in nobody's way.
    #[must_use]
    pub fn move_faults(&self, by: Later, window: &Window, said: &dyn Fn(Timestamp) -> String) -> Vec<Fault> {
        let mut faults = Vec::new();
        let heats = self.heats();
        if !heats.contains(&by.heat) && self.later.iter().all(|l| l.heat != by.heat) {
            let last = heats.last().copied().unwrap_or(0);
            let sentence = if by.heat == 0 {
                Sentence::new("heat_not_said").with("last", last)
            } else {
                Sentence::new("heat_not_there").with("heat", by.heat).with("last", last)
            };
            faults.push(Fault::new("/late_heat", sentence));
        }
        if !(1..=MAX_MINUTES).contains(&by.minutes.unsigned_abs()) {
            faults.push(Fault::new("/late_minutes", Sentence::new("heats_moved_minutes").with("most", MAX_MINUTES)));
        }
        if !faults.is_empty() {
            return faults;
        }
        let plan = self.moved(by);
        let mut fault = |heat: u32, sentence: Sentence| {
            let sentence = sentence.with("heat", heat).with("at", said(plan.starts(heat)));
            faults.push(Fault::new("/late_minutes", sentence));
        };
        if by.minutes > 0 {
            let leaves = |heat: &&u32| self.starts(**heat) < window.closes && plan.starts(**heat) >= window.closes;
            let past = heats.range(by.heat..).find(leaves);
            if let Some(heat) = past {
                fault(*heat, Sentence::new("heat_after_the_end").with("closes", said(window.closes)));
            }
            return faults;
        }
        // The first that anybody starts in.
        let Some(first) = heats.range(by.heat..).next().copied() else { return faults };
        if self.starts(first) >= window.opens && plan.starts(first) < window.opens {
            fault(first, Sentence::new("heat_before_it_opens").with("opens", said(window.opens)));
        }
        if let Some(before) = heats.range(..first).next_back().filter(|n| plan.starts(**n) >= plan.starts(first)) {
            fault(first, Sentence::new("heat_before_another").with("before", before));
        }
        faults
    }

    /// The heats that somebody has a place in.
    fn heats(&self) -> BTreeSet<u32> {
        self.places.iter().map(|place| place.heat).collect()
    }

    /// Each heat that does not start before the next one that somebody has a place in, with that one: where
    /// heats were moved while one before them was empty, and somebody was put into it since.
    #[must_use]
    pub fn out_of_order(&self) -> Vec<(u32, u32)> {
        let heats = self.heats();
        let pairs = heats.iter().copied().zip(heats.iter().copied().skip(1));
        pairs.filter(|(heat, next)| self.starts(*heat) >= self.starts(*next)).collect()
    }
}

/// By how many minutes a heat and what comes after it were moved there.
#[must_use]
pub fn moved_at(later: &[Later], heat: u32) -> i32 {
    later.iter().filter(|l| l.heat == heat).fold(0, |sum, l| sum.saturating_add(l.minutes))
}

/// What was moved, and one more: of the same heat they come together, and what comes to nothing is left out.
fn add(later: &[Later], by: Later) -> Vec<Later> {
    let mut all: BTreeMap<u32, i32> = later.iter().map(|l| (l.heat, l.minutes)).collect();
    let minutes = all.entry(by.heat).or_default();
    *minutes = minutes.saturating_add(by.minutes);
    all.into_iter().filter(|(_, minutes)| *minutes != 0).map(|(heat, minutes)| Later { heat, minutes }).collect()
}

#[cfg(test)]
mod tests {
    use super::super::{Athlete, Judging, Settings};
    use super::*;

    /// Four heats of one at 18:00, 18:20, 18:40 and 19:00.
    fn four() -> Plan {
        let start = "2027-01-14T18:00:00Z".parse().unwrap();
        let settings = Settings { start, minutes: 20, lanes: 1, judging: Judging::Judges };
        let athletes: Vec<Athlete> = (1..=4).map(|bib| Athlete { bib, judges: Vec::new() }).collect();
        Plan::distribute(settings, &athletes, &[])
    }

    fn times(plan: &Plan) -> Vec<String> {
        (1..=4).map(|heat| plan.starts(heat).to_string()[11..16].to_owned()).collect()
    }

    fn by(heat: u32, minutes: i32) -> Later {
        Later { heat, minutes }
    }

    #[test]
    fn from_a_heat_on_all_start_later_and_the_places_stay() {
        let late = four().moved(by(3, 25));
        assert_eq!(times(&late), ["18:00", "18:20", "19:05", "19:25"]);
        assert_eq!(late.places, four().places);
        let later = late.moved(by(2, 5)).moved(by(3, -20));
        assert_eq!(times(&later), ["18:00", "18:25", "18:50", "19:10"]);
        assert_eq!(later.later, [by(2, 5), by(3, 5)]);
        // Taken back nothing is left of it.
        assert_eq!(later.moved(by(3, -5)).moved(by(2, -5)), four());
    }

    #[test]
    fn the_heat_on_the_floor_is_the_one_that_has_begun_by_the_moved_times() {
        let (plan, late) = (four(), four().moved(by(2, 30)));
        let at = |time: &str| format!("2027-01-14T{time}:00Z").parse().unwrap();
        let floor = |plan: &Plan| ["18:19", "18:20", "18:49", "18:50", "19:10"].map(|time| plan.on_floor(at(time)));
        assert_eq!(floor(&plan), [Some(1), Some(2), Some(3), Some(3), Some(4)]);
        assert_eq!(floor(&late), [Some(1), Some(1), Some(1), Some(2), Some(3)]);
    }

    #[test]
    fn a_plan_from_before_moves_were_known_reads_and_one_without_moves_is_written_the_same() {
        let plan = four();
        let written = serde_json::to_string(&plan).unwrap();
        assert!(!written.contains("later"), "{written}");
        assert_eq!(serde_json::from_str::<Plan>(&written).unwrap(), plan);
        assert!(!written.contains("visitors"), "{written}");
        let late = Plan { visitors: BTreeSet::from([4]), ..plan.moved(by(2, 7)) };
        assert_eq!(serde_json::from_str::<Plan>(&serde_json::to_string(&late).unwrap()).unwrap(), late);
    }

    /// What is wrong with a move where the workout opens at 17:50 and closes then: field and code.
    fn wrong(plan: &Plan, closes: &str, by: Later) -> Vec<(String, String)> {
        let at = |time: &str| format!("2027-01-14T{time}:00Z").parse().unwrap();
        let window = Window {
            announce: at("10:00"),
            opens: at("17:50"),
            closes: at(closes),
            grace_ends: at("22:00"),
            attest_by: at("23:00"),
        };
        let faults = plan.move_faults(by, &window, &|at| at.to_string());
        faults.into_iter().map(|f| (f.pointer, f.sentence.code.into_owned())).collect()
    }

    fn fault(field: &str, code: &str) -> Vec<(String, String)> {
        vec![(field.to_owned(), code.to_owned())]
    }

    #[test]
    fn no_heat_is_moved_past_the_end_before_the_opening_or_before_another() {
        let plan = four();
        let said = |heat, minutes| wrong(&plan, "19:30", by(heat, minutes));
        assert!(said(2, 29).is_empty());
        // The last would start the moment it closes: the window is half-open.
        assert_eq!(said(2, 30), fault("/late_minutes", "heat_after_the_end"));
        assert!(said(1, -10).is_empty());
        assert_eq!(said(1, -11), fault("/late_minutes", "heat_before_it_opens"));
        assert!(said(2, -19).is_empty());
        assert_eq!(said(2, -20), fault("/late_minutes", "heat_before_another"));
        assert_eq!(said(5, 5), fault("/late_heat", "heat_not_there"));
        assert_eq!(said(0, 5), fault("/late_heat", "heat_not_said"));
        for minutes in [0, 241, -241, i32::MIN, i32::MAX] {
            assert_eq!(said(2, minutes), fault("/late_minutes", "heats_moved_minutes"));
        }
        // What was moved before counts.
        let late = plan.moved(by(1, 20));
        assert_eq!(wrong(&late, "19:30", by(4, 10)), fault("/late_minutes", "heat_after_the_end"));
    }

    #[test]
    fn a_heat_that_was_past_the_end_before_stands_in_nobodys_way() {
        let plan = four();
        assert!(wrong(&plan, "18:50", by(4, 10)).is_empty());
        assert!(wrong(&plan, "18:50", by(3, 9)).is_empty());
        assert_eq!(wrong(&plan, "18:50", by(3, 10)), fault("/late_minutes", "heat_after_the_end"));
    }

    #[test]
    fn a_move_is_taken_back_though_nobody_has_a_place_in_that_heat_any_more() {
        let mut late = four().moved(by(3, 25));
        late.places.retain(|place| place.heat != 3);
        assert!(wrong(&late, "23:00", by(3, -25)).is_empty());
        assert_eq!(times(&late.moved(by(3, -25))), ["18:00", "18:20", "18:40", "19:00"]);
        // What is looked at is the first heat that somebody starts in: the fourth, after the second.
        assert!(wrong(&late, "23:00", by(3, -64)).is_empty());
        assert_eq!(wrong(&late, "23:00", by(3, -65)), fault("/late_minutes", "heat_before_another"));
        assert_eq!(wrong(&late, "19:30", by(3, 5)), fault("/late_minutes", "heat_after_the_end"));
        // One that nobody starts in and that was not moved is still no heat; and where nobody starts after it,
        // nothing can be wrong.
        late.places.retain(|place| place.heat < 3);
        assert_eq!(wrong(&late, "23:00", by(4, -5)), fault("/late_heat", "heat_not_there"));
        assert!(wrong(&late, "23:00", by(3, -25)).is_empty());
    }

    #[test]
    fn a_heat_that_is_filled_again_behind_the_one_after_it_is_found() {
        let plan = four();
        assert!(plan.out_of_order().is_empty());
        let mut emptied = plan.clone();
        emptied.places.retain(|place| place.heat != 2);
        assert!(wrong(&emptied, "23:00", by(3, -25)).is_empty(), "nobody starts in the second");
        let moved = emptied.moved(by(3, -25));
        assert!(moved.out_of_order().is_empty());
        let filled = Plan { places: plan.places, ..moved };
        assert_eq!(times(&filled), ["18:00", "18:20", "18:15", "18:35"]);
        assert_eq!(filled.out_of_order(), [(2, 3)]);
        // At the same moment is out of order too.
        assert_eq!(filled.moved(by(3, 5)).out_of_order(), [(2, 3)]);
        assert!(filled.moved(by(3, 6)).out_of_order().is_empty());
    }

    #[test]
    fn what_a_heat_was_moved_by_is_its_own_sum() {
        let later = [by(2, 25), by(4, -5)];
        assert_eq!([1, 2, 3, 4].map(|heat| moved_at(&later, heat)), [0, 25, 0, -5]);
    }
}
