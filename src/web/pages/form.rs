//! Fields of a form as they came, and what is wrong with them, beside the field.

use crate::actions::language;
use crate::rules::fault::Fault;

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
