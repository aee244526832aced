//! Loads and heights as published, in kilograms and pounds, centimetres and inches.

use super::Notes;
use crate::rules::competition::raw::{Decimal, OneOrMany, RawHeight, RawLoad};
use crate::rules::competition::tree::{item, member};
use crate::rules::people::check_line;
use crate::rules::quantity::{self, Load, LoadUnit, MAX_LOAD, Millimetres, Pair, pair};
use crate::rules::workout::{PublishedHeight, PublishedLoad};
use crate::words::Sentence;

/// The most loads, or heights, of a prescription.
const MAX_ITEMS: usize = 40;
/// The most rounds a load changes over.
const MAX_ROUNDS: usize = 200;
/// The most characters of an item's name.
const MAX_NAME: usize = 80;
/// The highest height: 10 m.
const MAX_HEIGHT: Millimetres = Millimetres(10_000);

fn too_many(at: &str, key: &str, len: usize, notes: &mut Notes) -> bool {
    if len > MAX_ITEMS {
        notes.fault(at, Sentence::new("file_parts_number").with("key", key).with("most", MAX_ITEMS));
    }
    len > MAX_ITEMS
}

fn name(raw: &str, at: &str, notes: &mut Notes) -> String {
    let at = member(at, "item");
    match check_line(raw, MAX_NAME) {
        Ok(name) if name.is_empty() => notes.fault(&at, Sentence::new("file_item_missing")),
        Ok(name) => return name,
        Err(sentence) => notes.fault(&at, sentence),
    }
    String::new()
}

/// Loads in file order. A pair is one load: further apart than 6 % warned, 15 % refused.
pub fn loads(raw: &[RawLoad], at: &str, notes: &mut Notes) -> Vec<PublishedLoad> {
    let at = member(at, "loads");
    if too_many(&at, "loads", raw.len(), notes) {
        return Vec::new();
    }
    raw.iter().enumerate().map(|(i, load)| load_of(load, &item(&at, i), notes)).collect()
}

fn load_of(raw: &RawLoad, at: &str, notes: &mut Notes) -> PublishedLoad {
    let item_name = name(&raw.item, at, notes);
    let kg = column(raw.kg.as_ref(), LoadUnit::Kg, &member(at, "kg"), notes);
    let lb = column(raw.lb.as_ref(), LoadUnit::Lb, &member(at, "lb"), notes);
    if raw.kg.is_none() && raw.lb.is_none() {
        notes.fault(at, Sentence::new("file_load_missing").with("item", &item_name));
    }
    if raw.kg.is_some() && raw.lb.is_some() {
        if kg.len() == lb.len() {
            for (kg, lb) in kg.iter().zip(&lb).filter(|(kg, lb)| **kg > 0 && **lb > 0) {
                match pair(*kg, *lb) {
                    Pair::Same => {}
                    Pair::Odd(sentence) => notes.warn(at, sentence),
                    Pair::Apart(sentence) => notes.fault(at, sentence),
                }
            }
        } else {
            notes.fault(at, Sentence::new("file_load_rounds").with("kg", kg.len()).with("lb", lb.len()));
        }
    }
    let first = match (raw.first, raw.kg.is_some(), raw.lb.is_some()) {
        (Some(LoadUnit::Kg), false, true) | (Some(LoadUnit::Lb), true, false) => {
            notes.fault(&member(at, "first"), Sentence::new("file_load_first"));
            LoadUnit::Kg
        }
        (Some(first), _, _) => first,
        (None, false, true) => LoadUnit::Lb,
        (None, _, _) => LoadUnit::Kg,
    };
    let grams = kg.into_iter().map(|hundredths| Load { unit: LoadUnit::Kg, hundredths }.grams()).collect();
    PublishedLoad { item: item_name, kg: grams, lb_hundredths: lb, first }
}

/// One unit's figures in hundredths, each above 0 and no heavier than anything is.
fn column(raw: Option<&OneOrMany<Decimal>>, unit: LoadUnit, at: &str, notes: &mut Notes) -> Vec<u64> {
    let figures: Vec<u64> = raw.map(|row| row.as_slice().iter().map(|d| d.0).collect()).unwrap_or_default();
    if raw.is_some() && (figures.is_empty() || figures.len() > MAX_ROUNDS) {
        notes.fault(at, Sentence::new("file_load_list").with("most", MAX_ROUNDS));
    }
    let heavy = |hundredths: u64| Load { unit, hundredths }.grams() > MAX_LOAD;
    if figures.iter().any(|f| *f == 0 || heavy(*f)) {
        notes.fault(at, Sentence::new("file_load_range").with("most", quantity::kilograms(MAX_LOAD)));
    }
    figures
}

/// Heights in file order, under the same pair rule.
pub fn heights(raw: &[RawHeight], at: &str, notes: &mut Notes) -> Vec<PublishedHeight> {
    let at = member(at, "heights");
    if too_many(&at, "heights", raw.len(), notes) {
        return Vec::new();
    }
    raw.iter().enumerate().map(|(i, height)| height_of(height, &item(&at, i), notes)).collect()
}

fn height_of(raw: &RawHeight, at: &str, notes: &mut Notes) -> PublishedHeight {
    let item_name = name(&raw.item, at, notes);
    if raw.cm.is_none() && raw.inch.is_none() {
        notes.fault(at, Sentence::new("file_height_missing").with("item", &item_name));
    }
    if let Some(cm) = raw.cm.filter(|cm| !cm.0.is_multiple_of(10)) {
        notes.fault(&member(at, "cm"), Sentence::new("file_height_millimetres").with("cm", cm));
    }
    let cm = raw.cm.map(|cm| Millimetres(cm.0 / 10));
    let inch = raw.inch.map(|inch| Millimetres::from_inch_hundredths(inch.0));
    for (key, height) in [("cm", cm), ("inch", inch)] {
        if height.is_some_and(|h| h.0 == 0 || h > MAX_HEIGHT) {
            notes.fault(&member(at, key), Sentence::new("file_height_range"));
        }
    }
    if let (Some(a), Some(b)) = (cm, inch) {
        // Millimetres: at most 10^8 times 100, far from overflow.
        let (apart, smaller) = (a.0.abs_diff(b.0), a.0.min(b.0));
        let sentence = |code| {
            Sentence::new(code).with("cm", quantity::centimetres(a)).with("inch_in_cm", quantity::centimetres(b))
        };
        if apart.saturating_mul(100) > smaller.saturating_mul(15) {
            notes.fault(at, sentence("file_height_apart"));
        } else if apart.saturating_mul(100) > smaller.saturating_mul(6) {
            notes.warn(at, sentence("file_height_odd"));
        }
    }
    PublishedHeight { item: item_name, cm, inch_hundredths: raw.inch.map(|inch| inch.0) }
}
