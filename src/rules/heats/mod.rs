//! Heats of a gym in a workout: who starts when, in which lane, and who counts.
//!
//! Planning, not results: nothing here is in the log, and a plan binds nobody. Nobody counts for
//! themselves, nor while they are in the same heat. What it does not do: store.

mod late;

pub use late::{Later, moved_at};

use super::fault::Fault;
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
