//! Prescriptions: who does the workout with which loads, heights and counts; and that everyone
//! who may score it has exactly one.

use super::scheme::{self, SchemeKeys};
use super::workout::{cap, check_tiebreak, word};
use super::{Frame, Notes, digest, loads};
use crate::rules::competition::raw::{RawPrescription, RawWorkout};
use crate::rules::competition::shape::{clip, nearest};
use crate::rules::competition::tree::{item, member};
use crate::rules::division::Division;
use crate::rules::people::check_text;
use crate::rules::workout::{Format, Prescription, Task};
use crate::words::Sentence;

/// The most prescriptions of a workout: one for each division and level.
const MAX_PRESCRIPTIONS: usize = super::MAX_DIVISIONS * super::MAX_LEVELS;
/// The most bytes of the alternatives.
const MAX_ALTERNATIVES: usize = 16 * 1024;

/// Whom prescriptions are for.
pub struct Coverage<'a> {
    /// All of them.
    pub divisions: &'a [Division],
    /// Levels.
    pub frame: &'a Frame,
}

/// The level of a prescription.
#[derive(Clone, Copy)]
enum Named {
    /// Each division's own.
    Own,
    /// This one.
    This(u8),
    /// One that nobody knows.
    Unknown,
}

/// Compiles a workout's prescriptions. `task`: the workout's own, `None` where it has faults.
pub fn compile(
    raw: &RawWorkout,
    task: Option<&Task>,
    at: &str,
    coverage: &Coverage<'_>,
    notes: &mut Notes,
) -> Vec<Prescription> {
    let list_at = member(at, "prescription");
    if raw.prescription.len() > MAX_PRESCRIPTIONS {
        let sentence = Sentence::new("file_parts_number").with("key", "prescription").with("most", MAX_PRESCRIPTIONS);
        notes.fault(&list_at, sentence);
        return Vec::new();
    }
    coverage.check(raw, &list_at, notes);
    let each = raw.prescription.iter().enumerate();
    each.filter_map(|(i, prescription)| one(raw, prescription, task, &item(&list_at, i), coverage, notes)).collect()
}

fn one(
    workout: &RawWorkout,
    raw: &RawPrescription,
    task: Option<&Task>,
    at: &str,
    coverage: &Coverage<'_>,
    notes: &mut Notes,
) -> Option<Prescription> {
    let loads = loads::loads(&raw.loads, at, notes);
    let heights = loads::heights(&raw.heights, at, notes);
    notes.take(&member(at, "alternatives"), check_text(&raw.alternatives, MAX_ALTERNATIVES));
    let task = own_task(workout, raw, task, at, notes)?;
    let digest = digest::of(&task, &loads, &heights);
    Some(Prescription {
        divisions: raw.divisions.clone(),
        level: raw.level.as_deref().and_then(|level| coverage.frame.level(level)),
        task,
        loads,
        heights,
        alternatives: raw.alternatives.clone(),
        digest,
    })
}

/// The workout's task with what the prescription changes of it.
fn own_task(
    workout: &RawWorkout,
    raw: &RawPrescription,
    task: Option<&Task>,
    at: &str,
    notes: &mut Notes,
) -> Option<Task> {
    let format = workout.format;
    let keys = SchemeKeys::of_prescription(raw);
    let with_scheme = matches!(format, Format::Amrap | Format::ForTime);
    let scheme = if !keys.any() {
        None
    } else if with_scheme {
        Some(scheme::compile(&keys.over(SchemeKeys::of_workout(workout)), format == Format::Amrap, at, notes))
    } else {
        for key in keys.given() {
            notes
                .fault(&member(at, key), Sentence::new("file_no_scheme").with("key", key).with("format", word(format)));
        }
        Some(None)
    };
    let own_cap = raw.cap.as_deref().map(|text| cap(Some(text), format, at, notes));
    let mut own = task?.clone();
    if let Some(scheme) = scheme {
        own.scheme = Some(scheme?);
    }
    if let Some(cap) = own_cap {
        own.cap = Some(cap?);
    }
    if let Some(tiebreak) = &raw.tiebreak {
        own.tiebreak = tiebreak.clone();
    }
    if raw.tiebreak.is_some() || own.scheme != task?.scheme {
        check_tiebreak(&own.tiebreak, format, own.scheme.as_ref(), &member(at, "tiebreak"), notes);
    }
    Some(own)
}

impl Coverage<'_> {
    /// Every (division, level) that may score has exactly one prescription, and no other is named.
    fn check(&self, workout: &RawWorkout, at: &str, notes: &mut Notes) {
        let mut unknown = false;
        let mut seen: std::collections::HashMap<(&str, u8), usize> = std::collections::HashMap::new();
        for (i, prescription) in workout.prescription.iter().enumerate() {
            let at = item(at, i);
            let level = self.level(prescription, &at, notes);
            if prescription.divisions.is_empty() {
                notes.fault(&member(&at, "divisions"), Sentence::new("file_divisions_empty"));
            }
            for (j, slug) in prescription.divisions.iter().enumerate() {
                let at = item(&member(&at, "divisions"), j);
                let division = self.plain(slug, &at, notes);
                let (Some(division), Named::Own | Named::This(_)) = (division, level) else {
                    unknown = true;
                    continue;
                };
                let level = if let Named::This(level) = level { level } else { division.level };
                if !division.levels(self.frame.levels.len()).any(|l| l == level) {
                    let code = if division.allow_lower { "file_level_above" } else { "file_level_not_scored" };
                    let sentence =
                        Sentence::new(code).with("division", &division.slug).with("level", self.level_name(level));
                    notes.fault(&at, sentence);
                } else if seen.insert((&division.slug, level), i).is_some() {
                    let sentence = Sentence::new("file_prescription_twice")
                        .with("division", &division.slug)
                        .with("level", self.level_name(level));
                    notes.fault(&at, sentence);
                }
            }
        }
        if unknown {
            // What is missing is then most likely what was misspelt.
            return;
        }
        for division in self.divisions.iter().filter(|d| !d.is_combined()) {
            let missing =
                division.levels(self.frame.levels.len()).filter(|l| !seen.contains_key(&(&*division.slug, *l)));
            for level in missing {
                let sentence = Sentence::new("file_prescription_missing")
                    .with("division", clip(&division.slug))
                    .with("level", self.level_name(level));
                notes.fault(at, sentence);
            }
        }
    }

    /// The level named, or that each division has its own; a name nobody knows is a fault.
    fn level(&self, prescription: &RawPrescription, at: &str, notes: &mut Notes) -> Named {
        let Some(slug) = &prescription.level else {
            return Named::Own;
        };
        self.frame.level(slug).map_or_else(
            || {
                let sentence = Sentence::new("file_level_unknown")
                    .with("level", clip(slug))
                    .with("levels", self.frame.level_names());
                notes.fault(&member(at, "level"), sentence);
                Named::Unknown
            },
            Named::This,
        )
    }

    /// The plain division of this slug.
    fn plain(&self, slug: &str, at: &str, notes: &mut Notes) -> Option<&Division> {
        let found = self.divisions.iter().find(|d| d.slug == slug);
        let sentence = match found {
            Some(division) if !division.is_combined() => return found,
            Some(_) => Sentence::new("file_prescription_combined"),
            None => match nearest(slug, self.divisions.iter().map(|d| d.slug.as_str())) {
                Some(near) => Sentence::new("file_division_unknown_near").with("near", near),
                None => Sentence::new("file_division_unknown"),
            },
        };
        notes.fault(at, sentence.with("division", clip(slug)));
        None
    }

    fn level_name(&self, level: u8) -> &str {
        self.frame.levels.get(usize::from(level)).map_or("", |l| l.slug.as_str())
    }
}
