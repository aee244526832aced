//! One entry in one workout, with everything a decision about it looks at.

use super::{Asked, Ledger, Precondition, Refusal, Ties};
use crate::rules::access::{Act, Actor, Denied, Permit, Role, permit};
use crate::rules::competition::Competition;
use crate::rules::life::{Attempt, State, Stored};
use crate::rules::order;
use crate::rules::people::Entry;
use crate::rules::performance::{self, Around, RawPerformance};
use crate::rules::window::{self, Window};
use crate::rules::workout::{Attempts, Prescription, Workout};
use crate::words::Sentence;
use jiff::Timestamp;

/// One entry in one workout.
pub(super) struct Case<'a> {
    pub ledger: &'a Ledger,
    pub asked: &'a Asked,
    pub now: Timestamp,
    pub competition: &'a Competition,
    pub workout: &'a Workout,
    pub window: Window,
    pub entry: &'a Entry,
    pub attempts: &'a [Attempt],
    /// When it was stated that they take no part; `None`: they do.
    pub stated_out: Option<Timestamp>,
}

impl<'a> Case<'a> {
    /// Finds the entry and the workout; what is not announced does not exist for most.
    pub fn find(
        ledger: &'a Ledger,
        asked: &'a Asked,
        now: Timestamp,
        workout: &str,
        bib: u32,
    ) -> Result<Self, Refusal> {
        let no_competition =
            || Refusal::NotFound(Sentence::new("no_such_competition").with("slug", &asked.competition));
        let (_, competition) = ledger.definition.as_ref().ok_or_else(no_competition)?;
        if competition.private && permit(&asked.actor, Act::SeeCompetition { competition: &competition.slug }).is_err()
        {
            return Err(no_competition());
        }
        let no_workout = || Refusal::NotFound(Sentence::new("no_such_workout").with("slug", workout));
        let found = competition.workout(workout).ok_or_else(no_workout)?;
        let unseen = permit(&asked.actor, Act::SeeUnannounced { competition: &competition.slug }).is_err();
        if asked.received < found.window.announce && unseen {
            return Err(no_workout());
        }
        let entry =
            ledger.entries.get(&bib).ok_or_else(|| Refusal::NotFound(Sentence::new("no_such_bib").with("bib", bib)))?;
        let pair = (workout.to_owned(), bib);
        Ok(Self {
            ledger,
            asked,
            now,
            competition,
            workout: found,
            window: window::for_entry(found, &ledger.extensions, entry.gym.as_deref(), &entry.region),
            entry,
            attempts: ledger.attempts.get(&pair).map_or(&[], Vec::as_slice),
            stated_out: ledger.not_taking_part.get(&pair).copied(),
        })
    }

    /// Whose request it is.
    pub fn actor(&self) -> &'a Actor {
        &self.asked.actor
    }

    /// The attempt that counts, else the latest.
    pub fn shown(&self) -> Option<&'a Attempt> {
        shown(self.workout.attempts, self.attempts)
    }

    /// Asks for a permission.
    pub fn may(&self, act: Act<'_>) -> Result<Permit, Refusal> {
        permit(self.actor(), act).map_err(refuse_access)
    }

    /// What binds the asking account to entries.
    pub fn ties(&self) -> Ties {
        let around = &self.ledger.around;
        let known = |a: i64| around.referees.get(&a).or_else(|| around.others.get(&a));
        let mut ties = self.actor().account.and_then(known).cloned().unwrap_or_default();
        let slug = &self.competition.slug;
        for grant in self.actor().grants.iter().filter(|g| g.holds_in(slug)) {
            ties.gyms.extend(grant.gym.clone());
            ties.bibs.extend(grant.bib.filter(|_| grant.competition.is_some()));
        }
        ties
    }

    /// The permission to flag, withhold or rule; `barred` accounts may not (they already decided).
    pub fn referee(&self, barred: &[i64]) -> Result<Permit, Refusal> {
        let ties = self.ties();
        let own = |a: &i64| Some(*a) == self.actor().account;
        let alone = !self.ledger.around.referees.iter().any(|(account, t)| {
            !barred.contains(account)
                && !t.bibs.contains(&self.entry.bib)
                && !self.entry.gym.iter().chain(&self.entry.past_gyms).any(|g| t.gyms.contains(g))
        });
        let act = Act::Referee { competition: &self.competition.slug, entry: self.entry, ties: &ties, alone };
        let permit = permit(self.actor(), act).map_err(|denied| match denied {
            Denied::NotSignedIn => Refusal::NotSignedIn,
            Denied::NotAllowed => Refusal::NotAllowed(Sentence::new("not_a_free_referee")),
        })?;
        if barred.iter().any(own) && permit.role() == Some(Role::Referee) {
            return Err(Refusal::NotAllowed(Sentence::new("appeal_by_another_referee")));
        }
        Ok(permit)
    }

    /// Whether stored figures were validated against exactly what is prescribed now.
    pub fn unchanged(&self, stored: &Stored) -> bool {
        self.prescribed(stored).is_some_and(|p| hex::encode(p.digest) == stored.prescription)
    }

    /// Whether stored figures still read as the same, in the same order: only text or loads were
    /// put right since.
    pub fn still_fits(&self, stored: &Stored) -> bool {
        let around = Around { confirm_all: true, ..Around::default() };
        self.prescribed(stored).is_some_and(|p| {
            let raw = RawPerformance::Text(stored.text.clone());
            let key = performance::check(&p.task, &raw, &around)
                .and_then(|checked| order::key(&p.task, stored.level, &checked.value).map_err(|f| vec![f]));
            key == Ok(stored.key)
        })
    }

    fn prescribed(&self, stored: &Stored) -> Option<&'a Prescription> {
        self.competition.prescription(&self.workout.slug, &self.entry.division, stored.level)
    }

    /// There is nothing here yet.
    pub fn no_score(&self) -> Refusal {
        let sentence = Sentence::new("no_such_score").with("bib", self.entry.bib).with("workout", &self.workout.title);
        Refusal::NotFound(sentence)
    }

    /// An instant for people, in the competition's zone.
    pub fn local(&self, at: Timestamp) -> String {
        local(self.competition, at)
    }

    /// Every change but a submission needs the state the caller has seen.
    pub fn seen(&self, attempt: &Attempt) -> Result<(), Refusal> {
        let current = || Some(Box::new(attempt.clone()));
        match &self.asked.precondition {
            Precondition::None if self.actor().operator => Ok(()),
            Precondition::None => Err(Refusal::PreconditionRequired(Sentence::new("if_match_required"), current())),
            Precondition::Any => Ok(()),
            Precondition::Match(tags) if tags.contains(&attempt.tag()) => Ok(()),
            Precondition::Match(_) | Precondition::Absent => Err(Refusal::PreconditionFailed(current())),
        }
    }
}

/// Nothing but its decision touches a score whose appeal is open.
pub(super) fn no_open_appeal(attempt: &Attempt) -> Result<(), Refusal> {
    if attempt.appeal.as_ref().is_some_and(|a| !a.decided) {
        return Err(Refusal::Conflict(Sentence::new("appeal_open"), Vec::new()));
    }
    Ok(())
}

/// The attempt that counts under a rule: among the placed ones the best, the last, or the only.
#[must_use]
pub fn counting(rule: Attempts, attempts: &[Attempt]) -> Option<&Attempt> {
    let placed = attempts.iter().filter(|a| a.state.placed());
    match rule {
        // `min_by_key` keeps the first of equals: the earlier attempt.
        Attempts::Best => placed.min_by_key(|a| a.stored.key),
        Attempts::Last | Attempts::One => placed.max_by_key(|a| a.score.attempt),
    }
}

/// The attempt that counts, else the latest that was not taken back, else the latest.
#[must_use]
pub fn shown(rule: Attempts, attempts: &[Attempt]) -> Option<&Attempt> {
    counting(rule, attempts)
        .or_else(|| attempts.iter().rev().find(|a| a.state != State::Withdrawn))
        .or_else(|| attempts.last())
}

/// An instant for people, in the competition's zone, with its name.
pub(super) fn local(competition: &Competition, at: Timestamp) -> String {
    format!("{} ({})", window::local(at, &competition.time_zone), competition.time_zone_name)
}

/// 401 or 403.
pub(super) fn refuse_access(denied: Denied) -> Refusal {
    match denied {
        Denied::NotSignedIn => Refusal::NotSignedIn,
        Denied::NotAllowed => Refusal::NotAllowed(Sentence::new("not_allowed")),
    }
}
