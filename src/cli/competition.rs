//! `competition check`, `competition apply` and `competition show`.

use super::talk::{Done, Stop, fault, print, print_json, print_line, say, tell, warning};
use super::{files, open};
use crate::actions::apply::{How, apply};
use crate::actions::reader::Reader;
use crate::actions::views::AppliedView;
use crate::actions::{Failure, Request};
use crate::rules::access::Actor;
use crate::rules::competition::{self, RawCompetition};
use crate::rules::fault::{Checked, Fault, Warning};
use crate::words::Sentence;
use clap::{Args, Subcommand};
use std::path::PathBuf;

/// Competition files.
#[derive(Debug, Subcommand)]
pub(super) enum Competition {
    /// Say everything that is wrong with a file, without touching a database.
    Check {
        /// The competition file; - for standard input.
        file: PathBuf,
        /// Print one JSON object.
        #[arg(long)]
        json: bool,
    },
    /// Print the file in force of a competition, without its remarks, to be changed and applied again.
    Show {
        /// The competition's name in addresses.
        competition: String,
    },
    /// Apply a file: create a competition, or change what differs. All or nothing.
    Apply(Apply),
}

#[derive(Debug, Args)]
pub(super) struct Apply {
    /// The competition file; - for standard input.
    file: PathBuf,
    /// Only say what would change.
    #[arg(long)]
    dry_run: bool,
    /// Work stored scores out again where the change alters their meaning.
    #[arg(long)]
    rescore: bool,
    /// Why: needed where something that is published changes; everybody reads it.
    #[arg(long, value_name = "TEXT", default_value = "", hide_default_value = true)]
    reason: String,
    /// Print one JSON object.
    #[arg(long)]
    json: bool,
}

impl Competition {
    /// Does it.
    pub(super) async fn run(self, database: Option<&str>) -> Done {
        match self {
            Self::Check { file, json } => check(&file, json),
            Self::Show { competition } => show(database, &competition).await,
            Self::Apply(args) => args.run(database).await,
        }
    }
}

/// Reads and compiles a file.
fn read(file: &std::path::Path) -> Result<(RawCompetition, Checked<competition::Competition>), Read> {
    let text = files::read_text(file).map_err(Read::Stop)?;
    let raw = competition::from_toml(&text).map_err(Read::Faults)?;
    let compiled = competition::compile(&raw).map_err(Read::Faults)?;
    Ok((raw, compiled))
}

/// Why a file was not read.
enum Read {
    Stop(Stop),
    Faults(Vec<Fault>),
}

impl From<Read> for Stop {
    fn from(read: Read) -> Self {
        match read {
            Read::Stop(stop) => stop,
            Read::Faults(faults) => Self::Refused(faults.iter().map(fault).collect()),
        }
    }
}

fn check(file: &std::path::Path, json: bool) -> Done {
    let checked = match read(file) {
        Ok((_, checked)) => checked,
        Err(Read::Faults(faults)) if json => {
            let list: Vec<_> = faults.iter().map(fault_json).collect();
            print_json(&serde_json::json!({ "ok": false, "faults": list, "warnings": [] }))?;
            return Err(Stop::Said);
        }
        Err(other) => return Err(other.into()),
    };
    let value = &checked.value;
    if json {
        let list: Vec<_> = checked.warnings.iter().map(warning_json).collect();
        return print_json(&serde_json::json!({
            "ok": true, "competition": value.slug, "faults": [], "warnings": list,
            "divisions": value.divisions.len(), "workouts": value.workouts.len(),
        }));
    }
    for w in &checked.warnings {
        tell(&warning(w));
    }
    let sentence = Sentence::new("cli_file_holds").with("competition", &value.slug);
    print_line(&say(&sentence.with("divisions", value.divisions.len()).with("workouts", value.workouts.len())));
    Ok(())
}

async fn show(database: Option<&str>, slug: &str) -> Done {
    open::on_existing(database, async |app| {
        let reader = Reader::current(app, &Actor::operator(), app.clock.now(), slug).await?;
        print(&competition::to_toml(&reader.raw).map_err(|error| Failure::Broken(error.into()))?);
        Ok(())
    })
    .await
}

fn fault_json(fault: &Fault) -> serde_json::Value {
    serde_json::json!({
        "line": fault.line, "key": fault.pointer, "code": fault.sentence.code, "message": say(&fault.sentence),
    })
}

fn warning_json(warning: &Warning) -> serde_json::Value {
    serde_json::json!({ "key": warning.pointer, "code": warning.sentence.code, "message": say(&warning.sentence) })
}

impl Apply {
    async fn run(self, database: Option<&str>) -> Done {
        // All faults of the file are said before a database is opened or made.
        let (raw, _) = read(&self.file).map_err(Stop::from)?;
        open::on(database, async |app| {
            let how = How { dry_run: self.dry_run, rescore: self.rescore, reason: self.reason };
            let request = Request::at(app.clock.now());
            let view = apply(app, &Actor::operator(), None, request, raw, how).await?;
            if self.json {
                return print_json(&view);
            }
            say_applied(&view);
            Ok(())
        })
        .await
    }
}

/// What was, or would be, changed.
fn say_applied(view: &AppliedView) {
    for remark in &view.warnings {
        tell(&super::talk::located(None, &remark.pointer, &remark.message));
    }
    let code = match (view.changes.is_empty() && !view.created, view.dry_run) {
        (true, _) => "cli_applied_nothing",
        (false, true) => "cli_applied_dry_run",
        (false, false) => "cli_applied",
    };
    print_line(&say(&Sentence::new(code).with("competition", &view.competition)));
    for change in &view.changes {
        let line = match (&change.from, &change.to) {
            (Some(from), Some(to)) => format!("  {}: {from} → {to}", change.key),
            (None, Some(to)) => format!("  {}: + {to}", change.key),
            (Some(from), None) => format!("  {}: − {from}", change.key),
            (None, None) => format!("  {}", change.key),
        };
        print_line(&line);
    }
    for score in &view.reworked {
        let code = match (score.stale, score.void) {
            (true, _) => "cli_reworked_stale",
            (false, true) => "cli_reworked_void",
            (false, false) => "cli_reworked",
        };
        let sentence = Sentence::new(code).with("workout", &score.workout).with("bib", score.bib);
        print_line(&say(&sentence.with("text", score.text.as_deref().unwrap_or("–"))));
    }
}
