//! The members of a JSON object, taken one by one.

use crate::rules::fault::{Fault, Read};
use crate::words::Sentence;
use jiff::Timestamp;
use serde_json::{Map, Value};
use std::collections::BTreeSet;

/// Longest reason or note, characters.
pub const LONG: usize = 2_000;
/// Longest name, link or written performance, characters.
pub const SHORT: usize = 500;

/// The members of an object. Take what is known, then call [`Members::done`].
pub struct Members<'a> {
    at: String,
    map: &'a Map<String, Value>,
    known: BTreeSet<&'static str>,
    faults: Vec<Fault>,
}

impl<'a> Members<'a> {
    /// The members of `value`, which stands at the JSON pointer `at` (empty: the whole body).
    ///
    /// # Errors
    /// When it is no object.
    pub fn of(value: &'a Value, at: &str) -> Result<Self, Vec<Fault>> {
        match value {
            Value::Object(map) => Ok(Self { at: at.to_owned(), map, known: BTreeSet::new(), faults: Vec::new() }),
            _ => Err(vec![Fault::new(at, Sentence::new("not_an_object"))]),
        }
    }

    /// The pointer of a member.
    #[must_use]
    pub fn pointer(&self, name: &str) -> String {
        format!("{}/{}", self.at, name.replace('~', "~0").replace('/', "~1"))
    }

    /// Remembers a fault of a member.
    pub fn fault(&mut self, name: &str, sentence: Sentence) {
        let pointer = self.pointer(name);
        self.faults.push(Fault::new(pointer, sentence));
    }

    /// Takes faults found elsewhere in.
    pub fn faults(&mut self, faults: Vec<Fault>) {
        self.faults.extend(faults);
    }

    /// A member as it is; `null` is as good as left out.
    pub fn value(&mut self, name: &'static str) -> Option<&'a Value> {
        self.known.insert(name);
        self.map.get(name).filter(|v| !v.is_null())
    }

    /// Whether a member is there and an empty text: what it says is to be taken away. It is taken then.
    pub fn is_emptied(&mut self, name: &'static str) -> bool {
        let emptied = self.map.get(name).and_then(Value::as_str).is_some_and(|text| text.trim().is_empty());
        if emptied {
            self.known.insert(name);
        }
        emptied
    }

    /// Whether a member is there and `null`.
    #[must_use]
    pub fn is_null(&self, name: &str) -> bool {
        self.map.get(name).is_some_and(Value::is_null)
    }

    /// Says that a member is needed, where it is not there.
    fn needed<T>(&mut self, name: &'static str, value: Option<T>) -> Option<T> {
        let absent = self.map.get(name).is_none_or(Value::is_null);
        if value.is_none() && absent {
            self.fault(name, Sentence::new("member_needed").with("member", name));
        }
        value
    }

    /// A text without control characters (but line breaks and tabs) of at most `most` characters.
    pub fn text(&mut self, name: &'static str, most: usize) -> Option<String> {
        let value = self.value(name)?;
        let checked =
            value.as_str().ok_or_else(|| Sentence::new("member_text").with("member", name)).and_then(|text| {
                if text.chars().any(|c| c.is_control() && !matches!(c, '\n' | '\r' | '\t')) {
                    return Err(Sentence::new("member_control").with("member", name));
                }
                if text.chars().count() > most {
                    return Err(Sentence::new("member_long").with("member", name).with("most", most));
                }
                Ok(text.to_owned())
            });
        self.keep(name, checked)
    }

    /// A text that is needed and not blank; empty where it is at fault.
    pub fn needed_text(&mut self, name: &'static str, most: usize) -> String {
        let text = self.text(name, most);
        let text = self.needed(name, text).unwrap_or_default();
        let given = self.map.get(name).and_then(Value::as_str);
        if given.is_some_and(|t| t.trim().is_empty()) {
            self.fault(name, Sentence::new("member_needed").with("member", name));
        }
        text
    }

    /// A whole number from `least` to `most`.
    pub fn whole(&mut self, name: &'static str, least: u64, most: u64) -> Option<u64> {
        let value = self.value(name)?;
        let checked = whole(value)
            .filter(|n| (least..=most).contains(n))
            .ok_or_else(|| Sentence::new("member_whole").with("member", name).with("least", least).with("most", most));
        self.keep(name, checked)
    }

    /// A whole number that fits 32 bits.
    pub fn small(&mut self, name: &'static str, least: u32, most: u32) -> Option<u32> {
        self.whole(name, least.into(), most.into()).and_then(|n| u32::try_from(n).ok())
    }

    /// True or false.
    pub fn yes(&mut self, name: &'static str) -> Option<bool> {
        let value = self.value(name)?;
        let checked = value.as_bool().ok_or_else(|| Sentence::new("member_bool").with("member", name));
        self.keep(name, checked)
    }

    /// An instant, RFC 3339.
    pub fn instant(&mut self, name: &'static str) -> Option<Timestamp> {
        let text = self.text(name, SHORT)?;
        let checked = text.parse().map_err(|_| Sentence::new("member_instant").with("member", name));
        self.keep(name, checked)
    }

    /// An instant that is needed.
    pub fn needed_instant(&mut self, name: &'static str) -> Option<Timestamp> {
        let at = self.instant(name);
        self.needed(name, at)
    }

    /// One of a few words.
    pub fn word<T: Copy>(&mut self, name: &'static str, words: &[(&str, T)]) -> Option<T> {
        let text = self.text(name, SHORT)?;
        let checked = words.iter().find(|(w, _)| *w == text).map(|(_, value)| *value).ok_or_else(|| {
            let all = words.iter().map(|(w, _)| *w).collect::<Vec<_>>().join(", ");
            Sentence::new("member_word").with("member", name).with("words", all)
        });
        self.keep(name, checked)
    }

    /// One of a few words, needed.
    pub fn needed_word<T: Copy>(&mut self, name: &'static str, words: &[(&str, T)]) -> Option<T> {
        let word = self.word(name, words);
        self.needed(name, word)
    }

    /// A list of texts.
    pub fn texts(&mut self, name: &'static str) -> Option<Vec<String>> {
        let value = self.value(name)?;
        let texts = value
            .as_array()
            .filter(|list| list.len() <= 100)
            .and_then(|list| list.iter().map(|v| v.as_str().map(str::to_owned)).collect())
            .ok_or_else(|| Sentence::new("member_texts").with("member", name));
        self.keep(name, texts)
    }

    fn keep<T>(&mut self, name: &str, checked: Result<T, Sentence>) -> Option<T> {
        match checked {
            Ok(value) => Some(value),
            Err(sentence) => {
                self.fault(name, sentence);
                None
            }
        }
    }

    /// `value`, if nothing was wrong; members that nobody knows are faults, so that a typing slip
    /// is seen.
    pub fn done<T>(self, value: T) -> Result<T, Vec<Fault>> {
        self.parts(value).whole()
    }

    /// `value`, with a stand-in for each member at fault, and everything that was wrong.
    pub fn parts<T>(mut self, value: T) -> Read<T> {
        let strange: Vec<&String> = self.map.keys().filter(|k| !self.known.contains(k.as_str())).collect();
        for name in strange {
            let known = self.known.iter().copied().collect::<Vec<_>>().join(", ");
            let shown: String = name.chars().filter(|c| !c.is_control()).take(60).collect();
            self.fault(name, Sentence::new("member_unknown").with("member", shown).with("known", known));
        }
        Read { value, faults: self.faults }
    }
}

/// A whole number, also written `55.0`; `None` for anything else, or beyond 2^53.
fn whole(value: &Value) -> Option<u64> {
    const EXACT: f64 = 9_007_199_254_740_992.0;
    if let Some(n) = value.as_u64() {
        return Some(n);
    }
    let float = value.as_f64().filter(|f| f.fract() == 0.0 && (0.0..=EXACT).contains(f))?;
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "whole, not negative, at most 2^53")]
    Some(float as u64)
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    #[test]
    fn everything_that_is_wrong_is_said_at_once() {
        let body = json!({ "reason": 7, "n": -1, "typo": 1, "word": "c" });
        let mut members = Members::of(&body, "").expect("an object");
        let _ = members.text("reason", 10);
        let _ = members.whole("n", 0, 9);
        let _ = members.word("word", &[("a", 1), ("b", 2)]);
        let _ = members.needed_text("missing", 10);
        let faults = members.done(()).expect_err("all wrong");
        let found: Vec<_> = faults.iter().map(|f| (f.pointer.as_str(), &*f.sentence.code)).collect();
        assert_eq!(
            found,
            [
                ("/reason", "member_text"),
                ("/n", "member_whole"),
                ("/word", "member_word"),
                ("/missing", "member_needed"),
                ("/typo", "member_unknown"),
            ]
        );
    }

    #[test]
    fn fifty_five_point_nought_is_a_whole_number_and_a_half_is_none() {
        assert_eq!(whole(&json!(55.0)), Some(55));
        assert_eq!(whole(&json!(55.5)), None);
        assert_eq!(whole(&json!(-1)), None);
        assert_eq!(whole(&json!(1e300)), None);
        assert_eq!(whole(&json!("55")), None);
    }

    #[test]
    fn a_nul_in_a_text_is_refused() {
        let body = json!({ "reason": "a\u{0}b" });
        let mut members = Members::of(&body, "").expect("an object");
        let _ = members.text("reason", 10);
        assert_eq!(members.done(()).expect_err("a NUL")[0].sentence.code, "member_control");
    }
}
