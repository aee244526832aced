//! `move`: the whole database into an empty one, of the same engine or the other.

use super::log::say_verified;
use super::open::must_be_there;
use super::talk::{Done, Progress, Stop, print_json, say, tell};
use crate::actions::open::shown;
use crate::actions::upkeep;
use crate::store::Trouble;
use crate::store::transfer::TransferError;
use crate::words::Sentence;
use clap::Args;

/// From where to where.
#[derive(Debug, Args)]
pub(super) struct Move {
    /// The database to copy; it is left as it is.
    #[arg(long, value_name = "URL")]
    from: String,
    /// The database to fill; it must be empty, and a file is made if it is not there.
    #[arg(long, value_name = "URL")]
    to: String,
    /// Print the tables with their digests and what was verified as one JSON object.
    #[arg(long)]
    json: bool,
}

impl Move {
    /// Does it.
    pub(super) async fn run(self) -> Done {
        if shown(&self.from) == shown(&self.to) {
            return Err(Stop::Usage(Sentence::new("move_to_itself").with("url", shown(&self.to))));
        }
        must_be_there(&self.from).await?;
        let mut progress = Progress::new(&Sentence::new("move_under_way"));
        let step = |done: u64, all: u64| {
            progress.step(usize::try_from(done.saturating_mul(1_000) / all.max(1)).unwrap_or(1_000));
        };
        let moved = upkeep::transfer(&self.from, &self.to, step).await.map_err(|error| match error {
            TransferError::Refused(why) => {
                Stop::because(&why.with("from", shown(&self.from)).with("to", shown(&self.to)))
            }
            TransferError::Store(error) if error.trouble() == Some(Trouble::Unreachable) && !error.is_unknown() => {
                let why = Sentence::new("move_unreachable").with("why", error);
                Stop::because(&why.with("from", shown(&self.from)).with("to", shown(&self.to)))
            }
            TransferError::Store(error) => error.into(),
        })?;
        drop(progress);
        if self.json {
            let verified: Vec<_> = moved
                .verified
                .iter()
                .map(|v| serde_json::json!({ "competition": v.competition, "records": v.records, "root": v.root }))
                .collect();
            return print_json(&serde_json::json!({ "tables": moved.tables, "competitions": verified }));
        }
        say_verified(&moved.verified, false)?;
        let rows: u64 = moved.tables.iter().map(|table| table.rows).sum();
        let done = Sentence::new("move_done").with("rows", rows).with("tables", moved.tables.len());
        tell(&say(&done.with("from", shown(&self.from)).with("to", shown(&self.to))));
        Ok(())
    }
}
