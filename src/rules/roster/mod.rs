//! Gyms, entries and judges as anyone sends them: raw → checked, all faults at once.

mod amend;
mod countries;

pub use amend::{EntryChange, EntryFacts, check_entry_change, check_entry_facts, is_under_age};

use super::competition::{Competition, clip, find_zone, is_slug, nearest};
use super::division::{Category, age_on, check_eligible};
use super::fault::{Checked, Fault, Warning};
use super::people::{Entry, EntryState, Gym, Judge, Person, PersonRef, check_email, check_line, check_name, fold_name};
use super::table::dates::{self, DateOrder};
use crate::words::Sentence;
use jiff::civil::Date;
use serde::{Deserialize, Serialize};

/// A gym as sent; the columns of its CSV.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
#[expect(missing_docs, reason = "the columns of competition-file's table")]
pub struct RawGym {
    pub slug: String,
    pub name: String,
    pub country: String,
    pub region: Option<String>,
    pub time_zone: Option<String>,
    pub contact: Option<String>,
    pub email: Option<String>,
    pub phone: Option<String>,
    pub emergency: Option<String>,
}

/// An entry as sent; the columns of its CSV. What is `None` is not said: of somebody who is entered already it stays
/// as it is.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
#[expect(missing_docs, reason = "the columns of competition-file's table")]
pub struct RawEntry {
    pub bib: Option<u32>,
    pub name: String,
    pub born: String,
    pub category: String,
    pub division: String,
    pub gym: String,
    pub country: Option<String>,
    pub region: Option<String>,
    pub email: Option<String>,
    pub show_name: Option<bool>,
    pub guardian_consent: Option<bool>,
    /// A gym proposed it: whatever is known of somebody who is entered already stays.
    #[serde(skip)]
    pub proposed: bool,
}

/// A judge as sent; the columns of its CSV.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
#[expect(missing_docs, reason = "the columns of competition-file's table")]
pub struct RawJudge {
    pub code: String,
    pub name: String,
    pub gym: Option<String>,
    pub valid_from: String,
    pub valid_to: String,
    pub email: Option<String>,
}

impl RawGym {
    /// With what is known of the gym, where nothing is said of it. What is said of one contact is not said of
    /// another.
    #[must_use]
    pub fn over(&self, gym: &Gym, contact: Option<&Person>) -> Self {
        let same = |name: &String| contact.is_some_and(|known| fold_name(&known.name) == fold_name(name));
        let contact = contact.filter(|_| self.contact.as_ref().is_none_or(same));
        let of = |said: fn(&Person) -> &String| contact.map(|known| said(known).clone());
        Self {
            region: self.region.clone().or_else(|| Some(gym.region.clone())),
            time_zone: self.time_zone.clone().or_else(|| Some(gym.time_zone.clone())),
            emergency: self.emergency.clone().or_else(|| Some(gym.emergency.clone())),
            contact: self.contact.clone().or_else(|| of(|known| &known.name)),
            email: self.email.clone().or_else(|| of(|known| &known.email)),
            phone: self.phone.clone().or_else(|| of(|known| &known.phone)),
            ..self.clone()
        }
    }

    /// Whether it says nothing of a contact.
    #[must_use]
    pub fn leaves_contact(&self) -> bool {
        self.contact.is_none() && self.email.is_none() && self.phone.is_none()
    }
}

impl RawEntry {
    /// With what is known of the entry, where nothing is said of it. What is known of one person is not known of
    /// another; and whoever turns out to be younger is asked anew whether the name is shown.
    #[must_use]
    pub fn over(&self, entry: &Entry, person: Option<&Person>) -> Self {
        let (same_name, same_birth) = person.map_or((false, false), |known| self.is_same(known));
        if !same_name && !same_birth {
            return self.clone();
        }
        let shown = Some(entry.show_name).filter(|shown| same_birth || !shown);
        let email = person.map(|known| known.email.clone());
        let consent = person.map(|known| known.guardian_consent);
        let stays = |known: &Option<String>| self.proposed && known.as_ref().is_some_and(|known| !known.is_empty());
        Self {
            country: self.country.clone().or_else(|| Some(entry.country.clone())),
            region: self.region.clone().or_else(|| Some(entry.region.clone())),
            email: if stays(&email) { email } else { self.email.clone().or(email) },
            show_name: self.show_name.or(shown),
            guardian_consent: self.guardian_consent.or(consent),
            ..self.clone()
        }
    }
}

impl RawEntry {
    /// Whether it has the name and the birth of somebody.
    fn is_same(&self, known: &Person) -> (bool, bool) {
        let born = dates::read(&self.born, DateOrder::Ask).ok();
        (fold_name(&known.name) == fold_name(&self.name), known.born == born)
    }

    /// Whether it would show a name that its athlete may have hidden: of whoever is of age, hidden, and not
    /// somebody else by now. No list does.
    #[must_use]
    pub fn shows_hidden(&self, entry: &Entry, person: Option<&Person>, competition: &Competition) -> bool {
        let own = |known: &Person| self.is_same(known) != (false, false) && !is_under_age(known, competition);
        self.show_name == Some(true) && !entry.show_name && person.is_some_and(own)
    }
}

impl RawJudge {
    /// With what is known of the judge, where nothing is said of it; the address only of the same name, as a code may
    /// have gone to somebody else.
    #[must_use]
    pub fn over(&self, judge: &Judge, person: Option<&Person>) -> Self {
        let person = person.filter(|known| fold_name(&known.name) == fold_name(&self.name));
        Self {
            gym: self.gym.clone().or_else(|| Some(judge.gym.clone().unwrap_or_default())),
            email: self.email.clone().or_else(|| person.map(|known| known.email.clone())),
            ..self.clone()
        }
    }

    /// What is to be known where a code had another name so far: whose word it was, who signs in for it, and that
    /// the address is gone where none is said.
    #[must_use]
    pub fn other_name(&self, known: &Person) -> Vec<Warning> {
        if fold_name(&known.name) == fold_name(&self.name) {
            return Vec::new();
        }
        let said = |pointer: &str, code| Warning {
            pointer: pointer.to_owned(),
            sentence: Sentence::new(code).with("code", self.code.trim()),
        };
        let gone = (self.email.is_none() && !known.email.is_empty()).then(|| said("/email", "judge_address_gone"));
        [said("/name", "judge_other_name")].into_iter().chain(gone).collect()
    }
}

/// A gym that passed; its contact's number is given out by the ledger.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NewGym {
    /// Without its contact.
    pub gym: Gym,
    /// Name, e-mail and phone of the contact, if any is given.
    pub contact: Option<Person>,
}

/// An entry that passed; its bib (where blank) and its person's number are given out by the
/// ledger.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NewEntry {
    /// `None`: to be given out.
    pub bib: Option<u32>,
    /// Division slug.
    pub division: String,
    /// Gym slug.
    pub gym: Option<String>,
    /// ISO 3166-1 alpha-2, or empty.
    pub country: String,
    /// Free text, or empty.
    pub region: String,
    /// Whether others may see the name; default yes, under 18 no.
    pub show_name: bool,
    /// Name, birth, category, e-mail, consent.
    pub person: Person,
}

impl NewEntry {
    /// The entry with what the ledger gives out. `gym` is the registered gym, whose country and
    /// region stand in for blank ones.
    #[must_use]
    pub fn into_entry(self, bib: u32, person: PersonRef, gym: Option<&Gym>) -> (Entry, Person) {
        let or = |own: String, theirs: fn(&Gym) -> &str| {
            if own.is_empty() { gym.map(theirs).unwrap_or_default().to_owned() } else { own }
        };
        let entry = Entry {
            bib,
            division: self.division,
            gym: self.gym,
            country: or(self.country, |g| &g.country),
            region: or(self.region, |g| &g.region),
            state: EntryState::Active,
            show_name: self.show_name,
            past_gyms: Vec::new(),
            person,
        };
        (entry, self.person)
    }
}

/// A judge that passed; the person's number is given out by the ledger.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NewJudge {
    /// Unique in the competition.
    pub code: String,
    /// Gym slug.
    pub gym: Option<String>,
    /// First valid day.
    pub valid_from: Date,
    /// Last valid day.
    pub valid_to: Date,
    /// Name and e-mail.
    pub person: Person,
}

impl NewJudge {
    /// The judge with what the ledger gives out.
    #[must_use]
    pub fn into_judge(self, person: PersonRef) -> (Judge, Person) {
        let judge =
            Judge { code: self.code, gym: self.gym, valid_from: self.valid_from, valid_to: self.valid_to, person };
        (judge, self.person)
    }
}

/// The most characters of a region, and of a gym's emergency line.
const MAX_REGION: usize = 80;
const MAX_EMERGENCY: usize = 300;
/// The most characters of a phone number and of a judge's code.
const MAX_PHONE: usize = 40;
const MAX_CODE: usize = 20;
/// The highest bib taken from outside.
const MAX_BIB: u32 = 9_999_999;
/// Younger than this is under age here: name hidden unless asked otherwise, consent needed.
pub const OF_AGE: u16 = 18;
/// The oldest a person is taken to be: older is a slip of the pen.
const MAX_AGE: i16 = 120;

/// Faults of one gym, entry or judge; pointers as in its JSON.
#[derive(Default)]
struct Notes {
    faults: Vec<Fault>,
    warnings: Vec<Warning>,
}

impl Notes {
    fn fault(&mut self, pointer: &str, sentence: Sentence) {
        self.faults.push(Fault::new(pointer, sentence));
    }

    /// The value, or its fault and the default.
    fn take<T: Default>(&mut self, pointer: &str, read: Result<T, Sentence>) -> T {
        read.unwrap_or_else(|sentence| {
            self.fault(pointer, sentence);
            T::default()
        })
    }

    fn country(&mut self, country: &str, needed: bool) -> String {
        let code = country.trim().to_ascii_uppercase();
        let known = countries::is_code(&code);
        if known || (code.is_empty() && !needed) {
            return code;
        }
        let sentence = match code.as_str() {
            "" => Sentence::new("country_missing"),
            // What people write most often for GB and GR.
            "UK" => Sentence::new("country_near").with("country", "UK").with("near", "GB"),
            "EL" => Sentence::new("country_near").with("country", "EL").with("near", "GR"),
            _ => Sentence::new("country_unknown").with("country", clip(country)),
        };
        self.fault("/country", sentence);
        String::new()
    }

    fn gym(&mut self, gym: &str, known_gym: &dyn Fn(&str) -> bool) -> Option<String> {
        let gym = gym.trim();
        if gym.is_empty() {
            return None;
        }
        if !known_gym(gym) {
            self.fault("/gym", Sentence::new("gym_unknown").with("gym", clip(gym)));
        }
        Some(gym.to_owned())
    }

    fn date(&mut self, pointer: &str, text: &str) -> Option<Date> {
        let text = text.trim();
        if text.is_empty() {
            self.fault(pointer, Sentence::new("date_missing"));
            return None;
        }
        dates::read(text, DateOrder::Ask).map_err(|sentence| self.fault(pointer, sentence)).ok()
    }

    fn done<T>(self, value: T) -> Result<Checked<T>, Vec<Fault>> {
        if self.faults.is_empty() {
            return Ok(Checked { value, warnings: self.warnings, questions: Vec::new() });
        }
        Err(self.faults)
    }
}

/// What is said of something; nothing is as good as an empty text.
fn said(given: Option<&str>) -> &str {
    given.unwrap_or_default()
}

/// Checks a gym.
pub fn check_gym(raw: &RawGym) -> Result<Checked<NewGym>, Vec<Fault>> {
    let mut notes = Notes::default();
    let slug = raw.slug.trim();
    if !is_slug(slug) {
        notes.fault("/slug", Sentence::new("gym_slug").with("slug", clip(slug)));
    }
    let name = notes.take("/name", check_name(&raw.name));
    let country = notes.country(&raw.country, true);
    let region = notes.take("/region", check_line(said(raw.region.as_deref()), MAX_REGION));
    let emergency = notes.take("/emergency", check_line(said(raw.emergency.as_deref()), MAX_EMERGENCY));
    let zone = said(raw.time_zone.as_deref()).trim();
    if !zone.is_empty()
        && let Err(sentence) = find_zone(zone)
    {
        notes.fault("/time_zone", sentence);
    }
    let contact_name = match said(raw.contact.as_deref()).trim() {
        "" => String::new(),
        name => notes.take("/contact", check_name(name)),
    };
    let contact = Person {
        name: contact_name,
        email: notes.take("/email", check_email(said(raw.email.as_deref()))),
        phone: notes.take("/phone", check_line(said(raw.phone.as_deref()), MAX_PHONE)),
        ..Person::default()
    };
    let gym =
        Gym { slug: slug.to_owned(), name, country, region, time_zone: zone.to_owned(), emergency, contact: None };
    let contact = (contact != Person::default()).then_some(contact);
    notes.done(NewGym { gym, contact })
}

/// Checks an entry; `known_gym` says whether a gym of this slug is registered.
pub fn check_entry(
    raw: &RawEntry,
    competition: &Competition,
    known_gym: &dyn Fn(&str) -> bool,
) -> Result<Checked<NewEntry>, Vec<Fault>> {
    let mut notes = Notes::default();
    if raw.bib.is_some_and(|bib| bib == 0 || bib > MAX_BIB) {
        notes.fault("/bib", Sentence::new("bib_range").with("most", MAX_BIB));
    }
    let name = notes.take("/name", check_name(&raw.name));
    let born = notes.date("/born", &raw.born);
    let category = category(&raw.category, &mut notes);
    let division = raw.division.trim();
    let found = competition.division(division);
    if found.is_none() {
        notes.fault("/division", unknown_division(division, competition));
    }
    let gym = notes.gym(&raw.gym, known_gym);
    let country = notes.country(said(raw.country.as_deref()), false);
    let region = notes.take("/region", check_line(said(raw.region.as_deref()), MAX_REGION));
    let email = notes.take("/email", check_email(said(raw.email.as_deref())));
    if let (Some(born), Some(category), Some(division)) = (born, category, found)
        && let Err(why) = check_eligible(competition, division, born, category)
    {
        for sentence in why {
            notes.fault("/division", sentence);
        }
    }
    let age = born.and_then(|born| age_on(born, competition.age_date, competition.leap_birthday));
    if let Some(born) = born.filter(|born| competition.age_date.year() - born.year() > MAX_AGE) {
        notes.fault("/born", Sentence::new("born_too_early").with("born", born));
    }
    let under_age = age.is_some_and(|age| age < OF_AGE);
    let guardian_consent = raw.guardian_consent.unwrap_or(false);
    if under_age && !guardian_consent {
        let sentence = Sentence::new("guardian_consent_missing").with("age", age.unwrap_or(0));
        notes.warnings.push(Warning { pointer: "/guardian_consent".to_owned(), sentence });
    }
    let category = category.filter(|c| *c != Category::Any).map_or("", Category::as_str);
    let person = Person { name, born, category: category.to_owned(), email, guardian_consent, ..Person::default() };
    notes.done(NewEntry {
        bib: raw.bib,
        division: division.to_owned(),
        gym,
        country,
        region,
        show_name: raw.show_name.unwrap_or(!under_age),
        person,
    })
}

/// The category; compulsory, `any` for who names none.
fn category(raw: &str, notes: &mut Notes) -> Option<Category> {
    let sentence = match Category::parse(raw) {
        Some(_) if raw.trim().is_empty() => Sentence::new("category_missing"),
        Some(category) => return Some(category),
        None => Sentence::new("category_unknown").with("category", clip(raw)),
    };
    notes.fault("/category", sentence);
    None
}

fn unknown_division(division: &str, competition: &Competition) -> Sentence {
    let slugs = || competition.divisions.iter().filter(|d| !d.is_combined()).map(|d| d.slug.as_str());
    if division.is_empty() {
        return Sentence::new("division_missing");
    }
    match nearest(division, slugs()) {
        Some(near) => Sentence::new("division_unknown_near").with("near", near),
        None => Sentence::new("division_unknown").with("divisions", slugs().take(20).collect::<Vec<_>>().join(", ")),
    }
    .with("division", clip(division))
}

/// Checks a judge.
pub fn check_judge(raw: &RawJudge, known_gym: &dyn Fn(&str) -> bool) -> Result<Checked<NewJudge>, Vec<Fault>> {
    let mut notes = Notes::default();
    let code = raw.code.trim();
    let fits = |c: char| c.is_ascii_alphanumeric() || matches!(c, '-' | '.' | '_');
    if code.is_empty() || code.len() > MAX_CODE || !code.chars().all(fits) {
        notes.fault("/code", Sentence::new("judge_code").with("code", clip(code)).with("most", MAX_CODE));
    }
    let name = notes.take("/name", check_name(&raw.name));
    let gym = notes.gym(said(raw.gym.as_deref()), known_gym);
    let (from, to) = (notes.date("/valid_from", &raw.valid_from), notes.date("/valid_to", &raw.valid_to));
    if let (Some(from), Some(to)) = (from, to)
        && to < from
    {
        notes.fault("/valid_to", Sentence::new("judge_dates").with("from", from).with("to", to));
    }
    let email = notes.take("/email", check_email(said(raw.email.as_deref())));
    let person = Person { name, email, ..Person::default() };
    let (Some(valid_from), Some(valid_to)) = (from, to) else {
        return Err(notes.faults);
    };
    notes.done(NewJudge { code: code.to_owned(), gym, valid_from, valid_to, person })
}
