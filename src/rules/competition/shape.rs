//! One node → one value of the raw shape: the kit [`super::read`] is written with.
//!
//! Reading never stops: what is wrong is a fault, and a stand-in takes its place so that the rest
//! is read too.

use super::decimal;
use super::raw::{Decimal, OneOrMany};
use super::tree::{Entry, Node, Value, item, member};
use crate::rules::fault::Fault;
use crate::words::Sentence;
use std::collections::{BTreeMap, HashSet};

/// The most unknown keys named in one table: past it, it is another kind of file.
const MAX_UNKNOWN: usize = 50;

/// What is wrong so far.
#[derive(Default)]
pub struct Faults(pub Vec<Fault>);

impl Faults {
    /// Adds one.
    pub fn add(&mut self, at: &str, line: Option<u32>, sentence: Sentence) {
        self.0.push(Fault { pointer: at.to_owned(), sentence, line });
    }

    /// Adds "this key needs …" with what was found instead.
    fn needs(&mut self, at: &str, node: &Node, code: &'static str) {
        let key = at.rsplit('.').next().unwrap_or(at);
        self.add(at, node.line, Sentence::new(code).with("key", key).with("found", found(&node.value)));
    }
}

/// A value as shown in a sentence: short, one line.
fn found(value: &Value) -> String {
    let text = match value {
        Value::Null => "null".to_owned(),
        Value::Bool(yes) => yes.to_string(),
        Value::Number(text) | Value::Date(text) => text.clone(),
        Value::Text(text) => format!("\"{text}\""),
        Value::List(_) => "[ … ]".to_owned(),
        Value::Table(_) => "{ … }".to_owned(),
    };
    clip(&text)
}

/// At most 40 characters, nothing unprintable.
pub fn clip(text: &str) -> String {
    let clean: String = text.chars().take(40).map(|c| if c.is_control() { ' ' } else { c }).collect();
    if text.chars().nth(40).is_some() { format!("{clean}…") } else { clean }
}

/// A value of the raw shape.
pub trait Shape: Sized {
    /// Reads it; on a fault a stand-in comes back.
    fn read(node: &Node, at: &str, faults: &mut Faults) -> Self;
    /// What stands in where nothing can be read.
    fn stand_in() -> Self;
}

impl Shape for String {
    fn read(node: &Node, at: &str, faults: &mut Faults) -> Self {
        match &node.value {
            Value::Text(text) | Value::Date(text) => text.clone(),
            _ => {
                faults.needs(at, node, "file_needs_text");
                Self::stand_in()
            }
        }
    }

    fn stand_in() -> Self {
        String::new()
    }
}

impl Shape for bool {
    fn read(node: &Node, at: &str, faults: &mut Faults) -> Self {
        if let Value::Bool(yes) = node.value {
            return yes;
        }
        faults.needs(at, node, "file_needs_bool");
        false
    }

    fn stand_in() -> Self {
        false
    }
}

macro_rules! whole_numbers {
    ($($number:ty => $code:literal),*) => {$(
        impl Shape for $number {
            fn read(node: &Node, at: &str, faults: &mut Faults) -> Self {
                if let Value::Number(text) = &node.value
                    && let Ok(number) = text.parse()
                {
                    return number;
                }
                faults.needs(at, node, $code);
                Self::stand_in()
            }

            fn stand_in() -> Self {
                1
            }
        }
    )*};
}
whole_numbers!(u16 => "file_needs_whole", u32 => "file_needs_whole", u64 => "file_needs_whole", i64 => "file_needs_signed");

impl Shape for Decimal {
    fn read(node: &Node, at: &str, faults: &mut Faults) -> Self {
        if let Value::Number(text) = &node.value
            && let Some(number) = Self::parse(text)
        {
            return number;
        }
        let key = at.rsplit('.').next().unwrap_or(at);
        let sentence = Sentence::new("file_needs_decimal")
            .with("key", key)
            .with("found", found(&node.value))
            .with("most", Self(decimal::MAX));
        faults.add(at, node.line, sentence);
        Self::stand_in()
    }

    fn stand_in() -> Self {
        Self(100)
    }
}

impl<T: Shape> Shape for Vec<T> {
    fn read(node: &Node, at: &str, faults: &mut Faults) -> Self {
        let Value::List(items) = &node.value else {
            faults.needs(at, node, "file_needs_list");
            return Self::stand_in();
        };
        items.iter().enumerate().map(|(i, node)| T::read(node, &item(at, i), faults)).collect()
    }

    fn stand_in() -> Self {
        Vec::new()
    }
}

impl<T: Shape> Shape for OneOrMany<T> {
    fn read(node: &Node, at: &str, faults: &mut Faults) -> Self {
        match node.value {
            Value::List(_) => Self::Many(Vec::read(node, at, faults)),
            _ => Self::One(T::read(node, at, faults)),
        }
    }

    fn stand_in() -> Self {
        Self::One(T::stand_in())
    }
}

impl Shape for BTreeMap<String, String> {
    fn read(node: &Node, at: &str, faults: &mut Faults) -> Self {
        let Some(mut keys) = Keys::of(node, at, faults) else {
            return Self::stand_in();
        };
        let entries = std::mem::take(&mut keys.entries);
        let read = |entry: &Entry| {
            let text = String::read(&entry.node, &member(at, &entry.key), keys.faults);
            (entry.key.clone(), text)
        };
        entries.into_iter().map(read).collect()
    }

    fn stand_in() -> Self {
        Self::new()
    }
}

/// The keys of a table, taken one by one.
pub struct Keys<'n, 'f> {
    at: String,
    line: Option<u32>,
    entries: Vec<&'n Entry>,
    faults: &'f mut Faults,
}

impl<'n, 'f> Keys<'n, 'f> {
    /// The keys of `node`, or a fault when it is no table. A key written twice is a fault; null is
    /// as if the key were not there.
    pub fn of(node: &'n Node, at: &str, faults: &'f mut Faults) -> Option<Self> {
        let Value::Table(entries) = &node.value else {
            faults.needs(at, node, "file_needs_table");
            return None;
        };
        let mut kept: Vec<&Entry> = Vec::with_capacity(entries.len());
        let mut seen = HashSet::with_capacity(entries.len());
        for entry in entries.iter().filter(|e| !matches!(e.node.value, Value::Null)) {
            if seen.insert(entry.key.as_str()) {
                kept.push(entry);
            } else {
                let sentence = Sentence::new("file_key_twice").with("key", clip(&entry.key));
                faults.add(&member(at, &entry.key), entry.line, sentence);
            }
        }
        Some(Self { at: at.to_owned(), line: node.line, entries: kept, faults })
    }

    fn find(&self, key: &str) -> Option<&'n Entry> {
        self.entries.iter().copied().find(|e| e.key == key)
    }

    /// A key that must be there.
    pub fn needed<T: Shape>(&mut self, key: &str) -> T {
        if let Some(value) = self.optional(key) {
            return value;
        }
        self.faults.add(&member(&self.at, key), self.line, Sentence::new("file_key_missing").with("key", key));
        T::stand_in()
    }

    /// A key that may be left out.
    pub fn optional<T: Shape>(&mut self, key: &str) -> Option<T> {
        let entry = self.find(key)?;
        Some(T::read(&entry.node, &member(&self.at, key), self.faults))
    }

    /// A key with a default.
    pub fn or_default<T: Shape + Default>(&mut self, key: &str) -> T {
        self.optional(key).unwrap_or_default()
    }

    /// Whether `first` is written before `second`; false unless both are there.
    pub fn before(&self, first: &str, second: &str) -> bool {
        let place = |key: &str| self.entries.iter().position(|e| e.key == key);
        matches!((place(first), place(second)), (Some(a), Some(b)) if a < b)
    }

    /// Every key that is none of `known` is a fault, with the nearest known one.
    pub fn finish(self, known: &[&str]) {
        let unknown = self.entries.iter().filter(|e| !known.contains(&e.key.as_str()));
        for entry in unknown.take(MAX_UNKNOWN) {
            let sentence = match nearest(&entry.key, known.iter().copied()) {
                Some(near) => Sentence::new("file_key_unknown_near").with("near", near),
                None => Sentence::new("file_key_unknown").with("known", known.join(", ")),
            };
            let sentence = sentence.with("key", clip(&entry.key));
            self.faults.add(&member(&self.at, &entry.key), entry.line, sentence);
        }
    }
}

/// The word nearest to `word`, if any is near: at most a third of it mistyped.
pub fn nearest<'a>(word: &str, words: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    if word.len() > 60 {
        return None;
    }
    let folded = word.to_lowercase().replace('-', "_");
    let most = (word.chars().count() / 3).max(1);
    words
        .into_iter()
        .map(|known| (strsim::damerau_levenshtein(&folded, &known.to_lowercase().replace('-', "_")), known))
        .filter(|(distance, _)| *distance <= most)
        .min_by_key(|(distance, _)| *distance)
        .map(|(_, known)| known)
}

/// Reads one of `words` through the type's own serde names.
pub fn word<T: serde::de::DeserializeOwned>(node: &Node, at: &str, words: &[&str], faults: &mut Faults) -> Option<T> {
    use serde::de::IntoDeserializer;
    use serde::de::value::{Error, StrDeserializer};
    if let Value::Text(text) = &node.value {
        let text: StrDeserializer<'_, Error> = text.as_str().into_deserializer();
        if let Ok(value) = T::deserialize(text) {
            return Some(value);
        }
    }
    let near = match &node.value {
        Value::Text(text) => nearest(text, words.iter().copied()),
        _ => None,
    };
    let key = at.rsplit('.').next().unwrap_or(at);
    let sentence = match near {
        Some(near) => Sentence::new("file_needs_word_near").with("near", near),
        None => Sentence::new("file_needs_word"),
    };
    faults.add(
        at,
        node.line,
        sentence.with("key", key).with("found", found(&node.value)).with("words", words.join(", ")),
    );
    None
}
