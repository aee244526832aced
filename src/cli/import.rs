//! `gyms|entries|judges|scores import`: CSV in, a row-by-row outcome out.

use super::talk::{Done, Stop, located, print_json, print_line, say, tell};
use super::{files, open};
use crate::actions::Request;
use crate::actions::import::{ImportRemark, ImportView, Options, Rows, What, import_with, refused_csv};
use crate::rules::access::Actor;
use crate::words::Sentence;
use clap::{Args, Subcommand};
use std::path::PathBuf;

/// Import of gyms, entries or judges.
#[derive(Debug, Subcommand)]
pub(super) enum Import {
    /// Import rows from a CSV file. Each is taken, unchanged, or refused with its reason.
    Import(Rest),
}

/// Import of scores.
#[derive(Debug, Subcommand)]
pub(super) enum ImportScores {
    /// Import scores from a CSV file. Each is taken, unchanged, or refused with its reason.
    Import {
        /// All rows are of this workout. Without it: a workout column, or one column per workout.
        #[arg(long, value_name = "SLUG")]
        workout: Option<String>,
        /// Answer a question with yes for every row that has it: the code that an import before said.
        /// Several with commas between them.
        #[arg(long, value_name = "CODE", value_delimiter = ',')]
        confirm: Vec<String>,
        #[command(flatten)]
        rest: Rest,
    },
}

#[derive(Debug, Args)]
pub(super) struct Rest {
    /// The CSV file; - for standard input.
    file: PathBuf,
    /// Which competition.
    #[arg(long, value_name = "SLUG")]
    competition: String,
    /// Write the refused rows to this file, to be mended and sent again.
    #[arg(long, value_name = "FILE")]
    refused: Option<PathBuf>,
    /// Print one JSON object.
    #[arg(long)]
    json: bool,
}

impl Import {
    /// Does it.
    pub(super) async fn run(self, database: Option<&str>, what: What) -> Done {
        let Self::Import(rest) = self;
        rest.run(database, what, Vec::new()).await
    }
}

impl ImportScores {
    /// Does it.
    pub(super) async fn run(self, database: Option<&str>) -> Done {
        let Self::Import { workout, confirm, rest } = self;
        rest.run(database, What::Scores { workout }, confirm).await
    }
}

impl Rest {
    async fn run(self, database: Option<&str>, what: What, confirm: Vec<String>) -> Done {
        let bytes = files::read(&self.file)?;
        let options = Options { confirm, ..Options::default() };
        open::on_existing(database, async |app| {
            let request = Request::at(app.clock.now());
            let rows = Rows::Csv(bytes);
            let view = import_with(app, &Actor::operator(), &self.competition, request, what, rows, options).await?;
            self.outcome(&view)
        })
        .await
    }

    fn outcome(&self, view: &ImportView) -> Done {
        if self.json {
            print_json(view)?;
        } else {
            for ImportRemark { remark, row } in &view.remarks {
                tell(&match row {
                    None => located(None, &remark.pointer, &remark.message),
                    Some(at) => {
                        let said = say(&Sentence::new("cli_row_stored").with("said", &remark.message));
                        located(at.line, &at.column, &said)
                    }
                });
            }
            for row in &view.rows {
                for error in &row.errors {
                    tell(&located(row.line, &error.column, &error.message));
                }
            }
            for asked in &view.questions {
                tell(&say(&Sentence::new("cli_asked").with("rows", asked.rows).with("confirm", &asked.code)));
            }
            let counts = Sentence::new("cli_imported").with("taken", view.taken).with("unchanged", view.unchanged);
            print_line(&say(&counts.with("refused", view.refused)));
            if view.late > 0 {
                print_line(&say(&Sentence::new("cli_imported_late").with("late", view.late)));
            }
        }
        if view.refused == 0 {
            return Ok(());
        }
        match &self.refused {
            Some(file) => {
                let name = file.display().to_string();
                std::fs::write(file, refused_csv(view)).map_err(|error| {
                    Stop::because(&Sentence::new("cli_file_unwritable").with("file", &name).with("why", error))
                })?;
                tell(&say(&Sentence::new("cli_refused_written").with("file", name)));
            }
            None if !self.json => tell(&say(&Sentence::new("cli_refused_hint"))),
            None => {}
        }
        Err(Stop::Said)
    }
}
