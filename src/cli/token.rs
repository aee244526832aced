//! `token issue` and `token revoke`: bearer tokens for programs.

use super::open;
use super::talk::{Done, print_json, print_line, say, tell};
use crate::actions::accounts::{issue_token, revoke_token};
use crate::rules::access::Actor;
use crate::words::Sentence;
use clap::Subcommand;

/// Tokens.
#[derive(Debug, Subcommand)]
pub(super) enum Token {
    /// Issue a token for an account; the token alone is printed, this once.
    Issue {
        /// The account's e-mail address.
        email: String,
        /// How long it is valid.
        #[arg(long, default_value_t = 90, value_parser = clap::value_parser!(u32).range(1..=3650))]
        days: u32,
        /// What it is for, in the list of tokens.
        #[arg(long, default_value = "command line")]
        name: String,
        /// Print one JSON object.
        #[arg(long)]
        json: bool,
    },
    /// Revoke a token by its number.
    Revoke {
        /// The number that `token issue` said.
        id: i64,
    },
}

impl Token {
    /// Does it.
    pub(super) async fn run(self, database: Option<&str>) -> Done {
        open::on_existing(database, async |app| {
            let operator = Actor::operator();
            match self {
                Self::Issue { email, days, name, json } => {
                    let issued = issue_token(app, &operator, Some(&email), &name, days).await?;
                    if json {
                        return print_json(&serde_json::json!({
                            "id": issued.id, "token": issued.secret, "expires": issued.expires.to_string(),
                        }));
                    }
                    let said = Sentence::new("cli_token_issued").with("id", issued.id).with("email", &email);
                    tell(&say(&said.with("expires", issued.expires)));
                    print_line(&issued.secret);
                }
                Self::Revoke { id } => {
                    revoke_token(app, &operator, id).await?;
                    tell(&say(&Sentence::new("cli_token_revoked").with("id", id)));
                }
            }
            Ok(())
        })
        .await
    }
}
