//! [`Decimal`]: how a number with decimals is read and written without floating point.

use super::raw::Decimal;
use serde::de::{self, Visitor};
use serde::{Deserialize, Deserializer, Serialize, Serializer};
use std::fmt;

/// The largest value taken, in hundredths: a million units. Nothing that is lifted or jumped on
/// comes near it, and its JSON form is exact.
pub const MAX: u64 = 100_000_000;

impl Decimal {
    /// Reads `16`, `102.5`, `0.25`: plain digits, at most two decimals, at most [`MAX`].
    #[must_use]
    pub fn parse(text: &str) -> Option<Self> {
        let (whole, part) = text.split_once('.').unwrap_or((text, ""));
        let part = part.trim_end_matches('0');
        if whole.is_empty() || whole.len() > 7 || part.len() > 2 {
            return None;
        }
        if !whole.bytes().chain(part.bytes()).all(|b| b.is_ascii_digit()) {
            return None;
        }
        let whole: u64 = whole.parse().ok()?;
        let part: u64 = if part.is_empty() { 0 } else { format!("{part:0<2}").parse().ok()? };
        let value = whole.checked_mul(100)?.checked_add(part)?;
        (value <= MAX).then_some(Self(value))
    }
}

impl fmt::Display for Decimal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (whole, part) = (self.0 / 100, self.0 % 100);
        if part == 0 {
            return write!(f, "{whole}");
        }
        let part = format!("{part:02}");
        write!(f, "{whole}.{}", part.trim_end_matches('0'))
    }
}

impl Serialize for Decimal {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        if self.0.is_multiple_of(100) {
            return serializer.serialize_u64(self.0 / 100);
        }
        let number: f64 = self.to_string().parse().map_err(serde::ser::Error::custom)?;
        serializer.serialize_f64(number)
    }
}

impl<'de> Deserialize<'de> for Decimal {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        deserializer.deserialize_any(Numbers)
    }
}

struct Numbers;

impl Visitor<'_> for Numbers {
    type Value = Decimal;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("a number with at most two decimals, not below 0")
    }

    fn visit_u64<E: de::Error>(self, value: u64) -> Result<Decimal, E> {
        Decimal::parse(&value.to_string()).ok_or_else(|| E::custom("the number is too large"))
    }

    fn visit_i64<E: de::Error>(self, value: i64) -> Result<Decimal, E> {
        Decimal::parse(&value.to_string()).ok_or_else(|| E::custom("the number is out of range"))
    }

    fn visit_f64<E: de::Error>(self, value: f64) -> Result<Decimal, E> {
        Decimal::parse(&value.to_string())
            .ok_or_else(|| E::custom("the number has too many decimals, or is out of range"))
    }

    fn visit_str<E: de::Error>(self, value: &str) -> Result<Decimal, E> {
        Decimal::parse(value).ok_or_else(|| E::custom("that is not a number"))
    }
}
