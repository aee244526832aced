//! Every sentence a person reads, in one table a language.
//!
//! Rules and handlers never hold prose: they name a sentence by its code and hand over the
//! values; [`Sentence::say`] fills them in. Pages take their texts from a value of a type, so that
//! a text that one language lacks does not compile. Tests walk all codes and texts. What it does
//! not do: choose the reader's language (the web floor does).

/// A type of texts, one field a text, and its English value. What a page says is checked when its
/// template is compiled, and what a language lacks does not compile.
macro_rules! texts {
    ($(#[$doc:meta])* $kind:ident, $value:ident $([$($(#[$about:meta])* $part:ident: $of:ty = $is:expr,)*])?: $($name:ident: $text:literal,)*) => {
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, serde::Serialize)]
        pub struct $kind {
            $($($(#[$about])* #[serde(skip)] pub $part: $of,)*)?
            $(#[doc = concat!("In English: “", $text, "”")] pub $name: &'static str,)*
        }

        impl $kind {
            /// Its texts with their names.
            pub fn texts(&self) -> impl Iterator<Item = (&'static str, &'static str)> {
                [$(stringify!($name)),*].into_iter().zip([$(self.$name),*])
            }
        }

        /// English.
        pub const $value: $kind = $kind { $($($part: $is,)*)? $($name: $text,)* };
    };
}

/// The texts of one area of the pages, as a macro that adds them to those of the areas before it and calls
/// the next of the list it is given.
macro_rules! area {
    (($d:tt) $area:ident: $($name:ident: $text:literal,)*) => {
        macro_rules! $area {
            ([$d next:ident $d($d later:ident)*] $d($d before:tt)*) => {
                $d next! { [$d($d later)*] $d($d before)* $($name: $text,)* }
            };
        }
    };
}

pub mod cautions;
pub mod de;
pub mod en;
pub mod grammar;
mod sentence;

pub use grammar::{Grammar, Noun};
pub use sentence::{APART, APART_END, OWN, Sentence, Value, apart, joined, put, put_plain};

/// A language the table has.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub enum Lang {
    /// English.
    #[default]
    En,
    /// German.
    De,
}

impl Lang {
    /// All there are, the preferred first.
    pub const ALL: [Self; 2] = [Self::En, Self::De];

    /// As in `lang` and `Accept-Language` (BCP 47).
    #[must_use]
    pub fn tag(self) -> &'static str {
        self.tables().pages.lang
    }

    /// The language of exactly this tag, in any case.
    #[must_use]
    pub fn of(tag: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|lang| lang.tag().eq_ignore_ascii_case(tag))
    }

    /// Its numbers, dates and counted things.
    #[must_use]
    pub fn grammar(self) -> &'static Grammar {
        self.tables().grammar
    }

    /// All it says.
    #[must_use]
    pub fn tables(self) -> &'static Tables {
        match self {
            Self::En => &en::TABLES,
            Self::De => &de::TABLES,
        }
    }
}

/// All that one language says.
#[derive(Debug)]
pub struct Tables {
    /// Numbers, dates and counted things.
    pub grammar: &'static Grammar,
    /// Sentences by code, in areas.
    pub areas: &'static [&'static [(&'static str, &'static str)]],
    /// The pages.
    pub pages: &'static en::pages::Pages,
    /// The organiser's pages.
    pub organise: &'static en::organise::Organise,
    /// Athletes' codes.
    pub claims: &'static en::claims::Claims,
    /// Letters.
    pub letters: &'static en::letters::Letters,
    /// The page about the API.
    pub api: &'static en::api::Api,
    /// A gym's heats.
    pub heats: &'static en::heats::Heats,
    /// The judge's sheet.
    pub sheet: &'static en::sheet::Sheet,
    /// Appeals.
    pub appeal: &'static en::appeal::AppealWords,
    /// A plot of results.
    pub plot: &'static en::plot::Plot,
    /// The box that works out another result.
    pub what_if: &'static en::what_if::WhatIf,
    /// A gym's screen.
    pub wall: &'static en::wall::Wall,
    /// Lateness.
    pub late: &'static en::late::Late,
    /// The desk's page for files.
    pub desk_file: &'static en::desk_file::DeskFile,
    /// The page on which a competition is made.
    pub new_competition: &'static en::new_competition::NewCompetition,
    /// The referee's list.
    pub queue: &'static en::queue::Queue,
    /// Whom gyms propose.
    pub proposals: &'static en::proposals::Proposals,
}

impl Tables {
    /// Every text but the sentences, as type, name and text: for tests.
    #[must_use]
    pub fn texts(&self) -> Vec<(&'static str, &'static str, &'static str)> {
        let pages = self.pages.texts().map(|(name, text)| ("Pages", name, text));
        let desk = self.pages.desk_words.texts().map(|(name, text)| ("Desk", name, text));
        let script = self.pages.desk_words.script_words.texts().map(|(name, text)| ("Script", name, text));
        let organise = self.organise.texts().map(|(name, text)| ("Organise", name, text));
        let claims = self.claims.texts().map(|(name, text)| ("Claims", name, text));
        let letters = self.letters.texts().map(|(name, text)| ("Letters", name, text));
        let api = self.api.texts().map(|(name, text)| ("Api", name, text));
        let heats = self.heats.texts().map(|(name, text)| ("Heats", name, text));
        let sheet = self.sheet.texts().map(|(name, text)| ("Sheet", name, text));
        let appeal = self.appeal.texts().map(|(name, text)| ("AppealWords", name, text));
        let plot = self.plot.texts().map(|(name, text)| ("Plot", name, text));
        let wall = self.wall.texts().map(|(name, text)| ("Wall", name, text));
        let what_if = self.what_if.texts().map(|(name, text)| ("WhatIf", name, text));
        let first = pages.chain(desk).chain(script).chain(organise).chain(api).chain(heats).chain(sheet);
        let late = self.late.texts().map(|(name, text)| ("Late", name, text));
        let desk_file = self.desk_file.texts().map(|(name, text)| ("DeskFile", name, text));
        let made = self.new_competition.texts().map(|(name, text)| ("NewCompetition", name, text));
        let queue = self.queue.texts().map(|(name, text)| ("Queue", name, text));
        let proposals = self.proposals.texts().map(|(name, text)| ("Proposals", name, text));
        let more = claims.chain(letters).chain(late).chain(desk_file).chain(made).chain(queue).chain(proposals);
        first.chain(appeal).chain(plot).chain(what_if).chain(wall).chain(more).collect()
    }
}

/// The sentence for a code, its `{placeholders}` open.
#[must_use]
pub fn template(lang: Lang, code: &str) -> Option<&'static str> {
    let areas = lang.tables().areas.iter();
    areas.flat_map(|area| area.iter()).find(|(c, _)| *c == code).map(|(_, sentence)| *sentence)
}

/// The texts about letters in `lang`.
#[must_use]
pub fn letters(lang: Lang) -> &'static en::letters::Letters {
    lang.tables().letters
}

/// The texts about athletes' codes in `lang`.
#[must_use]
pub fn claims(lang: Lang) -> &'static en::claims::Claims {
    lang.tables().claims
}

/// The texts of the pages in `lang`.
#[must_use]
pub fn pages(lang: Lang) -> &'static en::pages::Pages {
    lang.tables().pages
}

/// The texts of the organiser's pages in `lang`.
#[must_use]
pub fn organise(lang: Lang) -> &'static en::organise::Organise {
    lang.tables().organise
}

/// The texts of the page about the API in `lang`.
#[must_use]
pub fn api(lang: Lang) -> &'static en::api::Api {
    lang.tables().api
}

/// The texts of the page of heats in `lang`.
#[must_use]
pub fn heats(lang: Lang) -> &'static en::heats::Heats {
    lang.tables().heats
}

/// The sentences about lateness in `lang`.
#[must_use]
pub fn late(lang: Lang) -> &'static en::late::Late {
    lang.tables().late
}

/// The texts of the desk's page for files in `lang`.
#[must_use]
pub fn desk_file(lang: Lang) -> &'static en::desk_file::DeskFile {
    lang.tables().desk_file
}

/// The texts of the page on which a competition is made, in `lang`.
#[must_use]
pub fn new_competition(lang: Lang) -> &'static en::new_competition::NewCompetition {
    lang.tables().new_competition
}

/// The texts about proposals in `lang`.
#[must_use]
pub fn proposals(lang: Lang) -> &'static en::proposals::Proposals {
    lang.tables().proposals
}

/// The texts of the referee's list in `lang`.
#[must_use]
pub fn queue(lang: Lang) -> &'static en::queue::Queue {
    lang.tables().queue
}

/// The texts of the judge's sheet in `lang`.
#[must_use]
pub fn sheet(lang: Lang) -> &'static en::sheet::Sheet {
    lang.tables().sheet
}

/// The texts of appeals in `lang`.
#[must_use]
pub fn appeal(lang: Lang) -> &'static en::appeal::AppealWords {
    lang.tables().appeal
}

/// The texts of a gym's screen in `lang`.
#[must_use]
pub fn wall(lang: Lang) -> &'static en::wall::Wall {
    lang.tables().wall
}

/// The texts of a plot of results in `lang`.
#[must_use]
pub fn plot(lang: Lang) -> &'static en::plot::Plot {
    lang.tables().plot
}

/// The texts of the box that works out another result in `lang`.
#[must_use]
pub fn what_if(lang: Lang) -> &'static en::what_if::WhatIf {
    lang.tables().what_if
}
