//! The one door from errors to responses: RFC 9457 problems, as JSON or as a page by `Accept`.
//!
//! Handlers return a [`Problem`]; it travels in the response's extensions, and a middleware
//! ([`render`]) writes it out, because only there the request id, the public address and what the
//! reader accepts are known. The private cause of a 500 is logged once, there, and never shown.
//! What this does not do: prose; the sentences stand in `words/en/problems.rs`.

mod body;
mod from;
mod render;

pub use body::{ProblemBody, ProblemError, Problems, WriteProblems};
pub use render::{render, show_problem};

use crate::rules::fault::{Fault, Question};
use crate::words::Sentence;
use axum::response::{IntoResponse, Response};
use http::StatusCode;
use std::ops::{Deref, DerefMut};
use std::sync::Arc;

/// What handlers of the API and of pages answer.
pub type Answer<T = Response> = Result<T, Problem>;

/// Why a request was not done, for a person and for a program. One pointer wide; its parts are
/// read and set as if they were its own.
#[derive(Clone, Debug)]
pub struct Problem(Box<Parts>);

/// The parts of a [`Problem`].
#[derive(Clone, Debug)]
pub struct Parts {
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

impl Deref for Problem {
    type Target = Parts;

    fn deref(&self) -> &Parts {
        &self.0
    }
}

impl DerefMut for Problem {
    fn deref_mut(&mut self) -> &mut Parts {
        &mut self.0
    }
}

impl Problem {
    /// The problem, changed by `change`.
    #[must_use]
    pub fn with(mut self, change: impl FnOnce(&mut Parts)) -> Self {
        change(&mut self.0);
        self
    }

    /// A problem with this status and sentence.
    #[must_use]
    pub fn new(status: StatusCode, sentence: Sentence) -> Self {
        Self(Box::new(Parts {
            status,
            sentence,
            errors: Vec::new(),
            confirm: Vec::new(),
            current: None,
            differences: None,
            retry_after: None,
            source: None,
        }))
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
        Self::new(StatusCode::UNPROCESSABLE_ENTITY, sentence).with(|p| p.errors = errors)
    }

    /// 422 with questions that a yes answers.
    #[must_use]
    pub fn ask(questions: Vec<Question>) -> Self {
        Self::new(StatusCode::UNPROCESSABLE_ENTITY, Sentence::new("confirm")).with(|p| {
            p.confirm = questions.iter().map(|q| q.sentence.code.to_string()).collect();
            p.errors = questions.into_iter().map(|q| Fault::new(q.pointer, q.sentence)).collect();
        })
    }

    /// 500: the cause is logged, a fixed sentence is shown.
    #[must_use]
    pub fn internal(source: impl Into<anyhow::Error>) -> Self {
        Self::new(StatusCode::INTERNAL_SERVER_ERROR, Sentence::new("internal")).because(source)
    }

    /// The same, with its private cause: logged, never shown.
    #[must_use]
    pub fn because(self, source: impl Into<anyhow::Error>) -> Self {
        self.with(|p| p.source = Some(Arc::new(source.into())))
    }

    /// 503 with `Retry-After`.
    #[must_use]
    pub fn unavailable(sentence: Sentence, retry_after: u64) -> Self {
        Self::new(StatusCode::SERVICE_UNAVAILABLE, sentence).with(|p| p.retry_after = Some(retry_after))
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
