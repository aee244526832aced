//! Heats of a gym in a workout: who starts when, in which lane, and who counts.
//!
//! Planning, not results: nothing here is in the log, and a plan binds nobody. Nobody counts for
//! themselves, nor while they are in the same heat. What it does not do: store.

use super::fault::Fault;
use super::window::Window;
use crate::words::Sentence;
use jiff::{SignedDuration, Timestamp};
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, BTreeSet};

/// The most lanes.
pub const MAX_LANES: u32 = 40;
/// The most minutes between two heats.
pub const MAX_MINUTES: u32 = 240;
/// The highest number of a heat.
pub const MAX_HEATS: u32 = 500;

/// Who counts.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Judging {
    /// The athletes of the heat before who are judges too; for the first, those of the last.
    #[default]
    PreviousHeat,
    /// The gym's judges, in turn.
    Judges,
}

/// How heats are made.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Settings {
    /// When the first starts.
    pub start: Timestamp,
    /// From one start to the next.
    pub minutes: u32,
    /// Athletes at a time.
    pub lanes: u32,
    /// Who counts.
    pub judging: Judging,
}

/// One athlete's place.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Place {
    /// Whose.
    pub bib: u32,
    /// Number of the heat, from 1.
    pub heat: u32,
    /// Number of the lane, from 1.
    pub lane: u32,
    /// Code of the judge; `None`: not named yet.
    pub judge: Option<String>,
}

/// From a heat on everything starts later, or earlier.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Later {
    /// The first one that does.
    pub heat: u32,
    /// By how many minutes; below 0: earlier.
    pub minutes: i32,
}

/// A gym's heats in a workout.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Plan {
    /// How they were made.
    pub settings: Settings,
    /// By heat and lane.
    pub places: Vec<Place>,
    /// What was moved since, by heat: what comes after moves along.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub later: Vec<Later>,
    /// Bibs of those in it who are of another gym.
    #[serde(default, skip_serializing_if = "BTreeSet::is_empty")]
    pub visitors: BTreeSet<u32>,
}

/// Somebody to be placed.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Athlete {
    /// Who.
    pub bib: u32,
    /// Codes of the judges who are the same person.
    pub judges: Vec<String>,
}

impl Settings {
    /// What cannot be.
    #[must_use]
    pub fn faults(&self) -> Vec<Fault> {
        let mut faults = Vec::new();
        if !(1..=MAX_LANES).contains(&self.lanes) {
            faults.push(Fault::new("/lanes", Sentence::new("heats_lanes").with("most", MAX_LANES)));
        }
        if !(1..=MAX_MINUTES).contains(&self.minutes) {
            faults.push(Fault::new("/minutes", Sentence::new("heats_minutes").with("most", MAX_MINUTES)));
        }
        faults
    }

    /// When a heat (from 1) would start where nothing was moved; the first's start where that passes the end
    /// of time.
    #[must_use]
    pub fn starts(&self, heat: u32) -> Timestamp {
        let after = i64::from(heat.saturating_sub(1)) * i64::from(self.minutes);
        self.start.checked_add(SignedDuration::from_mins(after)).unwrap_or(self.start)
    }
}

impl Plan {
    /// When a heat (from 1) starts.
    #[must_use]
    pub fn starts(&self, heat: u32) -> Timestamp {
        let planned = self.settings.starts(heat);
        let moved = self.later.iter().filter(|l| l.heat <= heat).map(|l| i64::from(l.minutes)).sum::<i64>();
        planned.checked_add(SignedDuration::from_mins(moved)).unwrap_or(planned)
    }

    /// The heat that is on the floor: the newest that somebody has a place in and that has begun, until
    /// another one could start.
    #[must_use]
    pub fn on_floor(&self, now: Timestamp) -> Option<u32> {
        let begun = |heat: &u32| self.starts(*heat) <= now;
        let newest = self.places.iter().map(|place| place.heat).filter(begun).max()?;
        (now < self.starts(newest.saturating_add(1))).then_some(newest)
    }

    /// The same places, all that starts from a heat on moved; what was moved before stays so.
    #[must_use]
    pub fn moved(&self, by: Later) -> Self {
        Self { later: add(&self.later, by), ..self.clone() }
    }

    /// What of moving these heats cannot be: one that is not there; by nothing, or too much at once; past the
    /// end of the workout there (`window`), before it opens, or before the heat that comes first. What was
    /// planned outside the window before stands in nobody's way.
    #[must_use]
    pub fn move_faults(&self, by: Later, window: &Window, said: &dyn Fn(Timestamp) -> String) -> Vec<Fault> {
        let mut faults = Vec::new();
        let heats: BTreeSet<u32> = self.places.iter().map(|place| place.heat).collect();
        if !heats.contains(&by.heat) {
            let last = heats.last().copied().unwrap_or(0);
            let sentence = Sentence::new("heat_not_there").with("heat", by.heat).with("last", last);
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
        if self.starts(by.heat) >= window.opens && plan.starts(by.heat) < window.opens {
            fault(by.heat, Sentence::new("heat_before_it_opens").with("opens", said(window.opens)));
        }
        if let Some(before) = heats.range(..by.heat).next_back().filter(|n| plan.starts(**n) >= plan.starts(by.heat)) {
            fault(by.heat, Sentence::new("heat_before_another").with("before", before));
        }
        faults
    }

    /// Distributes `athletes` in the order given over the fewest heats, as evenly as they go; where
    /// athletes count for each other, those who are judges are spread over all heats. `judges`: who
    /// may be named besides, in turn.
    #[must_use]
    pub fn distribute(settings: Settings, athletes: &[Athlete], judges: &[String]) -> Self {
        let lanes = usize::try_from(settings.lanes.max(1)).unwrap_or(1);
        let n = athletes.len().div_ceil(lanes);
        let mut heats: Vec<Vec<&Athlete>> = vec![Vec::new(); n];
        let size = |heat: usize| athletes.len() / n.max(1) + usize::from(heat < athletes.len() % n.max(1));
        let (counting, others): (Vec<&Athlete>, Vec<&Athlete>) =
            athletes.iter().partition(|a| settings.judging == Judging::PreviousHeat && !a.judges.is_empty());
        for (i, athlete) in counting.into_iter().enumerate() {
            heats[i % n].push(athlete);
        }
        let mut others = others.into_iter();
        for (i, heat) in heats.iter_mut().enumerate() {
            let free = size(i).saturating_sub(heat.len());
            heat.extend(others.by_ref().take(free));
        }
        let mut plan =
            Self { settings, places: Vec::with_capacity(athletes.len()), later: Vec::new(), visitors: BTreeSet::new() };
        let mut turn = 0;
        for (i, heat) in heats.iter().enumerate() {
            let before = if i == 0 { n.saturating_sub(1) } else { i - 1 };
            let first: Vec<&String> = match settings.judging {
                Judging::PreviousHeat => heats[before].iter().filter_map(|a| a.judges.first()).collect(),
                Judging::Judges => Vec::new(),
            };
            let in_turn = (0..judges.len()).map(|k| &judges[(turn + k) % judges.len()]);
            let busy: BTreeSet<&String> = heat.iter().flat_map(|a| &a.judges).collect();
            let mut seen = BTreeSet::new();
            let mut free = first.into_iter().chain(in_turn).filter(|c| !busy.contains(c) && seen.insert(*c));
            for (lane, athlete) in (1..).zip(heat) {
                let judge = free.next().cloned();
                let heat = u32::try_from(i + 1).unwrap_or(u32::MAX);
                plan.places.push(Place { bib: athlete.bib, heat, lane, judge });
            }
            turn += heat.len();
        }
        plan
    }

    /// Where somebody is.
    #[must_use]
    pub fn place(&self, bib: u32) -> Option<&Place> {
        self.places.iter().find(|p| p.bib == bib)
    }

    /// By heat and lane.
    pub fn sort(&mut self) {
        self.places.sort_by_key(|p| (p.heat, p.lane, p.bib));
    }

    /// What cannot be: two athletes in a lane, a judge who is the athlete, who is in the same heat,
    /// or who counts twice in it. `athletes`: who of them is which judge.
    #[must_use]
    pub fn faults(&self, athletes: &[Athlete]) -> Vec<Fault> {
        let mut faults = self.settings.faults();
        let same: BTreeMap<u32, &[String]> = athletes.iter().map(|a| (a.bib, a.judges.as_slice())).collect();
        let is = |bib: u32, code: &String| same.get(&bib).is_some_and(|codes| codes.contains(code));
        let mut lanes: BTreeMap<(u32, u32), u32> = BTreeMap::new();
        let mut counting: BTreeSet<(u32, &String)> = BTreeSet::new();
        for p in &self.places {
            let mut fault = |field: &str, sentence: Sentence| {
                faults
                    .push(Fault::new(format!("/{field}-{}", p.bib), sentence.with("bib", p.bib).with("heat", p.heat)));
            };
            if !(1..=MAX_HEATS).contains(&p.heat) {
                fault("heat", Sentence::new("heat_number").with("most", MAX_HEATS));
            }
            if !(1..=self.settings.lanes).contains(&p.lane) {
                fault("lane", Sentence::new("heat_no_such_lane").with("lanes", self.settings.lanes));
            }
            if let Some(other) = lanes.insert((p.heat, p.lane), p.bib) {
                fault("lane", Sentence::new("heat_lane_taken").with("lane", p.lane).with("other", other));
            }
            let Some(judge) = &p.judge else { continue };
            if is(p.bib, judge) {
                fault("judge", Sentence::new("judge_is_the_athlete"));
            } else if self.places.iter().any(|o| o.heat == p.heat && is(o.bib, judge)) {
                fault("judge", Sentence::new("heat_judge_busy").with("judge", judge));
            }
            if !counting.insert((p.heat, judge)) {
                fault("judge", Sentence::new("heat_judge_twice").with("judge", judge));
            }
        }
        faults
    }
}

/// What was moved, and one more: of the same heat they come together, and what comes to nothing is left out.
#[must_use]
pub fn add(later: &[Later], by: Later) -> Vec<Later> {
    let mut all: BTreeMap<u32, i32> = later.iter().map(|l| (l.heat, l.minutes)).collect();
    let minutes = all.entry(by.heat).or_default();
    *minutes = minutes.saturating_add(by.minutes);
    all.into_iter().filter(|(_, minutes)| *minutes != 0).map(|(heat, minutes)| Later { heat, minutes }).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn settings(lanes: u32, judging: Judging) -> Settings {
        let start = "2027-01-14T18:00:00Z".parse().unwrap();
        Settings { start, minutes: 20, lanes, judging }
    }

    fn athletes(judging: &[bool]) -> Vec<Athlete> {
        let one = |(bib, judges): (u32, &bool)| Athlete {
            bib,
            judges: if *judges { vec![format!("J-{bib}")] } else { Vec::new() },
        };
        (1..).zip(judging).map(one).collect()
    }

    #[test]
    fn the_athletes_of_the_heat_before_count() {
        let plan = Plan::distribute(settings(2, Judging::PreviousHeat), &athletes(&[true; 4]), &[]);
        let said: Vec<_> = plan.places.iter().map(|p| (p.bib, p.heat, p.lane, p.judge.as_deref().unwrap())).collect();
        assert_eq!(said, [(1, 1, 1, "J-2"), (3, 1, 2, "J-4"), (2, 2, 1, "J-1"), (4, 2, 2, "J-3")]);
        assert_eq!(plan.starts(2).to_string(), "2027-01-14T18:20:00Z");
    }

    #[test]
    fn heats_are_even_and_others_step_in_where_nobody_of_the_heat_before_can() {
        let spare = ["J-90".to_owned(), "J-91".to_owned()];
        let plan = Plan::distribute(settings(4, Judging::PreviousHeat), &athletes(&[false; 9]), &spare);
        let sizes: Vec<usize> = (1..=3).map(|h| plan.places.iter().filter(|p| p.heat == h).count()).collect();
        assert_eq!(sizes, [3, 3, 3]);
        assert!((1..=3).all(|h| plan.places.iter().filter(|p| p.heat == h && p.judge.is_some()).count() == 2));
    }

    #[test]
    fn nobody_alone_in_the_gym_counts_for_themselves() {
        let plan = Plan::distribute(settings(4, Judging::PreviousHeat), &athletes(&[true]), &["J-1".to_owned()]);
        assert_eq!(plan.places[0].judge, None);
    }

    #[test]
    fn what_cannot_be_is_told_for_each_athlete() {
        let place = |bib, heat, lane, judge: &str| Place { bib, heat, lane, judge: Some(judge.to_owned()) };
        let places = vec![place(1, 1, 1, "J-1"), place(2, 1, 1, "J-3"), place(3, 1, 9, "J-3"), place(4, 0, 2, "J-9")];
        let plan =
            Plan { settings: settings(4, Judging::Judges), places, later: Vec::new(), visitors: BTreeSet::new() };
        let said: Vec<(String, String)> =
            plan.faults(&athletes(&[true; 4])).into_iter().map(|f| (f.pointer, f.sentence.code.into_owned())).collect();
        let said: Vec<(&str, &str)> = said.iter().map(|(p, c)| (p.as_str(), c.as_str())).collect();
        let expected = [
            ("/judge-1", "judge_is_the_athlete"),
            ("/lane-2", "heat_lane_taken"),
            ("/judge-2", "heat_judge_busy"),
            ("/lane-3", "heat_no_such_lane"),
            ("/judge-3", "judge_is_the_athlete"),
            ("/judge-3", "heat_judge_twice"),
            ("/heat-4", "heat_number"),
        ];
        assert_eq!(said, expected);
    }

    /// Four heats of one at 18:00, 18:20, 18:40 and 19:00.
    fn four() -> Plan {
        Plan::distribute(settings(1, Judging::Judges), &athletes(&[false; 4]), &[])
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

    proptest! {
        #[test]
        fn everybody_has_one_place_and_no_plan_has_a_fault(
            who in prop::collection::vec(any::<bool>(), 0..60), lanes in 1_u32..9, previous: bool, spare in 0_u32..5,
        ) {
            let people = athletes(&who);
            let spare: Vec<String> = (1..=spare).map(|n| format!("J-{n}")).collect();
            let judging = if previous { Judging::PreviousHeat } else { Judging::Judges };
            let plan = Plan::distribute(settings(lanes, judging), &people, &spare);
            prop_assert_eq!(plan.faults(&people), vec![]);
            let placed: BTreeSet<u32> = plan.places.iter().map(|p| p.bib).collect();
            prop_assert_eq!(placed.len(), people.len());
            prop_assert_eq!(plan.places.len(), people.len());
            let last = plan.places.iter().map(|p| p.heat).max().unwrap_or(0);
            prop_assert_eq!(last, u32::try_from(people.len()).unwrap().div_ceil(lanes));
        }
    }
}
