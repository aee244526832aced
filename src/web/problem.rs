//! The one door from errors to responses: RFC 9457 problems, as JSON or as a page by `Accept`.
//!
//! Handlers return a [`Problem`]; it travels in the response's extensions, and the outermost
//! middleware ([`render`]) writes it out, because only there the request id, the public address
//! and what the reader accepts are known. The private cause of a 500 is logged once, here, and
//! never shown. What it does not do: prose; the sentences stand in `words/en/problems.rs`.

use super::arrival::Arrival;
use super::extract::{Accept, Path};
use crate::actions::Failure;
use crate::actions::accounts::AccountError;
use crate::app::App;
use crate::rules::access::Denied;
use crate::rules::fault::{Fault, Question};
use crate::rules::ledger::Refusal;
use crate::store::StoreError;
use crate::web::pages;
use crate::words::{Lang, Sentence};
use axum::extract::{Request, State};
use axum::middleware::Next;
use axum::response::{Html, IntoResponse, Redirect, Response};
use http::{HeaderMap, HeaderValue, Method, StatusCode, header};
use serde::Serialize;
use std::sync::Arc;
use utoipa::{IntoResponses, ToSchema};

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
            Failure::Stale { refusal, current } => {
                Self { current: serde_json::to_value(current).ok(), ..Self::from(refusal) }
            }
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
            AccountError::Broken(error) => Self::internal(error),
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

/// How a problem is written out.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Form {
    Json,
    Page,
}

/// Writes problems out, as the reader takes them: under `/api` as JSON, elsewhere as a page for who
/// asks for one by name, as browsers do.
pub async fn render(State(app): State<App>, request: Request, next: Next) -> Response {
    let accept = Accept::read(request.headers());
    let json = accept.weight("application/problem+json").max(accept.weight("application/json"));
    let page = accept.names("text/html") && accept.weight("text/html") >= json;
    let page = page && !request.uri().path().starts_with("/api/");
    let form = if page { Form::Page } else { Form::Json };
    let back = (request.method() == Method::GET).then(|| request.uri().to_string());
    let id = Arrival::of(request.extensions()).map_or_else(String::new, |a| a.id.to_string());
    let mut response = next.run(request).await;
    let Some(problem) = response.extensions_mut().remove::<Problem>() else { return response };
    if let Some(source) = &problem.source {
        tracing::error!(target: "problem", request_id = %id, code = %problem.sentence.code, error = format!("{source:#}"));
    }
    let mut written = match (form, back) {
        (Form::Page, Some(back)) if problem.status == StatusCode::UNAUTHORIZED => to_sign_in(&back),
        (Form::Page, _) => problem.page(&id),
        (Form::Json, _) => problem.json(&app.config.public_url, &id),
    };
    // What the router said, as `Allow`, stays.
    for (name, value) in response.headers() {
        if *name != header::CONTENT_LENGTH && *name != header::CONTENT_TYPE {
            written.headers_mut().append(name, value.clone());
        }
    }
    problem.head(written.headers_mut());
    written
}

/// Somebody who opens a page without being signed in is sent to sign in, and from there back.
fn to_sign_in(back: &str) -> Response {
    let query = serde_urlencoded::to_string([("next", back)]).unwrap_or_default();
    Redirect::to(&format!("/signin?{query}")).into_response()
}

impl Problem {
    /// The title of all problems with this status.
    #[must_use]
    pub fn title(&self) -> String {
        title(self.status)
    }

    /// What happened here, and what to do.
    #[must_use]
    pub fn detail(&self) -> String {
        self.sentence.say(Lang::En)
    }

    /// RFC 9457 §3, with our own members.
    #[must_use]
    pub fn body(&self, public_url: &str, request_id: &str) -> ProblemBody {
        let errors = self.errors.iter().map(|fault| ProblemError {
            pointer: fault.pointer.clone(),
            code: fault.sentence.code.to_string(),
            message: fault.sentence.say(Lang::En),
            line: fault.line,
        });
        ProblemBody {
            kind: format!("{public_url}/problems/{}", self.sentence.code),
            title: self.title(),
            status: self.status.as_u16(),
            detail: self.detail(),
            code: self.sentence.code.to_string(),
            request_id: request_id.to_owned(),
            errors: errors.collect(),
            confirm: self.confirm.clone(),
            current: self.current.clone(),
            differences: self.differences.clone(),
        }
    }

    fn json(&self, public_url: &str, request_id: &str) -> Response {
        let body = serde_json::to_vec(&self.body(public_url, request_id)).unwrap_or_default();
        (self.status, [(header::CONTENT_TYPE, "application/problem+json")], body).into_response()
    }

    fn page(&self, request_id: &str) -> Response {
        let errors: Vec<String> = self.errors.iter().map(|fault| fault.sentence.say(Lang::En)).collect();
        let help = Sentence::new("problem_help").with("request_id", request_id).say(Lang::En);
        let page = pages::problem::page(&self.title(), &self.detail(), &errors, &help);
        (self.status, Html(page)).into_response()
    }

    /// Headers that its status asks for.
    fn head(&self, headers: &mut HeaderMap) {
        if self.status == StatusCode::UNAUTHORIZED {
            let challenge = match &*self.sentence.code {
                "bad_token" => r#"Bearer realm="scores", error="invalid_token""#,
                _ => r#"Bearer realm="scores""#,
            };
            headers.insert(header::WWW_AUTHENTICATE, HeaderValue::from_static(challenge));
        }
        if let Some(seconds) = self.retry_after {
            headers.insert(header::RETRY_AFTER, HeaderValue::from(seconds));
        }
    }
}

/// The title of all problems with this status; of the nearest we have words for.
fn title(status: StatusCode) -> String {
    let code = match status.as_u16() {
        400 => "title_400",
        401 => "title_401",
        403 => "title_403",
        404 => "title_404",
        405 => "title_405",
        406 => "title_406",
        408 => "title_408",
        409 => "title_409",
        412 => "title_412",
        413 => "title_413",
        415 => "title_415",
        422 => "title_422",
        428 => "title_428",
        429 => "title_429",
        503 => "title_503",
        _ => "title_500",
    };
    Sentence::new(code).say(Lang::En)
}

/// `GET /problems/{code}`: what a problem's `type` leads to.
pub async fn show_problem(Path(code): Path<String>) -> Answer {
    let text = crate::words::en::template(&code).filter(|_| !code.starts_with("title_"));
    let Some(text) = text else { return Err(Problem::not_found(Sentence::new("no_such_page"))) };
    let title = Sentence::new("problem_type").with("code", &code).say(Lang::En);
    let page = pages::problem::page(&title, text, &[], "");
    Ok(([(header::CACHE_CONTROL, "public, max-age=3600")], Html(page)).into_response())
}

/// What went wrong (RFC 9457), for programs and people.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct ProblemBody {
    /// Absolute address of a page about this kind of problem.
    #[serde(rename = "type")]
    #[schema(example = "https://scores.example.org/problems/invalid")]
    pub kind: String,
    /// The same for every problem with this status.
    pub title: String,
    /// The HTTP status again.
    pub status: u16,
    /// What happened here, and what to do.
    pub detail: String,
    /// Stable name of the kind.
    #[schema(example = "invalid")]
    pub code: String,
    /// To be told when asking for help.
    pub request_id: String,
    /// Everything to mend, all at once.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    #[schema(required = false)]
    pub errors: Vec<ProblemError>,
    /// With `code: "confirm"`: what to send back as `confirm` to say yes.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    #[schema(required = false)]
    pub confirm: Vec<String>,
    /// With 412 and 428: what is there now.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(value_type = Object, required = false, nullable = false)]
    pub current: Option<serde_json::Value>,
    /// With 409 on a competition file: what would change.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(value_type = Vec<Object>, required = false, nullable = false)]
    pub differences: Option<serde_json::Value>,
}

/// One thing to mend.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct ProblemError {
    /// JSON pointer (RFC 6901) into the body, or `/name` of a parameter; empty: the whole.
    #[schema(example = "/performance")]
    pub pointer: String,
    /// Stable name.
    pub code: String,
    /// What, and what to do.
    pub message: String,
    /// Line of a text, from 1.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(required = false, nullable = false)]
    pub line: Option<u32>,
}

/// The problems that any operation may answer with, for the document: name it in `responses(…)`.
#[derive(IntoResponses)]
pub enum Problems {
    /// Not readable: no JSON, no UTF-8, a header or key that is none.
    #[response(status = 400, content_type = "application/problem+json")]
    Unreadable(ProblemBody),
    /// Nobody is signed in, or the token is not valid. With `WWW-Authenticate`.
    #[response(status = 401, content_type = "application/problem+json")]
    NotSignedIn(ProblemBody),
    /// The roles do not allow it, or the request came from another site.
    #[response(status = 403, content_type = "application/problem+json")]
    NotAllowed(ProblemBody),
    /// Unknown, private or not yet announced.
    #[response(status = 404, content_type = "application/problem+json")]
    NotFound(ProblemBody),
    /// The answer does not come in what `Accept` asks for.
    #[response(status = 406, content_type = "application/problem+json")]
    NotAcceptable(ProblemBody),
    /// Unknown members, rules that are broken, questions to be confirmed: all at once.
    #[response(status = 422, content_type = "application/problem+json")]
    Invalid(ProblemBody),
    /// Too many tries. With `Retry-After`.
    #[response(status = 429, content_type = "application/problem+json")]
    TooManyTries(ProblemBody),
    /// Something broke; give the request id when asking for help.
    #[response(status = 500, content_type = "application/problem+json")]
    Internal(ProblemBody),
    /// Too much is going on, or the outcome is unknown. With `Retry-After`.
    #[response(status = 503, content_type = "application/problem+json")]
    Unavailable(ProblemBody),
}

/// The problems of operations that store something, beside [`Problems`].
#[derive(IntoResponses)]
pub enum WriteProblems {
    /// The body did not arrive in time.
    #[response(status = 408, content_type = "application/problem+json")]
    TooSlow(ProblemBody),
    /// What is there does not allow it, or a change needs `rescore`.
    #[response(status = 409, content_type = "application/problem+json")]
    Conflict(ProblemBody),
    /// `If-Match` names an old version; `current` is what is there.
    #[response(status = 412, content_type = "application/problem+json")]
    PreconditionFailed(ProblemBody),
    /// The body is too large.
    #[response(status = 413, content_type = "application/problem+json")]
    TooLarge(ProblemBody),
    /// `Content-Type` is none that is understood here.
    #[response(status = 415, content_type = "application/problem+json")]
    UnsupportedMediaType(ProblemBody),
    /// `If-Match` is missing.
    #[response(status = 428, content_type = "application/problem+json")]
    PreconditionRequired(ProblemBody),
}
