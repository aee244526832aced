//! What a tiebreak time may be: at a marker that was passed, after 0, within the cap, before the
//! finish, at a pace that can be (rules.md section 3.2).

use super::{Figures, Notes, POINTER};
use crate::rules::notation::WrittenTiebreak;
use crate::rules::quantity::{Clock, Millis};
use crate::rules::scheme::{Marker, Scheme};
use crate::rules::workout::{Format, Task, Tiebreak};
use crate::words::{Sentence, Value};

/// A pace is asked about when the reps after the marker took more than this many times as long
/// each as those before it.
const SLOWER: u128 = 4;
/// And there are at least this many of them.
const REPS_AFTER: u64 = 10;

/// What a tiebreak is for, with these figures.
pub(super) enum Serves {
    /// The workout has none.
    Never,
    /// Not a finisher: it is kept but ignored.
    Ignored,
    /// No marker is passed: none can be given. The first one, where there is one.
    NotYet(Option<Marker>),
    /// The clock at this marker.
    At(Marker),
    /// The moment of the best lift or the last rep.
    Moment,
}

/// What a tiebreak time would be, with these figures.
pub(super) fn serves(task: &Task, figures: &Figures) -> Serves {
    match (task.format, &task.tiebreak, &task.scheme) {
        (Format::Intervals, ..) | (_, Tiebreak::None, _) | (Format::Amrap | Format::ForTime, _, None) => Serves::Never,
        (Format::MaxLoad | Format::MaxCount, ..) => {
            let nothing = match figures {
                Figures::Count(n) => *n == 0,
                Figures::Loads(lifts) => lifts.iter().all(|l| l.load.is_none()),
                _ => false,
            };
            if nothing { Serves::NotYet(None) } else { Serves::Moment }
        }
        (Format::Amrap | Format::ForTime, tiebreak, Some(scheme)) => {
            let total = match figures {
                Figures::Reps { total, .. } => *total,
                Figures::Time(_) if !task.tiebreak_for_finishers => return Serves::Ignored,
                // Markers below R.
                _ => scheme.end().map_or(0, |end| end.saturating_sub(1)),
            };
            match scheme.last_marker(tiebreak, total) {
                Some(marker) => Serves::At(marker),
                None => Serves::NotYet(scheme.next_marker(tiebreak, total)),
            }
        }
    }
}

/// Whether a finisher's tiebreak orders: it serves finishers, and there is a marker below R.
pub(in crate::rules) fn finisher_tiebreak_serves(task: &Task) -> bool {
    let before_end = |end: u64| task.scheme.as_ref().and_then(|s| s.last_marker(&task.tiebreak, end.saturating_sub(1)));
    task.tiebreak_for_finishers && task.scheme.as_ref().and_then(Scheme::end).and_then(before_end).is_some()
}

/// Checks a written tiebreak against figures, which are missing where they were at fault: then
/// what can be said without them is still said.
pub(super) fn check(
    task: &Task,
    figures: Option<&Figures>,
    written: Option<(WrittenTiebreak, &str)>,
    notes: &mut Notes,
) -> Option<Millis> {
    let Some((written, pointer)) = written else {
        if let Some(figures) = figures {
            warn_missing(task, figures, notes);
        }
        return None;
    };
    if matches!(task.tiebreak, Tiebreak::None) || task.format == Format::Intervals {
        notes.fault(pointer, Sentence::new("tiebreak_none"));
        return None;
    }
    let clock = match written {
        Ok(clock) => clock,
        Err(sentence) => {
            notes.fault(pointer, sentence);
            return None;
        }
    };
    let mut time = clock.time;
    if let Some(before) = before_spreadsheet(&clock, task.cap) {
        notes.ask(pointer, spreadsheet_question(&clock, before));
        time = before;
    }
    let fits = match figures {
        None => in_time(task, time, None, None),
        Some(figures) => fits(task, figures, time, notes),
    };
    match fits {
        Ok(()) => Some(time),
        Err(sentence) => {
            notes.fault(pointer, sentence);
            None
        }
    }
}

/// Whether a time can be the tiebreak of these figures.
pub(super) fn check_time(task: &Task, figures: &Figures, time: Millis, notes: &mut Notes) -> Result<(), Sentence> {
    fits(task, figures, time, notes)
}

fn fits(task: &Task, figures: &Figures, time: Millis, notes: &mut Notes) -> Result<(), Sentence> {
    let finish = match figures {
        Figures::Time(finish) => Some(*finish),
        _ => None,
    };
    match serves(task, figures) {
        Serves::Never => Err(Sentence::new("tiebreak_none")),
        Serves::Ignored => {
            notes.warn(POINTER, Sentence::new("tiebreak_ignored"));
            Ok(())
        }
        Serves::NotYet(_) if finish.is_some() => Err(Sentence::new("tiebreak_before_finish")),
        Serves::NotYet(None) => Err(Sentence::new("tiebreak_nothing")),
        Serves::NotYet(Some(first)) => Err(Sentence::new("tiebreak_no_marker").with("first", first.total)),
        Serves::Moment => in_time(task, time, finish, None),
        Serves::At(marker) => {
            in_time(task, time, finish, Some(&marker))?;
            ask_pace(task, figures, &marker, time, notes);
            Ok(())
        }
    }
}

/// After 0, within the cap, before the finish.
fn in_time(task: &Task, time: Millis, finish: Option<Millis>, marker: Option<&Marker>) -> Result<(), Sentence> {
    let sentence = |with_marker, without, limit: Option<Millis>| {
        let code = if marker.is_some() && task.scheme.is_some() { with_marker } else { without };
        let sentence = Sentence::new(code).with("time", time.exact());
        let sentence = sentence.with("limit", limit.map_or_else(String::new, Millis::exact));
        match marker {
            Some(marker) => when(sentence, task, marker),
            None => sentence,
        }
    };
    if time == Millis(0) {
        return Err(sentence("tiebreak_zero", "tiebreak_zero_plain", None));
    }
    if task.cap.is_some_and(|cap| time > cap) {
        return Err(sentence("tiebreak_after_cap", "tiebreak_after_cap_plain", task.cap));
    }
    if finish.is_some_and(|finish| time >= finish) {
        return Err(sentence("tiebreak_after_finish", "tiebreak_after_finish", finish));
    }
    Ok(())
}

/// The sentence, with the marker in words.
pub(super) fn when(sentence: Sentence, task: &Task, marker: &Marker) -> Sentence {
    match &task.scheme {
        Some(scheme) => sentence.with_said("when", scheme.describe(marker)),
        None => sentence,
    }
}

/// A pace that cannot be: the time of an earlier round, copied. Asked about, never refused.
fn ask_pace(task: &Task, figures: &Figures, marker: &Marker, time: Millis, notes: &mut Notes) {
    let (total, end) = match figures {
        Figures::Reps { total, .. } => (Some(*total), task.cap),
        Figures::Time(finish) => (task.scheme.as_ref().and_then(Scheme::end), Some(*finish)),
        _ => return,
    };
    let (Some(total), Some(end)) = (total, end) else { return };
    let after = total.saturating_sub(marker.total);
    let rest = Millis(end.0.saturating_sub(time.0));
    // rest / after > 4 × time / marker.total, in whole numbers.
    let slow = u128::from(rest.0) * u128::from(marker.total) > SLOWER * u128::from(time.0) * u128::from(after);
    if after >= REPS_AFTER && slow {
        let sentence = Sentence::new("tiebreak_pace").with("time", time.exact()).with("done", marker.total);
        notes.ask(POINTER, sentence.with("after", after).with("rest", rest.exact()));
    }
}

/// A marker was passed and no time given: taken, but it sorts after all with the same total that
/// have one.
fn warn_missing(task: &Task, figures: &Figures, notes: &mut Notes) {
    match serves(task, figures) {
        Serves::At(marker) => {
            notes.warn(POINTER, when(Sentence::new("tiebreak_missing"), task, &marker));
        }
        Serves::Moment => notes.warn(POINTER, Sentence::new("tiebreak_missing_plain")),
        Serves::Never | Serves::Ignored | Serves::NotYet(_) => {}
    }
}

/// For `9:32:00` that cannot be nine hours here: past the cap, or without one. The 9:32 it was
/// before a spreadsheet added `:00`.
pub(super) fn before_spreadsheet(clock: &Clock, cap: Option<Millis>) -> Option<Millis> {
    let before = clock.before_spreadsheet?;
    let hours = clock.time >= Millis(3_600_000);
    let asked = match cap {
        Some(cap) => clock.time > cap && before <= cap,
        None => true,
    };
    (hours && asked && before > Millis(0)).then_some(before)
}

/// The question about it; one yes serves for all rows that have it.
pub(super) fn spreadsheet_question(clock: &Clock, before: Millis) -> Sentence {
    let hours = match clock.time.0 / 3_600_000 {
        1 => Sentence::new("spreadsheet_hour"),
        hours => Sentence::new("spreadsheet_hours").with_value("hours", Value::InWords(hours)),
    };
    let sentence = Sentence::new("spreadsheet_time").with("time", clock.time.exact()).with("before", before.exact());
    sentence.with_said("hours", hours)
}
