//! Digits as people and keyboards write them.
//!
//! Everything typed passes through [`fold`] first, so that the readers above see ASCII digits,
//! one kind of space and one kind of prime. Nothing is rounded here: what has more decimals than
//! can be kept is refused.

use crate::words::Sentence;

/// The largest whole number read: every program that speaks JSON keeps it exactly.
const MAX_WHOLE: u64 = (1 << 53) - 1;

/// How many characters of a person's text an answer repeats.
const QUOTED: usize = 40;

/// Lower case, full-width and other scripts' digits and signs as ASCII, primes as `'` and `"`,
/// Unicode spaces as one space, invisible characters gone, trimmed.
///
/// ```
/// use tallywright::rules::quantity::fold;
///
/// assert_eq!(fold(" 9′32″ "), "9'32\"");
/// assert_eq!(fold("６＋１４\u{a0}\u{a0}TB　11：24"), "6+14 tb 11:24");
/// ```
#[must_use]
pub fn fold(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        if invisible(c) {
            continue;
        }
        let c = ascii(c);
        if c.is_whitespace() {
            if !out.is_empty() && !out.ends_with(' ') {
                out.push(' ');
            }
        } else if c == '″' {
            out.push('"');
        } else {
            out.extend(c.to_lowercase());
        }
    }
    if out.ends_with(' ') {
        out.pop();
    }
    out
}

/// Marks that show nothing: zero-width, direction, byte-order, soft hyphen.
fn invisible(c: char) -> bool {
    matches!(c, '\u{ad}' | '\u{200b}'..='\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2060}'..='\u{2069}' | '\u{feff}')
}

/// The ASCII sign a look-alike stands for; others are left.
fn ascii(c: char) -> char {
    let shifted = |from: u32, to: char| char::from_u32(u32::from(to) + (u32::from(c) - from)).unwrap_or(c);
    match c {
        // Full-width forms, Arabic-Indic, Persian and Devanagari digits.
        '\u{ff01}'..='\u{ff5e}' => shifted(0xff01, '!'),
        '\u{660}'..='\u{669}' => shifted(0x660, '0'),
        '\u{6f0}'..='\u{6f9}' => shifted(0x6f0, '0'),
        '\u{966}'..='\u{96f}' => shifted(0x966, '0'),
        '\u{2018}' | '\u{2019}' | '\u{201b}' | '\u{2032}' | '\u{2b9}' | '\u{b4}' | '`' => '\'',
        '\u{201c}' | '\u{201d}' | '\u{201f}' | '\u{2033}' | '\u{2ba}' => '"',
        '\u{2010}'..='\u{2015}' | '\u{2212}' => '-',
        '\u{2044}' | '\u{2215}' => '/',
        '\u{2236}' | '\u{a789}' => ':',
        '\u{66b}' | '\u{3002}' => '.',
        '\u{60c}' | '\u{3001}' => ',',
        other => other,
    }
}

/// Without spaces, for readers that do not mind them; a space between two digits stays, since
/// `6 14` is not 614.
pub(crate) fn compact(folded: &str) -> String {
    let mut out = String::with_capacity(folded.len());
    let mut chars = folded.chars().peekable();
    while let Some(c) = chars.next() {
        let between_digits =
            out.ends_with(|p: char| p.is_ascii_digit()) && chars.peek().is_some_and(char::is_ascii_digit);
        if c != ' ' || between_digits {
            out.push(c);
        }
    }
    out
}

/// A person's text as an answer repeats it: cut when long.
pub(crate) fn quoted(text: &str) -> String {
    let mut chars = text.trim().chars();
    let mut out: String = chars.by_ref().take(QUOTED).collect();
    if chars.next().is_some() {
        out.push('…');
    }
    out
}

/// A decimal with point or comma as exact hundredths: `102,5` → 10250. More than two decimals
/// (other than zeros) are refused, never rounded.
///
/// ```
/// use tallywright::rules::quantity::decimal_hundredths;
///
/// assert_eq!(decimal_hundredths("102,5"), Ok(10_250));
/// assert_eq!(decimal_hundredths("102.500"), Ok(10_250));
/// assert!(decimal_hundredths("102.125").is_err());
/// ```
pub fn decimal_hundredths(text: &str) -> Result<u64, Sentence> {
    let folded = fold(text);
    let unreadable = || Sentence::new("number_unreadable").with("text", quoted(text));
    let (units, decimals) = folded.split_once(['.', ',']).unwrap_or((&folded, "0"));
    let units = if units.is_empty() && !folded.is_empty() { "0" } else { units };
    if !all_digits(units) || !all_digits(decimals) {
        return Err(unreadable());
    }
    let (kept, beyond) = decimals.split_at(decimals.len().min(2));
    if beyond.bytes().any(|b| b != b'0') {
        return Err(Sentence::new("number_decimals").with("text", quoted(text)));
    }
    let units = whole(units)?;
    let tenths_and_hundredths = format!("{kept:0<2}").parse::<u64>().map_err(|_| unreadable())?;
    units
        .checked_mul(100)
        .and_then(|h| h.checked_add(tenths_and_hundredths))
        .filter(|h| *h <= MAX_WHOLE)
        .ok_or_else(|| Sentence::new("number_too_large").with("text", quoted(text)))
}

/// A whole number, at most 2^53 − 1.
pub fn whole(text: &str) -> Result<u64, Sentence> {
    let folded = fold(text);
    if !all_digits(&folded) {
        return Err(Sentence::new("number_not_whole").with("text", quoted(text)));
    }
    folded
        .parse::<u64>()
        .ok()
        .filter(|n| *n <= MAX_WHOLE)
        .ok_or_else(|| Sentence::new("number_too_large").with("text", quoted(text)))
}

/// Whether it is ASCII digits, at least one.
pub(crate) fn all_digits(text: &str) -> bool {
    !text.is_empty() && text.bytes().all(|b| b.is_ascii_digit())
}

/// Hundredths as a decimal without needless zeros: 10250 → `102.5`.
pub(crate) fn from_hundredths(hundredths: u64) -> String {
    let (units, rest) = (hundredths / 100, hundredths % 100);
    match rest {
        0 => units.to_string(),
        r if r % 10 == 0 => format!("{units}.{}", r / 10),
        r => format!("{units}.{r:02}"),
    }
}

/// `a / b`, half to even. `b` is not 0; the quotient of every caller is bounded.
pub(crate) fn half_even(a: u128, b: u128) -> u64 {
    let (quotient, rest) = (a / b, a % b);
    let up = match (rest * 2).cmp(&b) {
        std::cmp::Ordering::Less => false,
        std::cmp::Ordering::Equal => quotient % 2 == 1,
        std::cmp::Ordering::Greater => true,
    };
    u64::try_from(quotient + u128::from(up)).unwrap_or(u64::MAX)
}
