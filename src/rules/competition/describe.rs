//! A workout in plain words: one sentence on what is measured and what is better.

use crate::rules::quantity::{Rounding, TimeStep};
use crate::rules::scheme::Scheme;
use crate::rules::workout::{CountUnit, Format, IntervalMeasure, Scored, Task};
use crate::words::Sentence;

/// One sentence on what is measured, e.g. "As many rounds and reps as possible in 12:00."
#[must_use]
pub fn describe(task: &Task) -> Sentence {
    let cap = task.cap.map(|cap| cap.shown(TimeStep::Second, Rounding::Down)).unwrap_or_default();
    match task.format {
        Format::Amrap => Sentence::new("describe_amrap").with("cap", cap),
        Format::ForTime => {
            let reps = task.scheme.as_ref().and_then(Scheme::end).unwrap_or(0);
            Sentence::new("describe_for_time").with("reps", reps).with("cap", cap)
        }
        Format::MaxLoad => match task.lifts.as_slice() {
            [] => Sentence::new("describe_max_load"),
            [one] if one.is_empty() => Sentence::new("describe_max_load"),
            [one] => Sentence::new("describe_max_load_of").with("lift", one),
            several => Sentence::new("describe_max_load_sum").with("lifts", several.join(" + ")),
        },
        Format::MaxCount => Sentence::new(match task.unit {
            CountUnit::Reps => "describe_max_reps",
            CountUnit::Calories => "describe_max_calories",
            CountUnit::Metres => "describe_max_metres",
        })
        .with("cap", cap),
        Format::Intervals => describe_intervals(task),
    }
}

fn describe_intervals(task: &Task) -> Sentence {
    let Some(intervals) = task.intervals else {
        return Sentence::new("describe_intervals_sum").with("n", 0);
    };
    let code = match (intervals.measure, intervals.scored) {
        (IntervalMeasure::Count, Scored::Least) => "describe_intervals_least",
        (IntervalMeasure::Count, Scored::Best) => "describe_intervals_best",
        (IntervalMeasure::Count, _) => "describe_intervals_sum",
        (IntervalMeasure::Time, Scored::Slowest) => "describe_intervals_slowest",
        (IntervalMeasure::Time, Scored::Fastest) => "describe_intervals_fastest",
        (IntervalMeasure::Time, _) => "describe_intervals_times",
    };
    Sentence::new(code).with("n", intervals.n)
}
