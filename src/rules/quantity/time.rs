//! Times in writing: `m:ss` and `h:mm:ss` with up to three decimals, and their rounding.
//!
//! What it does not do: guess. `9.32` and `9:32:00` are questions, asked by the reader of
//! performances, which knows the cap.

use super::text::{all_digits, compact, fold, quoted};
use super::{Millis, Rounding, TimeStep};
use crate::words::Sentence;

/// The longest time taken: 99:59:59.999. Keeps every sum of intervals inside the key.
pub const MAX_TIME: Millis = Millis(359_999_999);

const SECOND: u64 = 1000;
const MINUTE: u64 = 60 * SECOND;
const HOUR: u64 = 60 * MINUTE;

impl TimeStep {
    /// Its length in milliseconds: 1000, 100 or 10.
    #[must_use]
    pub fn millis(self) -> u64 {
        match self {
            Self::Second => 1000,
            Self::Tenth => 100,
            Self::Hundredth => 10,
        }
    }

    /// How many decimals it is printed with.
    fn decimals(self) -> usize {
        match self {
            Self::Second => 0,
            Self::Tenth => 1,
            Self::Hundredth => 2,
        }
    }
}

impl Millis {
    /// Reads `m:ss`, `h:mm:ss`, `9'32"`, each with up to three decimals (point or comma).
    ///
    /// Minutes of `m:ss` may pass 59 (`92:10`).
    ///
    /// ```
    /// use tallywright::rules::quantity::Millis;
    ///
    /// assert_eq!(Millis::parse("9:32.4"), Ok(Millis(572_400)));
    /// assert_eq!(Millis::parse("1:04:10"), Ok(Millis(3_850_000)));
    /// assert_eq!(Millis::parse("9:75").unwrap_err().code, "time_seconds");
    /// ```
    pub fn parse(text: &str) -> Result<Self, Sentence> {
        Clock::parse(&compact(&fold(text))).map(|clock| clock.time)
    }

    /// Cut or lengthened to the step.
    ///
    /// ```
    /// use tallywright::rules::quantity::{Millis, Rounding, TimeStep};
    ///
    /// assert_eq!(Millis(12_320).rounded(TimeStep::Tenth, Rounding::Up), Millis(12_400));
    /// assert_eq!(Millis(12_320).rounded(TimeStep::Tenth, Rounding::Down), Millis(12_300));
    /// ```
    #[must_use]
    pub fn rounded(self, step: TimeStep, rounding: Rounding) -> Self {
        // Only a time within a step of u64::MAX could pass it; it is cut instead of wrapping.
        let millis = step.millis();
        Self(self.steps(step, rounding).checked_mul(millis).unwrap_or(u64::MAX - u64::MAX % millis))
    }

    /// Rounded, in whole steps.
    #[must_use]
    pub fn steps(self, step: TimeStep, rounding: Rounding) -> u64 {
        match rounding {
            Rounding::Down => self.0 / step.millis(),
            Rounding::Up => self.0.div_ceil(step.millis()),
        }
    }

    /// Rounded and printed with the decimals of the step: `9:32`, `9:32.4`, `1:04:10.00`.
    #[must_use]
    pub fn shown(self, step: TimeStep, rounding: Rounding) -> String {
        let rounded = self.rounded(step, rounding);
        let mut out = rounded.clock();
        let decimals = step.decimals();
        if decimals > 0 {
            out.push('.');
            out.extend(format!("{:03}", rounded.0 % SECOND).chars().take(decimals));
        }
        out
    }

    /// Printed exactly, with as many decimals as it has (`9:32`, `9:32.4`); reads back the same.
    #[must_use]
    pub fn exact(self) -> String {
        self.clock() + &self.decimals()
    }

    /// Printed exactly in minutes and seconds, however long: `112:00`.
    pub(crate) fn exact_minutes(self) -> String {
        format!("{}:{:02}{}", self.0 / MINUTE, self.0 % MINUTE / SECOND, self.decimals())
    }

    /// Whole seconds as `m:ss`, from an hour on as `h:mm:ss`.
    fn clock(self) -> String {
        let (hours, minutes, seconds) = (self.0 / HOUR, self.0 % HOUR / MINUTE, self.0 % MINUTE / SECOND);
        if hours > 0 { format!("{hours}:{minutes:02}:{seconds:02}") } else { format!("{minutes}:{seconds:02}") }
    }

    /// `.4`, or nothing for whole seconds.
    fn decimals(self) -> String {
        match self.0 % SECOND {
            0 => String::new(),
            rest => format!(".{rest:03}").trim_end_matches('0').to_owned(),
        }
    }
}

/// A time as read, with what a spreadsheet may have done to it.
pub(crate) struct Clock {
    /// As written.
    pub time: Millis,
    /// For `9:32:00`, exactly so: the 9:32 it may have been before a spreadsheet added `:00`.
    pub before_spreadsheet: Option<Millis>,
}

impl Clock {
    /// Reads a compact text (folded, without spaces).
    pub fn parse(text: &str) -> Result<Self, Sentence> {
        let unreadable = || Sentence::new("time_unreadable").with("text", quoted(text));
        let plain = primes(text);
        let plain = plain.as_deref().unwrap_or(text);
        let (whole, decimals) = plain.split_once(['.', ',']).unwrap_or((plain, ""));
        if plain.len() > whole.len() && !all_digits(decimals) {
            return Err(unreadable());
        }
        let fields: Vec<&str> = whole.split(':').collect();
        if !fields.iter().all(|f| all_digits(f) && f.len() <= 9) {
            return Err(unreadable());
        }
        let (hours, minutes, seconds) = match fields[..] {
            [m, s] => ("0", m, s),
            [h, m, s] if m.len() == 2 => (h, m, s),
            _ => return Err(unreadable()),
        };
        let (h, m, s) = (number(hours), number(minutes), number(seconds));
        let time = |h: u64, m: u64, s: u64, ms: u64| Millis(h * HOUR + m * MINUTE + s * SECOND + ms);
        if seconds.len() == 1 && decimals.is_empty() {
            return Err(Sentence::new("time_one_digit")
                .with("text", quoted(text))
                .with("mended", time(h, m, s, 0).exact()));
        }
        if seconds.len() != 2 || fields.len() == 3 && m > 59 {
            return Err(unreadable());
        }
        if s > 59 {
            return Err(Sentence::new("time_seconds")
                .with("text", quoted(text))
                .with("mended", time(h, m, s, 0).exact()));
        }
        if decimals.trim_end_matches('0').len() > 3 {
            return Err(Sentence::new("time_decimals").with("text", quoted(text)));
        }
        let millis = number(&format!("{:0<3}", decimals.get(..3).unwrap_or(decimals)));
        let time = Some(time(h, m, s, millis)).filter(|t| *t <= MAX_TIME);
        Ok(Self {
            time: time.ok_or_else(|| Sentence::new("time_too_long").with("text", quoted(text)))?,
            before_spreadsheet: (fields.len() == 3 && seconds == "00" && decimals.is_empty())
                .then_some(Millis(h * MINUTE + m * SECOND)),
        })
    }
}

/// At most nine digits.
fn number(digits: &str) -> u64 {
    digits.parse().unwrap_or(0)
}

/// `9'32"`, `9'32.4`, `9'5"`, `9'`, `45"` as `m:ss`; nothing where there are no primes, or where
/// they stand otherwise.
fn primes(text: &str) -> Option<String> {
    if !text.contains(['\'', '"']) {
        return None;
    }
    let text = text.replace("''", "\"");
    let (minutes, seconds) = text.split_once('\'').unwrap_or(("0", &text));
    let (seconds, after) = seconds.split_once('"').unwrap_or((seconds, ""));
    let (seconds, decimals) = seconds.split_once(['.', ',']).unwrap_or((seconds, after));
    let parts_fit = seconds.len() <= 2 && (after.is_empty() || decimals == after);
    if !parts_fit || minutes.contains(':') || seconds.contains(':') {
        return None;
    }
    let dot = if decimals.is_empty() { "" } else { "." };
    Some(format!("{minutes}:{seconds:0>2}{dot}{decimals}"))
}
