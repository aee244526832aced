//! Divisions: plain ones, and those that rank the entries of others.

use super::{Frame, Notes, digest};
use crate::rules::competition::raw::RawDivision;
use crate::rules::competition::shape::clip;
use crate::rules::competition::tree::{item, member};
use crate::rules::division::Division;
use crate::rules::workout::Workout;
use crate::words::Sentence;
use std::collections::HashMap;

/// The oldest age a division may name.
const MAX_AGE: u16 = 130;

/// Compiles all of them; faulty ones stand in, so that workouts are checked against them.
pub fn compile(raw: &[RawDivision], frame: &Frame, notes: &mut Notes) -> Vec<Division> {
    let mut done: Vec<Division> = Vec::with_capacity(raw.len());
    for (i, division) in raw.iter().enumerate() {
        let at = item("division", i);
        notes.slug(&member(&at, "slug"), &division.slug);
        if done.iter().any(|d| d.slug == division.slug) {
            notes.fault(&member(&at, "slug"), Sentence::new("file_twice").with("slug", clip(&division.slug)));
        }
        let title = notes.title(&member(&at, "title"), &division.title);
        done.push(if division.combines.is_empty() {
            plain(division, title, &at, frame, notes)
        } else {
            combined(division, title, raw, &at, notes)
        });
    }
    level_combined(&mut done);
    done
}

fn plain(raw: &RawDivision, title: String, at: &str, frame: &Frame, notes: &mut Notes) -> Division {
    let (from_age, to_age) = ages(raw, at, notes);
    let level = match &raw.level {
        None => 0,
        Some(slug) => frame.level(slug).unwrap_or_else(|| {
            let sentence =
                Sentence::new("file_level_unknown").with("level", clip(slug)).with("levels", frame.level_names());
            notes.fault(&member(at, "level"), sentence);
            0
        }),
    };
    if raw.mixed {
        notes.fault(&member(at, "mixed"), Sentence::new("file_mixed_plain"));
    }
    Division {
        slug: raw.slug.clone(),
        title,
        category: raw.category.unwrap_or_default(),
        from_age,
        to_age,
        level,
        allow_lower: raw.allow_lower.unwrap_or(false),
        combines: Vec::new(),
        mixed: false,
    }
}

fn ages(raw: &RawDivision, at: &str, notes: &mut Notes) -> (Option<u16>, Option<u16>) {
    let at = member(at, "ages");
    let Some(ages) = &raw.ages else {
        return (None, None);
    };
    let (from, to) = match ages.as_slice() {
        [from] => (*from, None),
        [from, to] => (*from, Some(*to)),
        _ => {
            notes.fault(&at, Sentence::new("file_ages"));
            return (None, None);
        }
    };
    notes.within(&at, from.max(to.unwrap_or(0)), 0, MAX_AGE);
    if to.is_some_and(|to| to < from) {
        notes.fault(&at, Sentence::new("file_ages"));
    }
    (Some(from).filter(|from| *from > 0), to)
}

fn combined(raw: &RawDivision, title: String, all: &[RawDivision], at: &str, notes: &mut Notes) -> Division {
    let given = [
        ("category", raw.category.is_some()),
        ("ages", raw.ages.is_some()),
        ("level", raw.level.is_some()),
        ("allow_lower", raw.allow_lower.is_some()),
    ];
    for (key, _) in given.iter().filter(|(_, given)| *given) {
        notes.fault(&member(at, key), Sentence::new("file_combined_key").with("key", key));
    }
    let at = member(at, "combines");
    if raw.combines.len() < 2 {
        notes.fault(&at, Sentence::new("file_combines_few"));
    }
    for (i, part) in raw.combines.iter().enumerate() {
        let at = item(&at, i);
        let sentence = match all.iter().find(|d| d.slug == *part) {
            None => Sentence::new("file_division_unknown"),
            Some(found) if !found.combines.is_empty() => Sentence::new("file_combines_combined"),
            Some(_) if raw.combines.iter().take(i).any(|earlier| earlier == part) => {
                Sentence::new("file_combines_twice")
            }
            Some(_) => continue,
        };
        notes.fault(&at, sentence.with("division", clip(part)));
    }
    Division {
        slug: raw.slug.clone(),
        title,
        combines: raw.combines.clone(),
        mixed: raw.mixed,
        category: crate::rules::division::Category::Any,
        from_age: None,
        to_age: None,
        level: 0,
        allow_lower: true,
    }
}

/// A combined division's level is the highest of its parts: scores are ranked level first anyway.
fn level_combined(divisions: &mut [Division]) {
    let plain: Vec<(String, u8)> =
        divisions.iter().filter(|d| !d.is_combined()).map(|d| (d.slug.clone(), d.level)).collect();
    for division in divisions.iter_mut().filter(|d| d.is_combined()) {
        let parts = plain.iter().filter(|(slug, _)| division.combines.contains(slug));
        division.level = parts.map(|(_, level)| *level).min().unwrap_or(0);
    }
}

/// Refuses a combined division whose parts have other counts, cap or markers in a workout at a
/// level, unless it is `mixed` (rules.md section 6). `workouts`: `None` for those with faults.
pub fn check_combined(divisions: &[Division], workouts: &[Option<Workout>], frame: &Frame, notes: &mut Notes) {
    for workout in workouts.iter().flatten() {
        let done = what_each_does(divisions, workout);
        for (i, division) in divisions.iter().enumerate().filter(|(_, d)| d.is_combined() && !d.mixed) {
            for (level, name) in (0u8..).zip(&frame.levels) {
                let parts = division.combines.iter().filter_map(|p| Some((p, done.get(&(p.as_str(), level))?)));
                let mut parts = parts.into_iter();
                let Some((a, first)) = parts.next() else { continue };
                let Some((b, _)) = parts.find(|(_, other)| *other != first) else { continue };
                let sentence = Sentence::new("file_combines_unlike")
                    .with("a", a)
                    .with("b", b)
                    .with("workout", &workout.slug)
                    .with("level", &name.slug);
                notes.fault(&member(&item("division", i), "combines"), sentence);
            }
        }
    }
}

/// (division, level) → digest of what is counted in a workout: titles and movements aside.
fn what_each_does<'w>(divisions: &[Division], workout: &'w Workout) -> HashMap<(&'w str, u8), [u8; 32]> {
    let own: HashMap<&str, u8> = divisions.iter().map(|d| (d.slug.as_str(), d.level)).collect();
    let mut done = HashMap::new();
    for prescription in &workout.prescriptions {
        let counts = digest::of_counts(&prescription.task);
        for slug in &prescription.divisions {
            if let Some(level) = prescription.level.or_else(|| own.get(slug.as_str()).copied()) {
                done.insert((slug.as_str(), level), counts);
            }
        }
    }
    done
}
