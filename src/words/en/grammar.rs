//! English numbers: ordinals, plurals, spans of time, dates.

use crate::words::grammar::{Grammar, Noun, in_threes, two_units};

/// English.
pub const GRAMMAR: Grammar = Grammar {
    number: grouped,
    decimal: str::to_owned,
    ordinal,
    count,
    in_words: number_word,
    spoken: spoken_time,
    duration,
    moment,
    date: |date| date.strftime("%-d %B %Y").to_string(),
    day: |date| date.strftime("%-d %B").to_string(),
};

/// `1st`, `2nd`, `3rd`, `4th`, `11th`.
#[must_use]
pub fn ordinal(n: u64) -> String {
    let end = match (n % 100, n % 10) {
        (11..=13, _) => "th",
        (_, 1) => "st",
        (_, 2) => "nd",
        (_, 3) => "rd",
        _ => "th",
    };
    format!("{}{end}", grouped(n))
}

/// `1 rep`, `2 reps`, `2,400 athletes`.
#[must_use]
pub fn count(n: u64, noun: Noun) -> String {
    let (one, many) = match noun {
        Noun::Rep => ("rep", "reps"),
        Noun::Calorie => ("calorie", "calories"),
        Noun::Metre => ("metre", "metres"),
        Noun::Second => ("second", "seconds"),
        Noun::Athlete => ("athlete", "athletes"),
        Noun::Division => ("division", "divisions"),
        Noun::Workout => ("workout", "workouts"),
        Noun::Round => ("round", "rounds"),
        Noun::Interval => ("interval", "intervals"),
        Noun::Place => ("place", "places"),
        Noun::Standing => ("standing", "standings"),
        Noun::Change => ("change", "changes"),
        Noun::Point => ("point", "points"),
    };
    format!("{} {}", grouped(n), if n == 1 { one } else { many })
}

/// Thousands set off by commas.
#[must_use]
pub fn grouped(n: u64) -> String {
    in_threes(n, ',')
}

/// `2 days 4 h`, `3 h 12 min`, `41 s`.
#[must_use]
pub fn duration(seconds: u64) -> String {
    two_units(seconds, "day", "days")
}

/// `Sunday 17 January 2027, 21:00`; seconds only where there are some.
#[must_use]
pub fn moment(at: &jiff::ZonedDateTime) -> String {
    let form = if at.second() == 0 { "%A %-d %B %Y, %H:%M" } else { "%A %-d %B %Y, %H:%M:%S" };
    at.strftime(form).to_string()
}

const ONES: [&str; 20] = [
    "zero",
    "one",
    "two",
    "three",
    "four",
    "five",
    "six",
    "seven",
    "eight",
    "nine",
    "ten",
    "eleven",
    "twelve",
    "thirteen",
    "fourteen",
    "fifteen",
    "sixteen",
    "seventeen",
    "eighteen",
    "nineteen",
];
const TENS: [&str; 10] = ["", "", "twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety"];

/// A number below 100 in words, others in digits.
///
/// ```
/// use tallywright::words::en::grammar::number_word;
///
/// assert_eq!(number_word(9), "nine");
/// assert_eq!(number_word(32), "thirty-two");
/// assert_eq!(number_word(148), "148");
/// ```
#[must_use]
pub fn number_word(n: u64) -> String {
    let Ok(i) = usize::try_from(n) else { return n.to_string() };
    match (ONES.get(i), TENS.get(i / 10), ONES.get(i % 10)) {
        (Some(word), ..) => (*word).to_owned(),
        (None, Some(tens), _) if i % 10 == 0 => (*tens).to_owned(),
        (None, Some(tens), Some(ones)) => format!("{tens}-{ones}"),
        _ => n.to_string(),
    }
}

/// A time as one would say it: 572 seconds are "Nine minutes thirty-two".
#[must_use]
pub fn spoken_time(seconds: u64) -> String {
    let unit = |n: u64, one: &str, many: &str| format!("{} {}", number_word(n), if n == 1 { one } else { many });
    let (hours, minutes, rest) = (seconds / 3600, seconds % 3600 / 60, seconds % 60);
    let mut parts = Vec::new();
    if hours > 0 {
        parts.push(unit(hours, "hour", "hours"));
    }
    if minutes > 0 {
        parts.push(unit(minutes, "minute", "minutes"));
    }
    match (rest, parts.is_empty()) {
        (0, false) => {}
        (_, false) => parts.push(number_word(rest)),
        (_, true) => parts.push(unit(rest, "second", "seconds")),
    }
    let said = parts.join(" ");
    let mut letters = said.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ordinals_end_as_they_are_spoken() {
        let said: Vec<String> = [1, 2, 3, 4, 11, 12, 13, 21, 22, 101, 111, 1012].map(ordinal).into();
        assert_eq!(
            said,
            ["1st", "2nd", "3rd", "4th", "11th", "12th", "13th", "21st", "22nd", "101st", "111th", "1,012th"]
        );
    }

    #[test]
    fn a_span_has_at_most_two_units() {
        let said: Vec<String> = [41, 60, 3_600, 11_520, 86_400, 100_800, 190_000].map(duration).into();
        assert_eq!(
            said,
            [
                "41\u{a0}s",
                "1\u{a0}min",
                "1\u{a0}h",
                "3\u{a0}h 12\u{a0}min",
                "1 day",
                "1 day 4\u{a0}h",
                "2 days 4\u{a0}h"
            ]
        );
    }

    #[test]
    fn one_is_singular_and_thousands_are_grouped() {
        assert_eq!(count(1, Noun::Rep), "1 rep");
        assert_eq!(count(0, Noun::Rep), "0 reps");
        assert_eq!(count(2_400, Noun::Athlete), "2,400 athletes");
        assert_eq!(grouped(1_234_567), "1,234,567");
    }
}
