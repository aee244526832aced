//! The touched part of a ledger, read in: one query a table, lists in fixed sizes.
//!
//! More than what is touched does no harm (all attempts of a bib come together); less would. What
//! it does not do: decide anything.

use super::competitions::{Definition, Definitions, Place, place};
use super::db::{Bulk, Tx, Val};
use super::heaviest::{Known, Loads};
use super::merkle::Peaks;
use super::seldom::End;
use super::{Inner, StoreError, aside, column, instant, number, parse};
use crate::rules::ledger::{Head, Ledger, Touches};
use crate::rules::life::Attempt;
use crate::rules::people::{Entry, Gym, Judge, PersonRef};
use crate::rules::quantity::Grams;
use crate::rules::workout::Format;
use jiff::Timestamp;
use jiff::civil::Date;
use std::collections::{BTreeMap, BTreeSet, HashMap};

/// A competition in the hands of the writer.
pub(crate) struct Loaded {
    /// Number; `None`: not there yet.
    pub(crate) id: Option<i64>,
    /// What it is called outside.
    pub(crate) slug: String,
    /// The touched part.
    pub(crate) ledger: Ledger,
    /// Of the log's tree.
    pub(crate) peaks: Peaks,
    /// Heaviest loads stored, kept true through a group.
    pub(crate) loads: Loads,
    /// Division and gym of the entries as they stand in the table: their scores carry both.
    pub(crate) entries_before: BTreeMap<u32, (String, Option<String>)>,
    /// Under which name and birth the ledger finds an entry.
    pub(crate) names: HashMap<u32, NameKey>,
}

/// Folded name and birth.
pub(crate) type NameKey = (String, Option<Date>);

/// What all changes of a group touch in one competition.
#[derive(Default)]
pub(crate) struct Wanted {
    pub(super) all: Touches,
    pub(super) referees: bool,
    pub(super) accounts: BTreeSet<i64>,
}

impl Wanted {
    /// Adds what one change touches.
    pub(crate) fn add(&mut self, touches: Touches) {
        let all = &mut self.all;
        all.gyms.extend(touches.gyms);
        all.bibs.extend(touches.bibs);
        all.names.extend(touches.names);
        all.judges.extend(touches.judges);
        all.scores.extend(touches.scores);
        all.videos.extend(touches.videos);
        all.all_scores_of.extend(touches.all_scores_of);
        all.everything |= touches.everything;
        all.sheets.extend(touches.sheets);
        all.judging.extend(touches.judging);
        all.same_account.extend(touches.same_account);
        all.heaviest.extend(touches.heaviest);
        if let Some(account) = touches.referees {
            self.referees = true;
            self.accounts.extend(account);
        }
    }
}

// Joined by `CROSS JOIN`, so that the embedded engine begins with the names.
bulk!(
    BY_NAME = Bulk::list(
        "SELECT p.folded_name, p.born, e.bib FROM persons p CROSS JOIN entries e WHERE e.competition = p.competition AND e.person = p.id AND p.competition = $1 AND p.folded_name IN (",
        1,
        ")"
    )
);
bulk!(ENTRIES = Bulk::list("SELECT body FROM entries WHERE competition = $1 AND bib IN (", 1, ")"));
bulk!(GYMS = Bulk::list("SELECT body FROM gyms WHERE competition = $1 AND slug IN (", 1, ")"));
bulk!(JUDGES = Bulk::list("SELECT body FROM judges WHERE competition = $1 AND code IN (", 1, ")"));
bulk!(PERSONS = Bulk::list("SELECT id, body FROM persons WHERE competition = $1 AND id IN (", 1, ")"));
bulk!(
    SCORES = Bulk::list(
        "SELECT body FROM scores WHERE competition = $1 AND workout = $2 AND bib IN (",
        2,
        ") ORDER BY bib, attempt"
    )
);
bulk!(
    ALL_SCORES = Bulk::list(
        "SELECT body FROM scores WHERE competition = $1 AND bib IN (",
        1,
        ") ORDER BY bib, workout, attempt"
    )
);
bulk!(
    STATEMENTS = Bulk::list(
        "SELECT n.workout, n.bib, (SELECT MAX(r.at) FROM records r WHERE r.competition = n.competition
            AND r.subject = 'score/' || n.workout || '/' || CAST(n.bib AS TEXT) AND r.action = 'not_taking_part')
         FROM not_taking_part n WHERE n.competition = $1 AND n.bib IN (",
        1,
        ")"
    )
);

type HeadRow = (i64, i64, Option<Vec<u8>>, i64, i64, i64, i64, i64, Vec<u8>);

/// Reads the head afresh, and what is wanted.
pub(crate) async fn load(tx: &mut Tx, known: &Inner, slug: &str, wanted: &Wanted) -> Result<Loaded, StoreError> {
    let mut out = Loaded {
        id: None,
        slug: slug.to_owned(),
        ledger: Ledger::default(),
        peaks: Peaks::default(),
        loads: Loads::default(),
        entries_before: BTreeMap::new(),
        names: HashMap::new(),
    };
    let head = db!(&mut *tx, opt HeadRow:
        "SELECT id, definition_seq, (SELECT r.leaf FROM records r WHERE r.competition = competitions.id AND r.seq = definition_seq), seq, at, last_bib, last_person, last_note, peaks FROM competitions WHERE slug = $1", slug)?;
    let Some((id, definition_seq, leaf, seq, at, last_bib, last_person, last_note, peaks)) = head else {
        return Ok(out);
    };
    out.id = Some(id);
    out.ledger.head = Head {
        seq: number("competitions", seq)?,
        at,
        last_bib: number("competitions", last_bib)?,
        last_person: number("competitions", last_person)?,
        last_note: number("competitions", last_note)?,
    };
    out.peaks = Peaks::from_bytes(number("competitions", seq)?, &peaks)
        .ok_or_else(|| StoreError::unreadable("competitions", "the peaks do not fit the log's size"))?;
    let definition = definition(tx, &known.definitions, id, place(definition_seq, leaf)?).await?;
    out.ledger.definition_seq = definition.seq;
    out.ledger.definition = Some((definition.raw, definition.competition));

    let end = (out.ledger.head.seq, out.peaks.root());
    let mut reader = Reader { tx, known, id, end, slug, wanted, ledger: &mut out.ledger, loads: &mut out.loads };
    reader.read().await?;
    out.entries_before =
        out.ledger.entries.iter().map(|(bib, e)| (*bib, (e.division.clone(), e.gym.clone()))).collect();
    out.names = out.ledger.by_name.iter().map(|(name, bib)| (*bib, name.clone())).collect();
    Ok(out)
}

async fn definition(tx: &mut Tx, definitions: &Definitions, id: i64, at: Place) -> Result<Definition, StoreError> {
    if let Some(known) = definitions.find(id, at) {
        return Ok(known);
    }
    let text = db!(&mut *tx, val String: "SELECT definition FROM competitions WHERE id = $1", id)?;
    definitions.get(id, at, || parse("competitions", &text))
}

/// Reads one competition into its ledger; what is around the scores, by [`super::around`].
pub(super) struct Reader<'a> {
    pub(super) tx: &'a mut Tx,
    known: &'a Inner,
    pub(super) id: i64,
    end: End,
    pub(super) slug: &'a str,
    pub(super) wanted: &'a Wanted,
    pub(super) ledger: &'a mut Ledger,
    loads: &'a mut Loads,
}

impl Reader<'_> {
    async fn read(&mut self) -> Result<(), StoreError> {
        let all = &self.wanted.all;
        if all.everything {
            self.everything().await?;
        } else {
            self.by_name().await?;
            self.ties().await?;
            let mut bibs: BTreeSet<u32> = all.bibs.clone();
            bibs.extend(all.scores.iter().map(|(_, bib)| *bib));
            bibs.extend(&all.all_scores_of);
            bibs.extend(self.ledger.by_name.values());
            let around = &self.ledger.around;
            bibs.extend(
                around.referees.values().chain(around.others.values()).flat_map(|ties| ties.bibs.iter().copied()),
            );
            self.entries(&bibs).await?;
            self.attempts().await?;
            self.judges().await?;
            self.gyms().await?;
            self.persons().await?;
        }
        self.complete_ties();
        self.videos().await?;
        self.extensions().await?;
        self.heaviest().await?;
        self.sheets().await?;
        self.judging().await?;
        self.same_account().await
    }

    pub(super) fn fixed(&self) -> [Val; 1] {
        [Val::Int(self.id)]
    }

    /// Entries without a bib are found by name and birth.
    async fn by_name(&mut self) -> Result<(), StoreError> {
        let names = &self.wanted.all.names;
        let members = names
            .iter()
            .map(|(name, _)| name)
            .collect::<BTreeSet<_>>()
            .into_iter()
            .map(|n| Val::Text(n.clone()))
            .collect();
        let rows: Vec<(String, Option<String>, i64)> = BY_NAME.read(self.tx, &self.fixed(), members).await?;
        for (name, born, bib) in rows {
            let born = born.map(|b| b.parse()).transpose().map_err(|e| StoreError::unreadable("persons", e))?;
            let found = (name, born);
            if names.contains(&found) {
                self.ledger.by_name.insert(found, number("entries", bib)?);
            }
        }
        Ok(())
    }

    async fn entries(&mut self, bibs: &BTreeSet<u32>) -> Result<(), StoreError> {
        let members = bibs.iter().map(|&bib| Val::Int(bib.into())).collect();
        let rows: Vec<(String,)> = ENTRIES.read(self.tx, &self.fixed(), members).await?;
        self.put_entries(rows)
    }

    fn put_entries(&mut self, rows: Vec<(String,)>) -> Result<(), StoreError> {
        for (body,) in rows {
            let entry: Entry = parse("entries", &body)?;
            self.ledger.enter(entry);
        }
        Ok(())
    }

    /// Those of the workouts asked about; of some bibs, of all.
    async fn attempts(&mut self) -> Result<(), StoreError> {
        let all = &self.wanted.all;
        let mut bibs: BTreeMap<&str, Vec<Val>> = BTreeMap::new();
        for (workout, bib) in all.scores.iter().filter(|(_, bib)| !all.all_scores_of.contains(bib)) {
            bibs.entry(workout).or_default().push(Val::Int((*bib).into()));
        }
        let every: BTreeSet<u32> =
            all.scores.iter().map(|(_, bib)| *bib).chain(all.all_scores_of.iter().copied()).collect();
        for (workout, members) in bibs {
            let fixed = [Val::Int(self.id), Val::Text(workout.to_owned())];
            let rows: Vec<(String,)> = SCORES.read(self.tx, &fixed, members).await?;
            self.put_attempts(rows)?;
        }
        let members = all.all_scores_of.iter().map(|&bib| Val::Int(bib.into())).collect();
        let rows: Vec<(String,)> = ALL_SCORES.read(self.tx, &self.fixed(), members).await?;
        self.put_attempts(rows)?;
        let members = every.into_iter().map(|bib| Val::Int(bib.into())).collect();
        let rows: Vec<(String, i64, Option<i64>)> = STATEMENTS.read(self.tx, &self.fixed(), members).await?;
        self.put_statements(rows)
    }

    fn put_attempts(&mut self, rows: Vec<(String,)>) -> Result<(), StoreError> {
        for (body,) in rows {
            let attempt: Attempt = parse("scores", &body)?;
            let at = (attempt.score.workout.clone(), attempt.score.bib);
            self.ledger.attempts.entry(at).or_default().push(attempt);
        }
        Ok(())
    }

    fn put_statements(&mut self, rows: Vec<(String, i64, Option<i64>)>) -> Result<(), StoreError> {
        for (workout, bib, at) in rows {
            // A row without its record is for `log verify` to find.
            let at = at.map_or(Ok(Timestamp::UNIX_EPOCH), |at| instant("records", at))?;
            self.ledger.not_taking_part.insert((workout, number("not_taking_part", bib)?), at);
        }
        Ok(())
    }

    async fn judges(&mut self) -> Result<(), StoreError> {
        let wanted = self.wanted.all.judges.iter();
        self.known.seldom.tell((self.id, self.end), self.ledger, std::iter::empty(), wanted.clone());
        let unknown = wanted.filter(|code| !self.ledger.judges.contains_key(*code));
        let members = unknown.map(|code| Val::Text(code.clone())).collect();
        let rows: Vec<(String,)> = JUDGES.read(self.tx, &self.fixed(), members).await?;
        self.put_judges(rows)
    }

    fn put_judges(&mut self, rows: Vec<(String,)>) -> Result<(), StoreError> {
        for (body,) in rows {
            let judge: Judge = parse("judges", &body)?;
            self.ledger.judges.insert(judge.code.clone(), judge);
        }
        Ok(())
    }

    /// Those named, those of the entries and those where the attempts were done.
    async fn gyms(&mut self) -> Result<(), StoreError> {
        let mut slugs: BTreeSet<&String> = self.wanted.all.gyms.iter().collect();
        slugs.extend(self.ledger.entries.values().filter_map(|e| e.gym.as_ref()));
        slugs.extend(self.ledger.attempts.values().flatten().filter_map(|a| a.stored.gym.as_ref()));
        let slugs: Vec<String> = slugs.into_iter().cloned().collect();
        self.known.seldom.tell((self.id, self.end), self.ledger, slugs.iter(), std::iter::empty());
        let unknown = slugs.into_iter().filter(|slug| !self.ledger.gyms.contains_key(slug));
        let members = unknown.map(Val::Text).collect();
        let rows: Vec<(String,)> = GYMS.read(self.tx, &self.fixed(), members).await?;
        self.put_gyms(rows)
    }

    fn put_gyms(&mut self, rows: Vec<(String,)>) -> Result<(), StoreError> {
        for (body,) in rows {
            let gym: Gym = parse("gyms", &body)?;
            self.ledger.gyms.insert(gym.slug.clone(), gym);
        }
        Ok(())
    }

    /// Persons of all entries, judges and gyms at hand.
    async fn persons(&mut self) -> Result<(), StoreError> {
        let ids: BTreeSet<u64> = persons_of(self.ledger).map(|p| p.id).collect();
        let members = ids.into_iter().map(|id| Val::Int(column(id))).collect();
        let rows: Vec<(i64, String)> = PERSONS.read(self.tx, &self.fixed(), members).await?;
        self.put_persons(rows)
    }

    fn put_persons(&mut self, rows: Vec<(i64, String)>) -> Result<(), StoreError> {
        for (id, body) in rows {
            self.ledger.persons.insert(number("persons", id)?, parse("persons", &body)?);
        }
        Ok(())
    }

    /// All of the competition: a file is applied over stored scores.
    async fn everything(&mut self) -> Result<(), StoreError> {
        self.by_name().await?;
        self.ties().await?;
        let rows = db!(&mut *self.tx, all (String,): "SELECT body FROM entries WHERE competition = $1", self.id)?;
        aside(|| self.put_entries(rows))?;
        let rows = db!(&mut *self.tx, all (String,): "SELECT body FROM scores WHERE competition = $1 ORDER BY bib, workout, attempt", self.id)?;
        aside(|| self.put_attempts(rows))?;
        let rows = db!(&mut *self.tx, all (String, i64, Option<i64>):
            "SELECT n.workout, n.bib, (SELECT MAX(r.at) FROM records r WHERE r.competition = n.competition
                AND r.subject = 'score/' || n.workout || '/' || CAST(n.bib AS TEXT) AND r.action = 'not_taking_part')
             FROM not_taking_part n WHERE n.competition = $1", self.id)?;
        aside(|| self.put_statements(rows))?;
        let rows = db!(&mut *self.tx, all (String,): "SELECT body FROM judges WHERE competition = $1", self.id)?;
        aside(|| self.put_judges(rows))?;
        let rows = db!(&mut *self.tx, all (String,): "SELECT body FROM gyms WHERE competition = $1", self.id)?;
        aside(|| self.put_gyms(rows))?;
        let rows =
            db!(&mut *self.tx, all (i64, String): "SELECT id, body FROM persons WHERE competition = $1", self.id)?;
        aside(|| self.put_persons(rows))
    }

    async fn extensions(&mut self) -> Result<(), StoreError> {
        if let Some(known) = self.known.seldom.extensions((self.id, self.end)) {
            self.ledger.extensions = known;
            return Ok(());
        }
        let bodies =
            db!(&mut *self.tx, vals String: "SELECT body FROM extensions WHERE competition = $1 ORDER BY n", self.id)?;
        self.ledger.extensions = bodies.iter().map(|body| parse("extensions", body)).collect::<Result<_, _>>()?;
        Ok(())
    }

    /// The heaviest of the divisions at hand, where enough are stored.
    async fn heaviest(&mut self) -> Result<(), StoreError> {
        let Some((_, competition)) = self.ledger.definition.clone() else { return Ok(()) };
        let divisions: BTreeSet<String> = self.ledger.entries.values().map(|e| e.division.clone()).collect();
        let levels = u8::try_from(competition.levels.len()).unwrap_or(u8::MAX);
        let is_max_load = |slug: &&String| competition.workout(slug).is_some_and(|w| w.format == Format::MaxLoad);
        for workout in self.wanted.all.heaviest.iter().filter(is_max_load) {
            for division in &divisions {
                for level in (0..levels).filter(|&level| competition.prescription(workout, division, level).is_some()) {
                    let top = db!(&mut *self.tx, all (i64, i64, i64):
                        "SELECT bib, attempt, grams FROM scores WHERE competition = $1 AND workout = $2 AND division = $3 AND level = $4 AND grams IS NOT NULL ORDER BY grams DESC LIMIT 10",
                        self.id, workout.as_str(), division.as_str(), i64::from(level))?;
                    let mut known = Known::default();
                    for (bib, attempt, grams) in top {
                        known
                            .add((number("scores", bib)?, number("scores", attempt)?), Grams(number("scores", grams)?));
                    }
                    self.loads.put_stored((workout.clone(), division.clone(), level), known);
                }
            }
        }
        self.loads.tell(self.ledger);
        Ok(())
    }
}

/// Persons that a ledger refers to.
pub(crate) fn persons_of(ledger: &Ledger) -> impl Iterator<Item = &PersonRef> {
    let entries = ledger.entries.values().map(|e| &e.person);
    let judges = ledger.judges.values().map(|j| &j.person);
    let contacts = ledger.gyms.values().filter_map(|g| g.contact.as_ref());
    entries.chain(judges).chain(contacts)
}
