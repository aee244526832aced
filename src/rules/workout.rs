//! A workout, compiled: for each division and level the one [`Task`] its performances are
//! validated against, and the windows, loads and texts around it.

use super::quantity::{Grams, LoadUnit, Millimetres, Millis, Rounding, TimeStep};
use super::scheme::Scheme;
use super::window::Window;
use serde::{Deserialize, Serialize};

/// What is measured.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Format {
    /// As many rounds and reps as possible within the cap.
    Amrap,
    /// Time to complete; at the cap, the reps completed.
    ForTime,
    /// The best lift, or the sum of named lifts.
    MaxLoad,
    /// Reps, calories or metres within the cap.
    MaxCount,
    /// One figure for each of n intervals.
    Intervals,
}

/// When a tiebreak time is taken.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Tiebreak {
    /// Never.
    #[default]
    None,
    /// At the end of every round of every block that counts.
    EachRound,
    /// At the end of every station that counts.
    EachStation,
    /// At these totals, strictly rising, from 1.
    At(Vec<u64>),
    /// The moment of the best lift or the last rep (`max_load`, `max_count`).
    Time,
}

/// What a count is of.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum CountUnit {
    /// Repetitions (default).
    #[default]
    Reps,
    /// Calories of an erg.
    Calories,
    /// Whole metres.
    Metres,
}

/// What each interval is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum IntervalMeasure {
    /// A count; more is better.
    Count,
    /// A time; less is better.
    Time,
}

/// How the intervals make one figure. `Least`, `Best` for counts; `Slowest`, `Fastest` for times.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Scored {
    /// All added.
    Sum,
    /// The smallest count.
    Least,
    /// The largest count.
    Best,
    /// The longest time.
    Slowest,
    /// The shortest time.
    Fastest,
}

/// The intervals of an `intervals` workout.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Intervals {
    /// How many, 1 to 60.
    pub n: u32,
    /// What each is.
    pub measure: IntervalMeasure,
    /// How they combine.
    pub scored: Scored,
}

/// The steps a load should be a multiple of; off them draws a warning.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct LoadStep {
    /// In grams, for loads written in kg.
    pub kg: Option<Grams>,
    /// In hundredths of a pound, for loads written in lb.
    pub lb_hundredths: Option<u64>,
}

/// Everything a performance is validated against and ordered by: one workout, for one division
/// at one level.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Task {
    /// What is measured.
    pub format: Format,
    /// What is done; always there for `Amrap` and `ForTime`.
    pub scheme: Option<Scheme>,
    /// The time allowed; always there but for `MaxLoad` and `Intervals`.
    pub cap: Option<Millis>,
    /// When the tiebreak time is taken.
    pub tiebreak: Tiebreak,
    /// Whether finishers are separated by it too.
    pub tiebreak_for_finishers: bool,
    /// The step of times.
    pub time_step: TimeStep,
    /// The rounding of times.
    pub time_rounding: Rounding,
    /// Names of the lifts of a `MaxLoad`, at least one; empty text where the file names none.
    pub lifts: Vec<String>,
    /// Whether one missed lift makes the sum 0.
    pub all_required: bool,
    /// Expected steps of loads.
    pub load_step: LoadStep,
    /// For `Intervals`.
    pub intervals: Option<Intervals>,
    /// For `MaxCount` and count intervals.
    pub unit: CountUnit,
}

impl Task {
    /// Whether a finished performance is better for being less: a time, or times of intervals.
    #[must_use]
    pub fn less_is_better(&self) -> bool {
        let timed = self.intervals.is_some_and(|i| i.measure == IntervalMeasure::Time);
        self.format == Format::ForTime || (self.format == Format::Intervals && timed)
    }

    /// A task of this format with every setting at its default: no scheme, no cap, no tiebreak,
    /// one lift.
    #[must_use]
    pub fn of(format: Format) -> Self {
        Self {
            format,
            scheme: None,
            cap: None,
            tiebreak: Tiebreak::None,
            tiebreak_for_finishers: false,
            time_step: TimeStep::default(),
            time_rounding: Rounding::default(),
            lifts: vec!["lift".to_owned()],
            all_required: false,
            load_step: LoadStep::default(),
            intervals: None,
            unit: CountUnit::default(),
        }
    }
}

/// Which of several attempts counts.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Attempts {
    /// The placed attempt with the smallest key (default).
    #[default]
    Best,
    /// The last placed attempt.
    Last,
    /// A second is refused.
    One,
}

/// When others see a workout's scores.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Publish {
    /// At once (default).
    #[default]
    Live,
    /// From `closes` on.
    AtClose,
}

/// Who must give a video.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Evidence {
    /// Everybody.
    pub all: bool,
    /// Those placed up to here in their division.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub top: Option<u32>,
    /// Entries without a gym.
    pub no_gym: bool,
}

/// A load as published: one number a round where it changes by round, else one.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PublishedLoad {
    /// What is lifted.
    pub item: String,
    /// As written in kilograms, in grams.
    pub kg: Vec<Grams>,
    /// As written in pounds, in hundredths of a pound.
    pub lb_hundredths: Vec<u64>,
    /// The unit the organiser wrote first.
    pub first: LoadUnit,
}

/// A height as published.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PublishedHeight {
    /// What stands that high.
    pub item: String,
    /// As written in centimetres, in millimetres.
    pub cm: Option<Millimetres>,
    /// As written in inches, in hundredths of an inch.
    pub inch_hundredths: Option<u64>,
}

/// A workout for some divisions at one level.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Prescription {
    /// Division slugs.
    pub divisions: Vec<String>,
    /// Index in the competition's levels; `None`: each division's own.
    pub level: Option<u8>,
    /// What a performance is validated against.
    pub task: Task,
    /// Loads, in file order.
    pub loads: Vec<PublishedLoad>,
    /// Heights, in file order.
    pub heights: Vec<PublishedHeight>,
    /// Free text shown with the loads.
    pub alternatives: String,
    /// SHA-256 of the prescription's canonical JSON: what an attestation vouches for.
    pub digest: [u8; 32],
}

/// One scored task of a competition.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Workout {
    /// `[a-z0-9-]`, unique in the competition.
    pub slug: String,
    /// For people.
    pub title: String,
    /// Workouts of one session are scored from the same effort.
    pub session: Option<String>,
    /// What is measured.
    pub format: Format,
    /// When.
    pub window: Window,
    /// When others see its scores.
    pub publish: Publish,
    /// Which attempt counts.
    pub attempts: Attempts,
    /// Multiplies its points; at least 1.
    pub weight: u32,
    /// What a deducted rep costs a finish time.
    pub seconds_per_rep: Option<u32>,
    /// Who must give a video.
    pub evidence: Evidence,
    /// Markdown: start and finish of every movement, common faults, camera placement.
    pub standards: String,
    /// The same by language tag.
    pub standards_in: Vec<(String, String)>,
    /// The workout's own task, before any prescription changes it.
    pub task: Task,
    /// Exactly one for each (division, level) that may score it.
    pub prescriptions: Vec<Prescription>,
}
