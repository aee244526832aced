//! What a written figure means under a format: taken, asked about, or refused with the way out.

use super::{Around, Figures, Line, Main, Notes, POINTER, RawFigures, form};
use crate::rules::notation::{Unit, dotted_time, undotted_time};
use crate::rules::quantity::{Clock, Millis, compact, fold, quoted};
use crate::rules::scheme::{MAX_TOTAL, Scheme, TotalError};
use crate::rules::workout::{CountUnit, Format, Task};
use crate::words::{Sentence, Value};

/// Rounds above this may be a total written in the wrong place.
const MANY_ROUNDS: u64 = 60;

/// Figures, or what is wrong or asked in the notes.
pub(super) struct Reader<'a, 'b> {
    pub(super) task: &'a Task,
    pub(super) around: &'a Around<'a>,
    pub(super) notes: &'b mut Notes,
    pub(super) pointer: String,
    /// As an answer repeats it.
    pub(super) text: String,
}

/// The figures of a line.
pub(super) fn from_line(task: &Task, line: &Line, around: &Around<'_>, notes: &mut Notes) -> Option<Figures> {
    let text = line.main_text.clone();
    let mut reader = Reader { task, around, notes, pointer: POINTER.to_owned(), text };
    if let (Format::Intervals, Some(intervals)) = (task.format, task.intervals) {
        let pieces: Vec<String> = line.main_text.split('/').map(str::to_owned).collect();
        // Three intervals look like a date: only another number of fields is one.
        if pieces.len() == intervals.n as usize && !line.main_text.is_empty() {
            return reader.intervals(intervals, &pieces, false);
        }
    }
    match &line.main {
        Ok(main) => reader.main(main),
        Err(sentence)
            if matches!(&*sentence.code, "performance_empty" | "performance_unreadable")
                // Two figures with a dash are rounds and reps only where rounds are counted.
                || (sentence.code == "rounds_dash" && !matches!(task.format, Format::Amrap | Format::ForTime)) =>
        {
            let sentence = form(task, &line.typed);
            reader.refuse(sentence)
        }
        Err(sentence) => reader.refuse(sentence.clone()),
    }
}

/// The figures of the object form, through the same readers.
pub(super) fn from_object(task: &Task, object: &RawFigures, around: &Around<'_>, notes: &mut Notes) -> Option<Figures> {
    let text = super::print::main_figure(object);
    let mut reader = Reader { task, around, notes, pointer: POINTER.to_owned(), text };
    let given = [
        object.rounds.is_some() || object.reps.is_some(),
        object.total_reps.is_some(),
        object.time.is_some(),
        object.loads.is_some(),
        object.count.is_some(),
        object.intervals.is_some(),
    ];
    match given.iter().filter(|g| **g).count() {
        0 => {
            let sentence = form(task, "");
            return reader.refuse(sentence);
        }
        1 => {}
        _ => return reader.refuse(Sentence::new("object_mixed")),
    }
    if let (Format::Intervals, Some(intervals), Some(items)) = (task.format, task.intervals, &object.intervals) {
        return reader.intervals(intervals, items, true);
    }
    let main = match object {
        RawFigures { rounds: Some(rounds), reps: Some(reps), .. } => {
            Main::Rounds { rounds: *rounds, reps: *reps, bare: false }
        }
        RawFigures { rounds: None, reps: Some(_), .. } | RawFigures { rounds: Some(_), reps: None, .. } => {
            return reader.refuse(Sentence::new("object_rounds_and_reps"));
        }
        RawFigures { total_reps: Some(n), .. } => Main::Count { n: *n, unit: Some(Unit::Reps) },
        RawFigures { count: Some(n), .. } if task.format == Format::MaxCount => Main::Count { n: *n, unit: None },
        RawFigures { time: Some(time), .. } => return reader.object_time(time),
        RawFigures { loads: Some(items), .. } => return reader.object_loads(items),
        _ => {
            let sentence = form(task, &reader.text);
            return reader.refuse(sentence);
        }
    };
    reader.main(&main)
}

impl Reader<'_, '_> {
    pub(super) fn refuse<T>(&mut self, sentence: Sentence) -> Option<T> {
        self.notes.fault(&self.pointer, sentence);
        None
    }

    pub(super) fn ask(&mut self, sentence: Sentence) {
        self.notes.ask(&self.pointer, sentence);
    }

    pub(super) fn other_form<T>(&mut self) -> Option<T> {
        let sentence = form(self.task, &self.text);
        self.refuse(sentence)
    }

    fn main(&mut self, main: &Main) -> Option<Figures> {
        match self.task.format {
            Format::Amrap => {
                let scheme = self.task.scheme.as_ref()?;
                self.amrap(scheme, main)
            }
            Format::ForTime => {
                let (scheme, cap) = (self.task.scheme.as_ref()?, self.task.cap?);
                self.for_time(scheme, cap, main)
            }
            Format::MaxLoad => self.max_load(main),
            Format::MaxCount => self.max_count(main),
            Format::Intervals => self.intervals_otherwise(main),
        }
    }

    fn amrap(&mut self, scheme: &Scheme, main: &Main) -> Option<Figures> {
        let total = match main {
            Main::Rounds { rounds, reps, .. } => self.rounds(scheme, *rounds, *reps)?,
            Main::Count { n, unit: None | Some(Unit::Reps) } => *n,
            Main::Dotted(text) => return self.dotted_rounds(text),
            _ => return self.other_form(),
        };
        if total > scheme.most() {
            return self.refuse(Sentence::new("total_beyond").with("total", total).with("most", scheme.most()));
        }
        Some(Figures::Reps { total, capped: false })
    }

    /// `6.14` where rounds and reps are counted, else only a total is.
    fn dotted_rounds<T>(&mut self, text: &str) -> Option<T> {
        let digits = text.split_once(['.', ',']);
        match digits {
            Some((rounds, reps)) if !reps.is_empty() && reps.len() < 3 => {
                let sentence = Sentence::new("rounds_dot").with("text", quoted(text));
                self.refuse(sentence.with("rounds", rounds).with("reps", reps))
            }
            _ => self.refuse(Sentence::new("count_not_whole").with("text", quoted(text))),
        }
    }

    /// Rounds and reps as a total.
    fn rounds(&mut self, scheme: &Scheme, rounds: u64, reps: u64) -> Option<u64> {
        let total = match scheme.total(rounds, reps) {
            Ok(total) => total,
            Err(TotalError::NoRounds) => {
                let sentence = Sentence::new("rounds_not_counted").with("example", super::print::examples(self.task).1);
                return self.refuse(sentence);
            }
            Err(TotalError::WholeRound { size, rounds, reps: rest }) => {
                let code = if reps == size { "whole_round" } else { "more_than_a_round" };
                let sentence = Sentence::new(code).with("reps", reps).with("size", size);
                return self.refuse(sentence.with("rounds", rounds).with("rest", rest));
            }
            Err(TotalError::Beyond { most }) => {
                let sentence = Sentence::new("rounds_beyond").with("rounds", rounds).with("reps", reps);
                return self.refuse(sentence.with("most", most));
            }
        };
        if rounds > MANY_ROUNDS && scheme.round_size(rounds - 1).is_some_and(|size| size > 1) {
            self.ask(Sentence::new("total_as_rounds").with("rounds", rounds));
        }
        Some(total)
    }

    fn for_time(&mut self, scheme: &Scheme, cap: Millis, main: &Main) -> Option<Figures> {
        let all = scheme.end()?;
        match main {
            Main::Time(clock) => self.finish_time(clock),
            Main::Dotted(text) => match dotted_time(text) {
                Some(clock) => self.asked_time(&clock, text),
                None => self.other_form(),
            },
            Main::Count { n, unit: None } if *n > all => match undotted_time(&n.to_string()) {
                Some(clock) if clock.time <= cap => self.asked_time(&clock, &n.to_string()),
                _ => self.reps_of(*n, all),
            },
            Main::Count { n, unit: None | Some(Unit::Reps) } | Main::Capped(n) => self.reps_of(*n, all),
            Main::Left(left) if *left > all => {
                self.refuse(Sentence::new("left_beyond").with("left", left).with("all", all))
            }
            Main::Left(left) => {
                let figures = self.reps_of(all - left, all);
                if figures.is_some() {
                    let echo = Sentence::new("cap_left").with("left", left).with("done", all - left);
                    self.notes.warn(&self.pointer, echo.with("all", all));
                }
                figures
            }
            Main::Rounds { rounds, reps, .. } => {
                let total = self.rounds(scheme, *rounds, *reps)?;
                self.reps_of(total, all)
            }
            Main::Count { .. } | Main::Loads(_) | Main::NoLift | Main::Row(_) => self.other_form(),
        }
    }

    /// Reps of a `for_time` that was not finished.
    fn reps_of(&mut self, total: u64, all: u64) -> Option<Figures> {
        let code = match total.cmp(&all) {
            std::cmp::Ordering::Less => return Some(Figures::Reps { total, capped: true }),
            std::cmp::Ordering::Equal => "whole_workout",
            std::cmp::Ordering::Greater => "more_than_the_workout",
        };
        let example = super::print::examples(self.task).1;
        self.refuse(Sentence::new(code).with("total", total).with("all", all).with("example", example))
    }

    fn finish_time(&mut self, clock: &Clock) -> Option<Figures> {
        let time = self.time(clock)?;
        Some(Figures::Time(time))
    }

    /// A time without its colon: taken after a yes.
    fn asked_time(&mut self, clock: &Clock, written: &str) -> Option<Figures> {
        let time = self.time(clock)?;
        self.ask_colon(time, written);
        Some(Figures::Time(time))
    }

    pub(super) fn ask_colon(&mut self, time: Millis, written: &str) {
        let sentence = Sentence::new("time_without_colon").with("text", quoted(written));
        self.ask(sentence.with_value("spoken", Value::Spoken(time.0 / 1000)).with("time", time.exact()));
    }

    /// A time of the work: more than 0 and within the cap; `9:32:00` past it is asked about.
    pub(super) fn time(&mut self, clock: &Clock) -> Option<Millis> {
        let mut time = clock.time;
        if let Some(before) = super::tiebreak::before_spreadsheet(clock, self.task.cap) {
            self.ask(super::tiebreak::spreadsheet_question(clock, before));
            time = before;
        }
        if time == Millis(0) {
            return self.refuse(Sentence::new("time_zero"));
        }
        match self.task.cap {
            Some(cap) if time > cap => {
                let code = if self.task.format == Format::ForTime { "time_after_cap" } else { "interval_after_cap" };
                let sentence = Sentence::new(code).with("time", time.exact()).with("cap", cap.exact());
                let reps = super::print::examples(self.task).1;
                self.refuse(sentence.with("example", reps))
            }
            _ => Some(time),
        }
    }

    fn object_time(&mut self, time: &str) -> Option<Figures> {
        if self.task.format != Format::ForTime {
            return self.other_form();
        }
        self.pointer.push_str("/time");
        self.text = quoted(time);
        let compact = compact(&fold(time));
        if let Some(clock) = dotted_time(&compact).or_else(|| undotted_time(&compact)) {
            return self.asked_time(&clock, &compact);
        }
        match Clock::parse(&compact) {
            Ok(clock) => self.finish_time(&clock),
            Err(sentence) => self.refuse(sentence),
        }
    }

    fn max_count(&mut self, main: &Main) -> Option<Figures> {
        match main {
            Main::Count { n, unit } => self.count(*n, *unit).map(Figures::Count),
            Main::Dotted(text) => self.refuse(Sentence::new("count_not_whole").with("text", quoted(text))),
            _ => self.other_form(),
        }
    }

    /// A count whose unit, where it says one, is the task's.
    pub(super) fn count(&mut self, n: u64, unit: Option<Unit>) -> Option<u64> {
        let own = match self.task.unit {
            CountUnit::Reps => Unit::Reps,
            CountUnit::Calories => Unit::Calories,
            CountUnit::Metres => Unit::Metres,
        };
        if unit.is_some_and(|unit| unit != own) {
            let sentence = Sentence::new("count_unit").with("text", quoted(&self.text));
            return self.refuse(sentence.with("right", super::print::count(n, self.task.unit)));
        }
        if n > MAX_TOTAL {
            return self.refuse(Sentence::new("total_beyond").with("total", n).with("most", MAX_TOTAL));
        }
        Some(n)
    }
}
