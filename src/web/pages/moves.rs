//! What a ruling would move, before it is given: the figures it would leave, and the places that
//! would change. The ruling itself is decided elsewhere; this only looks.

use super::form::Fields;
use super::say;
use super::shell::words;
use crate::actions::reader::Reader;
use crate::actions::views::{EntryView, ScoreView};
use crate::app::App;
use crate::rules::order::{self, Key};
use crate::rules::performance::{self, Around, Deduction, Performance, RawPerformance};
use crate::rules::workout::{Prescription, Workout};
use crate::standings::{Mask, Query, Scope};
use crate::words::Noun;
use crate::words::put;
use std::fmt::Display;

/// A score and where it is ranked.
pub struct Looked<'a> {
    /// The service.
    pub app: &'a App,
    /// Who looks.
    pub reader: &'a Reader,
    /// Whose score.
    pub entry: &'a EntryView,
    /// In what.
    pub workout: &'a Workout,
    /// The score.
    pub score: &'a ScoreView,
}

impl Looked<'_> {
    /// What was to be done for this score, and at what level.
    pub fn prescription(&self) -> Option<(&Prescription, u8)> {
        let c = &self.reader.competition;
        let level = c.levels.iter().position(|l| l.slug == self.score.level)?;
        let level = u8::try_from(level).ok()?;
        Some((c.prescription(&self.workout.slug, &self.entry.division, level)?, level))
    }

    /// The figures now, as the rules know them.
    fn performance(&self) -> Option<Performance> {
        self.read(&self.score.performance.text)
    }

    /// Figures as written, for this score's prescription.
    fn read(&self, text: &str) -> Option<Performance> {
        let (p, _) = self.prescription()?;
        let around = Around { confirm_all: true, ..Around::default() };
        performance::check(&p.task, &RawPerformance::Text(text.to_owned()), &around).ok().map(|c| c.value)
    }

    /// All reps of the score, where it has some.
    pub fn reps(&self) -> Option<u64> {
        self.performance()?.total_reps()
    }

    /// The figures that a decision would leave; `None`: none, or they cannot be worked out (then
    /// ruling says why).
    fn left_by(&self, kind: &str, fields: &Fields) -> Option<Performance> {
        let (p, _) = self.prescription()?;
        match kind {
            "deduct" => {
                let tiebreak = fields.find("tiebreak");
                let deduction = Deduction {
                    reps: fields.get("reps").parse().ok(),
                    seconds: fields.get("seconds").parse().ok(),
                    seconds_per_rep: self.workout.seconds_per_rep,
                    tiebreak: tiebreak.as_deref(),
                    no_tiebreak: fields.ticked("no_tiebreak"),
                };
                self.performance()?.deduct(&p.task, &deduction).ok().map(|c| c.value)
            }
            "replace" => self.read(fields.get("performance")),
            // Where it has a place, nothing changes.
            "stands" if !self.placed() => self.performance(),
            "restore" => self.read(&self.score.ruling.as_ref()?.before.text),
            _ => None,
        }
    }

    /// Whether it has a place now, that a ruling could take.
    fn placed(&self) -> bool {
        matches!(self.score.state, "attested" | "flagged" | "amended")
    }

    /// What would move if the score were struck, or a decision given as typed; where it has no place,
    /// what would if it got one.
    pub fn said(&self, kind: &str, fields: &Fields) -> Vec<String> {
        let w = words();
        let mut lines = Vec::new();
        if self.placed()
            && let Some((places, standings, _)) = self.moved(None)
        {
            lines.push(put(w.moves_strike, &[("places", &places), ("standings", &standings)]));
        }
        let kind = match (kind, self.score.state) {
            ("", "withheld") => "stands",
            ("", "struck") => "restore",
            _ => kind,
        };
        let Some(left) = self.left_by(kind, fields) else { return lines };
        let Some((p, level)) = self.prescription() else { return lines };
        let Ok(key) = order::key(&p.task, level, &left) else { return lines };
        let (text, division) = (left.text(&p.task), say::division(&self.reader.competition, &self.entry.division));
        if let Some((places, standings, Some(place))) = self.moved(Some(key)) {
            let ordinal = (w.ordinal)(place.into());
            let values: [(&'static str, &dyn Display); 5] = [
                ("text", &text),
                ("ordinal", &ordinal),
                ("division", &division),
                ("places", &places),
                ("standings", &standings),
            ];
            lines.push(put(w.moves_to, &values));
        }
        lines
    }

    /// Others' places and standings that would change, and the score's own place.
    fn moved(&self, key: Option<Key>) -> Option<(String, String, Option<u32>)> {
        let w = words();
        let query = Query { division: self.entry.division.clone(), scope: Scope::default(), mask: self.mask() };
        let index = self.reader.index(self.workout);
        let m = self.app.board.moved_by(self.reader.id, &query, index, self.entry.bib, key)?;
        let said = |n: u32, noun| (w.count)(n.into(), noun);
        Some((said(m.places, Noun::Place), said(m.standings, Noun::Standing), m.place))
    }

    fn mask(&self) -> Mask {
        self.reader.mask(None, true)
    }
}
