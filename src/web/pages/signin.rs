//! Signing in with a password or a one-time link, and out.

use super::form::{FieldError, Fields};
use super::html;
use super::shell::{Shell, encoded, words};
use crate::actions::accounts::{self, AccountError, SignedIn};
use crate::app::App;
use crate::rules::access::{Grant, Role};
use crate::web::extract::Query;
use crate::web::problem::{Answer, Problem};
use crate::web::session::{self, Caller, Form, cookie, no_cookie};
use crate::words::en::pages::Pages;
use crate::words::put;
use askama::Template;
use axum::extract::State;
use axum::response::{AppendHeaders, IntoResponse, Redirect, Response};
use http::{HeaderMap, StatusCode, header};
use std::collections::BTreeSet;

#[derive(Template)]
#[template(path = "signin.html")]
struct SignInView<'a> {
    shell: Shell,
    w: &'static Pages,
    csrf: &'a str,
    next: &'a str,
    email: &'a str,
    errors: Vec<FieldError>,
    done: Option<&'static str>,
}

#[derive(Template)]
#[template(path = "link.html")]
struct LinkView<'a> {
    shell: Shell,
    w: &'static Pages,
    csrf: &'a str,
    code: &'a str,
    usable: bool,
    errors: Vec<FieldError>,
}

/// Where somebody works, if that is one place: the desk of their gym, a judge's lanes, the referees' list, the
/// competition they organise, their own page. Else the account's page, which lists all there is.
fn work(grants: &[Grant]) -> String {
    let place = |grant: &Grant| match (grant.role, &grant.competition) {
        (Role::Organiser, Some(c)) => Some(format!("/organise/{}", encoded(c))),
        (Role::Organiser, None) => Some("/organise".to_owned()),
        (Role::Referee, _) => Some("/referee".to_owned()),
        (Role::Staff, Some(c)) => grant.gym.as_ref().map(|gym| format!("/desk/{}/{}", encoded(c), encoded(gym))),
        (Role::Judge, Some(c)) => grant.judge.as_ref().map(|_| format!("/judge/{}", encoded(c))),
        (Role::Athlete, Some(c)) => grant.bib.map(|bib| format!("/c/{}/athletes/{bib}", encoded(c))),
        _ => None,
    };
    let places: BTreeSet<Option<String>> = grants.iter().map(place).collect();
    match places.into_iter().collect::<Vec<_>>().as_slice() {
        [Some(one)] => one.clone(),
        _ => "/account".to_owned(),
    }
}

/// Where to go after signing in: a path of our own, else the account's page.
fn safe(next: &str) -> &str {
    let own = next.starts_with('/') && !next.starts_with("//") && !next.contains(|c: char| c == '\\' || c.is_control());
    if own { next } else { "/account" }
}

fn view<'a>(caller: &'a Caller, next: &'a str, email: &'a str) -> SignInView<'a> {
    let w = words();
    let shell = Shell::new(caller, "/signin", w.signin_title);
    SignInView { shell, w, csrf: &caller.csrf, next, email, errors: Vec::new(), done: None }
}

/// `GET /signin`.
pub async fn get_signin(caller: Caller, Query(fields): Query<Fields>) -> Answer {
    let done = fields.ticked("out").then_some(words().signed_out);
    Ok(html(&SignInView { done, ..view(&caller, fields.get("next"), "") })?.into_response())
}

/// `POST /signin`.
pub async fn post_signin(State(app): State<App>, caller: Caller, Form(fields): Form<Fields>) -> Answer {
    let (email, password, next) = (fields.get("email"), fields.exact("password"), fields.get("next"));
    let (status, text) = match accounts::sign_in(&app, email, password, &caller.origin()).await {
        Ok(signed_in) if next.is_empty() => {
            // They are in: where this cannot be read, their account is as good a place.
            let known = accounts::find_by_cookie(&app, &signed_in.secret, caller.received).await.ok().flatten();
            let place = work(&known.map_or_else(Vec::new, |known| known.actor.grants));
            return begin(&app, &caller, &signed_in, &place).await;
        }
        Ok(signed_in) => return begin(&app, &caller, &signed_in, safe(next)).await,
        Err(error) => refused(error, words().signin_wrong)?,
    };
    let errors = vec![FieldError::new("email", text)];
    Ok((status, html(&SignInView { errors, ..view(&caller, next, email) })?).into_response())
}

/// A sentence for what a person can mend; the rest is a problem.
fn refused(error: AccountError, wrong: &str) -> Result<(StatusCode, String), Problem> {
    match error {
        AccountError::WrongSignIn => Ok((StatusCode::UNAUTHORIZED, wrong.to_owned())),
        AccountError::Throttled(wait) => {
            let time = (words().duration)(wait.as_secs().max(1));
            Ok((StatusCode::TOO_MANY_REQUESTS, put(words().signin_wait, &[("time", &time)])))
        }
        other => Err(other.into()),
    }
}

/// Ends the session the request came with, and begins the new one, where it is another.
async fn begin(app: &App, caller: &Caller, signed_in: &SignedIn, next: &str) -> Answer {
    if let Some(session) = caller.session.filter(|_| !session::is_of(caller, &signed_in.secret)) {
        // It may have ended by itself meanwhile.
        let _ = accounts::end_session(app, &caller.actor, session).await;
    }
    let cookie = AppendHeaders([(header::SET_COOKIE, cookie(app, &signed_in.secret))]);
    Ok((cookie, Redirect::to(next)).into_response())
}

/// `GET /signin/link`: a button, so that a program that looks at addresses in messages does not
/// use the link up. The browser gets a cookie by which it is known again, should the answer to the button
/// be lost.
pub async fn get_link(
    State(app): State<App>,
    caller: Caller,
    headers: HeaderMap,
    Query(fields): Query<Fields>,
) -> Answer {
    let page = html(&link(&caller, fields.get("code")))?;
    let known = session::browser(&headers, &app).unwrap_or_else(|| accounts::for_browser(&app));
    Ok((AppendHeaders([(header::SET_COOKIE, session::browser_cookie(&app, known))]), page).into_response())
}

fn link<'a>(caller: &'a Caller, code: &'a str) -> LinkView<'a> {
    let w = words();
    let shell = Shell::new(caller, "/signin", w.link_title);
    LinkView { shell, w, csrf: &caller.csrf, code, usable: !code.is_empty(), errors: Vec::new() }
}

/// `POST /signin/link`.
pub async fn post_link(
    State(app): State<App>,
    caller: Caller,
    headers: HeaderMap,
    Form(fields): Form<Fields>,
) -> Answer {
    let (code, browser) = (fields.get("code"), session::browser(&headers, &app));
    let (status, text) = match accounts::sign_in_by_link(&app, code, browser.as_deref(), &caller.origin()).await {
        Ok(signed_in) => {
            let begun = begin(&app, &caller, &signed_in, "/account").await?;
            let gone = browser.map(|_| (header::SET_COOKIE, session::no_browser_cookie(&app)));
            return Ok((AppendHeaders(gone), begun).into_response());
        }
        Err(error) => refused(error, words().link_used)?,
    };
    let errors = vec![FieldError::new("", text)];
    Ok((status, html(&LinkView { errors, ..link(&caller, code) })?).into_response())
}

/// `POST /signout`.
pub async fn post_signout(State(app): State<App>, caller: Caller, Form(_): Form<Fields>) -> Answer<Response> {
    if let Some(session) = caller.session {
        // It may have ended by itself meanwhile.
        let _ = accounts::end_session(&app, &caller.actor, session).await;
    }
    let cookie = AppendHeaders([(header::SET_COOKIE, no_cookie(&app))]);
    Ok((cookie, Redirect::to("/signin?out=1")).into_response())
}

#[cfg(test)]
mod tests {
    use super::super::samples;
    use super::*;

    #[test]
    fn one_place_of_work_is_where_one_is_led_and_several_are_listed() {
        let grant = |role, competition: Option<&str>| Grant {
            role,
            competition: competition.map(str::to_owned),
            gym: Some("quay side".to_owned()).filter(|_| role == Role::Staff),
            bib: Some(1042).filter(|_| role == Role::Athlete),
            judge: Some("J-1".to_owned()).filter(|_| role == Role::Judge),
        };
        let staff = grant(Role::Staff, Some("s"));
        assert_eq!(work(std::slice::from_ref(&staff)), "/desk/s/quay%20side");
        assert_eq!(work(&[grant(Role::Referee, Some("s"))]), "/referee");
        assert_eq!(work(&[grant(Role::Referee, Some("s")), grant(Role::Referee, Some("t"))]), "/referee");
        assert_eq!(work(&[grant(Role::Organiser, Some("s"))]), "/organise/s");
        assert_eq!(work(&[grant(Role::Organiser, None)]), "/organise");
        assert_eq!(work(&[grant(Role::Athlete, Some("s"))]), "/c/s/athletes/1042");
        assert_eq!(work(&[grant(Role::Judge, Some("s"))]), "/judge/s");
        // Without a code there is no lane to look at.
        assert_eq!(work(&[Grant { judge: None, ..grant(Role::Judge, Some("s")) }]), "/account");
        for several in [vec![], vec![staff, grant(Role::Athlete, Some("s"))]] {
            assert_eq!(work(&several), "/account");
        }
    }

    #[test]
    fn one_is_led_to_our_own_pages_only() {
        assert_eq!(safe("/c/saltmarsh?gym=a"), "/c/saltmarsh?gym=a");
        for bad in [
            "",
            "//evil.example",
            "https://evil.example",
            "/\\evil.example",
            "javascript:x",
            "/a\r\nb",
            "/\u{1}",
            "/\t/evil.example",
        ] {
            assert_eq!(safe(bad), "/account", "{bad:?}");
        }
    }

    #[test]
    fn the_forms_keep_what_was_typed_but_the_password() {
        let caller = samples::caller();
        let errors = vec![FieldError::new("email", words().signin_wrong)];
        let page =
            SignInView { errors, ..view(&caller, samples::HOSTILE, samples::HOSTILE) }.render().expect("renders");
        samples::assert_sound(&page);
        assert!(page.contains("role=\"alert\"") && page.contains("href=\"#email\""));
        samples::assert_sound(&link(&caller, samples::HOSTILE).render().expect("renders"));
        assert!(link(&caller, "").render().expect("renders").contains("This link is not whole"));
    }
}
