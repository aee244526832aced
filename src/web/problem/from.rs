//! What each error of the floors below is over HTTP.

use super::Problem;
use crate::actions::Failure;
use crate::actions::accounts::AccountError;
use crate::rules::access::Denied;
use crate::rules::ledger::Refusal;
use crate::store::{StoreError, Trouble};
use crate::words::Sentence;
use http::StatusCode;

impl From<Refusal> for Problem {
    fn from(refusal: Refusal) -> Self {
        match refusal {
            Refusal::NotSignedIn => Self::not_signed_in(),
            Refusal::NotAllowed(sentence) => Self::new(StatusCode::FORBIDDEN, sentence),
            Refusal::NotFound(sentence) => Self::not_found(sentence),
            Refusal::Conflict(sentence, differences) => Self::new(StatusCode::CONFLICT, sentence).with(|p| {
                p.differences =
                    (!differences.is_empty()).then(|| serde_json::to_value(differences).unwrap_or_default());
            }),
            Refusal::PreconditionRequired(sentence, _) => Self::new(StatusCode::PRECONDITION_REQUIRED, sentence),
            Refusal::PreconditionFailed(_) => {
                Self::new(StatusCode::PRECONDITION_FAILED, Sentence::new("precondition_failed"))
            }
            Refusal::Faults(faults) => Self::faults(faults),
            Refusal::Ask(questions) => Self::ask(questions),
        }
    }
}

impl From<Failure> for Problem {
    fn from(failure: Failure) -> Self {
        match failure {
            Failure::Refused(refusal) => refusal.into(),
            Failure::Stale { refusal, current } => {
                Self::from(refusal).with(|p| p.current = serde_json::to_value(current).ok())
            }
            Failure::Unreadable(errors) => {
                Self::new(StatusCode::BAD_REQUEST, Sentence::new("unreadable")).with(|p| p.errors = errors)
            }
            Failure::KeyReused => Self::new(StatusCode::UNPROCESSABLE_ENTITY, Sentence::new("idempotency_key_reused")),
            Failure::BeingMade => {
                Self::new(StatusCode::CONFLICT, Sentence::new("being_made")).with(|p| p.retry_after = Some(2))
            }
            Failure::Busy => Self::unavailable(Sentence::new("busy"), 1),
            Failure::Unavailable => Self::unavailable(Sentence::new("storage_unavailable"), 5),
            Failure::OutcomeUnknown => Self::unavailable(Sentence::new("outcome_unknown"), 1),
            Failure::Stored => Self::unavailable(Sentence::new("stored_not_shown"), 1),
            Failure::InPart(sentence, source) => Self::unavailable(sentence, 5).because(source),
            Failure::Behind => Self::unavailable(Sentence::new("standings_behind"), 1),
            Failure::Broken(source) => Self::internal(source),
        }
    }
}

impl From<AccountError> for Problem {
    fn from(error: AccountError) -> Self {
        match error {
            AccountError::Refused(refusal) => refusal.into(),
            AccountError::WrongSignIn => Self::new(StatusCode::UNAUTHORIZED, Sentence::new("wrong_sign_in")),
            AccountError::Throttled(wait) => {
                let seconds = wait.as_secs().max(1);
                let sentence = Sentence::new("too_many_tries").with("seconds", seconds);
                Self::new(StatusCode::TOO_MANY_REQUESTS, sentence).with(|p| p.retry_after = Some(seconds))
            }
            AccountError::Store(error) => error.into(),
            AccountError::Broken(error) => Self::internal(error),
        }
    }
}

impl From<StoreError> for Problem {
    fn from(error: StoreError) -> Self {
        if error.is_unknown() {
            return Self::unavailable(Sentence::new("outcome_unknown"), 1).because(error);
        }
        match error.trouble() {
            Some(Trouble::Busy) => Self::unavailable(Sentence::new("busy"), 1),
            Some(_) => Self::unavailable(Sentence::new("storage_unavailable"), 5).because(error),
            None => Self::internal(error),
        }
    }
}

impl From<Denied> for Problem {
    fn from(denied: Denied) -> Self {
        match denied {
            Denied::NotSignedIn => Self::not_signed_in(),
            Denied::NotAllowed => Self::not_allowed(),
        }
    }
}
