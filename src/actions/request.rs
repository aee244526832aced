//! What surrounds a write whatever it is about: when it came, what state its sender had seen,
//! and the key under which a repeat is recognised.

use super::Failure;
use super::score::WAIT;
use crate::app::App;
use crate::rules::access::Actor;
use crate::rules::fault::Read;
use crate::rules::ledger::{Asked, Change, Precondition};
use crate::store::{Answered, Idempotency, Trouble, WriteError};
use jiff::Timestamp;

/// What surrounds a write.
#[derive(Clone, Debug)]
pub struct Request {
    /// When the request's head was read.
    pub received: Timestamp,
    /// What state the sender has seen.
    pub precondition: Precondition,
    /// Under which key a repeat is recognised.
    pub idempotency: Option<IdempotencyKey>,
}

/// A key, and the request it stands for: the same account, method, path and body.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct IdempotencyKey {
    /// As sent, without quotes.
    pub key: String,
    /// The method, upper case.
    pub method: String,
    /// Path and query.
    pub path: String,
    /// SHA-256 of the body.
    pub digest: [u8; 32],
}

/// Which score.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ScorePath {
    /// Competition slug.
    pub competition: String,
    /// Workout slug.
    pub workout: String,
    /// Whose.
    pub bib: u32,
}

impl Request {
    /// A write that came at `received`, with nothing else said.
    #[must_use]
    pub fn at(received: Timestamp) -> Self {
        Self { received, precondition: Precondition::None, idempotency: None }
    }

    /// The same, of a sender who has seen `precondition`.
    #[must_use]
    pub fn having_seen(mut self, precondition: Precondition) -> Self {
        self.precondition = precondition;
        self
    }

    /// Hands a change to the writer and waits until it is durable and on the board.
    pub(super) async fn ask(
        self,
        app: &App,
        actor: &Actor,
        competition: &str,
        change: Change,
    ) -> Result<Answered, Failure> {
        let key = self.kept_under(actor);
        let asked = self.asked(app, actor, competition, change);
        Ok(app.writer.submit(asked, key).await?)
    }

    /// What would become of a change now. Nothing is done, and no key is used. Files take turns, for one takes
    /// the whole of a competition; what else is tried costs no more than doing it.
    pub(super) async fn try_out(
        self,
        app: &App,
        actor: &Actor,
        competition: &str,
        change: Change,
    ) -> Result<Answered, Failure> {
        let asked = self.asked(app, actor, competition, change);
        let _turn = match &asked.change {
            Change::Apply { .. } => Some(app.board.turn(WAIT).await.ok_or(Failure::Busy)?),
            _ => None,
        };
        Ok(app.store.try_out(&asked, app.clock.now()).await??)
    }

    /// A change that was read as a whole. Where something could not be read: that, and all else that the
    /// rules say is wrong with it.
    pub(super) async fn whole(
        &self,
        app: &App,
        actor: &Actor,
        competition: &str,
        read: Read<Change>,
    ) -> Result<Change, Failure> {
        if read.faults.is_empty() {
            return Ok(read.value);
        }
        let asked = self.asked(app, actor, competition, read.value.clone());
        let others = app.store.list_faults(competition, &[asked], app.clock.now()).await?;
        read.and_others(others.into_iter().flatten().collect()).whole().map_err(Failure::faults)
    }

    /// Under which key of this account the answer is kept.
    pub(super) fn kept_under(&self, actor: &Actor) -> Option<Idempotency> {
        self.idempotency.clone().zip(actor.account).map(|(key, account)| Idempotency {
            account,
            key: key.key,
            method: key.method,
            path: key.path,
            body_digest: key.digest,
        })
    }

    /// A change with all that its decision depends on.
    pub(super) fn asked(&self, app: &App, actor: &Actor, competition: &str, change: Change) -> Asked {
        Asked {
            actor: actor.clone(),
            competition: competition.to_owned(),
            received: self.received,
            precondition: self.precondition.clone(),
            salt: app.keys.bytes(),
            change,
        }
    }
}

impl From<WriteError> for Failure {
    fn from(error: WriteError) -> Self {
        match error {
            WriteError::Refused(refusal) => Self::Refused(refusal),
            WriteError::KeyReused => Self::KeyReused,
            WriteError::Busy => Self::Busy,
            WriteError::Unavailable => Self::Unavailable,
            WriteError::Unknown => Self::OutcomeUnknown,
            WriteError::Store(error) => error.into(),
        }
    }
}

impl From<crate::store::StoreError> for Failure {
    fn from(error: crate::store::StoreError) -> Self {
        if error.is_unknown() {
            tracing::error!(%error, "whether it was done is unknown");
            return Self::OutcomeUnknown;
        }
        match error.trouble() {
            Some(Trouble::Busy) => Self::Busy,
            Some(_) => {
                tracing::error!(%error, "the database is not available");
                Self::Unavailable
            }
            None => Self::Broken(error.into()),
        }
    }
}

/// What is read to answer a change that is stored already: that it cannot be had undoes nothing.
pub(super) fn stored<T>(answer: Result<T, Failure>) -> Result<T, Failure> {
    answer.map_err(|failure| match failure {
        Failure::Busy | Failure::Unavailable | Failure::Behind => Failure::Stored,
        other => other,
    })
}

/// 401 for nobody, before anything else is looked at.
pub fn signed_in(actor: &Actor) -> Result<(), Failure> {
    if actor.account.is_some() || actor.operator {
        Ok(())
    } else {
        Err(crate::rules::access::Denied::NotSignedIn.into())
    }
}
