//! Every sentence a person reads, in one table a language.
//!
//! Rules and handlers never hold prose: they name a sentence by its code and hand over the
//! values; [`Sentence::say`] fills them in. A test walks all codes. What it does not do: choose
//! the reader's language (the web floor does).

pub mod cautions;
pub mod en;

use serde::{Deserialize, Serialize};
use std::borrow::Cow;
use std::fmt::Display;

/// A language the table has.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub enum Lang {
    /// English, complete.
    #[default]
    En,
}

/// A sentence not yet said: its code and the values for its `{placeholders}`.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Sentence {
    /// Stable, `snake_case`; also the `code` of problems and faults.
    pub code: Cow<'static, str>,
    /// Placeholder → value.
    pub args: Vec<(Cow<'static, str>, String)>,
}

impl Sentence {
    /// The sentence `code`, without values yet.
    #[must_use]
    pub fn new(code: &'static str) -> Self {
        Self { code: Cow::Borrowed(code), args: Vec::new() }
    }

    /// Adds the value for `{name}`.
    #[must_use]
    pub fn with(mut self, name: &'static str, value: impl Display) -> Self {
        self.args.push((Cow::Borrowed(name), value.to_string()));
        self
    }

    /// The sentence in `lang`. A code without an entry says the code itself (a test forbids it).
    #[must_use]
    pub fn say(&self, lang: Lang) -> String {
        let template = match lang {
            Lang::En => en::template(&self.code),
        };
        let Some(template) = template else {
            return self.code.replace('_', " ");
        };
        fill(template, &self.args)
    }
}

/// The texts of the pages in `lang`.
#[must_use]
pub fn pages(lang: Lang) -> &'static en::pages::Pages {
    match lang {
        Lang::En => &en::pages::PAGES,
    }
}

/// The texts of the organiser's pages in `lang`.
#[must_use]
pub fn organise(lang: Lang) -> &'static en::organise::Organise {
    match lang {
        Lang::En => &en::organise::ORGANISE,
    }
}

/// The texts of the page about the API in `lang`.
#[must_use]
pub fn api(lang: Lang) -> &'static en::api::Api {
    match lang {
        Lang::En => &en::api::API,
    }
}

/// The texts of the page of heats in `lang`.
#[must_use]
pub fn heats(lang: Lang) -> &'static en::heats::Heats {
    match lang {
        Lang::En => &en::heats::HEATS,
    }
}

/// The texts of the judge's sheet in `lang`.
#[must_use]
pub fn sheet(lang: Lang) -> &'static en::sheet::Sheet {
    match lang {
        Lang::En => &en::sheet::SHEET,
    }
}

/// A text of the pages with its `{placeholders}` filled.
#[must_use]
pub fn put(template: &str, values: &[(&'static str, &dyn Display)]) -> String {
    let args: Vec<_> = values.iter().map(|(name, value)| (Cow::Borrowed(*name), value.to_string())).collect();
    fill(template, &args)
}

/// Puts the values in place of `{name}` in one pass, so that a value that itself contains
/// braces is never filled again.
fn fill(template: &str, args: &[(Cow<'static, str>, String)]) -> String {
    let mut out = String::with_capacity(template.len() + 32);
    let mut rest = template;
    while let Some(open) = rest.find('{') {
        out.push_str(&rest[..open]);
        let Some(close) = rest[open..].find('}') else {
            out.push_str(&rest[open..]);
            return out;
        };
        let name = &rest[open + 1..open + close];
        match args.iter().find(|(n, _)| n == name) {
            Some((_, value)) => out.push_str(value),
            None => out.push_str(&rest[open..=open + close]),
        }
        rest = &rest[open + close + 1..];
    }
    out.push_str(rest);
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn values_are_filled_once_and_never_read_as_templates() {
        let args = [(Cow::Borrowed("a"), "{b}".to_owned()), (Cow::Borrowed("b"), "x".to_owned())];
        assert_eq!(fill("{a} and {b} and {c}", &args), "{b} and x and {c}");
    }
}
