//! What a referee takes off (rules.md section 8): reps from reps, seconds onto a finish time.

use super::tiebreak::{self, Serves};
use super::{Figures, Notes, Performance};
use crate::rules::fault::{Checked, Fault};
use crate::rules::notation;
use crate::rules::order;
use crate::rules::quantity::{MAX_TIME, Millis};
use crate::rules::workout::Task;
use crate::words::Sentence;

/// What a ruling takes off.
#[derive(Clone, Copy, Debug, Default)]
pub struct Deduction<'a> {
    /// Reps; from a finish time `reps × seconds_per_rep`.
    pub reps: Option<u64>,
    /// Seconds added to a finish time, instead of reps.
    pub seconds: Option<u64>,
    /// The workout's published rate.
    pub seconds_per_rep: Option<u32>,
    /// The right tiebreak, written, where the old one's marker is no longer passed.
    pub tiebreak: Option<&'a str>,
    /// Or that there is none.
    pub no_tiebreak: bool,
}

impl Performance {
    /// These figures with a referee's deduction.
    ///
    /// Pointers are those of the ruling's members: `/reps`, `/seconds`, `/tiebreak`. Where the
    /// marker of the tiebreak is then no longer passed, the right tiebreak, or none, must be
    /// given; where no marker is passed at all, it goes. Loads and intervals, and a finish time
    /// past the cap, need `replace`.
    pub fn deduct(&self, task: &Task, deduction: &Deduction<'_>) -> Result<Checked<Self>, Vec<Fault>> {
        let mut notes = Notes::default();
        let figures = match &self.figures {
            Figures::Reps { total, capped } => {
                fewer(*total, deduction, &mut notes).map(|total| Figures::Reps { total, capped: *capped })
            }
            Figures::Count(n) => fewer(*n, deduction, &mut notes).map(Figures::Count),
            Figures::Time(time) => slower(task, *time, deduction, &mut notes).map(Figures::Time),
            Figures::Loads(_) | Figures::IntervalCounts(_) | Figures::IntervalTimes(_) => {
                notes.fault("", Sentence::new("deduct_replace"));
                None
            }
        };
        let tiebreak = figures.as_ref().and_then(|figures| self.tiebreak_after(task, figures, deduction, &mut notes));
        let Some(figures) = figures.filter(|_| notes.faults.is_empty()) else { return Err(notes.faults) };
        let value = Self { figures, tiebreak };
        order::key(task, 0, &value).map_err(|fault| vec![fault])?;
        Ok(Checked { value, warnings: notes.warnings, questions: notes.questions })
    }

    /// The tiebreak that goes with the new figures.
    fn tiebreak_after(
        &self,
        task: &Task,
        figures: &Figures,
        deduction: &Deduction<'_>,
        notes: &mut Notes,
    ) -> Option<Millis> {
        if let Some(text) = deduction.tiebreak {
            if deduction.no_tiebreak {
                notes.fault("/tiebreak", Sentence::new("deduct_tiebreak_both"));
                return None;
            }
            return tiebreak::check(task, Some(figures), Some((notation::read_tiebreak(text), "/tiebreak")), notes);
        }
        let old = self.tiebreak.filter(|_| !deduction.no_tiebreak)?;
        match (tiebreak::serves(task, &self.figures), tiebreak::serves(task, figures)) {
            (_, Serves::Never | Serves::NotYet(_)) => None,
            (Serves::At(before), Serves::At(now)) if before != now => {
                let sentence = Sentence::new("deduct_tiebreak").with("old", old.exact());
                notes.fault("/tiebreak", tiebreak::when(sentence, task, &now));
                None
            }
            _ => match tiebreak::check_time(task, figures, old, notes) {
                Ok(()) => Some(old),
                Err(sentence) => {
                    notes.fault("/tiebreak", sentence);
                    None
                }
            },
        }
    }
}

/// Reps with some taken off.
fn fewer(total: u64, deduction: &Deduction<'_>, notes: &mut Notes) -> Option<u64> {
    if deduction.seconds.is_some() {
        notes.fault("/seconds", Sentence::new("deduct_seconds_from_reps"));
        return None;
    }
    match deduction.reps {
        None | Some(0) => {
            notes.fault("/reps", Sentence::new("deduct_reps_needed"));
            None
        }
        Some(reps) => total.checked_sub(reps).or_else(|| {
            notes.fault("/reps", Sentence::new("deduct_too_many").with("reps", reps).with("total", total));
            None
        }),
    }
}

/// A finish time made longer, at most to the cap.
fn slower(task: &Task, time: Millis, deduction: &Deduction<'_>, notes: &mut Notes) -> Option<Millis> {
    let seconds = match (deduction.reps, deduction.seconds, deduction.seconds_per_rep) {
        (Some(_), Some(_), _) => Err("deduct_one_of"),
        (Some(reps), None, Some(rate)) if reps > 0 => Ok(reps.checked_mul(u64::from(rate))),
        (Some(reps), None, None) if reps > 0 => Err("deduct_no_rate"),
        (None, Some(seconds), _) if seconds > 0 => Ok(Some(seconds)),
        _ => Err("deduct_time_needed"),
    };
    let seconds = match seconds {
        Ok(seconds) => seconds,
        Err(code) => {
            notes.fault(if code == "deduct_time_needed" { "/seconds" } else { "/reps" }, Sentence::new(code));
            return None;
        }
    };
    let longer = seconds.and_then(|s| s.checked_mul(1000)).and_then(|ms| ms.checked_add(time.0)).map(Millis);
    let most = task.cap.unwrap_or(MAX_TIME);
    longer.filter(|t| *t <= most).or_else(|| {
        let sentence = Sentence::new("deduct_past_cap").with("time", time.exact()).with("cap", most.exact());
        notes.fault(if deduction.reps.is_some() { "/reps" } else { "/seconds" }, sentence);
        None
    })
}
