//! A sentence by its code, with the values it is about; said in a language only when it is known
//! who reads it. What it does not do: know any language (the tables do).

use super::{Lang, template};
use serde::{Deserialize, Serialize};
use std::borrow::Cow;
use std::fmt::Display;

/// A sentence not yet said: its code and the values for its `{placeholders}`.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Sentence {
    /// Stable, `snake_case`; also the `code` of problems and faults.
    pub code: Cow<'static, str>,
    /// Placeholder → value.
    pub args: Vec<(Cow<'static, str>, Value)>,
}

/// What stands in the place of a `{placeholder}`.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Value {
    /// A sentence, or a part of one, of its own.
    Said(Box<Sentence>),
    /// A number in words: `nine`.
    InWords(u64),
    /// A time in seconds, as one would say it at the start of a sentence: `Nine minutes thirty-two`.
    Spoken(u64),
    /// A decimal number, `42.5`, that is told and not to be typed: `42,5` in German.
    Decimal(String),
    /// A day without its year: `3 April`.
    Day(jiff::civil::Date),
    /// The same in every language: figures, names, what somebody typed.
    #[serde(untagged)]
    Text(String),
}

impl Value {
    /// The value in `lang`.
    #[must_use]
    pub fn say(&self, lang: Lang) -> Cow<'_, str> {
        let grammar = lang.grammar();
        match self {
            Self::Text(text) => Cow::Borrowed(text),
            Self::Said(sentence) => Cow::Owned(sentence.say(lang)),
            Self::InWords(n) => Cow::Owned((grammar.in_words)(*n)),
            Self::Spoken(seconds) => Cow::Owned((grammar.spoken)(*seconds)),
            Self::Decimal(number) => Cow::Owned((grammar.decimal)(number)),
            Self::Day(day) => Cow::Owned((grammar.day)(*day)),
        }
    }
}

impl Sentence {
    /// The sentence `code`, without values yet.
    #[must_use]
    pub fn new(code: &'static str) -> Self {
        Self { code: Cow::Borrowed(code), args: Vec::new() }
    }

    /// Adds the value for `{name}`: a text that is the same in every language.
    #[must_use]
    pub fn with(self, name: &'static str, value: impl Display) -> Self {
        self.with_value(name, Value::Text(value.to_string()))
    }

    /// Adds a sentence, or a part of one, for `{name}`.
    #[must_use]
    pub fn with_said(self, name: &'static str, part: Self) -> Self {
        self.with_value(name, Value::Said(Box::new(part)))
    }

    /// Adds what is said differently in each language for `{name}`.
    #[must_use]
    pub fn with_value(mut self, name: &'static str, value: Value) -> Self {
        self.args.push((Cow::Borrowed(name), value));
        self
    }

    /// The values with their names.
    pub fn args(&self) -> impl Iterator<Item = (&str, &Value)> {
        self.args.iter().map(|(name, value)| (name.as_ref(), value))
    }

    /// The sentence in `lang`. A code without an entry says the code itself (a test forbids it).
    #[must_use]
    pub fn say(&self, lang: Lang) -> String {
        let Some(template) = template(lang, &self.code) else {
            return self.code.replace('_', " ");
        };
        fill(template, |name| self.args.iter().find(|(n, _)| *n == name).map(|(_, value)| value.say(lang)))
    }
}

/// A text of the pages with its `{placeholders}` filled.
#[must_use]
pub fn put(template: &str, values: &[(&'static str, &dyn Display)]) -> String {
    fill(template, |name| values.iter().find(|(n, _)| *n == name).map(|(_, value)| value.to_string().into()))
}

/// Puts the values in place of `{name}` in one pass, so that a value that itself contains
/// braces is never filled again.
fn fill<'a>(template: &str, value: impl Fn(&str) -> Option<Cow<'a, str>>) -> String {
    let mut out = String::with_capacity(template.len() + 32);
    let mut rest = template;
    while let Some(open) = rest.find('{') {
        out.push_str(&rest[..open]);
        let Some(close) = rest[open..].find('}') else {
            out.push_str(&rest[open..]);
            return out;
        };
        match value(&rest[open + 1..open + close]) {
            Some(value) => out.push_str(&value),
            None => out.push_str(&rest[open..=open + close]),
        }
        rest = &rest[open + close + 1..];
    }
    out.push_str(rest);
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn values_are_filled_once_and_never_read_as_templates() {
        assert_eq!(put("{a} and {b} and {c}", &[("a", &"{b}"), ("b", &"x")]), "{b} and x and {c}");
    }

    #[test]
    fn a_sentence_that_is_kept_reads_back_as_it_was() {
        let day = jiff::civil::date(1991, 4, 3);
        let sentence = Sentence::new("score_no_longer_fits")
            .with("bib", 7)
            .with_said("why", Sentence::new("time_zero"))
            .with_value("spoken", Value::Spoken(572))
            .with_value("day", Value::Day(day));
        let kept = serde_json::to_string(&sentence).unwrap();
        assert!(kept.contains(r#"["bib","7"]"#), "{kept}");
        assert_eq!(serde_json::from_str::<Sentence>(&kept).unwrap(), sentence);
    }

    #[test]
    fn a_part_is_said_in_the_language_of_the_whole() {
        let why = Sentence::new("load_off_step").with("load", "43 kg").with("step", "2.5 kg");
        let whole = Sentence::new("score_no_longer_fits").with("bib", 7).with_said("why", why.clone());
        for lang in Lang::ALL {
            assert!(whole.say(lang).contains(&why.say(lang)), "{lang:?}");
        }
    }
}
