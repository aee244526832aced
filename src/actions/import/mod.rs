//! Many rows at once, from CSV or JSON: each is taken, unchanged, or refused by itself with its
//! row, column and reason. Sending the same rows twice changes nothing.

mod names;
mod outcome;
mod roster;
mod scores;
mod source;

pub use outcome::refused_csv;
pub(super) use roster::change_of;

use super::reader::Reader;
use super::score::WAIT;
use super::{Failure, Request, signed_in};
use crate::app::App;
use crate::rules::access::{Act, Actor, permit};
use crate::rules::ledger::{Asked, Change, Outcome};
use crate::store::KeptAnswer;
use crate::words::Sentence;
use outcome::{add_others, fault, faults_of, of_faults, of_nobody};
use serde::{Deserialize, Serialize};
use source::Source;
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

/// What became of the rows, in both the forms it is answered in: kept, so that a file whose answer
/// was lost is answered as it was, and not as a file sent twice.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct KeptOutcome {
    /// An [`ImportView`] as JSON.
    pub json: String,
    /// Its refused rows as CSV.
    pub csv: String,
}

/// Takes rows in as [`import_with`] does, once for a key: a repeat within 48 h gets the first answer.
pub async fn import_once(
    app: &App,
    actor: &Actor,
    competition: &str,
    around: Request,
    what: What,
    rows: Rows,
    options: Options,
) -> Result<KeptOutcome, Failure> {
    let key = around.kept_under(actor);
    if let Some(key) = &key {
        match app.store.find_kept_answer(key, around.received).await? {
            Some(KeptAnswer::Same(text)) => {
                return serde_json::from_str(&text).map_err(|e| Failure::Broken(e.into()));
            }
            Some(KeptAnswer::Other) => return Err(Failure::KeyReused),
            None => {}
        }
    }
    let received = around.received;
    let view = import_with(app, actor, competition, around, what, rows, options).await?;
    let json = serde_json::to_string(&view).map_err(|e| Failure::Broken(e.into()))?;
    let outcome = KeptOutcome { json, csv: refused_csv(&view) };
    if let Some(key) = &key {
        let text = serde_json::to_string(&outcome).map_err(|e| Failure::Broken(e.into()))?;
        // The rows are stored: what fails here only makes a repeat say "unchanged".
        if let Err(error) = app.store.keep_answer(key, text, received).await {
            tracing::warn!(%error, "the answer to a file was not kept");
        }
    }
    Ok(outcome)
}

/// What became of the rows.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, ToSchema)]
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
    /// About the file as a whole: unknown columns, names one row off.
    pub remarks: Vec<super::views::RemarkView>,
    /// The refused rows, with everything that is wrong with each.
    pub rows: Vec<RefusedRow>,
    /// Log position after the last row stored.
    pub log_seq: u64,
    /// Rows without a result that were passed over, where that was asked for.
    #[serde(skip)]
    pub empty: u32,
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
}

/// What may be said about the rows besides them.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Options {
    /// Codes of questions answered with yes for every row.
    pub confirm: Vec<String>,
    /// How dates like `03/04/1991` are read.
    pub dates: DateOrder,
    /// Most rows taken; `None`: any number.
    pub most: Option<usize>,
    /// Rows of scores without a result are passed over: a list that is filled in bit by bit.
    pub pass_empty: bool,
}

/// One row, read: what it asks for, and what could not be read of it. Where anything could not, it is
/// given back whole, with all that is wrong, and nothing of it is stored.
struct Asking {
    /// Index among the rows of the source.
    index: usize,
    /// With the column that holds the performance, for the wide shape.
    changes: Vec<(Option<String>, Change)>,
    faults: Vec<RowFault>,
}

/// Rows handed to the writer at a time: bounds memory, not the size of its groups.
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
    let mut source = Source::read(rows)?;
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
    let (asking, remarks) = match &what {
        What::Scores { workout } => scores::read(app, &reader, &request, &source, workout.as_deref(), &options).await?,
        _ => roster::read(&source, &what, &options)?,
    };
    let mut view = ImportView {
        taken: 0,
        unchanged: 0,
        refused: 0,
        late: 0,
        empty: super::score::count(empty),
        remarks,
        rows: Vec::new(),
        log_seq: reader.seq,
        header: source.header(),
    };
    let mut asking = asking.into_iter().peekable();
    while asking.peek().is_some() {
        let chunk: Vec<Asking> = asking.by_ref().take(CHUNK).collect();
        take(app, actor, competition, &request, &source, chunk, &mut view).await?;
    }
    app.board.at_least(reader.id, view.log_seq, WAIT).await;
    Ok(view)
}

/// Hands some rows to the writer and notes what became of each.
async fn take(
    app: &App,
    actor: &Actor,
    competition: &str,
    request: &Request,
    source: &Source,
    chunk: Vec<Asking>,
    view: &mut ImportView,
) -> Result<(), Failure> {
    let asked = |row: &Asking| -> Vec<Asked> {
        row.changes.iter().map(|(_, c)| request.asked(app, actor, competition, c.clone())).collect()
    };
    let sent = chunk.iter().filter(|row| row.faults.is_empty()).flat_map(asked).collect();
    let mut answers = app.writer.submit_many(sent).await.into_iter();
    let mut refused = Vec::new();
    for row in chunk {
        if !row.faults.is_empty() {
            refused.push((row, Vec::new()));
            continue;
        }
        let (mut faults, mut taken, mut late) = (Vec::new(), false, false);
        for (column, _) in &row.changes {
            match answers.next() {
                Some(Ok(answered)) => {
                    view.log_seq = view.log_seq.max(answered.seq);
                    taken |= answered.outcome != Outcome::Unchanged;
                    late |= answered.warnings.iter().any(|w| w.sentence.code == "stored_late");
                }
                Some(Err(error)) => faults.extend(faults_of(error.into(), column.as_deref())?),
                None => faults.push(fault("", &Sentence::new("row_unanswered"))),
            }
        }
        view.late += u32::from(late);
        if !faults.is_empty() {
            refused.push((row, faults));
        } else if taken {
            view.taken += 1;
        } else {
            view.unchanged += 1;
        }
    }
    // One thing that is wrong may have kept the rules from saying what else is.
    let unclear = |(row, said): &&(Asking, Vec<RowFault>)| !row.faults.is_empty() || said.iter().any(of_nobody);
    let again: Vec<Asked> = refused.iter().filter(unclear).flat_map(|(row, _)| asked(row)).collect();
    let found =
        if again.is_empty() { Vec::new() } else { app.store.list_faults(competition, &again, app.clock.now()).await? };
    let mut found = found.into_iter();
    for (row, said) in refused {
        let mut errors = row.faults.clone();
        if errors.is_empty() && !said.iter().any(of_nobody) {
            errors = said;
        } else {
            for ((column, _), found) in row.changes.iter().zip(found.by_ref()) {
                add_others(&mut errors, &row.faults, of_faults(&found, column.as_deref()));
            }
            // Somebody came to be there meanwhile.
            if errors.is_empty() {
                errors = said;
            }
        }
        view.refused += 1;
        view.rows.push(RefusedRow {
            row: super::score::count(row.index + 1),
            line: source.line(row.index),
            errors,
            cells: source.cells(row.index),
        });
    }
    Ok(())
}
