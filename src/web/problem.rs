//! The one door from errors to responses: RFC 9457 problems, as JSON or as a page by `Accept`.
//!
//! Handlers return a [`Problem`]; it travels in the response's extensions, and the outermost
//! middleware ([`render`]) writes it out, because only there the request id, the public address
//! and what the reader accepts are known. The private cause of a 500 is logged once, here, and
//! never shown. What it does not do: prose; the sentences stand in `words/en/problems.rs`.

use crate::actions::Failure;
use crate::actions::accounts::AccountError;
use crate::rules::access::Denied;
use crate::rules::fault::{Fault, Question};
use crate::rules::ledger::Refusal;
use crate::rules::life::Attempt;
use crate::store::StoreError;
use crate::words::Sentence;
use axum::response::{IntoResponse, Response};
use http::StatusCode;
use std::sync::Arc;

/// What handlers of the API and of pages answer.
pub type Answer<T = Response> = Result<T, Problem>;

/// Why a request was not done, for a person and for a program.
#[derive(Clone, Debug)]
pub struct Problem {
    /// HTTP status.
    pub status: StatusCode,
    /// Its code is the problem's `code` and the end of its `type`; said, it is the `detail`.
    pub sentence: Sentence,
    /// Everything that must be mended, each with where it is.
    pub errors: Vec<Fault>,
    /// For questions: the codes that a yes sends back in `confirm`.
    pub confirm: Vec<String>,
    /// For 412 and 428: what is there now, in the form of an answer.
    pub current: Option<serde_json::Value>,
    /// For a competition file that needs `rescore`: what would change.
    pub differences: Option<serde_json::Value>,
    /// Seconds for `Retry-After`.
    pub retry_after: Option<u64>,
    /// The private cause: logged, never shown.
    pub source: Option<Arc<anyhow::Error>>,
}

impl Problem {
    /// A problem with this status and sentence.
    #[must_use]
    pub fn new(status: StatusCode, sentence: Sentence) -> Self {
        Self {
            status,
            sentence,
            errors: Vec::new(),
            confirm: Vec::new(),
            current: None,
            differences: None,
            retry_after: None,
            source: None,
        }
    }

    /// 404 with a sentence; for things that are unknown, private or not yet announced.
    #[must_use]
    pub fn not_found(sentence: Sentence) -> Self {
        Self::new(StatusCode::NOT_FOUND, sentence)
    }

    /// 401: nobody is signed in.
    #[must_use]
    pub fn not_signed_in() -> Self {
        Self::new(StatusCode::UNAUTHORIZED, Sentence::new("not_signed_in"))
    }

    /// 403: somebody is, without the role for it.
    #[must_use]
    pub fn not_allowed() -> Self {
        Self::new(StatusCode::FORBIDDEN, Sentence::new("not_allowed"))
    }

    /// 422 with everything that must be mended.
    #[must_use]
    pub fn faults(errors: Vec<Fault>) -> Self {
        let sentence = match errors.as_slice() {
            [_] => Sentence::new("invalid_one"),
            many => Sentence::new("invalid").with("count", many.len()),
        };
        Self { errors, ..Self::new(StatusCode::UNPROCESSABLE_ENTITY, sentence) }
    }

    /// 422 with questions that a yes answers.
    #[must_use]
    pub fn ask(questions: Vec<Question>) -> Self {
        let confirm = questions.iter().map(|q| q.sentence.code.to_string()).collect();
        let errors = questions.into_iter().map(|q| Fault::new(q.pointer, q.sentence)).collect();
        Self { errors, confirm, ..Self::new(StatusCode::UNPROCESSABLE_ENTITY, Sentence::new("confirm")) }
    }

    /// 500: the cause is logged, a fixed sentence is shown.
    #[must_use]
    pub fn internal(source: impl Into<anyhow::Error>) -> Self {
        Self {
            source: Some(Arc::new(source.into())),
            ..Self::new(StatusCode::INTERNAL_SERVER_ERROR, Sentence::new("internal"))
        }
    }

    /// 503 with `Retry-After`.
    #[must_use]
    pub fn unavailable(sentence: Sentence, retry_after: u64) -> Self {
        Self { retry_after: Some(retry_after), ..Self::new(StatusCode::SERVICE_UNAVAILABLE, sentence) }
    }

    /// A refusal, with the score that is there now put into the form of an answer by `view`.
    #[must_use]
    pub fn refused(refusal: Refusal, view: impl FnOnce(&Attempt) -> serde_json::Value) -> Self {
        let current = match &refusal {
            Refusal::PreconditionRequired(_, Some(now)) | Refusal::PreconditionFailed(Some(now)) => Some(view(now)),
            _ => None,
        };
        Self { current, ..Self::from(refusal) }
    }
}

impl From<Refusal> for Problem {
    fn from(refusal: Refusal) -> Self {
        match refusal {
            Refusal::NotSignedIn => Self::not_signed_in(),
            Refusal::NotAllowed(sentence) => Self::new(StatusCode::FORBIDDEN, sentence),
            Refusal::NotFound(sentence) => Self::not_found(sentence),
            Refusal::Conflict(sentence, differences) => Self {
                differences: (!differences.is_empty()).then(|| serde_json::to_value(differences).unwrap_or_default()),
                ..Self::new(StatusCode::CONFLICT, sentence)
            },
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
            Failure::Unreadable(errors) => {
                Self { errors, ..Self::new(StatusCode::BAD_REQUEST, Sentence::new("unreadable")) }
            }
            Failure::KeyReused => Self::new(StatusCode::UNPROCESSABLE_ENTITY, Sentence::new("idempotency_key_reused")),
            Failure::Busy => Self::unavailable(Sentence::new("busy"), 1),
            Failure::OutcomeUnknown => Self::unavailable(Sentence::new("outcome_unknown"), 1),
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
                Self { retry_after: Some(seconds), ..Self::new(StatusCode::TOO_MANY_REQUESTS, sentence) }
            }
            AccountError::Store(error) => error.into(),
        }
    }
}

impl From<StoreError> for Problem {
    fn from(error: StoreError) -> Self {
        if error.is_busy() { Self::unavailable(Sentence::new("busy"), 1) } else { Self::internal(error) }
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

impl IntoResponse for Problem {
    /// The status alone, with the problem in the extensions for [`render`] to write out.
    fn into_response(self) -> Response {
        let mut response = self.status.into_response();
        response.extensions_mut().insert(self);
        response
    }
}
