//! From what anyone sends to what may be stored: [`RawPerformance`] → [`Performance`].
//!
//! One function, [`check`], is shared by forms, JSON, CSV and the command line. What is written
//! is taken apart by [`super::notation`]; here it meets its task: `figures` says what it means
//! under the format, `tiebreak` what its time may be, `print` how it is written, `deduct` what a
//! referee may take off, `ways` how a result of a task can be written. What it does not do: order performances (see [`super::order`]).

mod deduct;
mod figures;
mod intervals;
mod lifts;
mod print;
mod tiebreak;
mod view;
mod ways;

use super::fault::{Checked, Fault, Question, Warning};
use super::notation::{self, Line, Main};
use super::order;
use super::quantity::{Grams, Load, LoadUnit, Millis};
use super::workout::{Format, Task};
use crate::words::Sentence;
use serde::{Deserialize, Serialize};

pub use deduct::Deduction;
pub use print::{example, shown, written};
pub(super) use tiebreak::finisher_tiebreak_serves;
pub use view::PerformanceView;
pub use ways::{Says, Way, ways};

/// Where a performance stands in a request.
const POINTER: &str = "/performance";

/// A performance as anyone sends it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(untagged)]
pub enum RawPerformance {
    /// In writing: `6+14 tb 11:24`.
    Text(String),
    /// As an object.
    Object(RawFigures),
}

/// The object form; exactly the members of one format are given.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RawFigures {
    /// Whole rounds, with `reps`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub rounds: Option<u64>,
    /// Reps of the next round, with `rounds`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub reps: Option<u64>,
    /// All reps.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub total_reps: Option<u64>,
    /// A finish time, written.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub time: Option<String>,
    /// Loads, written with unit; `x` for a missed one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub loads: Option<Vec<String>>,
    /// A count.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub count: Option<u64>,
    /// One written figure for each interval.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub intervals: Option<Vec<String>>,
    /// The tiebreak time, written.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub tiebreak: Option<String>,
}

/// One lift of a `max_load`: as written and in grams; a missed one has no load.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Lift {
    /// Canonical load; `None` when missed.
    pub load: Option<Grams>,
    /// The unit it was written in; of a missed one kilograms.
    pub unit: LoadUnit,
    /// Hundredths of that unit as written; of a missed one 0.
    pub hundredths: u64,
}

impl Lift {
    /// A lift that was not made.
    const MISSED: Self = Self { load: None, unit: LoadUnit::Kg, hundredths: 0 };

    /// A good lift; one of nothing is missed.
    fn made(load: Load) -> Self {
        if load.hundredths == 0 {
            return Self::MISSED;
        }
        Self { load: Some(load.grams()), unit: load.unit, hundredths: load.hundredths }
    }
}

/// What was done. Only [`check`] makes one, so it always fits its task.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Figures {
    /// `amrap`, and a `for_time` that was not finished.
    Reps {
        /// All reps.
        total: u64,
        /// For a `for_time` at its cap.
        capped: bool,
    },
    /// A finished `for_time`, as entered.
    Time(Millis),
    /// A `max_load`.
    Loads(Vec<Lift>),
    /// A `max_count`.
    Count(u64),
    /// Counts of the intervals.
    IntervalCounts(Vec<u64>),
    /// Times of the intervals, as entered.
    IntervalTimes(Vec<Millis>),
}

/// A performance that fits its task.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Performance {
    figures: Figures,
    tiebreak: Option<Millis>,
}

impl Performance {
    /// What was done.
    #[must_use]
    pub fn figures(&self) -> &Figures {
        &self.figures
    }

    /// The tiebreak time as entered.
    #[must_use]
    pub fn tiebreak(&self) -> Option<Millis> {
        self.tiebreak
    }

    /// All reps of an amrap or of a `for_time` that was not finished; the count of a `max_count`.
    #[must_use]
    pub fn total_reps(&self) -> Option<u64> {
        match self.figures {
            Figures::Reps { total, .. } | Figures::Count(total) => Some(total),
            _ => None,
        }
    }

    /// The load that a `max_load` is ranked by: the best lift or the sum; 0 where
    /// `all_required` and one was missed.
    #[must_use]
    pub fn grams(&self, task: &Task) -> Option<Grams> {
        let Figures::Loads(lifts) = &self.figures else { return None };
        if task.all_required && lifts.iter().any(|l| l.load.is_none()) {
            return Some(Grams(0));
        }
        Some(Grams(lifts.iter().filter_map(|l| l.load).map(|g| g.0).sum()))
    }
}

/// Codes of all that is asked about a performance.
pub const QUESTIONS: [&str; 5] =
    ["spreadsheet_time", "time_without_colon", "total_as_rounds", "tiebreak_pace", "kg_or_lb"];

/// Of what was sent as answered with yes, what can be asked at all, each once: it goes along with every row of a
/// file, however much of it was sent.
#[must_use]
pub fn answers(sent: &[String]) -> Vec<String> {
    let answered = |code: &&str| sent.iter().any(|yes| yes == code);
    QUESTIONS.into_iter().filter(answered).map(str::to_owned).collect()
}

/// Facts around a performance that some questions need.
#[derive(Clone, Debug, Default)]
pub struct Around<'a> {
    /// Codes of questions answered with yes.
    pub confirmed: &'a [String],
    /// Every question counts as answered with yes (figures that were already stored once).
    pub confirm_all: bool,
    /// Grams of the heaviest stored for this workout, division and level, where there are at
    /// least ten.
    pub heaviest: Option<Grams>,
}

/// What is found on the way to a performance.
#[derive(Default)]
struct Notes {
    faults: Vec<Fault>,
    warnings: Vec<Warning>,
    questions: Vec<Question>,
}

impl Notes {
    fn fault(&mut self, pointer: &str, sentence: Sentence) {
        self.faults.push(Fault::new(pointer, sentence));
    }

    fn warn(&mut self, pointer: &str, sentence: Sentence) {
        self.warnings.push(Warning { pointer: pointer.to_owned(), sentence });
    }

    fn ask(&mut self, pointer: &str, sentence: Sentence) {
        debug_assert!(QUESTIONS.contains(&&*sentence.code), "a yes to it gets through: {}", sentence.code);
        self.questions.push(Question { pointer: pointer.to_owned(), sentence });
    }
}

/// Reads and validates a performance against its task.
///
/// All faults at once. Questions that `around` answers with yes are left out of the outcome. The
/// written form as given is the caller's to keep (see [`written`]).
///
/// ```
/// use tallywright::rules::performance::{Around, RawPerformance, check};
/// use tallywright::rules::quantity::Millis;
/// use tallywright::rules::scheme::{Block, Counts, Repeat, Scheme, Station};
/// use tallywright::rules::workout::{Format, Task, Tiebreak};
///
/// let swing = Station { movement: "swing".into(), counts: Some(Counts::Reps(40)) };
/// let block = Block::Work { title: None, stations: vec![swing], repeat: Repeat::Endless, by: None };
/// let task = Task {
///     scheme: Some(Scheme::new(vec![block], true).unwrap()),
///     cap: Some(Millis(720_000)),
///     tiebreak: Tiebreak::EachRound,
///     ..Task::of(Format::Amrap)
/// };
/// let sent = |text: &str| check(&task, &RawPerformance::Text(text.into()), &Around::default());
///
/// let done = sent("6 rds + 14, TB 11.24").unwrap().value;
/// assert_eq!(done.text(&task), "6+14 tb 11:24");
/// assert_eq!(done.total_reps(), Some(254));
///
/// let faults = sent("5+40 tb 12:40").unwrap_err();
/// let said: Vec<String> = faults.iter().map(|f| f.sentence.say(Default::default())).collect();
/// assert_eq!(said, ["40 reps is a whole round here: write 6+0.", "12:40 is after the cap of 12:00."]);
/// ```
pub fn check(task: &Task, raw: &RawPerformance, around: &Around<'_>) -> Result<Checked<Performance>, Vec<Fault>> {
    let mut notes = Notes::default();
    let figures = match raw {
        RawPerformance::Text(text) => {
            let line = notation::read(text);
            let figures = figures::from_line(task, &line, around, &mut notes);
            finish(task, figures, line.tiebreak.map(|t| (t, POINTER)), notes)
        }
        RawPerformance::Object(object) => {
            let figures = figures::from_object(task, object, around, &mut notes);
            let tiebreak = object.tiebreak.as_deref().map(|t| (notation::read_tiebreak(t), "/performance/tiebreak"));
            finish(task, figures, tiebreak, notes)
        }
    };
    figures.map(|mut checked| {
        let answered = |code: &str| around.confirm_all || around.confirmed.iter().any(|c| c == code);
        checked.questions.retain(|q| !answered(&q.sentence.code));
        checked
    })
}

/// Figures and tiebreak together.
fn finish(
    task: &Task,
    figures: Option<Figures>,
    tiebreak: Option<(notation::WrittenTiebreak, &str)>,
    mut notes: Notes,
) -> Result<Checked<Performance>, Vec<Fault>> {
    let tiebreak = tiebreak::check(task, figures.as_ref(), tiebreak, &mut notes);
    if figures.is_none() && notes.faults.is_empty() {
        // Only a task without what its format needs comes here; competition files refuse those.
        notes.fault(POINTER, form(task, ""));
    }
    let Some(figures) = figures.filter(|_| notes.faults.is_empty()) else { return Err(notes.faults) };
    let value = Performance { figures, tiebreak };
    // A figure that does not fit the key is refused here, so that nothing stored ever does not.
    order::key(task, 0, &value).map_err(|fault| vec![fault])?;
    Ok(Checked { value, warnings: notes.warnings, questions: notes.questions })
}

/// The sentence that says what this format takes.
fn form(task: &Task, text: &str) -> Sentence {
    let code = match task.format {
        Format::Amrap => "form_amrap",
        Format::ForTime => "form_for_time",
        Format::MaxLoad => "form_max_load",
        Format::MaxCount => "form_max_count",
        Format::Intervals => "form_intervals",
    };
    let example = print::examples(task);
    Sentence::new(code).with("text", super::quantity::quoted(text)).with("example", example.0).with("other", example.1)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Of a form whose names fill a megabyte each nothing goes along with four thousand rows but what can be asked.
    #[test]
    fn of_what_is_sent_as_a_yes_only_what_can_be_asked_goes_along_and_once() {
        let sent = |codes: &[&str]| codes.iter().map(|code| (*code).to_owned()).collect::<Vec<_>>();
        let long = "A".repeat(1 << 20);
        let mut many = sent(&["total_as_rounds", &long, "", "all", "spreadsheet_time", "total_as_rounds"]);
        many.extend((0..10_000).map(|n| format!("spreadsheet_time{n}")));
        many.extend(vec!["kg_or_lb".to_owned(); 10_000]);
        assert_eq!(answers(&many), sent(&["spreadsheet_time", "total_as_rounds", "kg_or_lb"]));
        assert_eq!(answers(&[]), sent(&[]));
        assert_eq!(answers(&sent(&QUESTIONS)), sent(&QUESTIONS), "all of them");
    }
}
