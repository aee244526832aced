//! Loads in kilograms and pounds, and the rule for published pairs.
//!
//! Loads are kept twice: in exact hundredths of the unit they were written in, and in whole
//! grams, which places are made of.

use super::text::{all_digits, compact, decimal_hundredths, fold, from_hundredths, half_even, quoted};
use super::{Grams, LoadUnit};
use crate::words::Sentence;

/// The heaviest load taken, 10 000 kg: more is a slip of the pen.
pub const MAX_LOAD: Grams = Grams(10_000_000);

/// Ten-millionths of a gram in a hundredth of a pound: 1 lb = 453.59237 g exactly (international
/// pound; NIST SP 811, App. B).
const LB_HUNDREDTH: u128 = 45_359_237;

/// Ten-millionths of a gram in a hundredth of a kilogram.
const KG_HUNDREDTH: u128 = 100_000_000;

/// Ten-millionths in a gram.
const GRAM: u128 = 10_000_000;

impl LoadUnit {
    /// As written behind a load.
    #[must_use]
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Kg => "kg",
            Self::Lb => "lb",
        }
    }

    /// Reads what stands behind a load: `kg`, `kilos`, `lbs`, `#`, …
    pub(crate) fn parse(compact: &str) -> Option<Self> {
        match compact {
            "kg" | "kgs" | "kg." | "kilo" | "kilos" | "kilogram" | "kilograms" => Some(Self::Kg),
            "lb" | "lbs" | "lb." | "lbs." | "#" | "pound" | "pounds" => Some(Self::Lb),
            _ => None,
        }
    }
}

/// A load as written: exact hundredths of its unit.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Load {
    /// The unit.
    pub unit: LoadUnit,
    /// Hundredths of it.
    pub hundredths: u64,
}

impl Load {
    /// Reads `102.5 kg`, `102,5kg`, `225 lb`, `225#`. A load needs its unit.
    ///
    /// ```
    /// use tallywright::rules::quantity::{Grams, Load};
    ///
    /// assert_eq!(Load::parse("102,5 kg").unwrap().grams(), Grams(102_500));
    /// assert_eq!(Load::parse("225#").unwrap().grams(), Grams(102_058));
    /// assert_eq!(Load::parse("225").unwrap_err().code, "load_needs_unit");
    /// ```
    pub fn parse(text: &str) -> Result<Self, Sentence> {
        let compact = compact(&fold(text));
        let end = compact.find(|c: char| !c.is_ascii_digit() && c != '.' && c != ',').unwrap_or(compact.len());
        let (number, unit) = compact.split_at(end);
        if !number.contains(|c: char| c.is_ascii_digit()) {
            return Err(Sentence::new("load_unreadable").with("text", quoted(text)));
        }
        if unit.is_empty() {
            return Err(Sentence::new("load_needs_unit").with("text", quoted(number)));
        }
        let unit = LoadUnit::parse(unit).ok_or_else(|| Sentence::new("load_unreadable").with("text", quoted(text)))?;
        Self::of(number, unit)
    }

    /// A number of a known unit.
    pub(crate) fn of(number: &str, unit: LoadUnit) -> Result<Self, Sentence> {
        if let Some(whole) = thousands(number).filter(|n| *n * 100 <= Self::most(unit)) {
            let decimal = from_hundredths(decimal_hundredths(number).unwrap_or(whole * 100));
            return Err(Sentence::new("load_thousands")
                .with("text", quoted(number))
                .with("whole", format_args!("{whole} {}", unit.as_str()))
                .with("decimal", format_args!("{decimal} {}", unit.as_str())));
        }
        let load = Self { unit, hundredths: decimal_hundredths(number)? };
        if load.grams() > MAX_LOAD {
            return Err(Sentence::new("load_too_heavy").with("text", load.text()));
        }
        Ok(load)
    }

    /// [`MAX_LOAD`] in hundredths of a unit.
    fn most(unit: LoadUnit) -> u64 {
        match unit {
            LoadUnit::Kg => MAX_LOAD.0 / 10,
            LoadUnit::Lb => half_even(u128::from(MAX_LOAD.0) * GRAM, LB_HUNDREDTH),
        }
    }

    /// In grams: 1 lb = 453.59237 g exactly, half to even.
    #[must_use]
    pub fn grams(self) -> Grams {
        Grams(half_even(self.exact(), GRAM))
    }

    /// In kilograms to the hundredth, from the load as written: 135 lb are `61.23`. No unit.
    #[must_use]
    pub fn kilograms(self) -> String {
        from_hundredths(half_even(self.exact(), KG_HUNDREDTH))
    }

    /// In pounds to the hundredth, from the load as written: 100 kg are `220.46`. No unit.
    #[must_use]
    pub fn pounds(self) -> String {
        from_hundredths(half_even(self.exact(), LB_HUNDREDTH))
    }

    /// In ten-millionths of a gram, exactly.
    fn exact(self) -> u128 {
        u128::from(self.hundredths)
            * match self.unit {
                LoadUnit::Kg => KG_HUNDREDTH,
                LoadUnit::Lb => LB_HUNDREDTH,
            }
    }

    /// Printed as written: `102.5 kg`, `225 lb`.
    #[must_use]
    pub fn text(self) -> String {
        format!("{} {}", from_hundredths(self.hundredths), self.unit.as_str())
    }
}

/// `1,250` read as a thousand and more, where it can be: one to three digits, then three.
fn thousands(number: &str) -> Option<u64> {
    let (thousands, rest) = number.split_once(['.', ','])?;
    let fits = all_digits(thousands) && thousands.len() <= 3 && all_digits(rest) && rest.len() == 3;
    let whole = format!("{thousands}{rest}").parse().ok()?;
    (fits && whole >= 1000).then_some(whole)
}

/// Grams printed in kilograms, to the hundredth: `102.06`. No unit. For a load as written see
/// [`Load::kilograms`], which rounds once.
#[must_use]
pub fn kilograms(grams: Grams) -> String {
    from_hundredths(half_even(u128::from(grams.0), 10))
}

/// Grams printed in pounds, to the hundredth: `225`. No unit. For a load as written see
/// [`Load::pounds`].
///
/// ```
/// use tallywright::rules::quantity::{Grams, pounds};
///
/// assert_eq!(pounds(Grams(102_058)), "225");
/// ```
#[must_use]
pub fn pounds(grams: Grams) -> String {
    from_hundredths(half_even(u128::from(grams.0) * GRAM, LB_HUNDREDTH))
}

/// What the pair rule says of a load published in both units.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Pair {
    /// Within 6 % of the smaller side.
    Same,
    /// Further apart than 6 %: a warning with both sides converted.
    Odd(Sentence),
    /// Further apart than 15 %: refused, with both sides converted.
    Apart(Sentence),
}

/// The pair rule: hundredths of a kilogram against hundredths of a pound, compared exactly.
///
/// ```
/// use tallywright::rules::quantity::{Pair, pair};
///
/// assert_eq!(pair(16_00, 35_00), Pair::Same);
/// assert!(matches!(pair(10_00, 25_00), Pair::Odd(_)));
/// assert!(matches!(pair(16_00, 53_00), Pair::Apart(_)));
/// ```
#[must_use]
pub fn pair(kg_hundredths: u64, lb_hundredths: u64) -> Pair {
    let kg = Load { unit: LoadUnit::Kg, hundredths: kg_hundredths };
    let lb = Load { unit: LoadUnit::Lb, hundredths: lb_hundredths };
    let (smaller, apart) = (kg.exact().min(lb.exact()), kg.exact().abs_diff(lb.exact()));
    let further_than = |percent: u128| apart * 100 > smaller * percent;
    let sentence = |code| {
        Sentence::new(code)
            .with("kg", kg.text())
            .with("lb", lb.text())
            .with("kg_in_lb", kg.pounds())
            .with("lb_in_kg", lb.kilograms())
    };
    if further_than(15) {
        Pair::Apart(sentence("pair_apart"))
    } else if further_than(6) {
        Pair::Odd(sentence("pair_odd"))
    } else {
        Pair::Same
    }
}
