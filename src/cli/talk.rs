//! How commands talk: results on standard output, everything else on standard error, reasons one
//! a line, progress on a terminal only.

use crate::actions::Failure;
use crate::actions::accounts::AccountError;
use crate::rules::fault::{Fault, Question, Warning};
use crate::rules::ledger::Refusal;
use crate::store::{StoreError, Trouble};
use crate::words::{Lang, Sentence};
use std::io::{IsTerminal, Write};

/// Why a command ends without having done what was asked.
#[derive(Debug)]
pub(super) enum Stop {
    /// Exit 1: what was asked is not done, for these reasons.
    Refused(Vec<String>),
    /// Exit 2: the command line does not make sense.
    Usage(Sentence),
    /// Exit 1: something broke.
    Broken(anyhow::Error),
    /// Exit 1, with everything said already.
    Said,
}

/// What a command comes to.
pub(super) type Done = Result<(), Stop>;

impl Stop {
    /// Refused for one reason.
    pub(super) fn because(sentence: &Sentence) -> Self {
        Self::Refused(vec![say(sentence)])
    }
}

impl From<Failure> for Stop {
    fn from(failure: Failure) -> Self {
        match failure {
            Failure::Refused(refusal) | Failure::Stale { refusal, .. } => Self::Refused(reasons(&refusal)),
            Failure::Unreadable(faults) => Self::Refused(faults.iter().map(fault).collect()),
            Failure::BeingMade => Self::because(&Sentence::new("being_made")),
            Failure::KeyReused => Self::because(&Sentence::new("idempotency_key_reused")),
            Failure::Busy => Self::because(&Sentence::new("cli_busy")),
            Failure::Unavailable => Self::because(&Sentence::new("cli_database_unavailable")),
            Failure::OutcomeUnknown => Self::because(&Sentence::new("cli_outcome_unknown")),
            Failure::Stored => Self::because(&Sentence::new("stored_not_shown")),
            Failure::InPart(sentence, _) => Self::because(&sentence),
            Failure::Behind => Self::because(&Sentence::new("cli_behind")),
            Failure::Broken(error) => Self::Broken(error),
        }
    }
}

impl From<AccountError> for Stop {
    fn from(error: AccountError) -> Self {
        match error {
            AccountError::Refused(refusal) => Self::Refused(reasons(&refusal)),
            AccountError::Store(error) => error.into(),
            other => Self::Broken(other.into()),
        }
    }
}

impl From<StoreError> for Stop {
    fn from(error: StoreError) -> Self {
        if error.is_unknown() {
            return Self::because(&Sentence::new("cli_outcome_unknown"));
        }
        let code = match error.trouble() {
            Some(Trouble::Busy) => Some("cli_busy"),
            Some(Trouble::Full) => Some("cli_database_full"),
            Some(Trouble::ReadOnly) => Some("cli_database_read_only"),
            Some(Trouble::Unreachable) => Some("cli_database_unreachable"),
            None => None,
        };
        if let Some(code) = code {
            return Self::because(&Sentence::new(code).with("why", error));
        }
        match error {
            StoreError::Address { url, why } => {
                Self::because(&Sentence::new("cli_database_address").with("url", url).with("why", why))
            }
            StoreError::Backup(why) => Self::because(&Sentence::new("cli_backup_failed").with("why", why)),
            other => Self::Broken(other.into()),
        }
    }
}

impl From<anyhow::Error> for Stop {
    fn from(error: anyhow::Error) -> Self {
        Self::Broken(error)
    }
}

/// A sentence in the language of the command line.
pub(super) fn say(sentence: &Sentence) -> String {
    sentence.say(Lang::En)
}

/// A fault as one line: where it is, and what to do.
pub(super) fn fault(fault: &Fault) -> String {
    located(fault.line, &fault.pointer, &say(&fault.sentence))
}

/// A warning as one line.
pub(super) fn warning(warning: &Warning) -> String {
    located(None, &warning.pointer, &say(&warning.sentence))
}

fn question(question: &Question) -> String {
    let asked = located(None, &question.pointer, &say(&question.sentence));
    format!("{asked} [{}]", question.sentence.code)
}

/// `line 12, workout[0].cap: …`, as far as it is known.
pub(super) fn located(line: Option<u32>, pointer: &str, what: &str) -> String {
    match (line, pointer.is_empty()) {
        (Some(line), true) => format!("line {line}: {what}"),
        (Some(line), false) => format!("line {line}, {pointer}: {what}"),
        (None, true) => what.to_owned(),
        (None, false) => format!("{pointer}: {what}"),
    }
}

/// All reasons of a refusal, one a line.
fn reasons(refusal: &Refusal) -> Vec<String> {
    match refusal {
        Refusal::NotSignedIn => vec![say(&Sentence::new("not_signed_in"))],
        Refusal::NotAllowed(sentence) | Refusal::NotFound(sentence) | Refusal::PreconditionRequired(sentence, _) => {
            vec![say(sentence)]
        }
        Refusal::Conflict(sentence, differences) => std::iter::once(say(sentence))
            .chain(differences.iter().map(|d| {
                let (from, to) = (d.from.as_deref().unwrap_or("–"), d.to.as_deref().unwrap_or("–"));
                format!("{}: {from} → {to}", d.key)
            }))
            .collect(),
        Refusal::PreconditionFailed(_) => vec![say(&Sentence::new("cli_changed_meanwhile"))],
        Refusal::Faults(faults) => faults.iter().map(fault).collect(),
        Refusal::Ask(questions) => questions.iter().map(question).collect(),
    }
}

/// Writes a result to standard output. A reader who has gone away (`| head`) is no fault.
pub(super) fn print(text: &str) {
    let mut out = std::io::stdout().lock();
    let _ = out.write_all(text.as_bytes()).and_then(|()| out.flush());
}

/// Writes a line of the result.
pub(super) fn print_line(text: &str) {
    print(&format!("{text}\n"));
}

/// Writes a value as one line of JSON.
pub(super) fn print_json(value: &impl serde::Serialize) -> Done {
    let json = serde_json::to_string(value).map_err(anyhow::Error::from)?;
    print_line(&json);
    Ok(())
}

/// Says something beside the result.
pub(super) fn tell(text: &str) {
    let mut err = std::io::stderr().lock();
    let _ = writeln!(err, "{text}");
}

/// How far long work is, on a terminal only: one line that is written over.
pub(super) struct Progress {
    shown: Option<usize>,
    label: String,
}

impl Progress {
    /// Begins.
    pub(super) fn new(sentence: &Sentence) -> Self {
        Self { shown: std::io::stderr().is_terminal().then_some(usize::MAX), label: say(sentence) }
    }

    /// So many thousandths are done.
    pub(super) fn step(&mut self, thousandths: usize) {
        let percent = thousandths / 10;
        if self.shown.is_some_and(|shown| shown != percent) {
            self.shown = Some(percent);
            let mut err = std::io::stderr().lock();
            let _ = write!(err, "\r{} {percent} %", self.label).and_then(|()| err.flush());
        }
    }
}

impl Drop for Progress {
    fn drop(&mut self) {
        if self.shown.is_some() {
            let mut err = std::io::stderr().lock();
            let _ = write!(err, "\r{:1$}\r", "", self.label.chars().count() + 8).and_then(|()| err.flush());
        }
    }
}
