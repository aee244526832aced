//! English numbers: ordinals, plurals, spans of time, dates.

/// What is counted.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[expect(missing_docs, reason = "the words themselves")]
pub enum Noun {
    Rep,
    Calorie,
    Metre,
    Second,
    Athlete,
    Division,
    Workout,
    Round,
    Interval,
    Place,
    Standing,
    Change,
    Point,
}

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
    let digits = n.to_string();
    let mut out = String::with_capacity(digits.len() + digits.len() / 3);
    for (at, digit) in digits.chars().enumerate() {
        if at > 0 && (digits.len() - at).is_multiple_of(3) {
            out.push(',');
        }
        out.push(digit);
    }
    out
}

/// The two largest units of a span in seconds, cut down: `2 days 4 h`, `3 h 12 min`, `41 s`.
#[must_use]
pub fn duration(seconds: u64) -> String {
    let (days, hours, minutes) = (seconds / 86_400, seconds / 3600 % 24, seconds / 60 % 60);
    match (days, hours, minutes) {
        (0, 0, 0) => format!("{seconds} s"),
        (0, 0, m) => format!("{m} min"),
        (0, h, 0) => format!("{h} h"),
        (0, h, m) => format!("{h} h {m} min"),
        (1, 0, _) => "1 day".to_owned(),
        (1, h, _) => format!("1 day {h} h"),
        (d, 0, _) => format!("{d} days"),
        (d, h, _) => format!("{d} days {h} h"),
    }
}

/// `Sunday 17 January 2027, 21:00`; seconds only where there are some.
#[must_use]
pub fn date(at: &jiff::ZonedDateTime) -> String {
    let form = if at.second() == 0 { "%A %-d %B %Y, %H:%M" } else { "%A %-d %B %Y, %H:%M:%S" };
    at.strftime(form).to_string()
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
        assert_eq!(said, ["41 s", "1 min", "1 h", "3 h 12 min", "1 day", "1 day 4 h", "2 days 4 h"]);
    }

    #[test]
    fn one_is_singular_and_thousands_are_grouped() {
        assert_eq!(count(1, Noun::Rep), "1 rep");
        assert_eq!(count(0, Noun::Rep), "0 reps");
        assert_eq!(count(2_400, Noun::Athlete), "2,400 athletes");
        assert_eq!(grouped(1_234_567), "1,234,567");
    }
}
