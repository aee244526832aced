//! What a group changed, written out: multi-row statements of fixed sizes, the head once.
//!
//! The same functions that make the rows make them for [`super::verify`], which compares.

use super::db::{Bulk, Tx, Val, rows};
use super::load::Loaded;
use super::merkle::Hash;
use super::{StoreError, column, json, names};
use crate::rules::event::{Event, Record};
use crate::rules::ledger::{Ledger, RowKey};
use crate::rules::life::{Attempt, State};
use crate::rules::people::{Entry, EntryState, Gym, Judge, Person, fold_name};
use crate::rules::performance::{Around, RawPerformance, check};
use crate::rules::placement::{Change, Placement};
use crate::rules::quantity::Grams;
use crate::rules::workout::Format;
use std::collections::{BTreeMap, BTreeSet, HashMap};

bulk!(RECORDS = Bulk::rows("INSERT INTO records (competition, seq, at, action, subject, bytes, leaf) VALUES ", 7, ""));
bulk!(
    GYMS = Bulk::rows(
        "INSERT INTO gyms (competition, slug, body) VALUES ",
        3,
        " ON CONFLICT (competition, slug) DO UPDATE SET body = excluded.body"
    )
);
bulk!(
    ENTRIES = Bulk::rows(
        "INSERT INTO entries (competition, bib, division, gym, state, show_name, person, body) VALUES ",
        8,
        " ON CONFLICT (competition, bib) DO UPDATE SET division = excluded.division, gym = excluded.gym, state = excluded.state, show_name = excluded.show_name, person = excluded.person, body = excluded.body"
    )
);
bulk!(
    JUDGES = Bulk::rows(
        "INSERT INTO judges (competition, code, gym, person, body) VALUES ",
        5,
        " ON CONFLICT (competition, code) DO UPDATE SET gym = excluded.gym, person = excluded.person, body = excluded.body"
    )
);
bulk!(
    SCORES = Bulk::rows(
        "INSERT INTO scores (competition, bib, workout, attempt, etag, state, placed, key, level, division, entry_gym, gym, sheet, judge, performed_at, grams, waits, body) VALUES ",
        18,
        " ON CONFLICT (competition, bib, workout, attempt) DO UPDATE SET etag = excluded.etag, state = excluded.state, placed = excluded.placed, key = excluded.key, level = excluded.level, division = excluded.division, entry_gym = excluded.entry_gym, gym = excluded.gym, sheet = excluded.sheet, judge = excluded.judge, performed_at = excluded.performed_at, grams = excluded.grams, waits = excluded.waits, body = excluded.body"
    )
);
bulk!(
    STATEMENTS = Bulk::rows(
        "INSERT INTO not_taking_part (competition, bib, workout) VALUES ",
        3,
        " ON CONFLICT (competition, bib, workout) DO NOTHING"
    )
);
bulk!(
    EXTENSIONS = Bulk::rows(
        "INSERT INTO extensions (competition, n, body) VALUES ",
        3,
        " ON CONFLICT (competition, n) DO UPDATE SET body = excluded.body"
    )
);
bulk!(
    PLACEMENTS = Bulk::rows(
        "INSERT INTO placements (competition, seq, bib, workout, attempt, key, level, state, text, division, gym, country, region) VALUES ",
        13,
        ""
    )
);
bulk!(
    PERSONS = Bulk::rows(
        "INSERT INTO persons (competition, id, salt, folded_name, born, folded_email, body) VALUES ",
        7,
        " ON CONFLICT (competition, id) DO UPDATE SET salt = excluded.salt, folded_name = excluded.folded_name, born = excluded.born, folded_email = excluded.folded_email, body = excluded.body"
    )
);
bulk!(NOTES = Bulk::rows("INSERT INTO notes (competition, id, salt, bib, public, text) VALUES ", 6, ""));

/// All that a group did to one competition.
#[derive(Default)]
pub(crate) struct Changed {
    /// With the bytes and leaf hash of each.
    pub(crate) records: Vec<(Record, Vec<u8>, Hash)>,
    /// Rows to write, from the ledger.
    pub(crate) rows: BTreeSet<RowKey>,
    /// In log order.
    pub(crate) placements: Vec<Placement>,
    /// Number, facts, salt.
    pub(crate) persons: Vec<(u64, Person, [u8; 32])>,
    /// Number, text, salt, bib.
    pub(crate) notes: Vec<(u64, String, [u8; 32], Option<u32>)>,
}

/// Writes what changed; gives the competition's number.
pub(crate) async fn save(tx: &mut Tx, loaded: &Loaded, changed: Changed) -> Result<i64, StoreError> {
    let ledger = &loaded.ledger;
    let id = head(tx, loaded).await?;
    let public = public_notes(changed.records.iter().map(|(record, _, _)| &record.event));

    let mut gyms = Vec::new();
    let mut entries = Vec::new();
    let mut judges = Vec::new();
    let mut scores = Vec::new();
    let mut statements = Vec::new();
    let mut extensions = Vec::new();
    for (n, key) in changed.rows.iter().enumerate() {
        if n % AT_A_TIME == AT_A_TIME - 1 {
            tokio::task::yield_now().await;
        }
        match key {
            RowKey::Definition => set_definition(tx, id, ledger).await?,
            RowKey::Gym(slug) => gyms.extend(ledger.gyms.get(slug)),
            RowKey::Entry(bib) => {
                if let Some(entry) = ledger.entries.get(bib) {
                    entries.push(entry);
                    move_scores(tx, id, loaded, entry).await?;
                }
            }
            RowKey::Judge(code) => judges.extend(ledger.judges.get(code)),
            RowKey::Attempt { workout, bib, attempt } => {
                let attempts = ledger.attempts.get(&(workout.clone(), *bib));
                let found = attempts.and_then(|all| all.iter().find(|a| a.score.attempt == *attempt));
                scores.extend(found);
            }
            RowKey::NotTakingPart { workout, bib } => {
                if ledger.not_taking_part.contains_key(&(workout.clone(), *bib)) {
                    statements.push((workout, *bib));
                } else {
                    db!(&mut *tx, exec: "DELETE FROM not_taking_part WHERE competition = $1 AND bib = $2 AND workout = $3", id, i64::from(*bib), workout.as_str())?;
                }
            }
            RowKey::Extension(n) => {
                extensions.extend(ledger.extensions.get(*n).map(|extension| (*n, extension)));
            }
            RowKey::Person(person) => erase(tx, id, ledger, *person).await?,
        }
    }
    GYMS.write(tx, rows(gyms.into_iter().map(|gym| gym_row(id, gym)))).await?;
    ENTRIES.write(tx, rows(entries.into_iter().map(|entry| entry_row(id, entry)))).await?;
    JUDGES.write(tx, rows(judges.into_iter().map(|judge| judge_row(id, judge)))).await?;
    SCORES.write(tx, rows(scores.into_iter().map(|attempt| score_row(id, ledger, attempt)))).await?;
    STATEMENTS.write(tx, rows(statements.into_iter().map(|(workout, bib)| statement_row(id, workout, bib)))).await?;
    EXTENSIONS.write(tx, rows(extensions.into_iter().map(|(n, e)| extension_row(id, n, &json(e))))).await?;
    PLACEMENTS.write(tx, rows(changed.placements.iter().map(|placement| placement_row(id, placement)))).await?;
    // A number that was erased never comes back.
    let persons = newest(&changed.persons).filter(|(n, ..)| !changed.rows.contains(&RowKey::Person(*n)));
    let persons: Vec<_> = persons.collect();
    let fresh: HashMap<u64, &str> = persons.iter().map(|(n, person, _)| (*n, person.name.as_str())).collect();
    let of_entry = |key: &RowKey| match key {
        RowKey::Entry(bib) => {
            ledger.entries.get(bib).and_then(|e| Some((*bib, (*fresh.get(&e.person.id)?).to_owned())))
        }
        _ => None,
    };
    let names = changed.rows.iter().filter_map(of_entry);
    names::save(tx, id, names.map(|(bib, name)| (bib, name, loaded.entries_before.contains_key(&bib)))).await?;
    PERSONS.write(tx, rows(persons.iter().map(|(n, person, salt)| person_row(id, *n, person, salt)))).await?;
    let silenced = silenced(&changed.records, ledger);
    let kept = changed.notes.iter().filter(|(n, ..)| !silenced.contains(n));
    let notes = kept.map(|(n, text, salt, bib)| note_row(id, *n, text, salt, *bib, public.contains(n)));
    NOTES.write(tx, rows(notes)).await?;
    let records = changed.records.into_iter().map(|(record, bytes, leaf)| record_row(id, &record, bytes, &leaf));
    RECORDS.write(tx, rows(records)).await?;
    Ok(id)
}

/// How many changed rows are looked at before others have this thread for a while.
const AT_A_TIME: usize = 256;

/// The head row: made, or moved on.
async fn head(tx: &mut Tx, loaded: &Loaded) -> Result<i64, StoreError> {
    let ledger = &loaded.ledger;
    let head = &ledger.head;
    let Some((raw, _)) = &ledger.definition else {
        return Err(StoreError::unreadable("competitions", "records without a file"));
    };
    let (seq, bib, person, note) =
        (column(head.seq), i64::from(head.last_bib), column(head.last_person), column(head.last_note));
    let (peaks, root) = (loaded.peaks.to_bytes(), loaded.peaks.root().to_vec());
    let definition_seq = column(ledger.definition_seq);
    let Some(id) = loaded.id else {
        return Ok(db!(&mut *tx, val i64:
            "INSERT INTO competitions (slug, definition, definition_seq, seq, at, last_bib, last_person, last_note, peaks, root) VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10) RETURNING id",
            loaded.slug.as_str(), json(raw.as_ref()), definition_seq, seq, head.at, bib, person, note, peaks, root)?);
    };
    db!(&mut *tx, exec:
        "UPDATE competitions SET seq = $1, at = $2, last_bib = $3, last_person = $4, last_note = $5, peaks = $6, root = $7 WHERE id = $8",
        seq, head.at, bib, person, note, peaks, root, id)?;
    Ok(id)
}

/// The file in force.
async fn set_definition(tx: &mut Tx, id: i64, ledger: &Ledger) -> Result<(), StoreError> {
    let Some((raw, _)) = &ledger.definition else { return Ok(()) };
    let seq = column(ledger.definition_seq);
    db!(tx, exec: "UPDATE competitions SET definition = $1, definition_seq = $2 WHERE id = $3", json(raw.as_ref()), seq, id)?;
    Ok(())
}

/// Scores carry their entry's division and gym to be searched by.
async fn move_scores(tx: &mut Tx, id: i64, loaded: &Loaded, entry: &Entry) -> Result<(), StoreError> {
    let moved = loaded
        .entries_before
        .get(&entry.bib)
        .is_some_and(|(division, gym)| *division != entry.division || *gym != entry.gym);
    if moved {
        db!(&mut *tx, exec: "UPDATE scores SET division = $1, entry_gym = $2 WHERE competition = $3 AND bib = $4",
            entry.division.as_str(), entry.gym.as_deref(), id, i64::from(entry.bib))?;
    }
    Ok(())
}

/// Takes a person's facts away, and all notes about the entry.
async fn erase(tx: &mut Tx, id: i64, ledger: &Ledger, person: u64) -> Result<(), StoreError> {
    db!(&mut *tx, exec: "DELETE FROM persons WHERE competition = $1 AND id = $2", id, column(person))?;
    for entry in ledger.entries.values().filter(|e| e.person.id == person) {
        db!(&mut *tx, exec: "DELETE FROM notes WHERE competition = $1 AND bib = $2", id, i64::from(entry.bib))?;
        names::erase(tx, id, entry.bib).await?;
    }
    Ok(())
}

/// Notes of this group about somebody whom a later record of it erases: never written.
fn silenced(records: &[(Record, Vec<u8>, Hash)], ledger: &Ledger) -> BTreeSet<u64> {
    let mut about: BTreeMap<u32, Vec<u64>> = BTreeMap::new();
    let mut silenced = BTreeSet::new();
    for (record, ..) in records {
        if let Event::Erased { person } = &record.event {
            let bibs = ledger.entries.values().filter(|e| e.person.id == *person).map(|e| e.bib);
            silenced.extend(bibs.filter_map(|bib| about.remove(&bib)).flatten());
        }
        if let (Some(bib), notes) = record.event.notes() {
            about.entry(bib).or_default().extend(notes.iter().map(|n| n.id));
        }
    }
    silenced
}

/// The last of each person: one row is not written twice by one statement.
fn newest(persons: &[(u64, Person, [u8; 32])]) -> impl Iterator<Item = &(u64, Person, [u8; 32])> {
    let last: HashMap<u64, usize> = persons.iter().enumerate().map(|(n, (id, ..))| (*id, n)).collect();
    persons.iter().enumerate().filter(move |(n, (id, ..))| last.get(id) == Some(n)).map(|(_, person)| person)
}

/// Numbers of the notes that everybody may read: the reasons of rulings and of changes to what was
/// published.
pub(crate) fn public_notes<'a>(events: impl Iterator<Item = &'a Event>) -> BTreeSet<u64> {
    events
        .filter_map(|event| match event {
            Event::Ruled { reason, .. } | Event::Applied { reason: Some(reason), .. } => Some(reason.id),
            _ => None,
        })
        .collect()
}

fn record_row(id: i64, record: &Record, bytes: Vec<u8>, leaf: &Hash) -> Vec<Val> {
    vec![
        Val::Int(id),
        Val::Int(column(record.seq)),
        Val::Int(record.at.as_microsecond()),
        Val::Text(record.event.action().to_owned()),
        Val::Text(record.subject.clone()),
        Val::Bytes(bytes),
        Val::Bytes(leaf.to_vec()),
    ]
}

pub(crate) fn gym_row(id: i64, gym: &Gym) -> Vec<Val> {
    vec![Val::Int(id), Val::Text(gym.slug.clone()), Val::Text(json(gym))]
}

/// `entries.state`, as in JSON.
pub(crate) fn entry_state(state: EntryState) -> &'static str {
    match state {
        EntryState::Active => "active",
        EntryState::Withdrawn => "withdrawn",
        EntryState::Removed => "removed",
        EntryState::Guest => "guest",
    }
}

pub(crate) fn entry_row(id: i64, entry: &Entry) -> Vec<Val> {
    vec![
        Val::Int(id),
        Val::Int(entry.bib.into()),
        Val::Text(entry.division.clone()),
        Val::MaybeText(entry.gym.clone()),
        Val::Text(entry_state(entry.state).to_owned()),
        Val::Bool(entry.show_name),
        Val::Int(column(entry.person.id)),
        Val::Text(json(entry)),
    ]
}

pub(crate) fn judge_row(id: i64, judge: &Judge) -> Vec<Val> {
    vec![
        Val::Int(id),
        Val::Text(judge.code.clone()),
        Val::MaybeText(judge.gym.clone()),
        Val::Int(column(judge.person.id)),
        Val::Text(json(judge)),
    ]
}

pub(crate) fn score_row(id: i64, ledger: &Ledger, attempt: &Attempt) -> Vec<Val> {
    let entry = ledger.entries.get(&attempt.score.bib);
    let division = entry.map(|e| e.division.clone()).unwrap_or_default();
    let grams = grams_of(ledger, &division, attempt).map(|grams| column(grams.0));
    vec![
        Val::Int(id),
        Val::Int(attempt.score.bib.into()),
        Val::Text(attempt.score.workout.clone()),
        Val::Int(attempt.score.attempt.into()),
        Val::Int(column(attempt.etag)),
        Val::Text(attempt.state.as_str().to_owned()),
        Val::Bool(attempt.state.placed()),
        Val::Int(attempt.stored.key.0),
        Val::Int(attempt.stored.level.into()),
        Val::Text(division),
        Val::MaybeText(entry.and_then(|e| e.gym.clone())),
        Val::MaybeText(attempt.stored.gym.clone()),
        Val::MaybeText(attempt.details.sheet.clone()),
        Val::MaybeText(attempt.attestation.as_ref().map(|a| a.judge.clone())),
        Val::Int(attempt.stored.performed_at.as_microsecond()),
        Val::MaybeInt(grams),
        Val::Int(waits(attempt)),
        Val::Text(json(attempt)),
    ]
}

/// Who waits for something about a score: see the table.
fn waits(attempt: &Attempt) -> i64 {
    let organiser = attempt.state == State::Late || attempt.waiting.is_some() || attempt.waiting_attestation.is_some();
    let referees = match attempt.state {
        State::Flagged | State::Withheld => true,
        State::Attested => attempt.upward || attempt.appeal.is_some(),
        _ => attempt.appeal.is_some(),
    };
    i64::from(organiser) + 2 * i64::from(referees)
}

/// What a load of this score is compared with: only `max_load` has one.
pub(crate) fn grams_of(ledger: &Ledger, division: &str, attempt: &Attempt) -> Option<Grams> {
    let (_, competition) = ledger.definition.as_ref()?;
    let workout = competition.workout(&attempt.score.workout)?;
    if workout.format != Format::MaxLoad {
        return None;
    }
    let task =
        competition.prescription(&workout.slug, division, attempt.stored.level).map_or(&workout.task, |p| &p.task);
    let text = RawPerformance::Text(attempt.stored.text.clone());
    let performance = check(task, &text, &Around::default()).ok()?.value;
    performance.grams(task)
}

pub(crate) fn statement_row(id: i64, workout: &str, bib: u32) -> Vec<Val> {
    vec![Val::Int(id), Val::Int(bib.into()), Val::Text(workout.to_owned())]
}

pub(crate) fn extension_row(id: i64, n: usize, body: &str) -> Vec<Val> {
    vec![Val::Int(id), Val::Int(column(n as u64)), Val::Text(body.to_owned())]
}

pub(crate) fn placement_row(id: i64, placement: &Placement) -> Vec<Val> {
    let mut row = vec![Val::Int(id), Val::Int(column(placement.seq)), Val::Int(placement.bib.into())];
    match &placement.change {
        Change::Entry { division, gym, country, region, state } => row.extend([
            Val::Text(String::new()),
            Val::MaybeInt(None),
            Val::MaybeInt(None),
            Val::MaybeInt(None),
            Val::Text(entry_state(*state).to_owned()),
            Val::MaybeText(None),
            Val::MaybeText(Some(division.clone())),
            Val::MaybeText(gym.clone()),
            Val::MaybeText(Some(country.clone())),
            Val::MaybeText(Some(region.clone())),
        ]),
        Change::Score { workout, attempt, key, level, state, text } => row.extend([
            Val::Text(workout.clone()),
            Val::MaybeInt(Some((*attempt).into())),
            Val::MaybeInt(key.map(|k| k.0)),
            Val::MaybeInt(Some((*level).into())),
            Val::Text(state.as_str().to_owned()),
            Val::MaybeText(Some(text.clone())),
            Val::MaybeText(None),
            Val::MaybeText(None),
            Val::MaybeText(None),
            Val::MaybeText(None),
        ]),
    }
    row
}

fn person_row(id: i64, n: u64, person: &Person, salt: &[u8; 32]) -> Vec<Val> {
    let (name, born, email) = searched_by(person);
    vec![
        Val::Int(id),
        Val::Int(column(n)),
        Val::Bytes(salt.to_vec()),
        Val::Text(name),
        Val::MaybeText(born),
        Val::Text(email),
        Val::Text(json(person)),
    ]
}

/// The columns a person is found by: folded name, birth, folded e-mail.
pub(crate) fn searched_by(person: &Person) -> (String, Option<String>, String) {
    let email = if person.email.is_empty() { String::new() } else { fold_name(&person.email) };
    (fold_name(&person.name), person.born.map(|b| b.to_string()), email)
}

fn note_row(id: i64, n: u64, text: &str, salt: &[u8; 32], bib: Option<u32>, public: bool) -> Vec<Val> {
    vec![
        Val::Int(id),
        Val::Int(column(n)),
        Val::Bytes(salt.to_vec()),
        Val::MaybeInt(bib.map(i64::from)),
        Val::Bool(public),
        Val::Text(text.to_owned()),
    ]
}
