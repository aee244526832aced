//! What the list of scores that wait for a referee says.

macro_rules! queue {
    ($($name:ident: $text:literal,)*) => {
        /// Every text of the list in one language.
        pub struct Queue {
            $(#[doc = concat!("In English: “", $text, "”")] pub $name: &'static str,)*
        }

        /// English.
        pub const QUEUE: Queue = Queue { $($name: $text,)* };
    };
}

queue! {
    order: "What closes soonest comes first. Within each part, what would move the most places and standings of others comes first; equals by workout and bib.",
    count: "{n} wait.",
    count_one: "1 waits.",
    hours: "Within 3 hours",
    day: "Within a day",
    later: "More time, or closed",
    none: "Nothing waits for a referee.",
    none_fit: "Nothing of these waits for a referee.",
    show_all: "Show all",
    filter: "Only some of them",
    filter_button: "Show",
    why_waits: "Why it waits",
    every_doubt: "Any reason",
    every_division: "All divisions",
    every_workout: "All workouts",
    appealed: "Appealed",
    withheld: "Withheld",
    flagged: "Being checked",
    raised: "Raised after the close",
    appealed_why: "The ruling is contested; somebody who had no part in it decides.",
    raised_why: "Raised after the close.",
    closes: "Closes in {left}.",
    attest: "Closed; corrections for another {left}.",
    over: "Closed.",
    first: "First place now.",
    placed: "{ordinal} of {of} now.",
    first_then: "Would be first.",
    placed_then: "Would be {ordinal} of {of}.",
    struck_moves: "If struck, {moved} would move.",
    stands_moves: "If it stands, {moved} would move.",
    restored_moves: "If the appeal succeeds, {moved} would move.",
    back_moves: "If put back to what it was, {moved} would move.",
    nothing_moves: "Nobody else's place depends on it.",
    not_ranked: "A guest: nobody's place depends on it.",
    both: "{places} and {standings} of others",
    only_places: "{places} of others",
    open_title: "Open any score",
}
