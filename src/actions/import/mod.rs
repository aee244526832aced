//! Many rows at once, from CSV or JSON: each is taken, unchanged, or refused by itself with its
//! row, column and reason. Sending the same rows twice changes nothing.

mod asked;
mod held;
mod names;
mod outcome;
mod remarks;
mod roster;
mod scores;
mod source;

pub use asked::RowsAsked;
pub use outcome::refused_csv;
pub use remarks::{ImportRemark, MORE, RowPlace};
pub(super) use roster::change_of;

use super::reader::Reader;
use super::score::WAIT;
use super::{Failure, Request, signed_in};
use crate::app::App;
use crate::rules::access::{Act, Actor, permit};
use crate::rules::ledger::{Asked, Change, Outcome};
use crate::rules::performance;
use crate::store::{Feed, KeptAnswer, aside};
use crate::words::Sentence;
use held::Held;
use outcome::{add_others, fault, faults_of, of_faults, of_nobody};
use remarks::Remarks;
use serde::{Deserialize, Serialize};
use source::Source;
use std::collections::VecDeque;
use std::time::Duration;
use utoipa::ToSchema;

pub use crate::rules::table::DateOrder;

/// What the rows are.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum What {
    /// Gyms.
    Gyms,
    /// Entries.
    Entries,
    /// Judges.
    Judges,
    /// Scores: of this workout, or (`None`) of the one each row or column names.
    Scores {
        /// Workout slug.
        workout: Option<String>,
    },
}

/// The rows as sent.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Rows {
    /// CSV, as competition-file.md says.
    Csv(Vec<u8>),
    /// A JSON array of objects.
    Json(Vec<u8>),
}

impl Rows {
    /// Of the text.
    fn bytes(&self) -> usize {
        let (Self::Csv(text) | Self::Json(text)) = self;
        text.len()
    }
}

/// What became of the rows, in both the forms it is answered in: kept, so that a file whose answer
/// was lost is answered as it was, and not as a file sent twice.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct KeptOutcome {
    /// An [`ImportView`] as JSON.
    pub json: String,
    /// Its refused rows as CSV.
    pub csv: String,
}

/// Takes rows in as [`import_with`] does, once for a key: a repeat within 48 h gets the first answer,
/// and is refused while that is made. Where much is kept already it gets the first answer in short.
pub async fn import_once(
    app: &App,
    actor: &Actor,
    competition: &str,
    around: Request,
    what: What,
    rows: Rows,
    options: Options,
) -> Result<KeptOutcome, Failure> {
    let mut held = match around.kept_under(actor) {
        Some(key) => match app.store.hold_key(&key, app.keys.bytes(), app.clock.now()).await? {
            Ok(held) => Some(Held { app: app.clone(), key: Some(held) }),
            Err(KeptAnswer::Same(text)) => {
                return serde_json::from_str(&text).map_err(|e| Failure::Broken(e.into()));
            }
            Err(KeptAnswer::BeingMade) => return Err(Failure::BeingMade),
            Err(KeptAnswer::Other) => return Err(Failure::KeyReused),
        },
        None => None,
    };
    let taking = Box::pin(import_with(app, actor, competition, around, what, rows, options));
    let view = match &held {
        Some(held) => held.during(taking).await?,
        None => taking.await?,
    };
    let outcome = aside(|| KeptOutcome::of(&view))?;
    // Trouble that passes is no answer for good: sent again under its key, the file is judged anew.
    let troubled = view.rows.iter().flat_map(|row| &row.errors).any(outcome::of_trouble);
    if let Some(held) = &mut held
        && let Some(key) = held.key.as_ref().filter(|_| !troubled)
    {
        let kept = |outcome: &KeptOutcome| serde_json::to_string(outcome).map_err(|e| Failure::Broken(e.into()));
        let (text, in_short) = (kept(&outcome)?, kept(&KeptOutcome::in_short(&view)?)?);
        // The rows are stored: what fails here only makes a repeat say "unchanged".
        match app.store.keep_answer(key, &text, &in_short, app.clock.now()).await {
            Ok(()) => held.key = None,
            Err(error) => tracing::warn!(%error, "the answer to a file was not kept"),
        }
    }
    Ok(outcome)
}

/// What became of the rows.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, ToSchema)]
pub struct ImportView {
    /// Rows stored.
    #[schema(example = 460)]
    pub taken: u32,
    /// Rows that said what was there already.
    #[schema(example = 0)]
    pub unchanged: u32,
    /// Rows refused.
    #[schema(example = 40)]
    pub refused: u32,
    /// Of the scores stored, those that came after the deadline: without a place until the organiser
    /// lets them in.
    #[schema(example = 0)]
    pub late: u32,
    /// About the file as a whole: unknown columns, names one row off. And about rows that are stored, each by the
    /// place of its row, from 0, and what it is about (`/13/performance`): what one of them alone would be answered
    /// as `warnings`. Of these the first 1,000, and then how many more there are.
    #[schema(value_type = Vec<super::views::RemarkView>)]
    pub remarks: Vec<ImportRemark>,
    /// The refused rows, with everything that is wrong with each.
    pub rows: Vec<RefusedRow>,
    /// What is asked about refused rows, each question once.
    pub questions: Vec<RowsAsked>,
    /// Log position after the last row stored.
    pub log_seq: u64,
    /// Rows without a result that were passed over, where that was asked for.
    #[serde(skip)]
    pub empty: u32,
    /// Remarks about stored rows that are not listed.
    #[serde(skip)]
    pub untold: u32,
    /// Column names of the file, for [`refused_csv`].
    #[serde(skip)]
    pub header: Vec<String>,
}

/// A row that was refused.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, ToSchema)]
pub struct RefusedRow {
    /// Row number, from 1, without the header; in JSON the place in the array.
    #[schema(example = 14)]
    pub row: u32,
    /// Line of the text it starts on, from 1; null for JSON.
    #[schema(example = 15)]
    pub line: Option<u32>,
    /// Everything that is wrong with it.
    pub errors: Vec<RowFault>,
    /// As it was sent, cell by cell.
    #[serde(skip)]
    pub cells: Vec<String>,
}

/// One thing that is wrong with a row.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, ToSchema)]
pub struct RowFault {
    /// Which column (or member); empty: the whole row.
    #[schema(example = "performance")]
    pub column: String,
    /// Stable.
    #[schema(example = "whole_round")]
    pub code: String,
    /// In words. For a question, send `code` back in `confirm` after checking.
    pub message: String,
    /// A yes takes the row.
    #[serde(skip)]
    pub asked: bool,
}

/// What may be said about the rows besides them.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Options {
    /// Codes of questions answered with yes for every row.
    pub confirm: Vec<String>,
    /// How dates like `03/04/1991` are read.
    pub dates: DateOrder,
    /// Most rows taken, of somebody who waits for the answer; `None`: any number, however long it takes.
    pub most: Option<usize>,
    /// Rows of scores without a result are passed over: a list that is filled in bit by bit.
    pub pass_empty: bool,
}

/// One row, read: what it asks for, and what could not be read of it. Where anything could not, it is
/// given back whole, with all that is wrong, and nothing of it is stored.
struct Asking {
    /// With the column that holds the performance, for the wide shape.
    changes: Vec<(Option<String>, Change)>,
    faults: Vec<RowFault>,
}

/// How long rows wait in all for another process that has their competition in hand: within the time that a
/// request may take, and beside a large file that is applied.
const PATIENCE: Duration = Duration::from_secs(10);
const LONG_PATIENCE: Duration = Duration::from_mins(2);

/// Refused rows looked at again at a time.
const CHUNK: usize = 1_000;

/// Takes rows in, one by one.
///
/// # Errors
/// Only when the rows cannot be read at all, a needed column is missing, or nobody may send any.
pub async fn import(
    app: &App,
    actor: &Actor,
    competition: &str,
    request: Request,
    what: What,
    rows: Rows,
) -> Result<ImportView, Failure> {
    import_with(app, actor, competition, request, what, rows, Options::default()).await
}

/// 401, 404 or 403 for those who may not send such rows, before they are read.
pub async fn may(
    app: &App,
    actor: &Actor,
    competition: &str,
    request: &Request,
    what: &What,
) -> Result<Reader, Failure> {
    signed_in(actor)?;
    let reader = Reader::find(app, actor, request.received, competition).await?;
    if let What::Scores { workout } = what {
        if let Some(workout) = workout {
            reader.workout(workout)?;
        }
        permit(actor, Act::EnterMany { competition })?;
    } else {
        permit(actor, Act::Organise { competition })?;
    }
    Ok(reader)
}

/// The same, with what may be said besides.
pub async fn import_with(
    app: &App,
    actor: &Actor,
    competition: &str,
    request: Request,
    what: What,
    rows: Rows,
    options: Options,
) -> Result<ImportView, Failure> {
    let reader = may(app, actor, competition, &request, &what).await?;
    let options = Options { confirm: performance::answers(&options.confirm), ..options };
    let _turn = app.file(rows.bytes()).await?;
    let mut source = aside(|| Source::read(rows))?;
    let empty = match (&what, options.pass_empty) {
        (What::Scores { workout }, true) => {
            let wide: Vec<&str> =
                if workout.is_some() { Vec::new() } else { reader.workouts().map(|w| &*w.slug).collect() };
            source.leave_out_empty(&wide)
        }
        _ => 0,
    };
    if let Some(most) = options.most.filter(|most| source.len() > *most) {
        let sentence = Sentence::new("too_many_rows").with("rows", source.len()).with("most", most);
        return Err(Failure::fault("", sentence));
    }
    let (rows, remarks) = match &what {
        What::Scores { workout } => {
            let (reading, remarks) =
                scores::Reading::begin(app, &reader, &request, &source, workout.as_deref(), &options).await?;
            (Reading::Scores(Box::new(reading)), remarks)
        }
        what => {
            let remarks = roster::begin(&source, what)?;
            (Reading::Roster { source: &source, what, options: &options }, remarks)
        }
    };
    let view = ImportView {
        taken: 0,
        unchanged: 0,
        refused: 0,
        late: 0,
        empty: super::score::count(empty),
        untold: 0,
        remarks: remarks.into_iter().map(ImportRemark::of_file).collect(),
        rows: Vec::new(),
        questions: Vec::new(),
        log_seq: reader.seq,
        header: source.header(),
    };
    let asked = |change| request.asked(app, actor, competition, change);
    let mut taking = Taking {
        app,
        competition,
        source: &source,
        rows: &rows,
        asked: &asked,
        feed: app.writer.feed(if options.most.is_some() { PATIENCE } else { LONG_PATIENCE }),
        waiting: VecDeque::new(),
        refused: Vec::new(),
        remarks: Remarks::default(),
        view,
    };
    for index in 0..source.len() {
        taking.take(index).await?;
    }
    while taking.settle().await? {}
    taking.explain().await?;
    let Taking { mut view, remarks, .. } = taking;
    remarks.end(&mut view.remarks);
    view.untold = remarks.more();
    app.logs.at_least(reader.id, view.log_seq, WAIT).await;
    Ok(view)
}

/// How rows are read, any of them at any time.
enum Reading<'a> {
    Scores(Box<scores::Reading<'a>>),
    Roster { source: &'a Source, what: &'a What, options: &'a Options },
}

impl Reading<'_> {
    fn row(&self, index: usize) -> Asking {
        match self {
            Self::Scores(reading) => reading.row(index),
            Self::Roster { source, what, options } => roster::row(source, index, what, options),
        }
    }
}

/// A row that the writer has in hand, or one that it never gets.
struct Sent {
    /// Index among the rows of the source.
    index: usize,
    /// Something of it could not be read.
    unread: bool,
    /// Of each of its changes the column that holds the performance, for the wide shape.
    columns: Vec<Option<String>>,
}

/// Rows on their way through the writer: so many at a time that it never waits for them, and no
/// more.
struct Taking<'a> {
    app: &'a App,
    competition: &'a str,
    source: &'a Source,
    rows: &'a Reading<'a>,
    asked: &'a (dyn Fn(Change) -> Asked + Sync),
    feed: Feed<'a>,
    waiting: VecDeque<Sent>,
    /// By index the rows that are given back, and what the writer said of them.
    refused: Vec<(usize, Vec<RowFault>)>,
    remarks: Remarks,
    view: ImportView,
}

impl Taking<'_> {
    /// Hands in the next row; where enough are on their way, not before older ones are done.
    async fn take(&mut self, index: usize) -> Result<(), Failure> {
        let Asking { changes, faults } = self.rows.row(index);
        let mut sent = Sent { index, unread: !faults.is_empty(), columns: Vec::new() };
        if !sent.unread {
            for (column, change) in changes {
                while self.feed.is_full() && self.settle().await? {}
                self.feed.send((self.asked)(change)).await;
                sent.columns.push(column);
            }
        }
        self.waiting.push_back(sent);
        Ok(())
    }

    /// Notes what became of the oldest row; false when there is none.
    async fn settle(&mut self) -> Result<bool, Failure> {
        let Some(Sent { index, unread, columns }) = self.waiting.pop_front() else { return Ok(false) };
        let view = &mut self.view;
        let (mut faults, mut taken, mut late) = (Vec::new(), false, false);
        for column in &columns {
            match self.feed.answer().await {
                Some(Ok(answered)) => {
                    view.log_seq = view.log_seq.max(answered.seq);
                    taken |= answered.outcome != Outcome::Unchanged;
                    late |= answered.warnings.iter().any(|w| w.sentence.code == "stored_late");
                    let row = (index, column.as_deref());
                    self.remarks.add(&mut view.remarks, self.source, row, &answered.warnings);
                }
                Some(Err(error)) => faults.extend(faults_of(error.into(), column.as_deref())?),
                None => faults.push(fault("", &Sentence::new("row_unanswered"))),
            }
        }
        view.late += u32::from(late);
        if unread || !faults.is_empty() {
            self.refused.push((index, faults));
            if self.refused.len() >= CHUNK {
                self.explain().await?;
            }
        } else if taken {
            view.taken += 1;
        } else {
            view.unchanged += 1;
        }
        Ok(true)
    }

    /// Gives the refused rows back with all that is wrong with them: one thing may have kept the rules
    /// from saying what else is.
    async fn explain(&mut self) -> Result<(), Failure> {
        let refused = std::mem::take(&mut self.refused).into_iter();
        let refused: Vec<_> = refused.map(|(index, said)| (index, self.rows.row(index), said)).collect();
        let unclear = |row: &Asking, said: &[RowFault]| !row.faults.is_empty() || said.iter().any(of_nobody);
        let again = refused.iter().filter(|(_, row, said)| unclear(row, said));
        let again: Vec<Asked> =
            again.flat_map(|(_, row, _)| &row.changes).map(|(_, change)| (self.asked)(change.clone())).collect();
        let found = if again.is_empty() {
            Vec::new()
        } else {
            // Other rows are stored by now: what more there is to say of these is told at the next try.
            let found = self.app.store.list_faults(self.competition, &again, self.app.clock.now()).await;
            found.or_else(
                |error| if error.trouble().is_some() { Ok(vec![Vec::new(); again.len()]) } else { Err(error) },
            )?
        };
        let mut found = found.into_iter();
        for (index, row, said) in refused {
            let errors = if unclear(&row, &said) {
                let mut errors = row.faults.clone();
                for ((column, _), found) in row.changes.iter().zip(found.by_ref()) {
                    add_others(&mut errors, &row.faults, of_faults(&found, column.as_deref()));
                }
                // Somebody came to be there meanwhile.
                if errors.is_empty() { said } else { errors }
            } else {
                said
            };
            asked::add(&mut self.view.questions, &errors);
            self.view.refused += 1;
            self.view.rows.push(RefusedRow {
                row: super::score::count(index + 1),
                line: self.source.line(index),
                errors,
                cells: self.source.cells(index),
            });
        }
        Ok(())
    }
}
