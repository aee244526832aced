//! What was typed into a form whose reader was signed out meanwhile, said in the words of that form.
//!
//! [`forms`] names every form of the pages and every field in it, and of each what it is: the reader's
//! own words, a secret, or machinery. Only own words come out, and a field that does not stand here does
//! not: the page is shown to whoever holds the device, and reads nothing from the database, so that it says
//! of people what was typed there and no more.

mod forms;

use super::shell::words;
use crate::web::session::Sent;
use crate::words::put;
use forms::{FORMS, Field, Form, Kind};

impl Field {
    /// Whether this is the field of this name; for rows, what its name ends with.
    fn fits<'a>(&self, name: &'a str) -> Option<&'a str> {
        match self.kind {
            Kind::Row(_) | Kind::RowTicked | Kind::Ticks(_) => name.strip_prefix(self.name),
            _ if self.name.ends_with('-') => name.strip_prefix(self.name),
            _ => (self.name == name).then_some(""),
        }
    }
}

impl Form {
    /// The form that is sent to an address, with what stands for the parts in braces.
    fn sent_to(path: &str) -> Option<(&'static Self, Vec<(&'static str, &str)>)> {
        let parts: Vec<&str> = path.split('/').collect();
        let with = |form: &'static Self| {
            let wanted: Vec<&'static str> = form.route.split('/').collect();
            let mut named = Vec::new();
            for (want, part) in wanted.iter().zip(&parts) {
                match want.strip_prefix('{').and_then(|w| w.strip_suffix('}')) {
                    Some(name) => named.push((name, *part)),
                    None if want == part => {}
                    None => return None,
                }
            }
            (wanted.len() == parts.len()).then_some((form, named))
        };
        // Where two fit, the one that says more of the address.
        FORMS.iter().filter_map(with).min_by_key(|(_, named)| named.len())
    }
}

/// The page on which the form for an address stands, where that is another one.
#[must_use]
pub fn page_of(path: &str) -> Option<String> {
    let (form, _) = Form::sent_to(path).filter(|(form, _)| form.below > 0)?;
    let parts: Vec<&str> = path.split('/').collect();
    let above = parts.get(..parts.len().saturating_sub(form.below)).unwrap_or_default().join("/");
    Some(if above.is_empty() { "/".to_owned() } else { above })
}

/// The page on which the form for an address stands; nothing where no form is sent there.
#[must_use]
pub fn page(path: &str) -> Option<String> {
    page_of(path).or_else(|| Form::sent_to(path).map(|_| path.to_owned()))
}

/// Whether a form may have a field of this name: tests ask it of every form that is offered.
#[must_use]
pub fn is_known(path: &str, name: &str) -> bool {
    name == "csrf" || Form::sent_to(path).is_some_and(|(form, _)| form.fields.iter().any(|f| f.fits(name).is_some()))
}

/// Something that was typed, under its label.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Said {
    /// What the form calls it; empty: it says itself what it is.
    pub label: String,
    /// As typed.
    pub text: String,
}

impl Said {
    fn new(label: impl Into<String>, text: impl Into<String>) -> Self {
        Self { label: label.into(), text: text.into() }
    }

    /// Whether it is too long for a line, or has several.
    #[must_use]
    pub fn is_long(&self) -> bool {
        self.text.contains('\n') || self.text.chars().count() > 200
    }
}

/// What was typed into the form for an address, in the order it came. Nothing, where nothing was
/// typed but numbers of the address.
#[must_use]
pub fn said(path: &str, sent: &Sent) -> Vec<Said> {
    let Some((form, named)) = Form::sent_to(path) else { return Vec::new() };
    let typed: Vec<Said> = form.fields.iter().flat_map(|field| field.said(sent)).collect();
    if typed.is_empty() {
        return typed;
    }
    let whose = named.iter().filter_map(|(name, part)| match *name {
        "bib" if part.parse::<u32>().is_ok() => Some(Said::new(words().bib, *part)),
        "w" => Some(Said::new(words().workout, *part)),
        _ => None,
    });
    whose.chain(typed).collect()
}

impl Field {
    /// What was typed into it: into several of it where it stands in rows.
    fn said(&self, sent: &Sent) -> Vec<Said> {
        let w = words();
        let values = || {
            let all = sent.fields.iter().filter(|(_, value)| !value.trim().is_empty());
            all.filter_map(|(name, value)| Some((self.fits(name)?, value.as_str())))
        };
        let in_row = |rest: &str, label: &str| {
            let (workout, bib) = rest.rsplit_once('/').unwrap_or(("", rest));
            let (bib, nth) = bib.split_once('-').map_or((bib, None), |(bib, nth)| (bib, Some(nth)));
            let mut whose = format!("{} {}", w.bib, bib.parse::<u32>().ok()?);
            if let Some(nth) = nth {
                whose = format!("{whose}, {}", put(w.attempt_n, &[("n", &nth.parse::<u32>().ok()?)]));
            }
            if !workout.is_empty() {
                whose = format!("{whose}, {workout}");
            }
            Some(if label.is_empty() {
                whose
            } else {
                put(w.problem_typed_row, &[("whose", &whose), ("field", &label)])
            })
        };
        match self.kind {
            Kind::Own(label) => values().map(|(_, value)| Said::new(label(), value)).collect(),
            Kind::Chosen(label, said) => {
                values().filter_map(|(_, value)| Some(Said::new(label(), said(value)?))).collect()
            }
            Kind::Ticked(label) => values().take(1).map(|_| Said::new(label(), w.problem_typed_ticked)).collect(),
            Kind::Row(label) => {
                values().filter_map(|(rest, value)| Some(Said::new(in_row(rest, label())?, value))).collect()
            }
            Kind::RowTicked => {
                values().filter_map(|(rest, _)| Some(Said::new(in_row(rest, "")?, w.problem_typed_ticked))).collect()
            }
            Kind::Ticks(label) => match values().count() {
                0 => Vec::new(),
                n => vec![Said::new(label(), put(w.problem_typed_n, &[("n", &n)]))],
            },
            Kind::File(label) => {
                let again = |name: &String| Said::new(label(), put(w.problem_typed_file, &[("name", name)]));
                sent.file.iter().map(again).collect()
            }
            Kind::Secret | Kind::Machinery => Vec::new(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeSet;

    fn sent(pairs: &[(&str, &str)]) -> Sent {
        Sent { fields: pairs.iter().map(|(n, v)| ((*n).to_owned(), (*v).to_owned())).collect(), file: None }
    }

    fn lines(path: &str, sent: &Sent) -> Vec<String> {
        said(path, sent).into_iter().map(|s| format!("{}: {}", s.label, s.text)).collect()
    }

    #[test]
    fn every_form_of_the_pages_stands_here_once() {
        let posts: BTreeSet<&str> =
            super::super::ROUTES.iter().filter(|(method, _)| *method == "POST").map(|(_, route)| *route).collect();
        let forms: BTreeSet<&str> = FORMS.iter().map(|form| form.route).collect();
        assert_eq!(forms, posts);
        assert_eq!(FORMS.len(), forms.len());
    }

    #[test]
    fn a_form_stands_on_a_page_that_can_be_opened() {
        for form in FORMS {
            let page = page_of(form.route).unwrap_or_else(|| form.route.to_owned());
            assert!(super::super::ROUTES.contains(&("GET", &page)), "{}: {page}", form.route);
        }
        assert_eq!(page_of("/desk/s/quayside/w1/attestation").as_deref(), Some("/desk/s/quayside"));
        assert_eq!(page_of("/c/s/athletes/7/workouts/w1/appeal").as_deref(), Some("/c/s/athletes/7"));
        assert_eq!(page_of("/signout").as_deref(), Some("/"));
        assert_eq!(page_of("/desk/s/quayside/w1/1042"), None);
        assert_eq!(page_of("/c/s"), None);
    }

    #[test]
    fn nothing_comes_out_that_does_not_stand_here_as_somebodys_own() {
        for form in FORMS {
            let hidden = form.fields.iter().filter(|f| matches!(f.kind, Kind::Secret | Kind::Machinery));
            let mut all: Vec<(String, String)> = hidden
                .map(|f| (format!("{}{}", f.name, if f.name.ends_with('-') { "7" } else { "" }), "planted".to_owned()))
                .collect();
            all.push(("new_field".to_owned(), "planted".to_owned()));
            assert_eq!(said(form.route, &Sent { fields: all, file: None }), [], "{}", form.route);
        }
        assert_eq!(said("/nowhere", &sent(&[("performance", "6+14")])), []);
    }

    #[test]
    fn each_kind_is_said_in_the_words_of_its_form() {
        let row = [
            ("etag", "x"),
            ("performance", "6+14"),
            ("how", "video"),
            ("sheet", "17"),
            ("attempt", "1"),
            ("again", "2"),
            ("judge", " "),
        ];
        assert_eq!(
            lines("/desk/s/q/w1/1042", &sent(&row)),
            [
                "Workout: w1",
                "Bib: 1042",
                "Result: 6+14",
                "How the judge vouches: Counted from a video",
                "Sheet: 17",
                "This is another attempt, not a correction.: ticked",
            ]
        );
        let vouch = [
            ("a-1042", "88-0a0b"),
            ("s-1042", "17"),
            ("s-9", ""),
            ("s-x", "planted"),
            ("s-9-x", "planted"),
            ("a-1043-2", "89-0a0b"),
            ("statement", "yes"),
            ("how", "planted"),
        ];
        assert_eq!(
            lines("/desk/s/q/w1/attestation", &sent(&vouch)),
            ["Workout: w1", "Bib 1042: ticked", "Bib 1043, Attempt 2: ticked", "\u{2068}Bib 1042\u{2069}, Sheet: 17"]
        );
        let many = [("t-w1/1042", "yes"), ("s-w1/1042", "88-0a"), ("many_reason", "Power cut"), ("decision", "admit")];
        assert_eq!(
            lines("/organise/s/late", &sent(&many)),
            ["Bib 1042, w1: ticked", "Reason, kept with the decision: Power cut", "Decision: Let it in"]
        );
        assert_eq!(
            lines("/organise/s/proposals", &sent(&[("p-7", "yes"), ("p-8", "yes"), ("do", "all")])),
            ["Proposals of the gyms: 2 ticked"]
        );
        let file = Sent { file: Some("late.csv".to_owned()), ..sent(&[("text", "a\nb")]) };
        assert_eq!(
            lines("/organise/s/lists/gyms", &file),
            ["The file: \u{2068}late.csv\u{2069}: choose it again", "Or the rows: a\nb"]
        );
        assert!(said("/organise/s/lists/gyms", &file).last().is_some_and(Said::is_long));
        assert_eq!(lines("/claim", &sent(&[("c", "s"), ("code", "CDFG"), ("password", "oars")])), ["Competition: s"]);
    }
}
