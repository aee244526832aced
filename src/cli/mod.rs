//! The command line: one file per subcommand.
//!
//! Results go to standard output, talk to standard error; exit 0: done, 1: refused with the
//! reasons listed, 2: used wrongly. Every command goes through the same actions as the API and
//! the pages; none writes SQL.

mod account;
mod backup;
mod competition;
mod demo;
mod files;
mod import;
mod log;
mod moving;
mod open;
mod serve;
mod standings;
mod talk;
mod token;

use crate::words::Sentence;
use clap::{Parser, Subcommand};
use std::ffi::OsString;
use std::process::ExitCode;
use talk::{Done, Stop, say, tell};

/// A leaderboard service for fitness competitions held in many gyms at once.
#[derive(Debug, Parser)]
#[command(name = "tallywright", version, arg_required_else_help = true)]
struct Line {
    /// The database: `sqlite://PATH` or `postgres://USER@HOST/DATABASE`. Default: `sqlite://tallywright.db` in this folder.
    #[arg(long, global = true, env = "TALLYWRIGHT_DATABASE", value_name = "URL", hide_env_values = true)]
    database: Option<String>,
    #[command(subcommand)]
    command: Command,
}

#[derive(Debug, Subcommand)]
enum Command {
    /// Serve a fresh sample competition and print one sign-in for each role.
    Demo(demo::Demo),
    /// Serve the competitions of a database.
    Serve(serve::Serve),
    /// Check or apply a competition file.
    #[command(subcommand)]
    Competition(competition::Competition),
    /// Import gyms.
    #[command(subcommand)]
    Gyms(import::Import),
    /// Import entries.
    #[command(subcommand)]
    Entries(import::Import),
    /// Import judges.
    #[command(subcommand)]
    Judges(import::Import),
    /// Import scores.
    #[command(subcommand)]
    Scores(import::ImportScores),
    /// Print places: overall, or of one workout.
    Standings(standings::Standings),
    /// Add accounts.
    #[command(subcommand)]
    Account(account::Account),
    /// Issue and revoke tokens for programs.
    #[command(subcommand)]
    Token(token::Token),
    /// Verify or export the log.
    #[command(subcommand)]
    Log(log::Log),
    /// Copy the database to a new file, also while it is served, and verify the copy.
    Backup(backup::Backup),
    /// Make the database from a copy, and verify it; it must not be there yet.
    Restore(backup::Restore),
    /// Copy everything into an empty database, of the same engine or the other, and verify it there.
    Move(moving::Move),
}

/// Parses the arguments and does what they say. 0: done; 1: refused; 2: used wrongly.
pub fn run(args: impl IntoIterator<Item = OsString>) -> ExitCode {
    let line = match Line::try_parse_from(args) {
        Ok(line) => line,
        Err(error) => {
            let _ = error.print();
            return ExitCode::from(if error.use_stderr() { 2 } else { 0 });
        }
    };
    let runtime = match tokio::runtime::Builder::new_multi_thread().enable_all().build() {
        Ok(runtime) => runtime,
        Err(error) => return ended(Err(Stop::Broken(error.into()))),
    };
    ended(runtime.block_on(obey(line)))
}

async fn obey(line: Line) -> Done {
    let database = line.database.as_deref();
    match line.command {
        Command::Demo(demo) => demo.run(database).await,
        Command::Serve(serve) => serve.run(database).await,
        Command::Competition(command) => command.run(database).await,
        Command::Gyms(command) => command.run(database, crate::actions::import::What::Gyms).await,
        Command::Entries(command) => command.run(database, crate::actions::import::What::Entries).await,
        Command::Judges(command) => command.run(database, crate::actions::import::What::Judges).await,
        Command::Scores(command) => command.run(database).await,
        Command::Standings(command) => command.run(database).await,
        Command::Account(command) => command.run(database).await,
        Command::Token(command) => command.run(database).await,
        Command::Log(command) => command.run(database).await,
        Command::Backup(command) => command.run(database).await,
        Command::Restore(command) => command.run(database).await,
        Command::Move(command) => command.run().await,
    }
}

/// Says why a command stopped, and with what code.
fn ended(done: Done) -> ExitCode {
    match done {
        Ok(()) => ExitCode::SUCCESS,
        Err(Stop::Refused(reasons)) => {
            for reason in &reasons {
                tell(reason);
            }
            ExitCode::from(1)
        }
        Err(Stop::Said) => ExitCode::from(1),
        Err(Stop::Usage(sentence)) => {
            tell(&say(&sentence));
            ExitCode::from(2)
        }
        Err(Stop::Broken(error)) => {
            tell(&say(&Sentence::new("cli_broken").with("why", format!("{error:#}"))));
            ExitCode::from(1)
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use clap::CommandFactory;

    #[test]
    fn the_command_line_holds_together() {
        Line::command().debug_assert();
    }
}
