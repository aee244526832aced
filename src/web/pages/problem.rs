//! What went wrong, as a page. The status and the sentences come from the web floor.

use super::shell::{Shell, words};
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
    again: &'a str,
    back: Option<&'a str>,
    help: &'a str,
}

/// How to try again where nothing was stored: what was `sent` by a form, or only looked for.
#[must_use]
pub fn again(sent: bool) -> &'static str {
    if sent { words().problem_send_again } else { words().problem_look_again }
}

/// A page that says what happened, what to mend, how to go on (how to try again, empty: in no way; the
/// page before), and what to say when asking for help.
#[must_use]
pub fn page(title: &str, detail: &str, errors: &[String], (again, back): (&str, Option<&str>), help: &str) -> String {
    let view = View { shell: Shell::bare(title), w: words(), title, detail, errors, again, back, help };
    // The one page that has no other page to fall back on.
    view.render().unwrap_or_else(|_| "500".to_owned())
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
            (again(true), Some("/desk?q=\"")),
            "Say r-1.",
        );
        samples::assert_sound(&page);
        assert!(page.contains("Say r-1.") && page.contains(words().problem_home));
        assert!(page.contains(words().problem_send_again) && page.contains("<a href=\"/desk?q=&#34;\">"), "{page}");
    }
}
