//! German numbers: ordinals, plurals, spans of time, dates.

use crate::words::grammar::{Grammar, Noun, in_threes, two_units};
use jiff::civil::{Date, Weekday};

/// German.
pub const GRAMMAR: Grammar = Grammar {
    number: grouped,
    decimal: |text| text.replace('.', ","),
    ordinal: |n| format!("{}.", grouped(n)),
    count,
    in_words: number_word,
    spoken: spoken_time,
    duration: |seconds| two_units(seconds, "Tag", "Tage"),
    moment,
    date: |date| format!("{} {}", day(date), date.year()),
    day,
};

/// Thousands set off by full stops.
#[must_use]
pub fn grouped(n: u64) -> String {
    in_threes(n, '.')
}

/// `1 Wiederholung`, `2 Wiederholungen`: the case of whatever stands alone or is acted on. Texts
/// avoid the dative around it.
#[must_use]
pub fn count(n: u64, noun: Noun) -> String {
    let (one, many) = match noun {
        Noun::Rep => ("Wiederholung", "Wiederholungen"),
        Noun::Calorie => ("Kalorie", "Kalorien"),
        Noun::Metre => ("Meter", "Meter"),
        Noun::Second => ("Sekunde", "Sekunden"),
        Noun::Athlete => ("Athlet:in", "Athlet:innen"),
        Noun::Division => ("Klasse", "Klassen"),
        Noun::Workout => ("Workout", "Workouts"),
        Noun::Round => ("Runde", "Runden"),
        Noun::Interval => ("Intervall", "Intervalle"),
        Noun::Place => ("Platz", "Plätze"),
        Noun::Standing => ("Rang", "Ränge"),
        Noun::Change => ("Änderung", "Änderungen"),
        Noun::Point => ("Punkt", "Punkte"),
    };
    format!("{} {}", grouped(n), if n == 1 { one } else { many })
}

const MONTHS: [&str; 12] = [
    "Januar",
    "Februar",
    "März",
    "April",
    "Mai",
    "Juni",
    "Juli",
    "August",
    "September",
    "Oktober",
    "November",
    "Dezember",
];

/// `17. Januar`.
fn day(date: Date) -> String {
    let month = usize::try_from(date.month() - 1).ok().and_then(|at| MONTHS.get(at)).copied().unwrap_or_default();
    format!("{}. {month}", date.day())
}

/// `Sonntag, 17. Januar 2027, 21:00 Uhr`; seconds only where there are some.
fn moment(at: &jiff::ZonedDateTime) -> String {
    let weekday = match at.weekday() {
        Weekday::Monday => "Montag",
        Weekday::Tuesday => "Dienstag",
        Weekday::Wednesday => "Mittwoch",
        Weekday::Thursday => "Donnerstag",
        Weekday::Friday => "Freitag",
        Weekday::Saturday => "Samstag",
        Weekday::Sunday => "Sonntag",
    };
    let clock = at.strftime(if at.second() == 0 { "%H:%M" } else { "%H:%M:%S" });
    format!("{weekday}, {} {}, {clock}\u{a0}Uhr", day(at.date()), at.year())
}

const ONES: [&str; 20] = [
    "null",
    "eins",
    "zwei",
    "drei",
    "vier",
    "fünf",
    "sechs",
    "sieben",
    "acht",
    "neun",
    "zehn",
    "elf",
    "zwölf",
    "dreizehn",
    "vierzehn",
    "fünfzehn",
    "sechzehn",
    "siebzehn",
    "achtzehn",
    "neunzehn",
];
const TENS: [&str; 10] =
    ["", "", "zwanzig", "dreißig", "vierzig", "fünfzig", "sechzig", "siebzig", "achtzig", "neunzig"];

/// A number below 100 in words, others in digits.
///
/// ```
/// use tallywright::words::de::grammar::number_word;
///
/// assert_eq!(number_word(9), "neun");
/// assert_eq!(number_word(32), "zweiunddreißig");
/// assert_eq!(number_word(148), "148");
/// ```
#[must_use]
pub fn number_word(n: u64) -> String {
    let Ok(i) = usize::try_from(n) else { return n.to_string() };
    match (ONES.get(i), TENS.get(i / 10), ONES.get(i % 10)) {
        (Some(word), ..) => (*word).to_owned(),
        (None, Some(tens), _) if i % 10 == 0 => (*tens).to_owned(),
        (None, Some(tens), Some(ones)) => {
            format!("{}und{tens}", ones.strip_suffix('s').filter(|_| i % 10 == 1).unwrap_or(ones))
        }
        _ => n.to_string(),
    }
}

/// A time as one would say it: 572 seconds are „Neun Minuten zweiunddreißig“.
#[must_use]
pub fn spoken_time(seconds: u64) -> String {
    let unit = |n: u64, one: &str, many: &str| match n {
        1 => format!("eine {one}"),
        n => format!("{} {many}", number_word(n)),
    };
    let (hours, minutes, rest) = (seconds / 3600, seconds % 3600 / 60, seconds % 60);
    let mut parts = Vec::new();
    if hours > 0 {
        parts.push(unit(hours, "Stunde", "Stunden"));
    }
    if minutes > 0 {
        parts.push(unit(minutes, "Minute", "Minuten"));
    }
    match (rest, parts.is_empty()) {
        (0, false) => {}
        (_, false) => parts.push(number_word(rest)),
        (_, true) => parts.push(unit(rest, "Sekunde", "Sekunden")),
    }
    let said = parts.join(" ");
    let mut letters = said.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_said_as_in_german() {
        let said: Vec<String> = [0, 1, 11, 20, 21, 31, 67, 99, 100].map(number_word).into();
        let right = ["null", "eins", "elf", "zwanzig", "einundzwanzig", "einunddreißig", "siebenundsechzig"];
        assert_eq!(said[..7], right);
        assert_eq!(said[7..], ["neunundneunzig", "100"]);
    }

    #[test]
    fn times_are_said_as_in_german() {
        let said: Vec<String> = [572, 60, 61, 3_600, 3_725, 1].map(spoken_time).into();
        let right = ["Neun Minuten zweiunddreißig", "Eine Minute", "Eine Minute eins", "Eine Stunde"];
        assert_eq!(said[..4], right);
        assert_eq!(said[4..], ["Eine Stunde zwei Minuten fünf", "Eine Sekunde"]);
    }

    #[test]
    fn dates_and_figures_look_german() {
        let at = jiff::civil::date(2027, 1, 17).at(21, 0, 0, 0).in_tz("Europe/Lisbon").unwrap();
        assert_eq!((GRAMMAR.moment)(&at), "Sonntag, 17. Januar 2027, 21:00\u{a0}Uhr");
        assert_eq!((GRAMMAR.date)(jiff::civil::date(2027, 3, 1)), "1. März 2027");
        assert_eq!((GRAMMAR.day)(jiff::civil::date(1991, 4, 3)), "3. April");
        assert_eq!((GRAMMAR.ordinal)(1_012), "1.012.");
        assert_eq!((GRAMMAR.number)(1_234_567), "1.234.567");
        assert_eq!((GRAMMAR.decimal)("42.5"), "42,5");
        let spans: Vec<String> = [41, 11_520, 86_400, 190_000].map(GRAMMAR.duration).into();
        assert_eq!(spans, ["41\u{a0}s", "3\u{a0}h 12\u{a0}min", "1 Tag", "2 Tage 4\u{a0}h"]);
    }

    #[test]
    fn what_is_counted_has_a_singular() {
        assert_eq!(count(1, Noun::Rep), "1 Wiederholung");
        assert_eq!(count(0, Noun::Rep), "0 Wiederholungen");
        assert_eq!(count(2_400, Noun::Athlete), "2.400 Athlet:innen");
    }
}
