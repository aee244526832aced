//! What the pages say in German: one file per area, as in [`crate::words::en::pages`]. A text that
//! is missing here does not compile.

use super::grammar::GRAMMAR;
use crate::words::en::pages::Pages;

#[macro_use]
mod frame;
#[macro_use]
mod home;
#[macro_use]
mod rules;
#[macro_use]
mod workout;
#[macro_use]
mod standings;
#[macro_use]
mod athlete;
#[macro_use]
mod desk;
#[macro_use]
mod referee;
#[macro_use]
mod account;

/// The last of the list: makes the German value.
macro_rules! pages {
    ([] $($name:ident: $text:literal,)*) => {
        /// German.
        pub const PAGES: Pages = Pages {
            ordinal: GRAMMAR.ordinal,
            count: GRAMMAR.count,
            number: GRAMMAR.number,
            decimal: GRAMMAR.decimal,
            duration: GRAMMAR.duration,
            date: GRAMMAR.moment,
            day: GRAMMAR.date,
            desk_words: &super::desk::DESK,
            cautions: &super::cautions::CAUTIONS,
            $($name: $text,)*
        };
    };
}

frame! { [home rules workout standings athlete desk referee account pages] }
