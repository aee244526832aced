//! Everything that is wrong with a change at once, for people who mend it: also where one thing that is
//! wrong keeps the rules from deciding about the rest.

use super::submit::{check_details, no_such_level};
use super::{Asked, Change, Ledger, Refusal};
use crate::rules::access::{Act, permit};
use crate::rules::competition::Competition;
use crate::rules::fault::Fault;
use crate::rules::life::{Move, Submit};
use crate::rules::performance::{self, Around};
use crate::rules::workout::Workout;
use crate::words::Sentence;
use jiff::Timestamp;

impl Ledger {
    /// What is wrong with a change, and what would be asked about it; nothing where it would be done.
    #[must_use]
    pub fn faults(&self, asked: &Asked, now: Timestamp) -> Vec<Fault> {
        let whole = |sentence| vec![Fault::new("", sentence)];
        match self.decide(asked, now) {
            Ok(_) => Vec::new(),
            Err(Refusal::Faults(faults)) => faults,
            Err(Refusal::Ask(questions)) => questions.into_iter().map(|q| Fault::new(q.pointer, q.sentence)).collect(),
            Err(Refusal::NotFound(sentence)) => self.of_nobody(asked, &sentence).unwrap_or_else(|| whole(sentence)),
            Err(
                Refusal::NotAllowed(sentence)
                | Refusal::Conflict(sentence, _)
                | Refusal::PreconditionRequired(sentence, _),
            ) => whole(sentence),
            Err(Refusal::PreconditionFailed(_)) => whole(Sentence::new("precondition_failed")),
            Err(Refusal::NotSignedIn) => whole(Sentence::new("not_signed_in")),
        }
    }

    /// A submission for a bib that nobody has: that, and all that can be told without the entry.
    fn of_nobody(&self, asked: &Asked, sentence: &Sentence) -> Option<Vec<Fault>> {
        let Change::Score { workout, bib, what: Move::Submit(sent) } = &asked.change else { return None };
        let (_, competition) = self.definition.as_ref()?;
        let slug = &*competition.slug;
        let found = competition.workout(workout)?;
        let announced = asked.received >= found.window.announce;
        let seen = announced || permit(&asked.actor, Act::SeeUnannounced { competition: slug }).is_ok();
        let may = permit(&asked.actor, Act::EnterMany { competition: slug }).is_ok();
        if self.entries.contains_key(bib) || !seen || !may {
            return None;
        }
        let mut faults = vec![Fault::new("/bib", sentence.clone())];
        self.without_entry(asked, competition, found, sent, &mut faults);
        Some(faults)
    }

    fn without_entry(
        &self,
        asked: &Asked,
        competition: &Competition,
        workout: &Workout,
        sent: &Submit,
        faults: &mut Vec<Fault>,
    ) {
        let level = match &sent.level {
            None => None,
            Some(slug) => {
                let level = (0_u8..).zip(&competition.levels).find(|(_, l)| l.slug == *slug).map(|(n, _)| n);
                if level.is_none() {
                    faults.push(Fault::new("/level", no_such_level(competition, slug)));
                }
                level
            }
        };
        if let Some(slug) = sent.gym.as_ref().filter(|slug| !self.gyms.contains_key(*slug)) {
            faults.push(Fault::new("/gym", Sentence::new("no_such_gym").with("slug", slug)));
        }
        if let Some(at) = sent.performed_at {
            let wrong = workout.window.check_performed_at(at, asked.received, &competition.time_zone).err();
            faults.extend(wrong.map(|sentence| Fault::new("/performed_at", sentence)));
        }
        faults.extend(unreadable_in_all(workout, level, sent));
        check_details(sent, faults);
        if let Some(attest) = sent.attestation.as_ref().filter(|a| !self.judges.contains_key(&a.judge)) {
            let sentence = Sentence::new("no_such_judge").with("judge", &attest.judge);
            faults.push(Fault::new("/attestation/judge", sentence));
        }
    }
}

/// What is wrong with the figures whichever division they are of: where one takes them, nothing.
fn unreadable_in_all(workout: &Workout, level: Option<u8>, sent: &Submit) -> Vec<Fault> {
    let of_level = workout.prescriptions.iter().filter(|p| level.is_none() || p.level.is_none() || p.level == level);
    let mut first = Vec::new();
    for p in of_level {
        match performance::check(&p.task, &sent.performance, &Around::default()) {
            Ok(_) => return Vec::new(),
            Err(faults) if first.is_empty() => first = faults,
            Err(_) => {}
        }
    }
    first
}
