//! Who takes part: gyms, entries, judges, and the personal facts kept apart from them.

use super::tag::Tag;
use crate::words::Sentence;
use jiff::civil::Date;
use serde::{Deserialize, Serialize};
use std::collections::BTreeSet;
use unicode_normalization::UnicodeNormalization;
use unicode_normalization::char::canonical_combining_class;
use unicode_properties::{GeneralCategory, GeneralCategoryGroup, UnicodeGeneralCategory};

/// A place where performances happen.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Gym {
    /// `[a-z0-9-]`, unique in the competition.
    pub slug: String,
    /// For people.
    pub name: String,
    /// ISO 3166-1 alpha-2, upper case.
    pub country: String,
    /// Free text; empty: none.
    pub region: String,
    /// IANA zone; empty: the competition's.
    pub time_zone: String,
    /// Address, number and defibrillator, shown on sheets.
    pub emergency: String,
    /// Contact name, e-mail and phone, kept apart.
    pub contact: Option<PersonRef>,
}

/// How an entry takes part.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum EntryState {
    /// Ranked (default).
    #[default]
    Active,
    /// Keeps the scores done so far and their places.
    Withdrawn,
    /// All its scores are off every place.
    Removed,
    /// Shown without a place.
    Guest,
}

/// One athlete in one competition and division.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Entry {
    /// Unique in the competition, from 1.
    pub bib: u32,
    /// Division slug.
    pub division: String,
    /// Gym slug, if any.
    pub gym: Option<String>,
    /// ISO 3166-1 alpha-2, upper case, or empty.
    pub country: String,
    /// Free text, or empty.
    pub region: String,
    /// How it takes part.
    pub state: EntryState,
    /// Whether others may see the name.
    pub show_name: bool,
    /// Gyms it belonged to before in this competition.
    pub past_gyms: Vec<String>,
    /// Name, birth, e-mail, kept apart.
    pub person: PersonRef,
}

impl Entry {
    /// The state that is shown before it is changed: see [`entry_tag`].
    #[must_use]
    pub fn tag(&self) -> Tag {
        entry_tag(&self.division, self.gym.as_deref(), &self.state)
    }
}

impl Entry {
    /// The state of who it is that is shown before it is put right: name and e-mail, and whether the name is
    /// shown. Not of where it stands.
    #[must_use]
    pub fn facts_tag(&self) -> Tag {
        Tag::of(0, &(self.show_name, &self.person))
    }
}

/// The tag of where an entry stands, and how it takes part: what a change of it is judged by. Not of
/// a place in the log: that somebody has corrected the name meanwhile changes nothing about it.
pub fn entry_tag(division: &str, gym: Option<&str>, state: &impl Serialize) -> Tag {
    Tag::of(0, &(division, gym, state))
}

/// Somebody who may attest.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Judge {
    /// Unique in the competition, e.g. `J-0142`.
    pub code: String,
    /// Gym slug, if any.
    pub gym: Option<String>,
    /// First valid day, in the competition's zone.
    pub valid_from: Date,
    /// Last valid day.
    pub valid_to: Date,
    /// Name and e-mail, kept apart.
    pub person: PersonRef,
}

/// Where somebody's personal facts stand, and what the log has of them.
#[derive(Clone, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct PersonRef {
    /// Number within the competition, from 1.
    pub id: u64,
    /// Hex SHA-256 over salt and facts ([`Person::commitment`]).
    pub commitment: String,
}

/// Personal facts: never in the log, deleted when the person asks.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Person {
    /// One full name, NFC, as the person writes it.
    pub name: String,
    /// Birth date; compulsory for entries.
    pub born: Option<Date>,
    /// `women`, `men` or empty.
    pub category: String,
    /// Empty: none.
    pub email: String,
    /// Phone of a gym's contact; empty: none.
    pub phone: String,
    /// For those under age.
    pub guardian_consent: bool,
}

impl Person {
    /// Hex SHA-256 of the salt followed by the facts as JSON in the order of the fields.
    #[must_use]
    #[expect(clippy::missing_panics_doc, reason = "plain data always serializes")]
    pub fn commitment(&self, salt: &[u8; 32]) -> String {
        use sha2::Digest;
        let facts = serde_json::to_vec(self).expect("strings, dates and booleans always serialize");
        let mut hash = sha2::Sha256::new();
        hash.update(salt);
        hash.update(&facts);
        hex::encode(hash.finalize())
    }
}

/// A name folded for matching and search: NFKC, case folded, spaces made one. Never shown.
///
/// ```
/// use tallywright::rules::people::fold_name;
/// assert_eq!(fold_name("Straße"), fold_name("STRASSE"));
/// assert_eq!(fold_name("José\u{a0} Luis"), "josé luis");
/// ```
#[must_use]
pub fn fold_name(name: &str) -> String {
    if name.is_ascii() {
        let words: Vec<&str> = name.split_ascii_whitespace().collect();
        return words.join(" ").to_ascii_lowercase();
    }
    let compatible: String = name.nfkc().collect();
    let folded = icu_casemap::CaseMapper::new().fold_string(&compatible).into_owned();
    let folded: String = folded.nfkc().collect();
    folded.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// The most characters that are looked for; what is typed after them finds the same.
const MAX_START: usize = 40;

/// What is typed to find a name: as [`fold_name`], without accents, and without what is neither
/// letter nor digit.
///
/// ```
/// use tallywright::rules::people::search_text;
/// assert_eq!(search_text("  JOSÉ d’Ávila-Łoś "), "jose d avila los");
/// ```
#[must_use]
pub fn search_text(text: &str) -> String {
    let mut plain = String::with_capacity(text.len());
    for c in fold_name(text).nfd().filter(|c| !is_accent(*c)) {
        match c {
            'ø' => plain.push('o'),
            'ł' => plain.push('l'),
            'đ' | 'ð' => plain.push('d'),
            'ħ' => plain.push('h'),
            'ı' => plain.push('i'),
            'æ' => plain.push_str("ae"),
            'œ' => plain.push_str("oe"),
            'þ' => plain.push_str("th"),
            c if is_letter_or_mark(c) || c.is_alphanumeric() => plain.push(c),
            _ => plain.push(' '),
        }
    }
    let words: Vec<&str> = plain.split_ascii_whitespace().collect();
    words.join(" ").nfc().take(MAX_START).collect()
}

/// A mark that is left out by those who type in a hurry: above, below or beside a letter, and the
/// points of Hebrew and Arabic. Signs that are letters of their own script stay.
fn is_accent(c: char) -> bool {
    canonical_combining_class(c) >= 10
}

/// What a name is found by: the text from the beginning of each of its words on.
///
/// ```
/// use tallywright::rules::people::name_starts;
/// assert_eq!(name_starts("Inês  Duarte").into_iter().collect::<Vec<_>>(), ["duarte", "ines duarte"]);
/// ```
#[must_use]
pub fn name_starts(name: &str) -> BTreeSet<String> {
    let words: Vec<&str> = name.split(|c: char| !is_letter_or_mark(c) && !c.is_alphanumeric()).collect();
    (0..words.len()).map(|n| search_text(&words[n..].join(" "))).filter(|start| !start.is_empty()).collect()
}

/// The most characters of a name.
pub const MAX_NAME: usize = 120;
/// The most bytes of an e-mail address (RFC 5321: a path of 256 with its brackets).
pub const MAX_EMAIL: usize = 254;

/// A name as it is kept: NFC, trimmed, case untouched. Controls, direction controls and
/// invisible characters are refused (Unicode UAX #9, #15); one letter is enough.
pub fn check_name(name: &str) -> Result<String, Sentence> {
    let name = check_line(name, MAX_NAME)?;
    if name.is_empty() {
        return Err(Sentence::new("name_missing"));
    }
    if !name.chars().any(char::is_alphabetic) {
        return Err(Sentence::new("name_without_letter").with("name", name));
    }
    Ok(name)
}

/// Any one-line free text of people (region, phone, title), under the same rules; may be empty.
/// `most`: the most characters.
pub fn check_line(text: &str, most: usize) -> Result<String, Sentence> {
    let kept: String = text.trim().nfc().collect();
    let mut before = None;
    let mut rest = kept.chars().peekable();
    while let Some(c) = rest.next() {
        if !may_be_shown(c, before, rest.peek().copied()) {
            return Err(Sentence::new("line_invisible").with("code", format!("U+{:04X}", u32::from(c))));
        }
        before = Some(c);
    }
    if kept.chars().count() > most {
        return Err(Sentence::new("line_too_long").with("most", most));
    }
    Ok(kept)
}

/// Whether a character may stand in a line that is shown: no control, direction control,
/// invisible, private or unassigned one. U+200C and U+200D stand between letters of scripts that
/// need them.
fn may_be_shown(c: char, before: Option<char>, after: Option<char>) -> bool {
    if matches!(c, '\u{200c}' | '\u{200d}') {
        let joins =
            |c: Option<char>| c.is_some_and(|c| u32::from(c) >= 0x0590 && !c.is_ascii() && is_letter_or_mark(c));
        return joins(before) && joins(after);
    }
    let hangul_fillers = ['\u{115f}', '\u{1160}', '\u{3164}', '\u{ffa0}'];
    let invisible = matches!(
        c.general_category(),
        GeneralCategory::Control
            | GeneralCategory::Format
            | GeneralCategory::Surrogate
            | GeneralCategory::PrivateUse
            | GeneralCategory::Unassigned
            | GeneralCategory::LineSeparator
            | GeneralCategory::ParagraphSeparator
    );
    !invisible && !hangul_fillers.contains(&c)
}

/// Whether a character changes what stands around it and is not seen itself: a control, or one of those
/// that turn the direction (Unicode UAX #9).
#[must_use]
pub fn is_unshown(c: char) -> bool {
    c.is_control() || matches!(c, '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}')
}

fn is_letter_or_mark(c: char) -> bool {
    matches!(c.general_category_group(), GeneralCategoryGroup::Letter | GeneralCategoryGroup::Mark)
}

/// Free text of several lines (standards, alternatives): line breaks and tabs may stand in it,
/// else as [`check_line`]. `most`: the most bytes.
pub fn check_text(text: &str, most: usize) -> Result<(), Sentence> {
    if text.len() > most {
        return Err(Sentence::new("line_too_long").with("most", most));
    }
    for c in text.chars() {
        let fine =
            matches!(c, '\n' | '\r' | '\t' | '\u{200c}' | '\u{200d}' | '\u{feff}') || may_be_shown(c, None, None);
        if !fine {
            return Err(Sentence::new("line_invisible").with("code", format!("U+{:04X}", u32::from(c))));
        }
    }
    Ok(())
}

/// An e-mail address as kept: trimmed, empty for none; something on both sides of one `@`, a dot
/// in the domain or none, no spaces. Whether it exists only a message can tell.
pub fn check_email(email: &str) -> Result<String, Sentence> {
    let email = email.trim();
    if email.is_empty() {
        return Ok(String::new());
    }
    let wrong = || Sentence::new("email_wrong").with("email", email);
    let kept = check_line(email, MAX_EMAIL).map_err(|_| wrong())?;
    let (local, domain) = kept.rsplit_once('@').ok_or_else(wrong)?;
    let odd = |c: char| c.is_whitespace() || matches!(c, '@' | ',' | ';' | '<' | '>' | '"');
    if local.is_empty() || domain.is_empty() || local.contains(odd) || domain.contains(odd) {
        return Err(wrong());
    }
    if domain.split('.').any(str::is_empty) || kept.len() > MAX_EMAIL {
        return Err(wrong());
    }
    Ok(kept)
}
