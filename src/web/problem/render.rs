//! Writing a problem out: JSON, or a page.

use super::body::{ProblemBody, ProblemError};
use super::{Answer, Problem};
use crate::actions::language;
use crate::app::App;
use crate::web::arrival::Arrival;
use crate::web::extract::{Accept, Path};
use crate::web::pages;
use crate::web::session::Typed;
use crate::words::Sentence;
use axum::extract::Request;
use axum::response::{Html, IntoResponse, Redirect, Response};
use http::{HeaderMap, HeaderValue, Method, StatusCode, Uri, header};

/// How a problem is written out.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Form {
    Json,
    Page,
}

/// Writes problems out, as the reader takes them: under `/api` as JSON, elsewhere as a page for who
/// asks for one by name, as browsers do.
pub async fn render<F: Future<Output = Response>>(
    app: &App,
    mut request: Request,
    next: impl FnOnce(Request) -> F,
) -> Response {
    let accept = Accept::read(request.headers());
    let json = accept.weight("application/problem+json").max(accept.weight("application/json"));
    let page = accept.names("text/html") && accept.weight("text/html") >= json;
    let page = page && !request.uri().path().starts_with("/api/");
    let form = if page { Form::Page } else { Form::Json };
    let back = (request.method() == Method::GET).then(|| request.uri().to_string());
    let (sent, path) = (request.method() != Method::GET, request.uri().path().to_owned());
    let (from, typed) = (request.headers().get(header::REFERER).cloned(), Typed::default());
    request.extensions_mut().insert(typed.clone());
    let id = Arrival::of(request.extensions()).map_or_else(String::new, |a| a.id.to_string());
    let mut response = next(request).await;
    let Some(problem) = response.extensions_mut().remove::<Problem>() else { return response };
    if let Some(source) = &problem.source {
        tracing::error!(target: "problem", request_id = %id, code = %problem.sentence.code, error = format!("{source:#}"));
    }
    let mut written = match (form, back) {
        (Form::Page, Some(back)) if problem.status == StatusCode::UNAUTHORIZED => to_sign_in(&back),
        (Form::Page, _) => problem.page(&id, &Asking { sent, before: before(from.as_ref(), &path), path, typed }),
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

/// How somebody asked for what became a page of a problem.
struct Asking {
    /// By a form, which may be sent again.
    sent: bool,
    /// The page of ours that it was on.
    before: Option<String>,
    /// Where it was sent.
    path: String,
    /// What was typed into its form.
    typed: Typed,
}

/// The page of ours that a request came from: browsers name no other (`Referrer-Policy`), and of
/// whatever else is named only the path is taken. What was shown in answer to a form stands at an
/// address that only forms are sent to: then it is the page of that form, and so it is when no page is named.
fn before(from: Option<&HeaderValue>, sent_to: &str) -> Option<String> {
    let from = || {
        let from: Uri = from?.to_str().ok()?.parse().ok()?;
        let page = pages::typed::page_of(from.path()).unwrap_or(from.path_and_query()?.as_str().to_owned());
        (page.starts_with('/') && !page.starts_with("//")).then_some(page)
    };
    from().or_else(|| pages::typed::page(sent_to))
}

/// Somebody who opens a page without being signed in is sent to sign in, and from there back.
fn to_sign_in(back: &str) -> Response {
    Redirect::to(&sign_in(back)).into_response()
}

/// Where one signs in to go on at `back`.
fn sign_in(back: &str) -> String {
    let query = serde_urlencoded::to_string([("next", back)]).unwrap_or_default();
    format!("/signin?{query}")
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
        language::say(&self.sentence)
    }

    /// RFC 9457 §3, with our own members.
    #[must_use]
    pub fn body(&self, public_url: &str, request_id: &str) -> ProblemBody {
        let errors = self.errors.iter().map(|fault| ProblemError {
            pointer: fault.pointer.clone(),
            code: fault.sentence.code.to_string(),
            message: language::say(&fault.sentence),
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

    fn page(&self, request_id: &str, asking: &Asking) -> Response {
        let errors: Vec<String> =
            self.errors.iter().map(|fault| fault.sentence.say_apart(language::reader())).collect();
        let help = language::say(&Sentence::new("problem_help").with("request_id", request_id));
        // Nothing was stored: a browser sends what was typed again when it loads the page again.
        let again = match &*self.sentence.code {
            "busy" | "storage_unavailable" => pages::problem::again(asking.sent),
            _ => "",
        };
        let back = asking.before.as_deref().filter(|_| asking.sent);
        // Who was signed out meanwhile comes back to an empty form: what was typed
        // stands here to be copied.
        let over = self.status == StatusCode::UNAUTHORIZED || &*self.sentence.code == "form_expired";
        let lost =
            if over && asking.sent { pages::typed::said(&asking.path, &asking.typed.take()) } else { Vec::new() };
        let signed_out = self.status == StatusCode::UNAUTHORIZED && asking.sent;
        let sign_in = signed_out.then(|| sign_in(back.unwrap_or("/")));
        let more = pages::problem::More { again, back, lost: &lost, sign_in: sign_in.as_deref() };
        // How programs sign in is nothing for who sees a page.
        let detail = if signed_out {
            pages::problem::signed_out().to_owned()
        } else {
            self.sentence.say_apart(language::reader())
        };
        let page = pages::problem::page(&self.title(), &detail, &errors, &more, &help);
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
        // RFC 9110, sections 15.5.22 and 7.8: to what.
        if self.status == StatusCode::UPGRADE_REQUIRED {
            headers.insert(header::UPGRADE, HeaderValue::from_static("HTTP/1.1"));
            headers.insert(header::CONNECTION, HeaderValue::from_static("upgrade"));
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
        426 => "title_426",
        428 => "title_428",
        429 => "title_429",
        503 => "title_503",
        _ => "title_500",
    };
    language::say(&Sentence::new(code))
}

/// A sentence as such: its `{placeholders}` left open.
fn without_values(template: &str) -> String {
    let mut parts = template.split('{');
    let first = parts.next().unwrap_or_default().to_owned();
    parts.fold(first, |said, part| said + "…" + part.split_once('}').map_or(part, |(_, rest)| rest))
}

/// Kinds of problems that are told otherwise than their answers.
const ABOUT: &[(&str, &str)] = &[
    ("address_long", "about_address_long"),
    ("code_not_of_gym", "about_code_not_of_gym"),
    ("invalid", "about_invalid"),
    ("not_acceptable", "about_not_acceptable"),
    ("too_large", "about_too_large"),
    ("too_many_tries", "about_too_many_tries"),
    ("too_slow_body", "about_too_slow_body"),
    ("unsupported_media_type", "about_unsupported_media_type"),
];

/// `GET /problems/{code}`: what a problem's `type` leads to.
pub async fn show_problem(Path(code): Path<String>) -> Answer {
    let said = |code: &str| crate::words::template(language::reader(), code);
    let text = said(&code).filter(|_| !code.starts_with("title_") && !code.starts_with("about_"));
    let Some(text) = text else { return Err(Problem::not_found(Sentence::new("no_such_page"))) };
    let title = language::say(&Sentence::new("problem_type").with("code", &code));
    // What an answer says with its values is said here without them, or with gaps that are explained.
    let about = ABOUT.iter().find(|(of, _)| *of == code).and_then(|(_, about)| said(about));
    let page = match about {
        Some(about) => pages::problem::page(&title, about, &[], &pages::problem::More::default(), ""),
        None if text.contains('{') => {
            let gaps = language::say(&Sentence::new("problem_gaps"));
            pages::problem::page(&title, &without_values(text), &[], &pages::problem::More::default(), &gaps)
        }
        None => pages::problem::page(&title, text, &[], &pages::problem::More::default(), ""),
    };
    Ok(([(header::CACHE_CONTROL, "public, max-age=3600")], Html(page)).into_response())
}
