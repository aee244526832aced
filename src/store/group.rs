//! One group of changes as one transaction.
//!
//! The heads are read afresh, all that the group touches is loaded, the rules decide one change after another in
//! memory, each table is written once, and the commit makes it durable. A refusal never reaches SQL.

use super::competitions::Definition;
use super::db::Tx;
use super::heaviest::Loads;
use super::idempotency::{Answers, Earlier};
use super::load::{Loaded, NameKey, Wanted, load};
use super::merkle::Hash;
use super::save::{Changed, save};
use super::settle::{Fate, TRIES, settle, vouch};
use super::writer::{Answered, Committed, Job, WriteError};
use super::{Hold, Store, StoreError, Trouble, aside, dialect, merkle};
use crate::rules::event::Record;
use crate::rules::ledger::{Asked, Change, Decided, Effects, Ledger, RowKey};
use crate::rules::people::fold_name;
use crate::rules::placement::{self, Placement};
use jiff::Timestamp;
use std::collections::{BTreeMap, HashMap};
use std::panic::AssertUnwindSafe;

/// What a group came to.
pub(crate) struct Grouped {
    /// In the order of the jobs.
    pub(crate) answers: Vec<Result<Answered, WriteError>>,
    /// For each competition that changed.
    pub(crate) committed: Vec<Committed>,
}

/// Why a group came to nothing.
#[derive(Debug, thiserror::Error)]
pub(crate) enum Failure {
    /// Before the commit: nothing is done.
    #[error("rolled back: {0}")]
    Undone(StoreError),
    /// In the commit: it may or may not be done, or what was done before may not last.
    #[error("commit: {0}")]
    Unknown(StoreError),
}

impl Failure {
    /// What those are told who share the group.
    pub(crate) fn told(&self) -> WriteError {
        match self {
            Self::Undone(error) => match error.trouble() {
                Some(Trouble::Busy) => WriteError::Busy,
                Some(_) => WriteError::Unavailable,
                None => WriteError::Store(StoreError::RolledBack(error.to_string())),
            },
            Self::Unknown(_) => WriteError::Unknown,
        }
    }

    /// The same, with the cause.
    pub(crate) fn into_error(self) -> WriteError {
        match self {
            Self::Undone(error) if error.trouble().is_none() => WriteError::Store(error),
            other => other.told(),
        }
    }
}

/// Decides and commits; once more where another process has used a key meanwhile, to find what it was
/// used for. `brief`: others' heads are waited for only for a moment.
pub(crate) async fn commit(store: &Store, now: Timestamp, jobs: &[Job], brief: bool) -> Result<Grouped, Failure> {
    let mut tries = TRIES;
    loop {
        tries -= 1;
        match decide_and_commit(store, now, jobs, brief).await {
            Err(Failure::Undone(StoreError::KeyTaken)) if tries > 0 => {}
            done => {
                match &done {
                    Ok(done) if done.committed.is_empty() => {}
                    Ok(_) => store.note_written(None),
                    Err(Failure::Undone(error) | Failure::Unknown(error)) => store.note_written(Some(error)),
                }
                return done;
            }
        }
    }
}

async fn decide_and_commit(store: &Store, now: Timestamp, jobs: &[Job], brief: bool) -> Result<Grouped, Failure> {
    let wanted = wanted(jobs);
    let slugs: Vec<&str> = wanted.keys().copied().collect();
    let long = wanted.values().any(|w| w.all.everything);
    let groups = &store.inner.groups;
    let (mut tx, mut group) = dialect::in_time(groups, long, async {
        let mut tx = store.begin_on(&slugs, Hold { long, brief }).await?;
        match Group::load(store, &mut tx, now, jobs, &wanted).await {
            Ok(group) => Ok((tx, group)),
            Err(error) => Err(undo(tx, error).await),
        }
    })
    .await
    .map_err(Failure::Undone)?;
    let decide = |group: &mut Group| unwound(|| jobs.iter().map(|job| group.answer(job)).collect());
    // A whole file, over all that is stored, takes seconds.
    let answers = if long { aside(|| decide(&mut group)) } else { decide(&mut group) };
    let answers = match answers {
        Ok(answers) => answers,
        Err(error) => {
            return dialect::in_time(groups, false, async { Err(undo(tx, error).await) })
                .await
                .map_err(Failure::Undone);
        }
    };
    if !group.has_changes() {
        vouch(groups, tx).await.map_err(Failure::Unknown)?;
        return Ok(Grouped { answers, committed: Vec::new() });
    }
    let (tx, saved) = dialect::in_time(groups, long, async {
        match group.save(store, &mut tx).await {
            Ok(saved) => Ok((tx, saved)),
            Err(error) => Err(undo(tx, error).await),
        }
    })
    .await
    .map_err(Failure::Undone)?;
    // Nothing is left to work out: a commit that takes long waits for something that is not there.
    if let Err(error) = dialect::in_time(groups, false, tx.commit()).await {
        let slugs: Vec<&str> = saved.iter().map(|one| one.committed.slug.as_str()).collect();
        let fate = match saved.first() {
            Some(one) => settle(store, &slugs, (&one.committed, one.last), &error).await,
            None => Fate::Unknown,
        };
        match fate {
            Fate::Done => {}
            Fate::Undone => return Err(Failure::Undone(error)),
            Fate::Unknown => return Err(Failure::Unknown(error)),
        }
    }
    let records = saved.iter().map(|one| one.committed.seq - one.committed.after).sum();
    let is_of_entry = |placed: &&Placement| matches!(placed.change, placement::Change::Entry { .. });
    let of_entries = |one: &Saved| one.committed.placements.iter().filter(is_of_entry).count();
    let entries = saved.iter().map(of_entries).sum::<usize>() as u64;
    dialect::grow(&store.inner.reads, &store.inner.grown, records, entries);
    let committed = saved.into_iter().map(|one| {
        let Committed { competition, after, before, seq, ref peaks, ref definition, .. } = one.committed;
        if let Some(definition) = definition {
            store.inner.definitions.put(competition, definition.clone());
        }
        let ends = (competition, (after, before), (seq, peaks.root()));
        store.inner.seldom.keep(ends, &one.ledger);
        one.committed
    });
    Ok(Grouped { answers, committed: committed.collect() })
}

/// A change that panics the rules is refused alone; it does not end the process, and with it every other
/// one to which it is sent again. What it left half done in memory is thrown away.
fn unwound<T>(decide: impl FnOnce() -> T) -> Result<T, StoreError> {
    std::panic::catch_unwind(AssertUnwindSafe(decide)).map_err(|panic| {
        let said = panic.downcast_ref::<String>().map(String::as_str).or_else(|| panic.downcast_ref::<&str>().copied());
        StoreError::RolledBack(format!("a panic: {}", said.unwrap_or("without a text")))
    })
}

/// What all jobs touch, by competition.
fn wanted(jobs: &[Job]) -> BTreeMap<&str, Wanted> {
    let mut wanted: BTreeMap<&str, Wanted> = BTreeMap::new();
    for job in jobs {
        wanted.entry(&job.asked.competition).or_default().add(job.asked.touches());
    }
    wanted
}

async fn undo(tx: Tx, error: StoreError) -> StoreError {
    let _ = tx.rollback().await; // Should even this fail, the connection is closed, which undoes it too.
    error
}

/// One competition as it is after the commit.
struct Saved {
    committed: Committed,
    /// Leaf of the last record.
    last: Hash,
    /// What was read and changed, as it is then.
    ledger: Ledger,
}

struct Part {
    loaded: Loaded,
    before: (u64, Hash),
    changed: Changed,
}

struct Group {
    now: Timestamp,
    parts: BTreeMap<String, Part>,
    answers: Answers,
}

impl Group {
    async fn load(
        store: &Store,
        tx: &mut Tx,
        now: Timestamp,
        jobs: &[Job],
        wanted: &BTreeMap<&str, Wanted>,
    ) -> Result<Self, StoreError> {
        let answers = Answers::load(tx, jobs.iter().filter_map(|job| job.key.as_ref()), now).await?;
        let mut parts = BTreeMap::new();
        for (slug, wanted) in wanted {
            let loaded = load(tx, &store.inner, slug, wanted).await?;
            let before = (loaded.ledger.head.seq, loaded.peaks.root());
            parts.insert((*slug).to_owned(), Part { loaded, before, changed: Changed::default() });
        }
        Ok(Self { now, parts, answers })
    }

    fn answer(&mut self, job: &Job) -> Result<Answered, WriteError> {
        match job.key.as_ref().and_then(|key| self.answers.find(key)) {
            Some(Earlier::Same(answer)) => return Ok(*answer),
            Some(Earlier::Other) => return Err(WriteError::KeyReused),
            None => {}
        }
        let Some(part) = self.parts.get_mut(&job.asked.competition) else { return Err(WriteError::Unknown) };
        let answered = part.decide(&job.asked, self.now)?;
        if let Some(key) = job.key.as_ref().filter(|_| !dry(&job.asked)) {
            self.answers.put(key, &answered);
        }
        Ok(answered)
    }

    fn has_changes(&self) -> bool {
        self.answers.is_fresh() || self.parts.values().any(|part| !part.changed.records.is_empty())
    }

    async fn save(mut self, store: &Store, tx: &mut Tx) -> Result<Vec<Saved>, StoreError> {
        let mut all = Vec::new();
        for (slug, part) in std::mem::take(&mut self.parts) {
            let definition = part.changed.rows.contains(&RowKey::Definition).then(|| part.definition()).flatten();
            let placements = part.changed.placements.clone();
            let Some(&(_, _, last)) = part.changed.records.last() else { continue };
            let id = save(tx, &part.loaded, part.changed).await?;
            let committed = Committed {
                competition: id,
                slug,
                after: part.before.0,
                before: part.before.1,
                peaks: part.loaded.peaks.clone(),
                seq: part.loaded.ledger.head.seq,
                definition,
                placements,
            };
            all.push(Saved { committed, last, ledger: part.loaded.ledger });
        }
        if !all.is_empty() {
            dialect::tell(tx, &store.inner.me);
        }
        if self.answers.is_fresh() {
            self.answers.save(store, tx, self.now).await?;
        }
        Ok(all)
    }
}

impl Part {
    fn definition(&self) -> Option<Definition> {
        let ledger = &self.loaded.ledger;
        let (raw, competition) = ledger.definition.clone()?;
        let of_file = |(record, ..): &&(Record, Vec<u8>, Hash)| record.seq == ledger.definition_seq;
        let (record, _, leaf) = self.changed.records.iter().rev().find(of_file)?;
        Some(Definition::new((record.seq, *leaf), raw, competition))
    }

    fn decide(&mut self, asked: &Asked, now: Timestamp) -> Result<Answered, WriteError> {
        // The log's instants never go back, whatever the machine's clock does.
        let head = Timestamp::from_microsecond(self.loaded.ledger.head.at).unwrap_or(now);
        let now = now.max(head);
        let mut decided = self.loaded.ledger.decide(asked, now).map_err(WriteError::Refused)?;
        if !dry(asked) {
            self.append(&mut decided, now);
        }
        let ledger = &self.loaded.ledger;
        let (attempts, entry) = match &asked.change {
            Change::Score { workout, bib, .. } => (
                ledger.attempts.get(&(workout.clone(), *bib)).cloned().unwrap_or_default(),
                ledger.entries.get(bib).cloned().map(Box::new),
            ),
            _ => (Vec::new(), None),
        };
        Ok(Answered {
            outcome: decided.outcome,
            warnings: decided.warnings,
            seq: ledger.head.seq,
            attempts,
            entry,
            replayed: false,
        })
    }

    /// Gives out log positions and folds.
    fn append(&mut self, decided: &mut Decided, now: Timestamp) {
        let Loaded { ledger, peaks, loads, names, .. } = &mut self.loaded;
        for (id, person, _) in &decided.persons {
            ledger.persons.insert(*id, person.clone());
        }
        for (id, text, _, _) in &decided.notes {
            ledger.videos.insert(*id, text.clone());
        }
        let actor = decided.actor.take().unwrap_or(crate::rules::access::ActorRef { account: None, role: None });
        for event in decided.events.drain(..) {
            let record =
                Record { seq: ledger.head.seq + 1, at: now, actor: actor.clone(), subject: event.subject(), event };
            let bytes = record.to_bytes();
            let leaf = merkle::leaf(&bytes);
            peaks.append(leaf);
            let Effects { rows, placements } = ledger.fold(&record);
            look_around(ledger, loads, names, &rows);
            self.changed.rows.extend(rows);
            self.changed.placements.extend(placements);
            self.changed.records.push((record, bytes, leaf));
        }
        self.changed.persons.append(&mut decided.persons);
        self.changed.notes.append(&mut decided.notes);
    }
}

fn dry(asked: &Asked) -> bool {
    matches!(asked.change, Change::Apply { dry_run: true, .. } | Change::MoveEntry { dry_run: true, .. })
}

/// What is around the scores touched, kept true for the next change: names, sheets, judges in use, loads.
fn look_around(ledger: &mut Ledger, loads: &mut Loads, names: &mut HashMap<u32, NameKey>, rows: &[RowKey]) {
    for row in rows {
        match row {
            RowKey::Entry(bib) => {
                let Some(entry) = ledger.entries.get(bib) else { continue };
                if let Some(before) = names.remove(bib) {
                    ledger.by_name.remove(&before);
                }
                if let Some(person) = ledger.persons.get(&entry.person.id) {
                    let name = (fold_name(&person.name), person.born);
                    names.insert(*bib, name.clone());
                    if let Some(other) = ledger.by_name.insert(name, *bib).filter(|other| other != bib) {
                        names.remove(&other);
                    }
                }
            }
            RowKey::Attempt { workout, bib, attempt } => {
                let attempts = ledger.attempts.get(&(workout.clone(), *bib));
                let found = attempts.and_then(|all| all.iter().find(|a| a.score.attempt == *attempt));
                let Some(attempt) = found.cloned() else { continue };
                loads.put(ledger, &attempt);
                if let Some(sheet) = &attempt.details.sheet {
                    let user = (attempt.stored.gym.clone().unwrap_or_default(), *bib);
                    ledger.around.sheets.entry((workout.clone(), sheet.clone())).or_default().insert(user);
                }
                if let Some(attestation) = &attempt.attestation {
                    let performance = (workout.clone(), *bib, attempt.stored.performed_at);
                    let known = ledger.around.judging.entry(attestation.judge.clone()).or_default();
                    if !known.contains(&performance) {
                        known.push(performance);
                    }
                }
            }
            _ => {}
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_panic_is_an_error_of_the_one_who_caused_it() {
        assert_eq!(unwound(|| 2 + 2).expect("no panic"), 4);
        let error = unwound(|| -> i32 { panic!("no such row") }).expect_err("it panicked");
        assert!(error.to_string().contains("no such row"), "{error}");
        assert_eq!(error.trouble(), None, "the others of its group are done again without it");
    }
}
