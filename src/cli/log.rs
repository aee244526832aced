//! `log verify` and `log export`.

use super::open;
use super::talk::{Done, Stop, print, print_json, print_line, say, tell};
use crate::actions::upkeep;
use crate::rules::access::Actor;
use crate::store::verify::Verified;
use crate::words::Sentence;
use clap::Subcommand;

/// The log.
#[derive(Debug, Subcommand)]
pub(super) enum Log {
    /// Work the log out again, and from it the competition's tables; say the first difference.
    Verify {
        /// Only this competition.
        #[arg(long, value_name = "SLUG")]
        competition: Option<String>,
        /// Print one JSON array.
        #[arg(long)]
        json: bool,
    },
    /// Print every record, one JSON object a line, byte for byte as it is hashed.
    Export {
        /// Which competition.
        #[arg(long, value_name = "SLUG")]
        competition: String,
        /// Only records after this log position.
        #[arg(long, default_value_t = 0)]
        after: u64,
    },
}

impl Log {
    /// Does it.
    pub(super) async fn run(self, database: Option<&str>) -> Done {
        open::on_existing(database, async |app| match self {
            Self::Verify { competition, json } => {
                let found = upkeep::verify(app, competition.as_deref()).await?;
                if found.is_empty() && !json {
                    tell(&say(&Sentence::new("cli_no_competitions")));
                }
                say_verified(&found, json)
            }
            Self::Export { competition, mut after } => loop {
                let records = upkeep::records(app, &Actor::operator(), &competition, after).await?;
                let Some(last) = records.last() else { return Ok(()) };
                after = last.seq;
                let mut text = String::new();
                for record in &records {
                    text.push_str(&String::from_utf8_lossy(&record.bytes));
                    text.push('\n');
                }
                print(&text);
            },
        })
        .await
    }
}

/// Prints what was verified; refused when something differs.
pub(super) fn say_verified(found: &[Verified], json: bool) -> Done {
    if json {
        let list: Vec<_> = found
            .iter()
            .map(|v| {
                serde_json::json!({
                    "competition": v.competition, "records": v.records, "root": v.root, "difference": v.difference.as_ref().map(say),
                })
            })
            .collect();
        print_json(&list)?;
    }
    let mut same = true;
    for verified in found {
        let sentence = match &verified.difference {
            None => Sentence::new("cli_log_verified"),
            Some(difference) => Sentence::new("cli_log_differs").with("difference", say(difference)),
        };
        let sentence = sentence
            .with("competition", &verified.competition)
            .with("records", verified.records)
            .with("root", &verified.root);
        match (verified.difference.is_none(), json) {
            (true, true) => {}
            (true, false) => print_line(&say(&sentence)),
            (false, _) => {
                same = false;
                tell(&say(&sentence));
            }
        }
    }
    if same { Ok(()) } else { Err(Stop::Said) }
}
