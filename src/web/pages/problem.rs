//! What went wrong, as a page. The status and the sentences come from the web floor.

use super::shell::{Shell, words};
use super::typed::Said;
use crate::words::en::pages::Pages;
use askama::Template;

#[derive(Template)]
#[template(path = "problem.html")]
struct View<'a> {
    shell: Shell,
    w: &'static Pages,
    title: &'a str,
    detail: &'a str,
    errors: &'a [String],
    more: &'a More<'a>,
    help: &'a str,
}

/// How to go on.
#[derive(Debug, Default)]
pub struct More<'a> {
    /// How to try again; empty: in no way.
    pub again: &'a str,
    /// The page before.
    pub back: Option<&'a str>,
    /// What was typed, where it is lost otherwise.
    pub lost: &'a [Said],
    /// Where to sign in.
    pub sign_in: Option<&'a str>,
}

/// How to try again where nothing was stored: what was `sent` by a form, or only looked for.
#[must_use]
pub fn again(sent: bool) -> &'static str {
    if sent { words().problem_send_again } else { words().problem_look_again }
}

/// What is said to who was signed out before a form arrived.
#[must_use]
pub fn signed_out() -> &'static str {
    words().problem_signed_out
}

/// A page that says what happened, what to mend, how to go on, and what to say when asking for help.
#[must_use]
pub fn page(title: &str, detail: &str, errors: &[String], more: &More<'_>, help: &str) -> String {
    let view = View { shell: Shell::bare(title), w: words(), title, detail, errors, more, help };
    // The one page that has no other page to fall back on.
    view.render().map_or_else(|_| "500".to_owned(), super::apart::elements)
}

#[cfg(test)]
mod tests {
    use super::super::samples;
    use super::*;

    #[test]
    fn a_problem_says_what_happened_and_how_to_go_on() {
        let page = page(
            samples::HOSTILE,
            samples::BIDI,
            &[samples::HOSTILE.to_owned()],
            &More {
                again: again(true),
                back: Some("/desk?q=\""),
                lost: &[samples::HOSTILE, "two\nlines"]
                    .map(|text| Said { label: samples::BIDI.to_owned(), text: text.to_owned() }),
                sign_in: Some("/signin?next=%2F"),
            },
            "Say r-1.",
        );
        samples::assert_sound(&page);
        assert!(page.contains("Say r-1.") && page.contains(words().problem_home));
        assert!(page.contains(words().problem_send_again) && page.contains("<a href=\"/desk?q=&#34;\">"), "{page}");
    }
}
