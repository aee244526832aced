//! Folding a record into the state: the only code that changes an attempt. It asks nothing and
//! refuses nothing, so that a log reads the same for ever.

use super::case::shown;
use super::{Effects, Ledger, RowKey};
use crate::rules::competition::compile;
use crate::rules::event::{Event, NoteRef, Record, Reworked, ScoreRef};
use crate::rules::life::{Appeal, Attempt, Flag, Ruled, Ruling, RulingKind, State, Stored, Waiting};
use crate::rules::people::Entry;
use crate::rules::placement::{Change, Placement};
use std::collections::BTreeMap;
use std::sync::Arc;

/// What a reader sees of a score: emitted again only when it differs.
type Shown = Option<Change>;

/// What a reader sees of an entry, but for the name.
fn facts(entry: &Entry) -> Change {
    Change::Entry {
        division: entry.division.clone(),
        gym: entry.gym.clone(),
        country: entry.country.clone(),
        region: entry.region.clone(),
        state: entry.state,
    }
}

impl Ledger {
    /// Folds one record into the state.
    pub fn fold(&mut self, record: &Record) -> Effects {
        self.head.seq = record.seq;
        self.head.at = record.at.as_microsecond();
        for note in record.event.notes().1 {
            self.head.last_note = self.head.last_note.max(note.id);
        }
        let mut effects = Effects::default();
        match &record.event {
            Event::Applied { definition, reworked, .. } => {
                self.fold_applied(record, definition, reworked, &mut effects);
            }
            Event::GymSet { gym } => {
                self.note_person(gym.contact.as_ref().map(|c| c.id));
                effects.rows.push(RowKey::Gym(gym.slug.clone()));
                self.gyms.insert(gym.slug.clone(), gym.clone());
            }
            Event::JudgeSet { judge } => {
                self.note_person(Some(judge.person.id));
                effects.rows.push(RowKey::Judge(judge.code.clone()));
                self.judges.insert(judge.code.clone(), judge.clone());
            }
            Event::EntrySet { entry } | Event::EntryAmended { entry, .. } => {
                self.fold_entry(record, entry, &mut effects);
            }
            Event::EntryMoved { entry, reworked, .. } => {
                self.fold_entry(record, entry, &mut effects);
                self.fold_reworked(record, reworked, &mut effects);
            }
            Event::Extended { extension, .. } => {
                effects.rows.push(RowKey::Extension(self.extensions.len()));
                self.extensions.push(extension.clone());
            }
            Event::NotTakingPart { workout, bib } => {
                self.not_taking_part.insert((workout.clone(), *bib), record.at);
                effects.rows.push(RowKey::NotTakingPart { workout: workout.clone(), bib: *bib });
            }
            Event::TakingPart { workout, bib } => {
                self.not_taking_part.remove(&(workout.clone(), *bib));
                effects.rows.push(RowKey::NotTakingPart { workout: workout.clone(), bib: *bib });
            }
            Event::Erased { person } => {
                self.persons.remove(person);
                effects.rows.push(RowKey::Person(*person));
                let entry = self.bibs.get(person).and_then(|bib| self.entries.get(bib));
                if let Some(entry) = entry.filter(|entry| entry.person.id == *person) {
                    // The division's pages are without a name from here on.
                    effects.placements.push(Placement { seq: record.seq, bib: entry.bib, change: facts(entry) });
                }
            }
            event => self.fold_score(record, event, &mut effects),
        }
        effects
    }

    fn fold_score(&mut self, record: &Record, event: &Event, effects: &mut Effects) {
        let (Event::Submitted { score, .. }
        | Event::Detailed { score, .. }
        | Event::Flagged { score, .. }
        | Event::Ruled { score, .. }
        | Event::Appealed { score, .. }
        | Event::Admitted { score, .. }
        | Event::Attested { score, .. }
        | Event::Withdrawn { score }) = event
        else {
            return;
        };
        self.with_placement(record, score, effects, |attempts| change_attempt(attempts, score, record, event));
    }

    /// Changes the attempts of a score, names the row, and says what that did to its place.
    fn with_placement(
        &mut self,
        record: &Record,
        score: &ScoreRef,
        effects: &mut Effects,
        change: impl FnOnce(&mut Vec<Attempt>),
    ) {
        let pair = (score.workout.clone(), score.bib);
        let before = self.shown(&pair);
        change(self.attempts.entry(pair.clone()).or_default());
        effects.rows.push(RowKey::Attempt { workout: score.workout.clone(), bib: score.bib, attempt: score.attempt });
        self.place(record.seq, &pair, &before, effects);
    }

    fn shown(&self, pair: &(String, u32)) -> Shown {
        let rule =
            self.definition.as_ref().and_then(|(_, c)| c.workout(&pair.0)).map(|w| w.attempts).unwrap_or_default();
        let attempt = shown(rule, self.attempts.get(pair)?)?;
        Some(Change::Score {
            workout: pair.0.clone(),
            attempt: attempt.score.attempt,
            key: attempt.placed_key(),
            level: attempt.stored.level,
            state: attempt.state,
            text: attempt.stored.text.clone(),
        })
    }

    fn place(&self, seq: u64, pair: &(String, u32), before: &Shown, effects: &mut Effects) {
        let after = self.shown(pair);
        if let Some(change) = after.filter(|a| before.as_ref() != Some(a)) {
            let placement = Placement { seq, bib: pair.1, change };
            let same = |p: &&mut Placement| {
                p.bib == pair.1 && matches!(&p.change, Change::Score { workout, .. } if *workout == pair.0)
            };
            // One row a (bib, workout) and record: two attempts reworked at once leave the last.
            match effects.placements.iter_mut().find(same) {
                Some(earlier) => *earlier = placement,
                None => effects.placements.push(placement),
            }
        }
    }

    fn fold_entry(&mut self, record: &Record, entry: &Entry, effects: &mut Effects) {
        self.note_person(Some(entry.person.id));
        self.head.last_bib = self.head.last_bib.max(entry.bib);
        let before = self.entries.get(&entry.bib);
        let after = facts(entry);
        // Another name, or one hidden or shown from here on, is a change of what the division's
        // pages say: whoever follows the placements must hear of it.
        let as_before = |e: &Entry| facts(e) == after && e.show_name == entry.show_name && e.person == entry.person;
        if !before.is_some_and(as_before) {
            effects.placements.push(Placement { seq: record.seq, bib: entry.bib, change: after });
        }
        effects.rows.push(RowKey::Entry(entry.bib));
        self.enter(entry.clone());
    }

    /// An entry as it is from here on.
    pub fn enter(&mut self, entry: Entry) {
        self.bibs.insert(entry.person.id, entry.bib);
        self.entries.insert(entry.bib, entry);
    }

    fn fold_applied(
        &mut self,
        record: &Record,
        definition: &crate::rules::competition::RawCompetition,
        reworked: &[Reworked],
        effects: &mut Effects,
    ) {
        // Which attempt counts may change for every score: what was shown before and after.
        let pairs: Vec<_> = self.attempts.keys().cloned().collect();
        let before: BTreeMap<_, _> = pairs.iter().map(|p| (p.clone(), self.shown(p))).collect();
        // A file that was accepted once compiles; if a later version of this program should see
        // it otherwise, the last one that does stays in force and the verifier names it.
        if let Ok(checked) = compile(definition) {
            self.definition = Some((Arc::new(definition.clone()), Arc::new(checked.value)));
        }
        self.definition_seq = record.seq;
        effects.rows.push(RowKey::Definition);
        for change in reworked {
            self.rework(record.seq, change, effects);
        }
        for (pair, shown) in before {
            self.place(record.seq, &pair, &shown, effects);
        }
    }

    fn fold_reworked(&mut self, record: &Record, reworked: &[Reworked], effects: &mut Effects) {
        for change in reworked {
            let pair = (change.score.workout.clone(), change.score.bib);
            let before = self.shown(&pair);
            self.rework(record.seq, change, effects);
            self.place(record.seq, &pair, &before, effects);
        }
    }

    fn rework(&mut self, seq: u64, change: &Reworked, effects: &mut Effects) {
        let score = &change.score;
        let Some(attempt) = self
            .attempts
            .get_mut(&(score.workout.clone(), score.bib))
            .and_then(|all| all.iter_mut().find(|a| a.score.attempt == score.attempt))
        else {
            return;
        };
        attempt.etag = seq;
        if let Some(stored) = &change.stored {
            attempt.stored = stored.clone();
        }
        if let (Some(waiting), Some(stored)) = (&mut attempt.waiting, &change.waiting) {
            waiting.stored = stored.clone();
        }
        if let (Some(ruling), Some(stored)) = (&mut attempt.ruling, &change.before) {
            ruling.before = stored.clone();
        }
        if change.void {
            void(attempt, change.stale);
        }
        attempt.stale |= change.stale;
        effects.rows.push(RowKey::Attempt { workout: score.workout.clone(), bib: score.bib, attempt: score.attempt });
    }

    fn note_person(&mut self, id: Option<u64>) {
        self.head.last_person = self.head.last_person.max(id.unwrap_or(0));
    }
}

/// Takes away what an attestation made of a score, wherever it stands now or may come back to. A
/// doubt that is open stays open, off the places; `stale`: figures of a ruling are void too.
fn void(attempt: &mut Attempt, stale: bool) {
    let unvouched = |state: State| match state {
        State::Attested => State::Entered,
        State::Amended if stale => State::Entered,
        other => other,
    };
    attempt.attestation = None;
    attempt.waiting_attestation = None;
    if let Some(ruling) = &mut attempt.ruling {
        ruling.before_attestation = None;
        ruling.before_state = unvouched(ruling.before_state);
    }
    match &mut attempt.flag {
        None => attempt.state = unvouched(attempt.state),
        Some(flag) => {
            flag.before = unvouched(flag.before);
            if !flag.before.placed() {
                attempt.state = State::Withheld;
            }
        }
    }
}

/// What an event makes of the attempts of its score.
fn change_attempt(attempts: &mut Vec<Attempt>, score: &ScoreRef, record: &Record, event: &Event) {
    if let Event::Submitted { version, stored, details, late, upward, .. } = event {
        submitted(attempts, score, record, *version, stored, details, *late, *upward);
        return;
    }
    let Some(attempt) = attempts.iter_mut().find(|a| a.score.attempt == score.attempt) else { return };
    attempt.etag = record.seq;
    let by = record.actor.account;
    match event {
        Event::Detailed { details, .. } => attempt.details = details.clone(),
        Event::Attested { attestation, waiting: true, .. } => attempt.waiting_attestation = Some(attestation.clone()),
        Event::Attested { attestation, .. } => {
            attempt.attestation = Some(attestation.clone());
            attempt.waiting_attestation = None;
            if attempt.state == State::Entered {
                attempt.state = State::Attested;
            }
        }
        Event::Withdrawn { .. } => {
            attempt.state = State::Withdrawn;
            attempt.attestation = None;
            attempt.waiting_attestation = None;
            attempt.waiting = None;
        }
        Event::Flagged { reason, note, withheld, .. } => {
            let before = attempt.flag.as_ref().map_or(attempt.state, |f| f.before);
            attempt.flag =
                Some(Flag { reason: *reason, note: note.clone(), by, at: record.at, seq: record.seq, before });
            attempt.state = if *withheld { State::Withheld } else { State::Flagged };
            attempt.locked = true;
            attempt.officials.extend(by);
        }
        Event::Ruled { ruling, reason, on_appeal, .. } => ruled(attempt, record, ruling, reason, *on_appeal),
        Event::Appealed { reason, .. } => {
            attempt.appeal = Some(Appeal { reason: reason.clone(), by, at: record.at, decided: false });
        }
        Event::Admitted { admitted, .. } => self::admitted(attempt, *admitted),
        _ => {}
    }
}

#[expect(clippy::too_many_arguments, reason = "the members of one event")]
fn submitted(
    attempts: &mut Vec<Attempt>,
    score: &ScoreRef,
    record: &Record,
    version: u32,
    stored: &Stored,
    details: &crate::rules::life::Details,
    late: bool,
    upward: bool,
) {
    let state = if late { State::Late } else { State::Entered };
    let Some(attempt) = attempts.iter_mut().find(|a| a.score.attempt == score.attempt) else {
        attempts.push(Attempt::new(score.clone(), version, record.seq, state, stored.clone(), details.clone()));
        return;
    };
    attempt.etag = record.seq;
    attempt.version = version;
    if late && attempt.state != State::Late {
        attempt.waiting = Some(Waiting { stored: stored.clone(), details: details.clone(), refused: false });
        return;
    }
    attempt.state = state;
    attempt.stored = stored.clone();
    attempt.details = details.clone();
    attempt.attestation = None;
    attempt.waiting_attestation = None;
    attempt.waiting = None;
    attempt.refused = false;
    attempt.stale = false;
    attempt.upward |= upward;
}

fn ruled(attempt: &mut Attempt, record: &Record, ruling: &Ruled, reason: &NoteRef, on_appeal: bool) {
    let by = record.actor.account;
    let before = attempt.flag.as_ref().map_or(attempt.state, |f| f.before);
    let restored = (ruling.kind == RulingKind::Restore)
        .then(|| attempt.ruling.as_ref().and_then(|r| r.before_attestation.clone()))
        .flatten();
    // An appeal is decided on what the first ruling changed: that stays the state from before.
    let earlier = attempt.ruling.take().filter(|_| on_appeal);
    let earlier_stands = earlier.as_ref().is_some_and(|r| r.kind == RulingKind::Stands);
    let (before_state, before_stored, before_attestation) = match earlier {
        Some(r) => (r.before_state, r.before, r.before_attestation),
        None => (before, attempt.stored.clone(), attempt.attestation.clone()),
    };
    attempt.ruling = Some(Ruling {
        kind: ruling.kind,
        reason: reason.clone(),
        by,
        at: record.at,
        seq: record.seq,
        before_state,
        before: before_stored,
        before_attestation,
        on_appeal,
    });
    attempt.state = ruling.state;
    attempt.version = ruling.version;
    if let Some(stored) = &ruling.stored {
        attempt.stored = stored.clone();
        attempt.attestation = None;
        attempt.stale = false;
    }
    if ruling.kind == RulingKind::Restore {
        attempt.attestation = restored;
    }
    attempt.flag = None;
    if let Some(appeal) = attempt.appeal.as_mut().filter(|_| on_appeal) {
        appeal.decided = true;
    } else if !on_appeal {
        attempt.appeal = None;
    }
    attempt.officials.extend(by);
    // `stands` opens the score again, unless an earlier ruling keeps it shut.
    if ruling.kind == RulingKind::Stands && !on_appeal {
        attempt.locked = matches!(attempt.state, State::Amended | State::Struck);
    } else if !(earlier_stands && ruling.kind == RulingKind::Stands) {
        attempt.locked = true;
    }
}

fn admitted(attempt: &mut Attempt, admitted: bool) {
    if attempt.state == State::Late {
        attempt.refused = !admitted;
        if admitted {
            attempt.state = if attempt.attestation.is_some() { State::Attested } else { State::Entered };
        }
        return;
    }
    // A correction that was refused stands behind an attestation that nobody has decided on.
    let correction_first =
        attempt.waiting.as_ref().is_some_and(|w| !w.refused || attempt.waiting_attestation.is_none());
    if let Some(waiting) = attempt.waiting.take_if(|_| correction_first) {
        if admitted {
            attempt.upward |= waiting.stored.key < attempt.stored.key;
            attempt.stored = waiting.stored;
            attempt.details = waiting.details;
            attempt.attestation = None;
            attempt.waiting_attestation = None;
            attempt.state = State::Entered;
            attempt.stale = false;
        } else {
            attempt.waiting = Some(Waiting { refused: true, ..waiting });
        }
    } else if let Some(attestation) = attempt.waiting_attestation.take()
        && admitted
        && attempt.state == State::Entered
    {
        attempt.attestation = Some(attestation);
        attempt.state = State::Attested;
    }
}
