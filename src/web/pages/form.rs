//! Fields of a form as they came, and what is wrong with them, beside the field.

use crate::actions::language;
use crate::actions::reader::athlete;
use crate::rules::fault::Fault;
use crate::rules::people::fold_name;
use crate::rules::window;
use jiff::Timestamp;
use jiff::tz::TimeZone;

/// A fault beside its field.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct FieldError {
    /// The field's id; empty: the whole form.
    pub id: String,
    /// What to do.
    pub text: String,
}

impl FieldError {
    /// A fault of a field.
    pub fn new(id: impl Into<String>, text: impl Into<String>) -> Self {
        Self { id: id.into(), text: text.into() }
    }
}

/// Whether a field has a fault.
#[must_use]
pub fn has(errors: &[FieldError], id: &str) -> bool {
    errors.iter().any(|e| e.id == id)
}

/// Adds those of other fields than have one already.
pub fn add_others(errors: &mut Vec<FieldError>, found: Vec<FieldError>) {
    let others: Vec<FieldError> = found.into_iter().filter(|e| !has(errors, &e.id)).collect();
    errors.extend(others);
}

/// Faults beside the fields of a form: the last part of the pointer that is one of `fields`,
/// through `names` where the form calls it otherwise; else the whole form.
#[must_use]
pub fn beside(faults: &[Fault], fields: &[&str], names: &[(&str, &str)]) -> Vec<FieldError> {
    let field = |pointer: &str| {
        pointer
            .rsplit('/')
            .map(|part| names.iter().find(|(theirs, _)| *theirs == part).map_or(part, |(_, ours)| *ours))
            .find(|part| fields.contains(part))
            .unwrap_or_default()
            .to_owned()
    };
    faults.iter().map(|f| FieldError::new(field(&f.pointer), language::say(&f.sentence))).collect()
}

/// Fields in the order they came; a name may come more than once.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Fields(pub Vec<(String, String)>);

impl<'de> serde::Deserialize<'de> for Fields {
    fn deserialize<D: serde::Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        Vec::deserialize(from).map(Self)
    }
}

impl Fields {
    /// The first value of a name, without spaces around it; empty where there is none.
    #[must_use]
    pub fn get(&self, name: &str) -> &str {
        self.0.iter().find(|(n, _)| n == name).map_or("", |(_, v)| v.trim())
    }

    /// The first value of a name exactly as it came: for passwords.
    #[must_use]
    pub fn exact(&self, name: &str) -> &str {
        self.0.iter().find(|(n, _)| n == name).map_or("", |(_, v)| v)
    }

    /// The same as [`Self::get`], as an option.
    #[must_use]
    pub fn find(&self, name: &str) -> Option<String> {
        Some(self.get(name)).filter(|v| !v.is_empty()).map(str::to_owned)
    }

    /// The rests of the names that begin with `prefix` and were ticked.
    #[must_use]
    pub fn rests(&self, prefix: &str) -> Vec<String> {
        let ticked = self.0.iter().filter(|(_, v)| !v.is_empty());
        ticked.filter_map(|(n, _)| n.strip_prefix(prefix)).map(str::to_owned).collect()
    }

    /// Whether a box was ticked.
    #[must_use]
    pub fn ticked(&self, name: &str) -> bool {
        !self.get(name).is_empty()
    }

    /// A whole number, or nothing; anything else is a fault beside the field.
    pub fn number<T: std::str::FromStr>(&self, name: &str, errors: &mut Vec<FieldError>) -> Option<T> {
        let value = self.find(name)?;
        let number = value.parse().ok();
        if number.is_none() {
            errors.push(FieldError::new(name, super::shell::words().field_number));
        }
        number
    }
}

/// A bib as people write it: with or without the stroke before it and leading zeros, or as somebody without a
/// name is shown. `None`: it is none.
#[must_use]
pub fn bib(typed: &str) -> Option<u32> {
    let typed = typed.trim();
    let digits = typed.trim_start_matches('#').trim_start();
    if let Some(digits) = Some(digits).filter(|d| d.bytes().all(|b| b.is_ascii_digit())) {
        return digits.parse().ok();
    }
    // Who goes without a name is shown by the bib, in words, and is looked for by what is shown.
    let within = typed.trim_matches(|c: char| !c.is_ascii_digit());
    let bib = within.parse().ok()?;
    (fold_name(typed) == fold_name(&athlete(bib))).then_some(bib)
}

/// A local time of `zone` out of a field, with its offset where it comes twice; `missing` beside the field
/// where nothing can be read, or what is wrong with it.
pub fn instant(
    fields: &Fields,
    name: &str,
    missing: &str,
    zone: &TimeZone,
    errors: &mut Vec<FieldError>,
) -> Option<Timestamp> {
    window::instant(fields.get(name), zone)
        .map_err(|sentence| {
            let text = if sentence.code == "instant_unreadable" { missing.into() } else { language::say(&sentence) };
            errors.push(FieldError::new(name, text));
        })
        .ok()
}

/// The kind of field for a local time: one that takes an offset too where one is written, or where a fault
/// says to write it.
#[must_use]
pub fn time_kind(value: &str, name: &str, errors: &[FieldError]) -> &'static str {
    // No browser shows anything else in the other.
    let plain = value.is_empty() || value.get(10..).is_some_and(|time| !time.contains(['+', '-', 'Z', 'z']));
    let offset = |e: &FieldError| ["+", "-"].iter().any(|sign| e.text.contains(&format!("{value}{sign}")));
    let asked = !value.is_empty() && errors.iter().any(|e| e.id == name && offset(e));
    if plain && !asked { "datetime-local" } else { "text" }
}

/// One of several to choose from.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Choice {
    /// What is sent.
    pub value: String,
    /// For people.
    pub text: String,
    /// Chosen now.
    pub chosen: bool,
}

impl Choice {
    /// One that is chosen when `value` is `now`.
    pub fn new(value: impl Into<String>, text: impl Into<String>, now: &str) -> Self {
        let value = value.into();
        let chosen = value == now;
        Self { value, text: text.into(), chosen }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::words::Sentence;

    #[test]
    fn a_local_time_that_comes_twice_is_asked_about_and_taken_with_its_offset() {
        let zone = TimeZone::get("Europe/Lisbon").expect("a zone");
        let read = |typed: &str| {
            let (fields, mut errors) = (Fields(vec![("closes".to_owned(), typed.to_owned())]), Vec::new());
            let at = instant(&fields, "closes", "none", &zone, &mut errors);
            (at.map(|at| at.to_string()), time_kind(typed, "closes", &errors), errors)
        };
        let (at, kind, errors) = read("2027-01-18 21:00");
        assert_eq!((at.as_deref(), kind, errors.len()), (Some("2027-01-18T21:00:00Z"), "datetime-local", 0));
        // Put back: both readings are offered, in a field that takes them.
        let (at, kind, errors) = read("2027-10-31T01:30");
        assert!(at.is_none() && kind == "text" && errors[0].id == "closes", "{errors:?}");
        assert!(errors[0].text.contains("2027-10-31T01:30+01:00") && errors[0].text.contains("2027-10-31T01:30+00:00"));
        for (typed, instant) in
            [("2027-10-31T01:30+01:00", "2027-10-31T00:30:00Z"), ("2027-10-31T01:30+00:00", "2027-10-31T01:30:00Z")]
        {
            let (at, kind, errors) = read(typed);
            assert_eq!((at.as_deref(), kind, errors.len()), (Some(instant), "text", 0));
            assert_eq!(window::typed(instant.parse().expect("an instant"), &zone), typed);
        }
        assert_eq!(window::typed("2027-01-18T21:00:00Z".parse().expect("an instant"), &zone), "2027-01-18T21:00");
        // Put forward: there is no such time, and a picker can name another.
        let (at, kind, errors) = read("2027-03-28T01:30");
        assert!(at.is_none() && kind == "datetime-local" && errors[0].text.contains("Europe/Lisbon"), "{errors:?}");
        for none in ["", "tomorrow"] {
            let (at, _, errors) = read(none);
            assert!(at.is_none() && errors == [FieldError::new("closes", "none")], "{errors:?}");
        }
    }

    #[test]
    fn a_bib_is_read_as_it_stands_on_a_shirt_or_a_slip() {
        for typed in ["1042", "#1042", " # 1042 ", "##1042", "01042", "#0001042", "Athlete 1042", " athlete  1042"] {
            assert_eq!(bib(typed), Some(1042), "{typed}");
        }
        for none in ["", "#", "-1", "+1042", "1 042", "1042a", "99999999999", "Athlete", "Athlete 99999999999", "Jo 7"]
        {
            assert_eq!(bib(none), None, "{none}");
        }
    }

    #[test]
    fn faults_stand_beside_the_field_they_are_about() {
        let faults = [
            Fault::new("/performance", Sentence::new("x")),
            Fault::new("/attestation/judge", Sentence::new("x")),
            Fault::new("/performance/tiebreak", Sentence::new("x")),
            Fault::new("/elsewhere", Sentence::new("x")),
        ];
        let ids: Vec<String> = beside(&faults, &["performance", "judge"], &[("tiebreak", "performance")])
            .into_iter()
            .map(|e| e.id)
            .collect();
        assert_eq!(ids, ["performance", "judge", "performance", ""]);
    }
}
