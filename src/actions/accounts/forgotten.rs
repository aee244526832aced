//! A forgotten password: a letter with a one-time link, asked for by anybody, for an address.
//!
//! What is answered, and how soon, is the same whether there is such an account or not: who asks
//! hears that a letter is on its way if there is one, and everything that depends on it is done
//! aside. Letters are few by account and by asker. Only where there is a mail server.

use super::gate::ask;
use super::roles::make_link;
use super::{AccountError, Origin, fault, fold};
use crate::actions::language;
use crate::actions::letters::{self, Link};
use crate::app::App;
use crate::rules::ledger::Refusal;
use crate::rules::people::check_email;
use crate::words::Sentence;
use jiff::SignedDuration;

/// How long the link of such a letter holds.
pub const FORGOTTEN: SignedDuration = SignedDuration::from_hours(1);

/// Mails a link to the account of this address, if there is one that can be signed in to.
///
/// # Errors
/// What is no address; too many letters; no mail server. Never whether there is such an account.
pub async fn send_forgotten(app: &App, email: &str, from: &Origin) -> Result<(), AccountError> {
    if !app.post.is_there() {
        return Err(Refusal::Conflict(Sentence::new("no_mail"), Vec::new()).into());
    }
    let email = check_email(email).map_err(|sentence| fault("/email", sentence))?;
    if email.is_empty() {
        return Err(fault("/email", Sentence::new("forgotten_needs_email")));
    }
    let folded = fold(&email);
    ask(app, &folded, from.address).await?;
    let (app, lang) = (app.clone(), language::reader());
    tokio::spawn(language::speaking(lang, async move {
        if let Err(error) = write(&app, &folded).await {
            tracing::warn!(target: "mail", %error, "a letter about a forgotten password was not written");
        }
    }));
    Ok(())
}

/// The letter itself. An account that was closed, or erased, has no way in and gets none.
async fn write(app: &App, folded: &str) -> Result<(), AccountError> {
    let Some(account) = app.store.find_account_by_email(folded).await? else { return Ok(()) };
    if account.password_hash.is_none() && app.store.list_grants_of(account.id).await?.is_empty() {
        return Ok(());
    }
    let until = app.clock.now() + FORGOTTEN;
    let secret = make_link(app, account.id, FORGOTTEN).await?;
    let letter = letters::forgotten(app, &account.email, &Link::new(app, &secret, until));
    // What became of it is nobody's to know but the mail server's.
    let _ = app.post.send(letter).await;
    Ok(())
}
