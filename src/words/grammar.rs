//! What every language has to know of numbers, dates and counted things; each says it in its own
//! way. Written scores and what programs read are not its business: they are the same everywhere.

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

impl Noun {
    /// All there are.
    pub const ALL: [Self; 13] = [
        Self::Rep,
        Self::Calorie,
        Self::Metre,
        Self::Second,
        Self::Athlete,
        Self::Division,
        Self::Workout,
        Self::Round,
        Self::Interval,
        Self::Place,
        Self::Standing,
        Self::Change,
        Self::Point,
    ];
}

/// A language's grammar.
#[derive(Debug)]
pub struct Grammar {
    /// `1,234`.
    pub number: fn(u64) -> String,
    /// A decimal number as it is written everywhere, `42.5`, as this language writes it.
    pub decimal: fn(&str) -> String,
    /// `12th`.
    pub ordinal: fn(u64) -> String,
    /// `3 reps`.
    pub count: fn(u64, Noun) -> String,
    /// `nine`; from 100 on in digits.
    pub in_words: fn(u64) -> String,
    /// From seconds: `Nine minutes thirty-two`.
    pub spoken: fn(u64) -> String,
    /// From seconds, the two largest units: `2 days 4 h`, `3 h 12 min`.
    pub duration: fn(u64) -> String,
    /// `Sunday 17 January 2027, 21:00`; seconds only where there are some.
    pub moment: fn(&jiff::ZonedDateTime) -> String,
    /// `17 January 2027`.
    pub date: fn(jiff::civil::Date) -> String,
    /// `17 January`.
    pub day: fn(jiff::civil::Date) -> String,
}

/// Digits in threes, from the right, with a mark between.
#[must_use]
pub fn in_threes(n: u64, mark: char) -> String {
    let digits = n.to_string();
    let mut out = String::with_capacity(digits.len() + digits.len() / 3);
    for (at, digit) in digits.chars().enumerate() {
        if at > 0 && (digits.len() - at).is_multiple_of(3) {
            out.push(mark);
        }
        out.push(digit);
    }
    out
}

/// A space that no line ends at.
const NB: char = '\u{a0}';

/// The two largest units of a span of seconds, cut down, in the words of a language for one day and
/// for more. A number does not part from its unit at the end of a line.
#[must_use]
pub fn two_units(seconds: u64, day: &str, days: &str) -> String {
    let (d, hours, minutes) = (seconds / 86_400, seconds / 3600 % 24, seconds / 60 % 60);
    let some_days = if d == 1 { format!("1 {day}") } else { format!("{d} {days}") };
    match (d, hours, minutes) {
        (0, 0, 0) => format!("{seconds}{NB}s"),
        (0, 0, m) => format!("{m}{NB}min"),
        (0, h, 0) => format!("{h}{NB}h"),
        (0, h, m) => format!("{h}{NB}h {m}{NB}min"),
        (_, 0, _) => some_days,
        (_, h, _) => format!("{some_days} {h}{NB}h"),
    }
}
