//! A sentence by its code, with the values it is about; said in a language only when it is known
//! who reads it. What it does not do: know any language (the tables do).

use super::{Lang, template};
use serde::{Deserialize, Serialize};
use std::borrow::Cow;
use std::fmt::Display;

/// The placeholders for what people wrote themselves: names, titles, what was typed. Beside a sentence of
/// another direction each needs a direction of its own; all other placeholders stand for our own words and
/// for figures.
pub const OWN: &[&str] = &[
    "a",
    "asked",
    "b",
    "block",
    "category",
    "code",
    "column",
    "competition",
    "country",
    "detail",
    "division",
    "divisions",
    "email",
    "file",
    "found",
    "given",
    "gym",
    "item",
    "judge",
    "key",
    "known",
    "language",
    "level",
    "levels",
    "lift",
    "lifts",
    "member",
    "message",
    "movement",
    "name",
    "near",
    "now",
    "old",
    "ours",
    "own",
    "parts",
    "path",
    "q",
    "question",
    "region",
    "sent",
    "session",
    "sheet",
    "slug",
    "stored",
    "text",
    "theirs",
    "typed",
    "who",
    "whose",
    "workout",
    "workouts",
    "written",
];

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

    /// The same for a page: what people wrote themselves ([`OWN`]) stands [`apart`].
    #[must_use]
    pub fn say_apart(&self, lang: Lang) -> String {
        let Some(template) = template(lang, &self.code) else {
            return self.code.replace('_', " ");
        };
        let said = |name: &str, value: &Value| match value {
            Value::Said(sentence) => sentence.say_apart(lang),
            Value::Text(text) if is_own(name) => apart(text),
            _ => value.say(lang).into_owned(),
        };
        fill(template, |name| self.args.iter().find(|(n, _)| *n == name).map(|(n, value)| said(n, value).into()))
    }
}

/// A text of the pages with its `{placeholders}` filled; what people wrote themselves ([`OWN`]) stands
/// [`apart`].
#[must_use]
pub fn put(template: &str, values: &[(&'static str, &dyn Display)]) -> String {
    let said = |name: &str, text: String| if is_own(name) { apart(&text) } else { text };
    fill(template, |name| values.iter().find(|(n, _)| *n == name).map(|(n, value)| said(n, value.to_string()).into()))
}

/// A text for a letter, a calendar or a file with its `{placeholders}` filled, and nothing else.
#[must_use]
pub fn put_plain(template: &str, values: &[(&'static str, &dyn Display)]) -> String {
    fill(template, |name| values.iter().find(|(n, _)| *n == name).map(|(_, value)| value.to_string().into()))
}

fn is_own(name: &str) -> bool {
    OWN.binary_search(&name).is_ok()
}

/// Begins a text of a direction of its own: FIRST STRONG ISOLATE (UAX #9).
pub const APART: char = '\u{2068}';
/// Ends it: POP DIRECTIONAL ISOLATE.
pub const APART_END: char = '\u{2069}';

/// What somebody wrote, to be put into a sentence, with a direction of its own and without a way out of it:
/// between the isolates of UAX #9, which pages turn into `<bdi>` (`web::pages::html`) where an element may
/// stand.
#[must_use]
pub fn apart(text: &str) -> String {
    let kept = text.chars().filter(|c| !matches!(c, '\u{2066}'..='\u{2069}'));
    if text.is_empty() { String::new() } else { std::iter::once(APART).chain(kept).chain([APART_END]).collect() }
}

/// A text of a page as programs and files have it: nothing in it stands apart.
#[must_use]
pub fn joined(text: &str) -> String {
    text.replace([APART, APART_END], "")
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
        assert_eq!(put_plain("{a} and {b} and {c}", &[("a", &"{b}"), ("b", &"x")]), "{b} and x and {c}");
    }

    #[test]
    fn what_people_wrote_stands_apart_and_finds_no_way_out() {
        let name = "\u{5e9}\u{5dc}\u{5d5}\u{5dd}\u{2069}\u{202e} x";
        let apart = "\u{2068}\u{5e9}\u{5dc}\u{5d5}\u{5dd}\u{202e} x\u{2069}";
        assert_eq!(put("{name}, {n}", &[("name", &name), ("n", &3)]), format!("{apart}, 3"));
        assert_eq!(put_plain("{name}, {n}", &[("name", &name), ("n", &3)]), format!("{name}, 3"));
        let part = Sentence::new("no_gym").with("gym", name);
        let whole = Sentence::new("score_no_longer_fits").with("bib", 7).with_said("why", part.clone());
        assert!(part.say_apart(Lang::En).contains(apart) && whole.say_apart(Lang::De).contains(apart));
        assert!(whole.say(Lang::En).contains(name) && !whole.say(Lang::En).contains(APART));
        assert_eq!(super::apart(""), "", "nothing needs no direction");
        assert_eq!(joined(&part.say_apart(Lang::En)), Sentence::new("no_gym").with("gym", joined(name)).say(Lang::En));
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
