//! What the pages say: one field a text, so that templates are checked when they are compiled
//! and another language is one more value of [`Pages`]. `{name}` is filled by
//! [`crate::words::put`]. Sentences about scores stand in the other areas.
//!
//! One file per area of the site; here they become one type. What is new gets an area, or a type
//! of its own as the desk's texts have.

use super::grammar::GRAMMAR;
use crate::words::cautions::Cautions;
use crate::words::grammar::Noun;

/// The texts of one area, as a macro that adds them to those of the areas before it and calls
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

/// The last of the list: makes the type, and its English value.
macro_rules! pages {
    ([] $($name:ident: $text:literal,)*) => {
        /// Every text of the pages in one language, and that language's grammar.
        pub struct Pages {
            /// `12th`.
            pub ordinal: fn(u64) -> String,
            /// `3 reps`.
            pub count: fn(u64, Noun) -> String,
            /// `1,234`.
            pub number: fn(u64) -> String,
            /// `42.5` as this language writes it.
            pub decimal: fn(&str) -> String,
            /// From seconds: `2 days 4 h`, `3 h 12 min`.
            pub duration: fn(u64) -> String,
            /// `Sunday 17 January 2027, 21:00`.
            pub date: fn(&jiff::ZonedDateTime) -> String,
            /// `17 January 2027`.
            pub day: fn(jiff::civil::Date) -> String,
            /// What the gym's desk says.
            pub desk_words: &'static super::desk::Desk,
            /// What stands on every workout's page.
            pub cautions: &'static Cautions,
            $(#[doc = concat!("In English: “", $text, "”")] pub $name: &'static str,)*
        }

        /// English.
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
