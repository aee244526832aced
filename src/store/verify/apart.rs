//! What stands apart from the log, against the commitments that the log has of it: facts of
//! persons, free texts. Where a person was erased, both must be gone.

use super::{Stop, differ};
use crate::rules::event::Event;
use crate::rules::ledger::{Ledger, note_commitment};
use crate::rules::people::{Person, PersonRef, name_starts};
use crate::store::db::Tx;
use crate::store::load::persons_of;
use crate::store::{names, parse, save};
use crate::words::Sentence;
use std::collections::{BTreeMap, BTreeSet};

/// Rows read at once.
const CHUNK: i64 = 1_000;

/// What the log says of what stands apart.
#[derive(Default)]
pub(super) struct Apart {
    /// Person → the newest commitment.
    persons: BTreeMap<u64, String>,
    erased: BTreeSet<u64>,
    /// Note → commitment, bib it is about, public.
    notes: BTreeMap<u64, (String, Option<u32>, bool)>,
    /// Bibs about which nothing is kept any more, and up to which note.
    silent: BTreeMap<u32, u64>,
    /// Person → its bib.
    bibs: BTreeMap<u64, u32>,
}

/// Whether an entry is this person's now.
fn is_of(ledger: &Ledger, bib: u32, person: u64) -> bool {
    ledger.entries.get(&bib).is_some_and(|entry| entry.person.id == person)
}

/// Under what names are found, compared so far: bibs, and how many rows they have.
#[derive(Default)]
struct Found {
    bibs: BTreeSet<u32>,
    rows: i64,
}

impl Found {
    async fn compare(&mut self, tx: &mut Tx, id: i64, names: BTreeMap<u32, BTreeSet<String>>) -> Result<(), Stop> {
        let there = names::of_bibs(tx, id, names.keys().copied()).await?;
        for (bib, starts) in names {
            if there.get(&bib).unwrap_or(&BTreeSet::new()) != &starts {
                let sentence = Sentence::new("table_row_differs").with("table", "name_starts").with("key", bib);
                return differ(sentence.with("column", "start"));
            }
            self.rows += i64::try_from(starts.len()).unwrap_or(i64::MAX);
            self.bibs.insert(bib);
        }
        Ok(())
    }

    /// Nobody else is found.
    async fn end(&self, tx: &mut Tx, id: i64) -> Result<(), Stop> {
        let rows = db!(&mut *tx, val i64: "SELECT COUNT(*) FROM name_starts WHERE competition = $1", id)?;
        if rows == self.rows {
            return Ok(());
        }
        let bibs =
            db!(&mut *tx, vals i64: "SELECT DISTINCT bib FROM name_starts WHERE competition = $1 ORDER BY bib", id)?;
        let known = |bib: &i64| u32::try_from(*bib).is_ok_and(|bib| self.bibs.contains(&bib));
        let extra = bibs.into_iter().find(|bib| !known(bib)).unwrap_or_default();
        differ(Sentence::new("table_row_extra").with("table", "name_starts").with("key", extra))
    }
}

impl Apart {
    /// Remembers what a record says.
    pub(super) fn note(&mut self, event: &Event) {
        match event {
            Event::GymSet { gym } => gym.contact.iter().for_each(|person| self.person(person)),
            Event::JudgeSet { judge } => self.person(&judge.person),
            Event::EntrySet { entry } | Event::EntryMoved { entry, .. } | Event::EntryAmended { entry, .. } => {
                self.person(&entry.person);
                self.bibs.insert(entry.person.id, entry.bib);
            }
            Event::Erased { person } => {
                self.erased.insert(*person);
                if let Some(bib) = self.bibs.get(person) {
                    let last = self.notes.last_key_value().map_or(0, |(id, _)| *id);
                    self.silent.insert(*bib, last);
                }
            }
            _ => {}
        }
        let (bib, notes) = event.notes();
        let public = save::public_notes(std::iter::once(event));
        for note in notes {
            self.notes.insert(note.id, (note.commitment.clone(), bib, public.contains(&note.id)));
        }
    }

    fn person(&mut self, person: &PersonRef) {
        self.persons.insert(person.id, person.commitment.clone());
    }

    /// Against the tables.
    pub(super) async fn compare(&self, tx: &mut Tx, id: i64, ledger: &Ledger) -> Result<(), Stop> {
        self.compare_persons(tx, id, ledger).await?;
        self.compare_notes(tx, id).await
    }

    async fn compare_persons(&self, tx: &mut Tx, id: i64, ledger: &Ledger) -> Result<(), Stop> {
        type Row = (i64, Vec<u8>, String, Option<String>, String, String);
        let mut there = BTreeSet::new();
        let mut after = i64::MIN;
        let mut found = Found::default();
        loop {
            let mut names: BTreeMap<u32, BTreeSet<String>> = BTreeMap::new();
            let rows = db!(&mut *tx, all Row:
                "SELECT id, salt, folded_name, born, folded_email, body FROM persons WHERE competition = $1 AND id > $2 ORDER BY id LIMIT $3",
                id, after, CHUNK)?;
            let Some(last) = rows.last() else { break };
            after = last.0;
            for (n, salt, name, born, email, body) in rows {
                let extra = || Sentence::new("table_row_extra").with("table", "persons").with("key", n);
                let Ok(person) = u64::try_from(n) else { return differ(extra()) };
                let about = |code| Sentence::new(code).with("id", person);
                if self.erased.contains(&person) {
                    return differ(about("person_not_erased"));
                }
                let Some(commitment) = self.persons.get(&person) else {
                    return differ(extra());
                };
                let facts = parse::<Person>("persons", &body).ok();
                let salt: Option<[u8; 32]> = salt.try_into().ok();
                let committed = facts.as_ref().zip(salt).is_some_and(|(p, salt)| p.commitment(&salt) == *commitment);
                let Some(facts) = facts.filter(|p| committed && save::searched_by(p) == (name, born, email)) else {
                    return differ(about("person_altered"));
                };
                let bib = self.bibs.get(&person).filter(|bib| is_of(ledger, **bib, person));
                names.extend(bib.map(|bib| (*bib, name_starts(&facts.name))));
                there.insert(person);
            }
            found.compare(tx, id, names).await?;
        }
        found.end(tx, id).await?;
        let missing = persons_of(ledger).map(|p| p.id).find(|p| !there.contains(p) && !self.erased.contains(p));
        missing.map_or(Ok(()), |person| differ(Sentence::new("person_missing").with("id", person)))
    }

    async fn compare_notes(&self, tx: &mut Tx, id: i64) -> Result<(), Stop> {
        type Row = (i64, Vec<u8>, Option<i64>, bool, String);
        let mut there = BTreeSet::new();
        let mut after = i64::MIN;
        loop {
            let rows = db!(&mut *tx, all Row:
                "SELECT id, salt, bib, public, text FROM notes WHERE competition = $1 AND id > $2 ORDER BY id LIMIT $3",
                id, after, CHUNK)?;
            let Some(last) = rows.last() else { break };
            after = last.0;
            for (n, salt, bib, public, text) in rows {
                let known = u64::try_from(n).ok().and_then(|note| Some((note, self.notes.get(&note)?)));
                let Some((note, (commitment, about, open))) = known else {
                    return differ(Sentence::new("table_row_extra").with("table", "notes").with("key", n));
                };
                let committed =
                    <[u8; 32]>::try_from(salt).is_ok_and(|salt| note_commitment(&salt, &text) == *commitment);
                if !committed || bib != about.map(i64::from) || public != *open || self.is_silent(note) {
                    return differ(Sentence::new("note_altered").with("id", note));
                }
                there.insert(note);
            }
        }
        let missing = self.notes.keys().find(|note| !there.contains(note) && !self.is_silent(**note));
        missing.map_or(Ok(()), |note| differ(Sentence::new("note_missing").with("id", note)))
    }

    /// Whether a note was taken away with its person.
    fn is_silent(&self, note: u64) -> bool {
        let bib = self.notes.get(&note).and_then(|(_, bib, _)| *bib);
        bib.and_then(|bib| self.silent.get(&bib)).is_some_and(|last| note <= *last)
    }
}
