//! The figures of intervals: one for each, counts or times.

use super::figures::Reader;
use super::{Figures, Main, POINTER};
use crate::rules::notation::{dotted_time, item_count, undotted_time};
use crate::rules::quantity::{Clock, Millis, compact, fold, quoted};
use crate::rules::workout::{IntervalMeasure, Intervals};
use crate::words::Sentence;

impl Reader<'_, '_> {
    /// One figure for each interval; every faulty one is told.
    pub(super) fn intervals(&mut self, intervals: Intervals, items: &[String], object: bool) -> Option<Figures> {
        if items.len() != intervals.n as usize {
            return self.wrong_number(intervals, items.len());
        }
        let before = self.notes.faults.len();
        let mut counts = Vec::new();
        let mut times = Vec::new();
        for (i, item) in items.iter().enumerate() {
            if object {
                self.pointer = format!("{POINTER}/intervals/{i}");
            }
            let item = compact(&fold(item));
            self.text.clone_from(&item);
            match intervals.measure {
                IntervalMeasure::Count => counts.extend(self.interval_count(&item)),
                IntervalMeasure::Time => times.extend(self.interval_time(&item)),
            }
        }
        if self.notes.faults.len() > before {
            return None;
        }
        Some(match intervals.measure {
            IntervalMeasure::Count => Figures::IntervalCounts(counts),
            IntervalMeasure::Time => Figures::IntervalTimes(times),
        })
    }

    fn interval_count(&mut self, item: &str) -> Option<u64> {
        match item_count(item) {
            Ok((n, unit)) => self.count(n, unit),
            Err(_) => self.refuse(Sentence::new("interval_count").with("text", quoted(item))),
        }
    }

    fn interval_time(&mut self, item: &str) -> Option<Millis> {
        if let Some(clock) = dotted_time(item).or_else(|| undotted_time(item)) {
            let time = self.time(&clock)?;
            self.ask_colon(time, item);
            return Some(time);
        }
        match Clock::parse(item) {
            Ok(clock) => self.time(&clock),
            Err(sentence) => self.refuse(sentence),
        }
    }

    fn wrong_number<T>(&mut self, intervals: Intervals, got: usize) -> Option<T> {
        let sentence = Sentence::new("intervals_needed").with("expected", intervals.n).with("got", got);
        self.refuse(sentence.with("example", super::example(self.task)))
    }

    /// A line that is not as many figures as there are intervals.
    pub(super) fn intervals_otherwise(&mut self, main: &Main) -> Option<Figures> {
        let intervals = self.task.intervals?;
        match main {
            Main::Row(pieces) => self.wrong_number(intervals, pieces.len()),
            Main::Count { .. } | Main::Time(_) | Main::Dotted(_) => self.wrong_number(intervals, 1),
            _ => self.other_form(),
        }
    }
}
