//! One group of changes as one transaction.
//!
//! The heads are read afresh, all that the group touches is loaded, the rules decide one change after another in
//! memory, each table is written once, and the commit makes it durable. A refusal never reaches SQL.

use super::competitions::Definition;
use super::db::{Db, Tx};
use super::heaviest::Loads;
use super::idempotency::{Answers, Earlier};
use super::load::{Loaded, NameKey, Wanted, load};
use super::merkle::Hash;
use super::save::{Changed, save};
use super::writer::{Answered, Committed, Job, WriteError};
use super::{Hold, Store, StoreError, Trouble, aside, dialect, merkle};
use crate::rules::event::Record;
use crate::rules::ledger::{Asked, Change, Decided, Effects, Ledger, RowKey};
use crate::rules::people::fold_name;
use jiff::Timestamp;
use std::collections::{BTreeMap, HashMap};
use std::panic::AssertUnwindSafe;
use std::sync::Arc;
use std::time::Duration;

/// How often something is tried that another process may have come between: the head looked for after
/// a commit whose answer was lost, a group whose key was used meanwhile.
const TRIES: u32 = 5;
const BETWEEN_TRIES: Duration = Duration::from_millis(500);

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
        settle(store, &saved, error).await?;
    }
    let committed = saved.into_iter().map(|one| {
        if let Some(definition) = one.definition {
            store.inner.definitions.put(one.committed.competition, definition);
        }
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

/// Ends a transaction that only held heads and read, so that what it read is as durable as what it
/// would have written: a commit that was cut off from its standby stands on the server and can be
/// read, but is lost with it. Who holds a head has written a lock; its commit waits for the standby too.
async fn vouch(groups: &Db, tx: Tx) -> Result<(), StoreError> {
    dialect::in_time(groups, false, tx.commit()).await
}

/// What became of a commit that failed: the log tells, where it can be read. It is read by one
/// who holds its head, for a commit whose answer was lost may still be under way. Our last record stands
/// where we put it, whoever has written after it; where another one stands, or none, ours never will.
async fn settle(store: &Store, saved: &[Saved], error: StoreError) -> Result<(), Failure> {
    if error.is_refused() {
        return Err(Failure::Undone(error));
    }
    let Some(one) = saved.first() else { return Err(Failure::Unknown(error)) };
    let slugs: Vec<&str> = saved.iter().map(|one| one.committed.slug.as_str()).collect();
    match find_leaf(store, &slugs, &one.committed).await {
        Ok(Some(leaf)) if leaf == one.last => Ok(()),
        Ok(_) => Err(Failure::Undone(error)),
        Err(_) => Err(Failure::Unknown(error)),
    }
}

/// What stands where our last record was put, once nobody else has the head in hand. A server that
/// stops takes a moment to come back.
async fn find_leaf(store: &Store, slugs: &[&str], ours: &Committed) -> Result<Option<Hash>, StoreError> {
    let mut tries = TRIES;
    loop {
        tries -= 1;
        let found = dialect::in_time(&store.inner.groups, false, async {
            let mut tx = store.begin_on(slugs, Hold::default()).await?;
            let leaf = super::log::leaf_at(&mut tx, ours.competition, ours.seq).await?;
            Ok((tx, leaf))
        })
        .await;
        let found = match found {
            Ok((tx, leaf)) => vouch(&store.inner.groups, tx).await.map(|()| leaf),
            Err(error) => Err(error),
        };
        match found {
            Err(error) if tries > 0 && error.trouble().is_some() => tokio::time::sleep(BETWEEN_TRIES).await,
            done => return done,
        }
    }
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
    definition: Option<Definition>,
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
            let loaded = load(tx, &store.inner.definitions, slug, wanted).await?;
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
                definition: definition.as_ref().map(|d| (d.seq, Arc::clone(&d.competition))),
                placements,
            };
            all.push(Saved { committed, last, definition });
        }
        if !all.is_empty() {
            dialect::tell(tx, &store.inner.me).await?;
        }
        if self.answers.is_fresh() {
            self.answers.save(tx, self.now).await?;
        }
        Ok(all)
    }
}

impl Part {
    fn definition(&self) -> Option<Definition> {
        let ledger = &self.loaded.ledger;
        let (raw, competition) = ledger.definition.clone()?;
        Some(Definition::new(ledger.definition_seq, raw, competition))
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
    use crate::app::Clock;
    use crate::rules::access::Actor;
    use crate::rules::competition::from_toml;
    use crate::rules::ledger::Precondition;
    use crate::store::log::leaf_at;
    use crate::store::writer::Writer;

    const FILE: &str = r#"
        [competition]
        slug = "SLUG"
        title = "Saltmarsh"
        time_zone = "Europe/Lisbon"
        age_date = 2027-01-15
        [[division]]
        slug = "women"
        title = "Women"
        category = "women"
    "#;

    fn apply(slug: &str) -> Asked {
        let raw = Box::new(from_toml(&FILE.replace("SLUG", slug)).expect("a file"));
        Asked {
            actor: Actor::operator(),
            competition: slug.to_owned(),
            received: Timestamp::UNIX_EPOCH,
            precondition: Precondition::None,
            salt: [7; 32],
            change: Change::Apply { raw, dry_run: false, rescore: false, reason: "put right".to_owned() },
        }
    }

    /// What a group has written of these competitions, as it is there.
    async fn saved(store: &Store) -> Vec<Saved> {
        let mut all = Vec::new();
        for (competition, seq, _) in store.list_heads().await.expect("heads") {
            let last = leaf_at(&mut store.read().await.expect("a connection"), competition, seq).await;
            let committed = Committed {
                competition,
                slug: if competition == 1 { "marsh" } else { "reed" }.to_owned(),
                after: 0,
                before: [0; 32],
                seq,
                peaks: merkle::Peaks::default(),
                definition: None,
                placements: Vec::new(),
            };
            all.push(Saved { committed, last: last.expect("it is read").expect("a leaf"), definition: None });
        }
        all
    }

    #[test]
    fn a_panic_is_an_error_of_the_one_who_caused_it() {
        assert_eq!(unwound(|| 2 + 2).expect("no panic"), 4);
        let error = unwound(|| -> i32 { panic!("no such row") }).expect_err("it panicked");
        assert!(error.to_string().contains("no such row"), "{error}");
        assert_eq!(error.trouble(), None, "the others of its group are done again without it");
    }

    #[tokio::test]
    async fn what_became_of_a_commit_without_an_answer_is_told_by_the_log() {
        let folder = tempfile::tempdir().expect("a folder");
        let store =
            Store::open(&format!("sqlite://{}", folder.path().join("tally.db").display())).await.expect("opens");
        let writer = Writer::start(store.clone(), Clock::fixed(Timestamp::UNIX_EPOCH), |_| ());
        let made = tokio::join!(writer.submit(apply("marsh"), None), writer.submit(apply("reed"), None));
        assert!(made.0.is_ok() && made.1.is_ok(), "{made:?}");
        let unknown = || StoreError::OutcomeUnknown(sqlx::Error::WorkerCrashed);
        // Ours stands, in each of the competitions of one group.
        let ours = saved(&store).await;
        assert_eq!(ours.len(), 2);
        assert!(settle(&store, &ours, unknown()).await.is_ok());
        let late = StoreError::Database(sqlx::Error::Io(std::io::ErrorKind::TimedOut.into()));
        assert!(settle(&store, &ours, late).await.is_ok(), "given up, it may be done all the same");
        // Whoever wrote after it.
        let rename = Asked {
            change: Change::Apply {
                raw: Box::new(from_toml(&FILE.replace("SLUG", "marsh").replace("Women", "All women")).expect("a file")),
                dry_run: false,
                rescore: false,
                reason: "put right".to_owned(),
            },
            ..apply("marsh")
        };
        writer.submit(rename, None).await.expect("applied");
        assert!(settle(&store, &ours, unknown()).await.is_ok());

        // Somebody else's stands where it was put, in the first or in all of them: it never will.
        let mut others = saved(&store).await;
        others.iter_mut().for_each(|one| one.last = [9; 32]);
        assert!(matches!(settle(&store, &others, unknown()).await, Err(Failure::Undone(_))));
        // Nothing stands there.
        let mut none = saved(&store).await;
        none.iter_mut().for_each(|one| one.committed.seq += 1);
        assert!(matches!(settle(&store, &none, unknown()).await, Err(Failure::Undone(_))));

        // The log cannot be read: nobody knows.
        store.close().await;
        assert!(matches!(settle(&store, &ours, unknown()).await, Err(Failure::Unknown(_))));
    }
}
