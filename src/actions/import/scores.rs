//! Rows of scores: each becomes a submission that replaces nothing unless it says so.

use super::names::Known;
use super::outcome::{fault, of_faults};
use super::source::Source;
use super::{Asking, Options, RowFault};
use crate::actions::body::Members;
use crate::actions::body::roster::MOST_BIB;
use crate::actions::body::score::submit_members;
use crate::actions::reader::Reader;
use crate::actions::views::RemarkView;
use crate::actions::{Failure, Request, score};
use crate::app::App;
use crate::rules::fault::{Fault, Read};
use crate::rules::ledger::Change;
use crate::rules::life::{Attest, How, Move, Submit};
use crate::rules::people::fold_name;
use crate::rules::performance::RawPerformance;
use crate::rules::table::{self, Kind, ScoreRow};
use crate::words::Sentence;
use serde_json::Value;
use std::collections::BTreeSet;

/// Stands in where it cannot be told whose a row is: nobody has this bib.
const NOBODY: u32 = 0;

/// A row before names are looked up.
struct Raw {
    bib: Option<u32>,
    name: String,
    judge: Option<String>,
    /// Workout slug (`None`: not said), the column it stood in, and what is sent.
    sends: Vec<(Option<String>, Option<String>, Submit)>,
    /// When it was done, as written in a table.
    performed_at: String,
    faults: Vec<RowFault>,
}

/// Rows of scores, read one at a time.
pub struct Reading<'a> {
    reader: &'a Reader,
    request: &'a Request,
    source: &'a Source,
    /// The workout that every row is of.
    path: Option<&'a str>,
    options: &'a Options,
    wide: Vec<&'a str>,
    known: Known,
}

impl<'a> Reading<'a> {
    /// Looks up whom the rows name; remarks are about the file as a whole.
    pub async fn begin(
        app: &App,
        reader: &'a Reader,
        request: &'a Request,
        source: &'a Source,
        path: Option<&'a str>,
        options: &'a Options,
    ) -> Result<(Self, Vec<RemarkView>), Failure> {
        let wide: Vec<&str> = match path {
            Some(_) => Vec::new(),
            None => reader.workouts().map(|w| w.slug.as_str()).collect(),
        };
        let mut remarks = match source {
            Source::Table(table) => score::remarks(&table.check_columns(Kind::Scores, &wide).map_err(Failure::faults)?),
            Source::Array(_) => Vec::new(),
        };
        let mut reading = Self { reader, request, source, path, options, wide, known: Known::default() };
        let (mut both, mut names, mut judges) = (Vec::new(), BTreeSet::new(), BTreeSet::new());
        for index in 0..source.len() {
            let (name, judge) = source.people(index);
            judges.extend(judge);
            if name.is_empty() {
                continue;
            }
            match reading.raw(index).bib {
                Some(bib) => both.push((index, bib, name.to_owned())),
                None => drop(names.insert(fold_name(name))),
            }
        }
        if !both.is_empty() || !names.is_empty() {
            let bibs = both.iter().map(|(_, bib, _)| *bib).collect();
            reading.known.read_entries(app, reader, bibs, &names).await?;
            remarks.extend(reading.known.shifted(&both));
        }
        if !judges.is_empty() {
            reading.known.read_judges(app, reader, &judges).await?;
        }
        Ok((reading, remarks))
    }

    /// What a row asks for.
    pub fn row(&self, index: usize) -> Asking {
        ask(self.reader, self.request, &self.known, self.path, self.options, self.raw(index))
    }

    fn raw(&self, index: usize) -> Raw {
        let read = match self.source {
            Source::Table(table) => {
                table.rows.get(index).map(|row| Ok(of_row(table::score(table, row, &self.wide), self.options)))
            }
            Source::Array(values) => values.get(index).map(|value| of_value(value, self.path.is_none(), self.options)),
        };
        read.unwrap_or(Err(Vec::new())).unwrap_or_else(|faults| Raw::faulty(&faults))
    }
}

impl Raw {
    fn faulty(faults: &[Fault]) -> Self {
        Self {
            bib: None,
            name: String::new(),
            judge: None,
            sends: Vec::new(),
            performed_at: String::new(),
            faults: of_faults(faults, None),
        }
    }
}

/// A row of a table.
fn of_row(Read { value: row, faults }: Read<ScoreRow>, options: &Options) -> Raw {
    let some = |text: String| (!text.is_empty()).then_some(text);
    let judge = some(row.judge);
    let sheet = some(row.sheet);
    let mut faults = of_faults(&faults, None);
    if sheet.is_some() && judge.is_none() {
        faults.push(fault("sheet", &Sentence::new("sheet_needs_judge")));
    }
    let attestation = judge.clone().map(|judge| Attest { judge, how: How::PaperSheet, sheet, attempt: None });
    let wide = row.performances.len() > 1;
    let send = |text: String| Submit {
        performance: RawPerformance::Text(text),
        attempt: row.attempt,
        level: some(row.level.clone()),
        performed_at: None,
        gym: some(row.gym.clone()),
        no_reps: row.no_reps,
        without_no_reps: false,
        video: some(row.video.clone()),
        attestation: attestation.clone(),
        reason: None,
        confirm: options.confirm.clone(),
        expect_name: None,
        revise: row.revise,
        row: true,
    };
    let sends: Vec<_> = row
        .performances
        .iter()
        .map(|(workout, text)| (workout.clone(), workout.clone().filter(|_| wide), send(text.clone())))
        .collect();
    Raw { bib: row.bib, name: row.name, judge, sends, performed_at: row.performed_at, faults }
}

/// An object of an array; `workouts`: it says which workout it is of.
fn of_value(value: &Value, workouts: bool, options: &Options) -> Result<Raw, Vec<Fault>> {
    let mut members = Members::of(value, "")?;
    let bib = members.small("bib", 1, MOST_BIB);
    let name = members.text("name", 500).unwrap_or_default();
    let revise = members.yes("revise").unwrap_or(false);
    let workout = if workouts { members.text("workout", 100) } else { None };
    let mut sent = submit_members(&mut members);
    sent.row = true;
    sent.revise = revise;
    sent.confirm.extend(options.confirm.iter().cloned());
    let judge = sent.attestation.as_ref().map(|a| a.judge.clone());
    let Read { value: sent, faults } = members.parts(sent);
    Ok(Raw {
        bib,
        name,
        judge,
        sends: vec![(workout, None, sent)],
        performed_at: String::new(),
        faults: of_faults(&faults, None),
    })
}

/// Looks names up and makes the changes of a row.
fn ask(reader: &Reader, request: &Request, known: &Known, path: Option<&str>, options: &Options, raw: Raw) -> Asking {
    let mut faults = raw.faults;
    let bib = match (raw.bib, raw.name.trim()) {
        (Some(bib), _) => Some(bib),
        (None, "") if faults.is_empty() => {
            faults.push(fault("bib", &Sentence::new("bib_or_name_needed")));
            None
        }
        (None, "") => None,
        (None, name) => known.bib(name).map_err(|s| faults.push(fault("name", &s))).ok(),
    };
    let judge = raw.judge.as_deref().map(|text| known.judge(text));
    if let Some(Err(sentence)) = &judge {
        faults.push(fault("judge", sentence));
    }
    let judge = judge.and_then(Result::ok);
    let mut changes = Vec::new();
    for (workout, column, mut sent) in raw.sends {
        let Some(slug) = path.map(str::to_owned).or(workout) else {
            faults.push(fault("workout", &Sentence::new("member_needed").with("member", "workout")));
            continue;
        };
        let Some(known_workout) = reader.workouts().find(|w| w.slug == slug) else {
            let sentence = Sentence::new("no_workout").with("workout", crate::actions::reader::shown(&slug));
            faults.push(fault("workout", &sentence));
            continue;
        };
        let zone = &reader.competition.time_zone;
        let window = &known_workout.window;
        match table::performed_at(&raw.performed_at, zone, request.received, window, options.dates) {
            Ok(at) => sent.performed_at = sent.performed_at.or(at),
            Err(sentence) => faults.push(fault("performed_at", &sentence)),
        }
        if let (Some(attestation), Some(code)) = (&mut sent.attestation, &judge) {
            attestation.judge.clone_from(code);
        }
        sent.expect_name = raw.bib.and(Some(raw.name.clone())).filter(|name| !name.trim().is_empty());
        let bib = bib.unwrap_or(NOBODY);
        changes.push((column, Change::Score { workout: slug, bib, what: Move::Submit(sent) }));
    }
    faults.dedup();
    Asking { changes, faults }
}
