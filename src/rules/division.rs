//! Who is ranked against whom: categories, ages, levels; who is eligible.

use super::competition::{Competition, LeapBirthday};
use crate::words::Sentence;
use jiff::civil::Date;
use serde::{Deserialize, Serialize};

/// The category of a division.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Category {
    /// Women.
    Women,
    /// Men.
    Men,
    /// Anybody.
    #[default]
    Any,
}

/// Who is ranked against whom.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Division {
    /// `[a-z0-9-]`, unique in the competition.
    pub slug: String,
    /// For people.
    pub title: String,
    /// Who.
    pub category: Category,
    /// Inclusive, in full years on the competition's age date.
    pub from_age: Option<u16>,
    /// Inclusive.
    pub to_age: Option<u16>,
    /// Its own level, as an index of the competition's levels.
    pub level: u8,
    /// Whether lower levels may be scored.
    pub allow_lower: bool,
    /// The plain divisions whose entries it ranks together; empty: it is a plain one.
    pub combines: Vec<String>,
    /// A combined division whose counts differ, which its page says.
    pub mixed: bool,
}

/// Full years on `on` of somebody born on `born`; `None` when not yet born.
///
/// Born on 29 February, the birthday in a common year is 1 March, or 28 February with
/// [`LeapBirthday::Feb28`] (rules.md section 6).
///
/// ```
/// use jiff::civil::date;
/// use tallywright::rules::{competition::LeapBirthday, division::age_on};
/// let (born, on) = (date(2000, 2, 29), date(2018, 2, 28));
/// assert_eq!(age_on(born, on, LeapBirthday::Mar1), Some(17));
/// assert_eq!(age_on(born, on, LeapBirthday::Feb28), Some(18));
/// assert_eq!(age_on(on, born, LeapBirthday::Mar1), None);
/// ```
#[must_use]
pub fn age_on(born: Date, on: Date, leap: LeapBirthday) -> Option<u16> {
    if born > on {
        return None;
    }
    let birthday = if (born.month(), born.day()) == (2, 29) && !on.in_leap_year() {
        match leap {
            LeapBirthday::Mar1 => (3, 1),
            LeapBirthday::Feb28 => (2, 28),
        }
    } else {
        (born.month(), born.day())
    };
    let had_it = (on.month(), on.day()) >= birthday;
    let years = i32::from(on.year()) - i32::from(born.year()) - i32::from(!had_it);
    u16::try_from(years).ok()
}

impl Division {
    /// Whether it ranks the entries of other divisions.
    #[must_use]
    pub fn is_combined(&self) -> bool {
        !self.combines.is_empty()
    }

    /// The levels its entries may score, highest first, of `levels` levels.
    pub fn levels(&self, levels: usize) -> impl Iterator<Item = u8> + use<> {
        let last =
            if self.allow_lower { u8::try_from(levels.saturating_sub(1)).unwrap_or(u8::MAX) } else { self.level };
        self.level..=last.max(self.level)
    }

    /// Whether somebody of this age may be in it.
    #[must_use]
    pub fn takes_age(&self, age: u16) -> bool {
        self.from_age.is_none_or(|from| age >= from) && self.to_age.is_none_or(|to| age <= to)
    }

    /// Whether somebody of this category (`Any`: not said) may be in it.
    #[must_use]
    pub fn takes_category(&self, category: Category) -> bool {
        self.category == Category::Any || self.category == category
    }
}

/// Whether somebody may be entered in `division`: category and age; the age is worked out and the
/// division that would fit is named. `category` is the person's own (`Any`: not said).
///
/// A combined division has no entries of its own: its parts are named.
pub fn check_eligible(
    competition: &Competition,
    division: &Division,
    born: Date,
    category: Category,
) -> Result<(), Vec<Sentence>> {
    if division.is_combined() {
        let parts = division.combines.join(", ");
        return Err(vec![
            Sentence::new("entry_division_combined").with("division", &division.slug).with("parts", parts),
        ]);
    }
    let Some(age) = age_on(born, competition.age_date, competition.leap_birthday) else {
        return Err(vec![Sentence::new("entry_born_after").with("born", born).with("age_date", competition.age_date)]);
    };
    let mut why = Vec::new();
    if !division.takes_age(age) {
        why.push(
            Sentence::new("entry_age_outside")
                .with("born", born)
                .with("age", age)
                .with("age_date", competition.age_date)
                .with("division", &division.title)
                .with("ages", ages(division)),
        );
    }
    if !division.takes_category(category) {
        let code = if category == Category::Any { "entry_category_missing" } else { "entry_category_outside" };
        why.push(Sentence::new(code).with("division", &division.title).with("category", division.category.as_str()));
    }
    if why.is_empty() {
        return Ok(());
    }
    why.push(fitting(competition, division, age, category));
    Err(why)
}

/// Names the plain divisions that would take this age and category, those of the same level first.
fn fitting(competition: &Competition, wanted: &Division, age: u16, category: Category) -> Sentence {
    let fits = |d: &&Division| !d.is_combined() && d.takes_age(age) && d.takes_category(category);
    let mut fitting: Vec<&Division> = competition.divisions.iter().filter(fits).collect();
    fitting.sort_by_key(|d| (d.level != wanted.level, d.category == Category::Any));
    let names: Vec<&str> = fitting.iter().take(5).map(|d| d.slug.as_str()).collect();
    if names.is_empty() {
        return Sentence::new("entry_no_division_fits").with("age", age);
    }
    Sentence::new("entry_division_fits").with("divisions", names.join(", "))
}

/// The ages of a division as printed: `18-39`, `60+`, `0-17`.
#[must_use]
pub fn ages(division: &Division) -> String {
    match (division.from_age, division.to_age) {
        (Some(from), Some(to)) => format!("{from}-{to}"),
        (Some(from), None) => format!("{from}+"),
        (None, Some(to)) => format!("0-{to}"),
        (None, None) => String::new(),
    }
}

impl Category {
    /// As in the file and the tables.
    #[must_use]
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Women => "women",
            Self::Men => "men",
            Self::Any => "any",
        }
    }

    /// Reads `women`, `men`, `any`; case and spaces around do not matter. An empty text is `Any`:
    /// not said.
    #[must_use]
    pub fn parse(text: &str) -> Option<Self> {
        match text.trim().to_lowercase().as_str() {
            "women" => Some(Self::Women),
            "men" => Some(Self::Men),
            "any" | "" => Some(Self::Any),
            _ => None,
        }
    }
}
