//! What is shown once: a link, a token, on the page that the form which made it leads to.
//!
//! A form leads on, so that loading the page again sends nothing again. What must not stand in an
//! address meanwhile goes along in a cookie of its own: kept from scripts, bound to the session, good
//! for two minutes on one page, and taken away as it is shown, but for slips. Any of several services can show it. Each
//! has a name of its own, which stands in the address: of two that are made at once both are shown.

use super::session::Caller;
use crate::app::App;
use axum::response::{AppendHeaders, IntoResponse, Redirect, Response};
use axum_extra::extract::cookie::{Cookie, CookieJar, SameSite};
use base64::Engine;
use base64::prelude::BASE64_URL_SAFE_NO_PAD;
use http::{HeaderMap, HeaderName, header};
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};
use std::time::Duration;
use subtle::ConstantTimeEq;

/// Longer, and a browser may not keep it.
const MOST: usize = 3_800;
/// Bytes of a name.
const NAMED: usize = 9;
/// Where the name stands in the address.
pub const FIELD: &str = "once";
/// How long it waits to be shown.
const WAITS: Duration = Duration::from_mins(2);

/// What is shown.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Shown {
    /// What was done, in a word of the page's own.
    pub done: String,
    /// A secret; empty: none.
    pub secret: String,
    /// Whose it is.
    pub whose: String,
    /// What became of a letter with it.
    pub told: String,
    /// Whom it does not hold for, with what is said of each.
    pub left_out: Vec<(String, String)>,
    /// How many more there are than fit.
    pub more: usize,
    /// Codes for athletes, by bib.
    pub codes: Vec<(u32, String)>,
}

/// The header that takes it away.
pub type Gone = AppendHeaders<[(HeaderName, String); 1]>;

/// Leads on to the page `to`, which shows this.
pub fn lead(app: &App, caller: &Caller, to: &str, shown: Shown) -> Response {
    let value = sealed(caller, to, &fitting(caller, to, shown));
    led(app, to, value)
}

/// The same, where all of it fits; `None`: it does not, and is shown at once.
pub fn lead_whole(app: &App, caller: &Caller, to: &str, shown: &Shown) -> Option<Response> {
    let value = sealed(caller, to, shown);
    (value.len() <= MOST).then(|| led(app, to, value))
}

fn led(app: &App, to: &str, value: String) -> Response {
    let drawn = app.keys.bytes();
    let which = BASE64_URL_SAFE_NO_PAD.encode(drawn.get(..NAMED).unwrap_or_default());
    let to = format!("{to}?{FIELD}={which}");
    (AppendHeaders([(header::SET_COOKIE, cookie(app, &which, value, WAITS))]), Redirect::to(&to)).into_response()
}

/// As much of it as a browser keeps.
fn fitting(caller: &Caller, to: &str, mut shown: Shown) -> Shown {
    let long = |shown: &Shown| sealed(caller, to, shown).len() > MOST;
    while long(&shown) && !shown.left_out.is_empty() {
        let kept = shown.left_out.len() / 2;
        shown.more += shown.left_out.len() - kept;
        shown.left_out.truncate(kept);
    }
    if long(&shown) {
        // The page lists what became of letters besides.
        shown.told.clear();
    }
    shown
}

/// What the page `at` is to show, if anything was left for it under the name that its address gives
/// ([`FIELD`]), with the header that takes it away.
pub fn take(app: &App, caller: &Caller, headers: &HeaderMap, at: &str, which: &str) -> Option<(Shown, Gone)> {
    let jar = CookieJar::from_headers(headers);
    let value = jar.get(&name(app, which))?.value();
    let shown: Shown = opened(caller, at, value)?;
    // Slips are long: a page that broke off in the middle can be loaded again.
    let (value, waits) = if shown.codes.is_empty() { ("", Duration::ZERO) } else { (value, WAITS) };
    Some((shown, AppendHeaders([(header::SET_COOKIE, cookie(app, which, value.to_owned(), waits))])))
}

fn sealed(caller: &Caller, at: &str, shown: &Shown) -> String {
    // Texts alone: writing them cannot fail.
    let text = BASE64_URL_SAFE_NO_PAD.encode(serde_json::to_vec(shown).unwrap_or_default());
    format!("{}.{text}", seal(caller, at, &text))
}

fn opened(caller: &Caller, at: &str, value: &str) -> Option<Shown> {
    let (given, text) = value.split_once('.')?;
    let right = !caller.csrf.is_empty() && bool::from(given.as_bytes().ct_eq(seal(caller, at, text).as_bytes()));
    serde_json::from_slice(&BASE64_URL_SAFE_NO_PAD.decode(text).ok().filter(|_| right)?).ok()
}

/// Made with what only the session's own pages know: nobody else can have something shown there.
fn seal(caller: &Caller, at: &str, text: &str) -> String {
    let mut hash = Sha256::new();
    for part in ["shown once", &caller.csrf, at, text, &caller.csrf] {
        hash.update(Sha256::digest(part));
    }
    BASE64_URL_SAFE_NO_PAD.encode(hash.finalize())
}

fn name(app: &App, which: &str) -> String {
    format!("{}once-{which}", if app.config.secure() { "__Host-" } else { "" })
}

fn cookie(app: &App, which: &str, value: String, life: Duration) -> String {
    let cookie = Cookie::build((name(app, which), value)).http_only(true).secure(app.config.secure());
    cookie.same_site(SameSite::Lax).path("/").max_age(life.try_into().unwrap_or_default()).build().to_string()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::web::pages::samples;

    #[test]
    fn of_a_long_list_as_many_are_shown_as_a_browser_keeps_and_the_rest_is_counted() {
        let caller = samples::caller();
        let left_out = (0..300).map(|n| (format!("Hall {n}"), samples::LONG.to_owned())).collect();
        let shown = fitting(&caller, "/organise/s/people", Shown { left_out, ..Shown::default() });
        let value = sealed(&caller, "/organise/s/people", &shown);
        assert!(value.len() <= MOST && shown.left_out.len() + shown.more == 300 && !shown.left_out.is_empty());
    }

    #[test]
    fn only_the_same_session_reads_it_on_the_page_it_is_for() {
        let caller = samples::caller();
        let shown = Shown { secret: "abc".to_owned(), whose: samples::HOSTILE.to_owned(), ..Shown::default() };
        let value = sealed(&caller, "/account", &shown);
        assert_eq!(opened(&caller, "/account", &value), Some(shown));
        assert_eq!(opened(&caller, "/organise/s/people", &value), None);
        let other = Caller { csrf: "another".to_owned(), ..caller.clone() };
        assert_eq!(opened(&other, "/account", &value), None);
        let nobody = Caller { csrf: String::new(), ..caller.clone() };
        assert_eq!(opened(&nobody, "/account", &sealed(&nobody, "/account", &Shown::default())), None);
        for broken in ["", ".", "x.y", value.get(1..).unwrap_or_default(), &format!("{value}A")] {
            assert_eq!(opened(&caller, "/account", broken), None, "{broken}");
        }
    }
}
