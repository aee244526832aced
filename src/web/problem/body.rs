//! Problems as programs see them, and as the document of the API describes them.

use serde::Serialize;
use utoipa::{IntoResponses, ToSchema};

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
    /// Asked by HTTP/1.0 for a list that is sent in parts. With `Upgrade`.
    #[response(status = 426, content_type = "application/problem+json")]
    UpgradeRequired(ProblemBody),
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
