//! `account add`: an account with a role, or one more role for an account.

use super::open;
use super::talk::{Done, Stop, print_json, print_line, say, tell};
use crate::actions::accounts::{NewAccount, add_account};
use crate::rules::access::{Actor, Grant, Role};
use crate::words::Sentence;
use clap::{Args, Subcommand, ValueEnum};
use std::io::Read;

/// Accounts.
#[derive(Debug, Subcommand)]
pub(super) enum Account {
    /// Add an account with a role, or give an existing one another role. Without a password a
    /// one-time sign-in link is printed.
    Add(Add),
}

#[derive(Debug, Args)]
pub(super) struct Add {
    /// The person's e-mail address.
    email: String,
    /// What the person may do.
    #[arg(long)]
    role: RoleName,
    /// Gym that staff belong to.
    #[arg(long, value_name = "SLUG", required_if_eq("role", "staff"))]
    gym: Option<String>,
    /// The only competition it holds for; without one, all of them.
    #[arg(long, value_name = "SLUG", required_if_eq_any([("role", "staff"), ("role", "judge"), ("role", "athlete")]))]
    competition: Option<String>,
    /// The athlete's own bib.
    #[arg(long, required_if_eq("role", "athlete"))]
    bib: Option<u32>,
    /// The judge's own code.
    #[arg(long, value_name = "CODE", required_if_eq("role", "judge"))]
    judge: Option<String>,
    /// Read the password from standard input, one line.
    #[arg(long)]
    password_stdin: bool,
    /// Where people reach the service, for the sign-in link.
    #[arg(long, env = "TALLYWRIGHT_PUBLIC_URL", value_name = "URL", default_value = "http://localhost:8080")]
    public_url: String,
    /// Print one JSON object.
    #[arg(long)]
    json: bool,
}

/// A role, as it is written.
#[derive(Clone, Copy, Debug, ValueEnum)]
enum RoleName {
    Organiser,
    Referee,
    Staff,
    Judge,
    Athlete,
}

impl From<RoleName> for Role {
    fn from(name: RoleName) -> Self {
        match name {
            RoleName::Organiser => Self::Organiser,
            RoleName::Referee => Self::Referee,
            RoleName::Staff => Self::Staff,
            RoleName::Judge => Self::Judge,
            RoleName::Athlete => Self::Athlete,
        }
    }
}

impl Account {
    /// Does it.
    pub(super) async fn run(self, database: Option<&str>) -> Done {
        let Self::Add(add) = self;
        let password = add.password_stdin.then(read_password).transpose()?;
        open::on(database, async |app| {
            let role = Role::from(add.role);
            let grant = Grant {
                role,
                competition: add.competition.clone(),
                gym: add.gym.clone().filter(|_| role == Role::Staff),
                bib: add.bib.filter(|_| role == Role::Athlete),
                judge: add.judge.clone().filter(|_| role == Role::Judge),
            };
            let new = NewAccount { email: add.email.clone(), password, grants: vec![grant] };
            let added = add_account(app, &Actor::operator(), new).await?;
            let link =
                added.link.map(|secret| format!("{}/signin/link?code={secret}", add.public_url.trim_end_matches('/')));
            if add.json {
                return print_json(
                    &serde_json::json!({ "account": added.account, "created": added.created, "link": link }),
                );
            }
            let code = if added.created { "cli_account_added" } else { "cli_account_changed" };
            tell(&say(&Sentence::new(code).with("email", &add.email).with("account", added.account)));
            match link {
                Some(link) => {
                    tell(&say(&Sentence::new("cli_account_link")));
                    print_line(&link);
                }
                None => print_line(&added.account.to_string()),
            }
            Ok(())
        })
        .await
    }
}

/// One line of standard input without its end.
fn read_password() -> Result<String, Stop> {
    let mut text = String::new();
    std::io::stdin()
        .take(4096)
        .read_to_string(&mut text)
        .map_err(|_| Stop::because(&Sentence::new("cli_password_unreadable")))?;
    let password = text.lines().next().unwrap_or_default().to_owned();
    if password.is_empty() {
        return Err(Stop::because(&Sentence::new("cli_password_unreadable")));
    }
    Ok(password)
}
