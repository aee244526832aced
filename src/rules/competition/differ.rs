//! What applying a competition file over another changes, and what that means for stored scores.

use super::Competition;
use super::compile::scheme_shape;
use super::raw::RawCompetition;
use crate::rules::workout::{Task, Workout};
use serde::{Deserialize, Serialize};
use serde_json::Value;
use std::collections::{BTreeMap, BTreeSet, HashMap};

/// The most characters of a printed value.
const MAX_PRINTED: usize = 200;

/// One difference between two competition files, for a person and for a program.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[expect(clippy::struct_excessive_bools, reason = "each says something else of one line, and is written out")]
pub struct Difference {
    /// Key, e.g. `workout.w1.cap`; a whole division or workout that comes or goes is
    /// `division.women` or `workout.w1`.
    pub key: String,
    /// Before, printed; `None` where added.
    pub from: Option<String>,
    /// After, printed; `None` where removed.
    pub to: Option<String>,
    /// Alters the meaning of stored scores: needs `rescore`.
    pub rescore: bool,
    /// Counts or cap changed: attestations of the workout's scores are void.
    pub voids: bool,
    /// A division or workout goes: refused while it has scores (or entries).
    #[serde(default)]
    pub removes: bool,
    /// Changes what was published: needs a reason.
    #[serde(default)]
    pub published: bool,
}

/// What a change of the task of one (workout, division, level) means for its stored scores.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Meaning {
    /// Only text, if anything.
    Same,
    /// They are worked out again from their written figures.
    Rescore,
    /// Counts or cap changed: and their attestations are void.
    Void,
}

/// Compares the tasks a score was and will be validated against. Titles and names of movements
/// are text.
#[must_use]
pub fn meaning(old: &Task, new: &Task) -> Meaning {
    let shape = |task: &Task| task.scheme.as_ref().map(|scheme| scheme_shape(scheme, false));
    let counted = |task: &Task| {
        let intervals = task.intervals.map(|i| (i.n, i.measure));
        (task.format, task.cap, task.lifts.len(), intervals, task.unit)
    };
    if counted(old) != counted(new) || shape(old) != shape(new) {
        return Meaning::Void;
    }
    let ordered = |task: &Task| {
        let scored = task.intervals.map(|i| i.scored);
        (
            task.tiebreak.clone(),
            task.tiebreak_for_finishers,
            task.time_step,
            task.time_rounding,
            task.all_required,
            scored,
        )
    };
    if ordered(old) == ordered(new) { Meaning::Same } else { Meaning::Rescore }
}

/// What applying `new` over `old` changes; empty when nothing does.
///
/// Where counts or cap change only for some prescriptions of a workout, the keys of its scheme and
/// cap are marked for the workout as a whole; [`meaning`] says it for each score.
#[must_use]
pub fn differences(
    old: Option<(&RawCompetition, &Competition)>,
    new: (&RawCompetition, &Competition),
) -> Vec<Difference> {
    let mut new_leaves = leaves(new.0);
    let Some(old) = old else {
        let whole = |key: &String| key.split('.').count() == 2 && !key.starts_with("competition.");
        let added = |key: &String, to: &String| Difference {
            key: key.clone(),
            from: None,
            to: Some(to.clone()),
            rescore: false,
            voids: false,
            removes: false,
            published: false,
        };
        return new_leaves
            .iter()
            .filter(|(key, _)| key.starts_with("competition.") || whole(key))
            .map(|(key, to)| added(key, to))
            .collect();
    };
    let mut old_leaves = leaves(old.0);
    let divisions = |raw: &RawCompetition| -> Vec<String> { raw.division.iter().map(|d| d.slug.clone()).collect() };
    let in_order = |raw: &RawCompetition| -> Vec<String> { raw.workout.iter().map(|w| w.slug.clone()).collect() };
    order_leaf("competition.divisions", &divisions(old.0), &divisions(new.0), &mut old_leaves, &mut new_leaves);
    order_leaf("competition.workouts", &in_order(old.0), &in_order(new.0), &mut old_leaves, &mut new_leaves);
    let workouts = WorkoutChanges::between(old.1, new.1);
    let mut found = Vec::new();
    let keys: BTreeSet<&String> = old_leaves.keys().chain(new_leaves.keys()).collect();
    for key in keys {
        let (from, to) = (old_leaves.get(key), new_leaves.get(key));
        // The leaf of a whole is for its coming and going: a new title has a leaf of its own.
        let renamed = is_whole(key) && from.is_some() && to.is_some();
        if from == to || renamed || inside_what_comes_or_goes(key, &old_leaves, &new_leaves) {
            continue;
        }
        let effect = effect_of(key, from.is_some(), to.is_some(), &workouts);
        found.push(Difference {
            key: key.clone(),
            from: from.map(|text| shortened(text)),
            to: to.map(|text| shortened(text)),
            rescore: effect != Meaning::Same,
            voids: effect == Meaning::Void,
            removes: to.is_none() && is_whole(key),
            published: false,
        });
    }
    found
}

/// A printed value, long texts (standards) cut short.
fn shortened(text: &str) -> String {
    let short: String = text.chars().take(MAX_PRINTED).collect();
    if short.len() < text.len() { format!("{short}…") } else { short }
}

/// Whether a key names a whole division or workout.
fn is_whole(key: &str) -> bool {
    (key.starts_with("division.") || key.starts_with("workout.")) && key.matches('.').count() == 1
}

/// Keys below a division or workout that comes or goes as a whole are not named one by one.
fn inside_what_comes_or_goes(key: &str, old: &Leaves, new: &Leaves) -> bool {
    let mut parts = key.splitn(3, '.');
    let (Some(kind), Some(slug), Some(_)) = (parts.next(), parts.next(), parts.next()) else {
        return false;
    };
    let whole = format!("{kind}.{slug}");
    is_whole(&whole) && old.contains_key(&whole) != new.contains_key(&whole)
}

/// Key → printed value, for everything that is written; divisions and workouts by slug, and one
/// leaf for each as a whole.
type Leaves = BTreeMap<String, String>;

fn leaves(raw: &RawCompetition) -> Leaves {
    let mut leaves = Leaves::new();
    let value = |shape: serde_json::Result<Value>| shape.unwrap_or(Value::Null);
    walk("competition", &value(serde_json::to_value(&raw.competition)), &mut leaves);
    for division in &raw.division {
        let at = format!("division.{}", division.slug);
        walk(&at, &value(serde_json::to_value(division)), &mut leaves);
        leaves.insert(at, division.title.clone());
    }
    for workout in &raw.workout {
        let at = format!("workout.{}", workout.slug);
        walk(&at, &value(serde_json::to_value(workout)), &mut leaves);
        leaves.insert(at, workout.title.clone());
    }
    leaves
}

/// The order of the file matters (ties look at the last workout, pages list in it): it is a leaf
/// of its own, of those that are in both files.
fn order_leaf(key: &str, old: &[String], new: &[String], old_leaves: &mut Leaves, new_leaves: &mut Leaves) {
    let common = |these: &[String], those: &[String]| {
        let kept: Vec<&str> = these.iter().filter(|slug| those.contains(slug)).map(String::as_str).collect();
        kept.join(", ")
    };
    old_leaves.insert(key.to_owned(), common(old, new));
    new_leaves.insert(key.to_owned(), common(new, old));
}

/// Tables are walked into; lists of tables by index; anything else is one leaf.
fn walk(at: &str, value: &Value, leaves: &mut Leaves) {
    match value {
        Value::Object(members) => {
            for (key, value) in members {
                walk(&format!("{at}.{key}"), value, leaves);
            }
        }
        Value::Array(items) if items.iter().any(Value::is_object) => {
            for (i, value) in items.iter().enumerate() {
                walk(&format!("{at}[{i}]"), value, leaves);
            }
        }
        Value::String(text) => {
            leaves.insert(at.to_owned(), text.clone());
        }
        other => {
            leaves.insert(at.to_owned(), other.to_string());
        }
    }
}

/// How the tasks of each workout change, over all its divisions and levels.
struct WorkoutChanges(HashMap<String, Changed>);

/// The strongest effect on any (division, level) that is in both files.
#[derive(Clone, Copy)]
struct Changed {
    meaning: Meaning,
    /// A (division, level) that could be scored no longer can.
    loses: bool,
}

impl WorkoutChanges {
    fn between(old: &Competition, new: &Competition) -> Self {
        let changed = |workout: &Workout| {
            let mut changed = Changed { meaning: Meaning::Same, loses: false };
            for division in old.divisions.iter().filter(|d| !d.is_combined()) {
                for level in division.levels(old.levels.len()) {
                    let before = old.prescription(&workout.slug, &division.slug, level);
                    let level = old.levels.get(usize::from(level)).and_then(|name| level_of(new, &name.slug));
                    let after = level.and_then(|level| new.prescription(&workout.slug, &division.slug, level));
                    match (before, after) {
                        (Some(a), Some(b)) => changed.meaning = changed.meaning.max(meaning(&a.task, &b.task)),
                        (Some(_), None) => changed.loses = true,
                        _ => {}
                    }
                }
            }
            (workout.slug.clone(), changed)
        };
        Self(old.workouts.iter().map(changed).collect())
    }
}

fn level_of(competition: &Competition, slug: &str) -> Option<u8> {
    competition.levels.iter().position(|l| l.slug == slug).and_then(|at| u8::try_from(at).ok())
}

/// What a changed key means for stored scores.
fn effect_of(key: &str, was: bool, is: bool, workouts: &WorkoutChanges) -> Meaning {
    if is_whole(key) {
        // What comes has no scores yet; a new title is text; what goes takes its scores with it.
        return if was && !is { Meaning::Rescore } else { Meaning::Same };
    }
    let mut parts = key.splitn(3, '.');
    let (kind, second, rest) = (parts.next().unwrap_or(""), parts.next().unwrap_or(""), parts.next().unwrap_or(""));
    match kind {
        "competition" => {
            if second == "levels" {
                Meaning::Rescore
            } else {
                Meaning::Same
            }
        }
        "division" => {
            if matches!(rest, "level" | "allow_lower") {
                Meaning::Rescore
            } else {
                Meaning::Same
            }
        }
        "workout" => workouts.0.get(second).map_or(Meaning::Same, |changed| workout_effect(rest, *changed)),
        _ => Meaning::Same,
    }
}

/// What a changed key of a workout means, given how its tasks change.
fn workout_effect(key: &str, changed: Changed) -> Meaning {
    let key = match key.strip_prefix("prescription[") {
        Some(rest) => rest.split_once("].").map_or("divisions", |(_, key)| key),
        None => key,
    };
    let name = key.split(['.', '[']).next().unwrap_or(key);
    match name {
        "tiebreak" | "tiebreak_for_finishers" | "time_step" | "time_rounding" | "all_required" | "scored" => {
            changed.meaning.min(Meaning::Rescore)
        }
        // Another attempt may be the one that counts.
        "attempts" => Meaning::Rescore,
        "divisions" | "level" if changed.loses => changed.meaning.max(Meaning::Rescore),
        "stations" | "blocks" | "rounds" | "repeat" | "list" | "ladder" | "cap" | "format" | "intervals"
        | "measure" | "lifts" | "divisions" | "level" => changed.meaning,
        _ => Meaning::Same,
    }
}
