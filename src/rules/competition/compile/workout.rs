//! Workouts: windows, and which keys each format takes.

use super::prescription::{self, Coverage};
use super::scheme::{self, SchemeKeys, time};
use super::{Frame, Notes};
use crate::rules::competition::raw::{RawMeasure, RawWorkout};
use crate::rules::competition::shape::clip;
use crate::rules::competition::tree::{item, member};
use crate::rules::division::Division;
use crate::rules::people::{check_line, check_text};
use crate::rules::quantity::{Grams, Millis};
use crate::rules::scheme::{MAX_TOTAL, Scheme};
use crate::rules::table::{SCORE_COLUMNS, column_name};
use crate::rules::window::{self, Window, local};
use crate::rules::workout::{CountUnit, Format, IntervalMeasure, Intervals, LoadStep, Scored, Task, Tiebreak, Workout};
use crate::words::Sentence;
use jiff::SignedDuration;
use jiff::tz::TimeZone;

/// Grace after `closes` where the file names none.
const GRACE: Millis = Millis(10 * 60 * 1000);
/// The longest grace.
const MAX_GRACE: Millis = Millis(24 * 60 * 60 * 1000);
/// From `closes` to `attest_by` where the file names none.
const ATTEST_WITHIN: SignedDuration = SignedDuration::from_hours(24);
/// The most intervals, lifts and markers.
const MAX_INTERVALS: u32 = 60;
const MAX_LIFTS: usize = 20;
const MAX_MARKERS: usize = 1000;
/// The largest weight.
const MAX_WEIGHT: u32 = 1000;
/// The most seconds of a deducted rep: an hour.
const MAX_DEDUCTION: u32 = 3600;
/// The most bytes of the standards in one language.
const MAX_STANDARDS: usize = 64 * 1024;

/// Compiles all; `None` for those with faults.
pub fn compile(raw: &[RawWorkout], divisions: &[Division], frame: &Frame, notes: &mut Notes) -> Vec<Option<Workout>> {
    let done = raw
        .iter()
        .enumerate()
        .map(|(i, workout)| {
            let at = item("workout", i);
            if raw.iter().take(i).any(|earlier| earlier.slug == workout.slug) {
                notes.fault(&member(&at, "slug"), Sentence::new("file_twice").with("slug", clip(&workout.slug)));
            }
            one(workout, &at, divisions, frame, notes)
        })
        .collect();
    warn_lonely_sessions(raw, notes);
    done
}

fn one(raw: &RawWorkout, at: &str, divisions: &[Division], frame: &Frame, notes: &mut Notes) -> Option<Workout> {
    let before = notes.faults.len();
    let title = names(raw, at, notes);
    let window = frame.zone.as_ref().and_then(|zone| window(raw, at, zone, notes));
    texts(raw, at, notes);
    numbers(raw, at, notes);
    refuse_foreign_keys(raw, at, notes);
    let task = task(raw, at, notes);
    let prescriptions = prescription::compile(raw, task.as_ref(), at, &Coverage { divisions, frame }, notes);
    if notes.faults.len() > before {
        return None;
    }
    Some(Workout {
        slug: raw.slug.clone(),
        title,
        session: raw.session.clone(),
        format: raw.format,
        window: window?,
        publish: raw.publish,
        attempts: raw.attempts,
        weight: raw.weight,
        seconds_per_rep: raw.deduction.map(|d| d.seconds_per_rep),
        evidence: raw.evidence,
        standards: raw.standards.clone(),
        standards_in: raw.standards_in.clone().into_iter().collect(),
        task: task?,
        prescriptions,
    })
}

fn names(raw: &RawWorkout, at: &str, notes: &mut Notes) -> String {
    let slug_at = member(at, "slug");
    notes.slug(&slug_at, &raw.slug);
    // The wide shape of the scores' CSV has a column named by each workout.
    if SCORE_COLUMNS.contains(&column_name(&raw.slug).as_str()) {
        notes.fault(&slug_at, Sentence::new("file_slug_is_column").with("slug", &raw.slug));
    }
    if let Some(session) = &raw.session {
        notes.slug(&member(at, "session"), session);
    }
    notes.title(&member(at, "title"), &raw.title)
}

/// A session of one workout is most likely a slip of the pen.
fn warn_lonely_sessions(raw: &[RawWorkout], notes: &mut Notes) {
    for (i, workout) in raw.iter().enumerate() {
        let Some(session) = &workout.session else { continue };
        if raw.iter().filter(|w| w.session.as_ref() == Some(session)).count() == 1 {
            notes.warn(
                &member(&item("workout", i), "session"),
                Sentence::new("file_session_alone").with("session", session),
            );
        }
    }
}

/// `announce` ≤ `opens` < `closes` ≤ `attest_by`, all in the competition's zone.
fn window(raw: &RawWorkout, at: &str, zone: &TimeZone, notes: &mut Notes) -> Option<Window> {
    let read = |key: &str, text: &str, notes: &mut Notes| notes.take(&member(at, key), window::instant(text, zone));
    let opens = read("opens", &raw.opens, notes);
    let closes = read("closes", &raw.closes, notes);
    let announce = match &raw.announce {
        Some(text) => read("announce", text, notes),
        None => opens,
    };
    let attest_by = match &raw.attest_by {
        Some(text) => read("attest_by", text, notes),
        None => closes.and_then(|closes| closes.checked_add(ATTEST_WITHIN).ok()),
    };
    let grace = match &raw.grace {
        Some(text) => notes.take(&member(at, "grace"), Millis::parse(text)),
        None => Some(GRACE),
    };
    if let Some(grace) = grace.filter(|grace| *grace > MAX_GRACE) {
        let sentence = Sentence::new("file_grace_long").with("grace", grace.exact());
        notes.fault(&member(at, "grace"), sentence);
    }
    let in_order = [
        ("announce", announce, "opens", opens, true),
        ("opens", opens, "closes", closes, false),
        ("closes", closes, "attest_by", attest_by, true),
    ];
    for (first, first_at, then, then_at, may_equal) in in_order {
        let (Some(a), Some(b)) = (first_at, then_at) else { continue };
        if a > b || (a == b && !may_equal) {
            let sentence = Sentence::new("file_window_order")
                .with("first", first)
                .with("then", then)
                .with("first_at", local(a, zone))
                .with("then_at", local(b, zone));
            notes.fault(&member(at, then), sentence);
        }
    }
    let grace = SignedDuration::from_millis(i64::try_from(grace?.0).ok()?);
    let closes = closes?;
    Some(Window {
        announce: announce?,
        opens: opens?,
        closes,
        grace_ends: closes.checked_add(grace).ok()?,
        attest_by: attest_by?,
    })
}

fn texts(raw: &RawWorkout, at: &str, notes: &mut Notes) {
    let text = |key: String, text: &str, notes: &mut Notes| {
        notes.take(&key, check_text(text, MAX_STANDARDS));
    };
    text(member(at, "standards"), &raw.standards, notes);
    for (language, standards) in &raw.standards_in {
        let at = member(&member(at, "standards_in"), language);
        let tag = |t: &str| {
            t.len() <= 35
                && t.split('-').all(|p| (1..=8).contains(&p.len()) && p.bytes().all(|b| b.is_ascii_alphanumeric()))
        };
        if !tag(language) {
            notes.fault(&at, Sentence::new("file_language").with("language", clip(language)));
        }
        text(at, standards, notes);
    }
}

fn numbers(raw: &RawWorkout, at: &str, notes: &mut Notes) {
    notes.within(&member(at, "weight"), raw.weight, 1, MAX_WEIGHT);
    if let Some(deduction) = raw.deduction {
        let at = member(&member(at, "deduction"), "seconds_per_rep");
        notes.within(&at, deduction.seconds_per_rep, 1, MAX_DEDUCTION);
    }
    if let Some(top) = raw.evidence.top {
        notes.within(&member(&member(at, "evidence"), "top"), top, 1, 1_000_000);
    }
}

/// A key that does not apply to the format is a fault that says so.
fn refuse_foreign_keys(raw: &RawWorkout, at: &str, notes: &mut Notes) {
    use Format::{Amrap, ForTime, Intervals, MaxCount, MaxLoad};
    let with_scheme = matches!(raw.format, Amrap | ForTime);
    for key in SchemeKeys::of_workout(raw).given().into_iter().filter(|_| !with_scheme) {
        notes
            .fault(&member(at, key), Sentence::new("file_no_scheme").with("key", key).with("format", word(raw.format)));
    }
    let given: [(&str, bool, &[Format]); 8] = [
        ("tiebreak_for_finishers", raw.tiebreak_for_finishers, &[ForTime]),
        ("deduction", raw.deduction.is_some(), &[ForTime]),
        ("lifts", raw.lifts.is_some(), &[MaxLoad]),
        ("all_required", raw.all_required, &[MaxLoad]),
        ("load_step", raw.load_step.is_some(), &[MaxLoad]),
        ("intervals", raw.intervals.is_some(), &[Intervals]),
        ("measure", raw.measure.is_some(), &[Intervals, MaxCount]),
        ("scored", raw.scored.is_some(), &[Intervals]),
    ];
    for (key, given, formats) in given {
        if given && !formats.contains(&raw.format) {
            let takers = formats.iter().map(|f| word(*f)).collect::<Vec<_>>().join(", ");
            let sentence = Sentence::new("file_key_not_for_format")
                .with("key", key)
                .with("format", word(raw.format))
                .with("formats", takers);
            notes.fault(&member(at, key), sentence);
        }
    }
}

/// A format as in the file.
pub fn word(format: Format) -> &'static str {
    match format {
        Format::Amrap => "amrap",
        Format::ForTime => "for_time",
        Format::MaxLoad => "max_load",
        Format::MaxCount => "max_count",
        Format::Intervals => "intervals",
    }
}

/// The workout's own task.
fn task(raw: &RawWorkout, at: &str, notes: &mut Notes) -> Option<Task> {
    let before = notes.faults.len();
    let with_scheme = matches!(raw.format, Format::Amrap | Format::ForTime);
    let scheme = if with_scheme {
        scheme::compile(&SchemeKeys::of_workout(raw), raw.format == Format::Amrap, at, notes)
    } else {
        None
    };
    let cap = cap(raw.cap.as_deref(), raw.format, at, notes);
    check_tiebreak(&raw.tiebreak, raw.format, scheme.as_ref(), &member(at, "tiebreak"), notes);
    if raw.tiebreak_for_finishers && raw.tiebreak == Tiebreak::None {
        notes.fault(&member(at, "tiebreak_for_finishers"), Sentence::new("file_finishers_without_tiebreak"));
    }
    let lifts = lifts(raw, at, notes);
    let load_step = load_step(raw, at, notes);
    let (intervals, unit) = measured(raw, at, notes);
    (notes.faults.len() == before).then_some(Task {
        format: raw.format,
        scheme,
        cap,
        tiebreak: raw.tiebreak.clone(),
        tiebreak_for_finishers: raw.tiebreak_for_finishers,
        time_step: raw.time_step,
        time_rounding: raw.time_rounding,
        lifts,
        all_required: raw.all_required,
        load_step,
        intervals,
        unit,
    })
}

/// The cap: compulsory but for `max_load` and `intervals`.
pub fn cap(raw: Option<&str>, format: Format, at: &str, notes: &mut Notes) -> Option<Millis> {
    let at = member(at, "cap");
    if let Some(text) = raw {
        return time(text, &at, notes);
    }
    if !matches!(format, Format::MaxLoad | Format::Intervals) {
        notes.fault(&at, Sentence::new("file_cap_missing").with("format", word(format)));
    }
    None
}

/// Which tiebreak a format takes; `at` strictly rising, from 1, in a `for_time` below its end R.
pub fn check_tiebreak(tiebreak: &Tiebreak, format: Format, scheme: Option<&Scheme>, at: &str, notes: &mut Notes) {
    let with_scheme = matches!(format, Format::Amrap | Format::ForTime);
    let wrong = match tiebreak {
        Tiebreak::None => false,
        Tiebreak::Time => !matches!(format, Format::MaxLoad | Format::MaxCount),
        _ => !with_scheme,
    };
    if wrong {
        let code = match format {
            Format::Amrap | Format::ForTime => "file_tiebreak_markers_only",
            Format::MaxLoad | Format::MaxCount => "file_tiebreak_time_only",
            Format::Intervals => "file_tiebreak_never",
        };
        notes.fault(at, Sentence::new(code).with("format", word(format)));
        return;
    }
    let Tiebreak::At(totals) = tiebreak else { return };
    let rising = totals.windows(2).all(|pair| pair[0] < pair[1]);
    if totals.is_empty() || totals.len() > MAX_MARKERS || totals[0] == 0 || !rising {
        notes.fault(&member(at, "at"), Sentence::new("file_tiebreak_at").with("most", MAX_MARKERS));
        return;
    }
    let last = totals[totals.len() - 1];
    match scheme.and_then(Scheme::end) {
        Some(end) if last >= end => {
            notes.fault(&member(at, "at"), Sentence::new("file_tiebreak_beyond").with("last", last).with("end", end));
        }
        _ if last > MAX_TOTAL => notes.within(&member(at, "at"), last, 1, MAX_TOTAL),
        _ => {}
    }
}

fn lifts(raw: &RawWorkout, at: &str, notes: &mut Notes) -> Vec<String> {
    if raw.format != Format::MaxLoad {
        return Vec::new();
    }
    let at_lifts = member(at, "lifts");
    let lifts: Vec<String> = match &raw.lifts {
        // One lift without a name: the workout's title says what it is.
        None => vec![String::new()],
        Some(names) => {
            let mut kept: Vec<String> = Vec::new();
            for (i, name) in names.iter().enumerate() {
                let at = item(&at_lifts, i);
                match check_line(name, 80) {
                    Ok(name) if name.is_empty() => notes.fault(&at, Sentence::new("file_movement_missing")),
                    Ok(name) if kept.contains(&name) => {
                        notes.fault(&at, Sentence::new("file_twice").with("slug", name));
                    }
                    Ok(name) => kept.push(name),
                    Err(sentence) => notes.fault(&at, sentence),
                }
            }
            kept
        }
    };
    if raw.lifts.as_ref().is_some_and(|l| l.is_empty() || l.len() > MAX_LIFTS) {
        let sentence = Sentence::new("file_parts_number").with("key", "lifts").with("most", MAX_LIFTS);
        notes.fault(&at_lifts, sentence);
    }
    if raw.all_required && raw.lifts.as_ref().is_none_or(|l| l.len() < 2) {
        notes.fault(&member(at, "all_required"), Sentence::new("file_all_required_one"));
    }
    lifts
}

fn load_step(raw: &RawWorkout, at: &str, notes: &mut Notes) -> LoadStep {
    let Some(step) = raw.load_step else {
        return LoadStep::default();
    };
    let at = member(at, "load_step");
    if step.kg.is_none() && step.lb.is_none() {
        notes.fault(&at, Sentence::new("file_step_empty"));
    }
    for (key, value) in [("kg", step.kg), ("lb", step.lb)] {
        if value.is_some_and(|v| v.0 == 0) {
            notes.fault(&member(&at, key), Sentence::new("file_step_zero"));
        }
    }
    LoadStep { kg: step.kg.map(|kg| Grams(kg.0.saturating_mul(10))), lb_hundredths: step.lb.map(|lb| lb.0) }
}

/// The intervals of `intervals`, the unit of counts.
fn measured(raw: &RawWorkout, at: &str, notes: &mut Notes) -> (Option<Intervals>, CountUnit) {
    let unit = match raw.measure {
        Some(RawMeasure::Calories) => CountUnit::Calories,
        Some(RawMeasure::Metres) => CountUnit::Metres,
        _ => CountUnit::Reps,
    };
    match raw.format {
        Format::MaxCount => {
            if matches!(raw.measure, Some(RawMeasure::Count | RawMeasure::Time)) {
                notes.fault(&member(at, "measure"), Sentence::new("file_measure_unit"));
            }
            (None, unit)
        }
        Format::Intervals => {
            let Some(n) = raw.intervals else {
                notes.fault(&member(at, "intervals"), Sentence::new("file_intervals_missing"));
                return (None, unit);
            };
            notes.within(&member(at, "intervals"), n, 1, MAX_INTERVALS);
            let measure = match raw.measure {
                Some(RawMeasure::Time) => IntervalMeasure::Time,
                _ => IntervalMeasure::Count,
            };
            let scored = raw.scored.unwrap_or(Scored::Sum);
            let fits = match measure {
                IntervalMeasure::Count => matches!(scored, Scored::Sum | Scored::Least | Scored::Best),
                IntervalMeasure::Time => matches!(scored, Scored::Sum | Scored::Slowest | Scored::Fastest),
            };
            if !fits {
                let code = match measure {
                    IntervalMeasure::Count => "file_scored_counts",
                    IntervalMeasure::Time => "file_scored_times",
                };
                notes.fault(&member(at, "scored"), Sentence::new(code));
            }
            (Some(Intervals { n, measure, scored }), unit)
        }
        _ => (None, unit),
    }
}
