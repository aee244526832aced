//! What the pages say: one field a text, so that templates are checked when they are compiled
//! and another language is one more value of [`Pages`]. `{name}` is filled by
//! [`crate::words::put`]. Sentences about scores stand in the other areas.
//!
//! One file per area of the site; here they become one type. What is new gets an area, or a type
//! of its own as the desk's texts have.

use super::cautions::CAUTIONS;
use super::desk::{DESK, Desk};
use super::grammar::GRAMMAR;
use crate::words::cautions::Cautions;
use crate::words::grammar::Noun;

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
    ([] $($texts:tt)*) => {
        texts! {
            /// Every text of the pages in one language, and that language's grammar.
            Pages, PAGES [
                /// `12th`.
                ordinal: fn(u64) -> String = GRAMMAR.ordinal,
                /// `3 reps`.
                count: fn(u64, Noun) -> String = GRAMMAR.count,
                /// `1,234`.
                number: fn(u64) -> String = GRAMMAR.number,
                /// `42.5` as this language writes it.
                decimal: fn(&str) -> String = GRAMMAR.decimal,
                /// From seconds: `2 days 4 h`, `3 h 12 min`.
                duration: fn(u64) -> String = GRAMMAR.duration,
                /// `Sunday 17 January 2027, 21:00`.
                date: fn(&jiff::ZonedDateTime) -> String = GRAMMAR.moment,
                /// `17 January 2027`.
                day: fn(jiff::civil::Date) -> String = GRAMMAR.date,
                /// What the gym's desk says.
                desk_words: &'static Desk = &DESK,
                /// What stands on every workout's page.
                cautions: &'static Cautions = &CAUTIONS,
            ]: $($texts)*
        }
    };
}

frame! { [home rules workout standings athlete desk referee account pages] }
