//! What is shown once: a link, a token, on the page that the form which made it leads to.
//!
//! A form leads on, so that loading the page again sends nothing again. What must not stand in an
//! address meanwhile goes along in a cookie of its own: kept from scripts, bound to the session, good
//! for two minutes on one page, and taken away as it is shown, but for slips. Any of several services can
//! show it. Each has a name of its own, which stands in the address: of two that are made at once both are
//! shown. A browser sends all that wait with every request, whose head has a bound: of more than a few the
//! oldest make room.

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

/// Longer, and a browser may not keep it: with its name and what is said of it a cookie has 4,096 bytes (RFC
/// 6265 section 6.1).
const MOST: usize = 3_920;
/// How many wait at once.
const MANY: usize = 4;
const _: () =
    assert!(MANY * (MOST + 64) < super::listen::HEAD / 2, "a head has room for all of them, and as much besides");
/// Bytes of a name.
const NAMED: usize = 9;
/// Where the name stands in the address.
pub const FIELD: &str = "once";
/// How long it waits to be shown.
const WAITS: Duration = Duration::from_mins(2);

/// What is shown.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default)]
pub struct Shown {
    /// What was done, in a word of the page's own.
    #[serde(skip_serializing_if = "String::is_empty")]
    pub done: String,
    /// A secret; empty: none.
    #[serde(skip_serializing_if = "String::is_empty")]
    pub secret: String,
    /// Whose it is.
    #[serde(skip_serializing_if = "String::is_empty")]
    pub whose: String,
    /// What became of a letter with it.
    #[serde(skip_serializing_if = "String::is_empty")]
    pub told: String,
    /// Whom it does not hold for, with what is said of each.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub left_out: Vec<(String, String)>,
    /// How many more there are than fit.
    #[serde(skip_serializing_if = "is_none_more")]
    pub more: usize,
    /// Codes for athletes, by bib: all that are made at a time fit.
    #[serde(with = "slips", skip_serializing_if = "Vec::is_empty")]
    pub codes: Vec<(u32, String)>,
}

#[expect(clippy::trivially_copy_pass_by_ref, reason = "as serde calls it")]
fn is_none_more(more: &usize) -> bool {
    *more == 0
}

/// Slips in as little room as they need: of each by how much its bib is above the one before, and its code
/// without the stroke.
mod slips {
    use serde::{Deserialize, Deserializer, Serializer, de::Error};

    /// Characters of a code.
    const LENGTH: usize = 8;
    const BASE: u32 = 36;

    pub fn serialize<S: Serializer>(codes: &[(u32, String)], to: S) -> Result<S::Ok, S::Error> {
        let (mut sorted, mut before, mut out) = (codes.to_vec(), 0, String::new());
        sorted.sort_unstable();
        for (bib, code) in sorted {
            let mut above = bib - before;
            before = bib;
            let mut digits = Vec::new();
            while above > 0 {
                digits.extend(char::from_digit(above % BASE, BASE));
                above /= BASE;
            }
            out.extend(digits.into_iter().rev());
            out.extend(code.chars().filter(|c| *c != '-'));
            out.push('.');
        }
        to.serialize_str(&out)
    }

    pub fn deserialize<'de, D: Deserializer<'de>>(from: D) -> Result<Vec<(u32, String)>, D::Error> {
        let text = String::deserialize(from)?;
        let broken = || D::Error::custom("no slips");
        let (mut bib, mut codes) = (0_u32, Vec::new());
        for one in text.split_terminator('.') {
            let at = one.len().checked_sub(LENGTH).ok_or_else(broken)?;
            let (above, code) = one.split_at_checked(at).ok_or_else(broken)?;
            let above =
                if above.is_empty() { 0 } else { u32::from_str_radix(above, BASE).map_err(D::Error::custom)? };
            bib = bib.checked_add(above).ok_or_else(broken)?;
            let (first, last) = code.split_at_checked(LENGTH / 2).ok_or_else(broken)?;
            codes.push((bib, format!("{first}-{last}")));
        }
        Ok(codes)
    }
}

/// The header that takes it away.
pub type Gone = AppendHeaders<[(HeaderName, String); 1]>;

/// Leads on to the page `to`, which shows this.
pub fn lead(app: &App, caller: &Caller, to: &str, shown: Shown) -> Response {
    lead_with(app, caller, to, "", "", shown)
}

/// The same, with more in the address: `tail` as `?a=b` (empty: nothing), and where on the page it is shown.
pub fn lead_with(app: &App, caller: &Caller, to: &str, tail: &str, anchor: &str, shown: Shown) -> Response {
    let value = sealed(caller, to, &fitting(caller, to, shown));
    led(app, caller, (to, tail, anchor), value)
}

/// The same, where all of it fits; `None`: it does not, and is shown at once.
pub fn lead_whole(app: &App, caller: &Caller, to: &str, shown: &Shown) -> Option<Response> {
    let value = sealed(caller, to, shown);
    (value.len() <= MOST).then(|| led(app, caller, (to, "", ""), value))
}

fn led(app: &App, caller: &Caller, (to, tail, anchor): (&str, &str, &str), value: String) -> Response {
    let drawn = app.keys.bytes();
    let which = BASE64_URL_SAFE_NO_PAD.encode(drawn.get(..NAMED).unwrap_or_default());
    let and = if tail.is_empty() { "?" } else { "&" };
    let to = format!("{to}{tail}{and}{FIELD}={which}{anchor}");
    let oldest = caller.notices.len().saturating_sub(MANY - 1);
    let gone = caller.notices.iter().take(oldest).map(|old| cookie(app, old, String::new(), Duration::ZERO));
    let set = gone.chain([cookie(app, &which, value, WAITS)]).map(|set| (header::SET_COOKIE, set));
    (AppendHeaders(set.collect::<Vec<_>>()), Redirect::to(&to)).into_response()
}

/// The names of those that wait in the browser which sends these headers, the oldest first (RFC 6265 section
/// 5.4).
pub fn waiting(app: &App, headers: &HeaderMap) -> Vec<String> {
    let before = name(app, "");
    let sent = headers.get_all(header::COOKIE).iter().filter_map(|value| value.to_str().ok());
    let all = sent.flat_map(|value| value.split(';')).filter_map(|one| one.split('=').next());
    all.filter_map(|one| one.trim().strip_prefix(&before)).map(str::to_owned).collect()
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
    fn all_slips_that_are_made_at_a_time_fit_whatever_their_bibs() {
        let caller = samples::caller();
        let most = u32::try_from(crate::actions::accounts::MOST_CODES).unwrap();
        let apart = |by: u32| (0..most).map(move |n| n * by);
        // As many far apart as there can be, the others as long as they come.
        let (far, near) = (36_u32.pow(5), 36_u32.pow(4));
        let worst = (0..most).map(|n| if n < 66 { n * far } else { 65 * far + (n - 65) * near });
        let bibs: [Vec<u32>; 3] = [apart(1).collect(), apart(u32::MAX / most).collect(), worst.collect()];
        for bibs in bibs {
            let codes: Vec<(u32, String)> = bibs.into_iter().map(|bib| (bib, "CDFG-HJKM".to_owned())).collect();
            let value = sealed(&caller, "/desk/s/g/codes", &Shown { codes: codes.clone(), ..Shown::default() });
            assert!(value.len() <= MOST, "{}", value.len());
            assert_eq!(opened(&caller, "/desk/s/g/codes", &value).map(|shown| shown.codes), Some(codes));
        }
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
