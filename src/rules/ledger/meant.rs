//! Which attempt a move is about.

use super::Precondition;
use super::case::{Case, shown};
use super::submit::reads_as_stored;
use crate::rules::life::{Attempt, Submit};
use crate::rules::workout::Attempts;

/// The attempt that is meant where no number says it: the one whose state its sender has seen, else the
/// one that counts, else the latest.
#[must_use]
pub fn meant<'a>(rule: Attempts, attempts: &'a [Attempt], seen: &Precondition) -> Option<&'a Attempt> {
    let shown = shown(rule, attempts);
    let named = |a: &&Attempt| names(seen, a);
    shown.filter(named).or_else(|| attempts.iter().rev().find(named)).or(shown)
}

/// Whether what was seen is this very state.
fn names(seen: &Precondition, attempt: &Attempt) -> bool {
    matches!(seen, Precondition::Match(tags) if tags.contains(&attempt.tag()))
}

impl<'a> Case<'a> {
    /// The attempt with this number; without one, the one that is meant.
    pub fn meant(&self, number: Option<u32>) -> Option<&'a Attempt> {
        match number {
            Some(n) => self.attempts.iter().find(|a| a.score.attempt == n),
            None => meant(self.workout.attempts, self.attempts, &self.asked.precondition),
        }
    }

    /// Whether an attempt is only taken for the one that is meant: of several, a state was seen that none is in.
    pub fn guessed(&self, number: Option<u32>, attempt: &Attempt) -> bool {
        let seen = &self.asked.precondition;
        let several = number.is_none() && self.attempts.len() > 1;
        several && matches!(seen, Precondition::Match(_)) && !names(seen, attempt)
    }

    /// The attempt that a submission is about. Where neither its number nor its state says it, what was
    /// stored before is found again by its figures.
    pub fn submitted(&self, asked: &Submit) -> Option<&'a Attempt> {
        let meant = self.meant(asked.attempt);
        let said = asked.attempt.is_some() || meant.is_some_and(|a| names(&self.asked.precondition, a));
        if said || asked.revise || self.asked.precondition == Precondition::Any || self.attempts.len() < 2 {
            return meant;
        }
        let stands = |a: &&'a Attempt| reads_as_stored(self, asked, a);
        meant.filter(stands).or_else(|| self.attempts.iter().rev().find(stands)).or(meant)
    }
}
