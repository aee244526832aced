//! Every sentence a person reads, in one table a language.
//!
//! Rules and handlers never hold prose: they name a sentence by its code and hand over the
//! values; [`Sentence::say`] fills them in. Pages take their texts from a value of a type, so that
//! a text that one language lacks does not compile. Tests walk all codes and texts. What it does
//! not do: choose the reader's language (the web floor does).

pub mod cautions;
pub mod en;
pub mod grammar;
mod sentence;

pub use grammar::{Grammar, Noun};
pub use sentence::{Sentence, Value, put};

/// A language the table has.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub enum Lang {
    /// English, complete.
    #[default]
    En,
}

impl Lang {
    /// All there are, the preferred first.
    pub const ALL: [Self; 1] = [Self::En];

    /// As in `lang` and `Accept-Language` (BCP 47).
    #[must_use]
    pub fn tag(self) -> &'static str {
        pages(self).lang
    }

    /// The language of exactly this tag, in any case.
    #[must_use]
    pub fn of(tag: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|lang| lang.tag().eq_ignore_ascii_case(tag))
    }

    /// Its numbers, dates and counted things.
    #[must_use]
    pub fn grammar(self) -> &'static Grammar {
        match self {
            Self::En => &en::grammar::GRAMMAR,
        }
    }
}

/// The sentence for a code, its `{placeholders}` open.
#[must_use]
pub fn template(lang: Lang, code: &str) -> Option<&'static str> {
    let areas = match lang {
        Lang::En => &en::AREAS,
    };
    areas.iter().find_map(|area| area.iter().find(|(c, _)| *c == code).map(|(_, s)| *s))
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
