//! The loads of a `max_load`: how many, in which unit, on which step.

use super::figures::Reader;
use super::{Figures, Lift, Main, POINTER};
use crate::rules::notation::{Piece, item_load};
use crate::rules::quantity::{Grams, Load, LoadUnit, compact, fold, kilograms};
use crate::rules::workout::Format;
use crate::words::Sentence;

impl Reader<'_, '_> {
    pub(super) fn object_loads(&mut self, items: &[String]) -> Option<Figures> {
        if self.task.format != Format::MaxLoad {
            return self.other_form();
        }
        let mut pieces = Vec::new();
        for (i, item) in items.iter().enumerate() {
            match item_load(&compact(&fold(item))) {
                Ok(piece) => pieces.push(piece),
                Err(sentence) => self.notes.fault(&format!("{POINTER}/loads/{i}"), sentence),
            }
        }
        if pieces.len() < items.len() {
            return None;
        }
        self.pointer.push_str("/loads");
        self.lifts(&pieces)
    }

    pub(super) fn max_load(&mut self, main: &Main) -> Option<Figures> {
        match main {
            Main::Loads(pieces) => self.lifts(pieces),
            Main::NoLift | Main::Count { n: 0, unit: None } => {
                Some(Figures::Loads(vec![Lift::MISSED; self.task.lifts.len().max(1)]))
            }
            Main::Count { unit: None, .. } | Main::Dotted(_) | Main::Rounds { bare: true, .. } => {
                self.refuse(Sentence::new("load_needs_unit").with("text", self.text.replace('+', " + ")))
            }
            _ => self.other_form(),
        }
    }

    fn lifts(&mut self, pieces: &[Piece]) -> Option<Figures> {
        let expected = self.task.lifts.len().max(1);
        if pieces.len() != expected {
            let code = if expected == 1 { "one_lift" } else { "lifts_needed" };
            let sentence = Sentence::new(code).with("got", pieces.len()).with("expected", expected);
            let lifts = self.task.lifts.join(" + ");
            return self.refuse(sentence.with("lifts", lifts).with("example", super::example(self.task)));
        }
        for piece in pieces {
            self.check_step(piece);
        }
        let lifts: Vec<Lift> = pieces
            .iter()
            .map(|p| match p {
                Piece::Load(load) => Lift::made(*load),
                Piece::Missed => Lift::MISSED,
            })
            .collect();
        self.ask_unit(&lifts);
        Some(Figures::Loads(lifts))
    }

    /// Off the step of its own unit: a warning.
    fn check_step(&mut self, piece: &Piece) {
        let Piece::Load(load) = piece else { return };
        // Each in the unit of its step: grams, and hundredths of a pound.
        let (written, step) = match load.unit {
            LoadUnit::Kg => (load.hundredths.saturating_mul(10), self.task.load_step.kg.map(|g| g.0)),
            LoadUnit::Lb => (load.hundredths, self.task.load_step.lb_hundredths),
        };
        if let Some(step) = step.filter(|s| *s > 0 && written % s != 0) {
            let step = match load.unit {
                LoadUnit::Kg => format!("{} kg", kilograms(Grams(step))),
                LoadUnit::Lb => Load { unit: LoadUnit::Lb, hundredths: step }.text(),
            };
            self.notes.warn(&self.pointer, Sentence::new("load_off_step").with("load", load.text()).with("step", step));
        }
    }

    /// Kilograms at least twice the heaviest so far: may be pounds.
    fn ask_unit(&mut self, lifts: &[Lift]) {
        let in_kg = lifts.iter().any(|l| l.load.is_some() && l.unit == LoadUnit::Kg);
        let sum: u64 = lifts.iter().filter_map(|l| l.load).map(|g| g.0).sum();
        let Some(heaviest) = self.around.heaviest.filter(|h| h.0 > 0 && in_kg && sum >= h.0.saturating_mul(2)) else {
            return;
        };
        let sentence = Sentence::new("kg_or_lb").with("load", kilograms(Grams(sum)));
        self.ask(sentence.with("heaviest", kilograms(heaviest)));
    }
}
