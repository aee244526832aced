//! TOML and JSON as one tree of nodes that know their line.
//!
//! serde would stop at the first fault and forget lines; [`super::read`] walks this tree instead
//! and collects every fault. Numbers stay as written.

use serde::Deserialize;
use serde::de::{Deserializer, MapAccess, SeqAccess, Visitor};
use std::collections::HashMap;
use std::fmt;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// A value and where it stands.
#[derive(Debug)]
pub struct Node {
    /// From 1; JSON has none.
    pub line: Option<u32>,
    /// What it is.
    pub value: Value,
}

/// What a node is.
#[derive(Debug)]
pub enum Value {
    /// JSON's null: as if it were not there.
    Null,
    /// True or false.
    Bool(bool),
    /// A number, as written in decimal.
    Number(String),
    /// A text.
    Text(String),
    /// A TOML date or time without quotes, as written.
    Date(String),
    /// A list.
    List(Vec<Node>),
    /// A table, in the order written. A key may come twice in JSON.
    Table(Vec<Entry>),
}

/// A key and its value.
#[derive(Debug)]
pub struct Entry {
    /// The key.
    pub key: String,
    /// Its line.
    pub line: Option<u32>,
    /// The value.
    pub node: Node,
}

/// Where each line of a text begins, to find the line of a byte.
pub struct Lines<'t> {
    text: &'t str,
    starts: Vec<usize>,
}

impl<'t> Lines<'t> {
    /// Finds the lines of `text`.
    pub fn of(text: &'t str) -> Self {
        let starts = std::iter::once(0).chain(text.match_indices('\n').map(|(at, _)| at + 1)).collect();
        Self { text, starts }
    }

    /// The line of a byte, from 1.
    pub fn line(&self, byte: usize) -> Option<u32> {
        u32::try_from(self.starts.partition_point(|start| *start <= byte)).ok()
    }
}

/// The tree of a TOML document.
pub fn of_toml(table: &Spanned<DeTable<'_>>, lines: &Lines<'_>) -> Node {
    Node { line: Some(1), value: Value::Table(entries(table.get_ref(), lines)) }
}

fn entries(table: &DeTable<'_>, lines: &Lines<'_>) -> Vec<Entry> {
    let mut sorted: Vec<_> = table.iter().collect();
    sorted.sort_by_key(|(key, _)| key.span().start);
    let entry = |(key, value): (&Spanned<_>, &Spanned<DeValue<'_>>)| {
        let line = lines.line(key.span().start);
        let key: &std::borrow::Cow<'_, str> = key.get_ref();
        Entry { key: key.to_string(), line, node: node(value, lines) }
    };
    sorted.into_iter().map(entry).collect()
}

fn node(value: &Spanned<DeValue<'_>>, lines: &Lines<'_>) -> Node {
    let line = lines.line(value.span().start);
    let value = match value.get_ref() {
        DeValue::String(text) => Value::Text(text.to_string()),
        DeValue::Integer(number) => {
            // Hexadecimal and the like are numbers too; what passes 128 bits stays unreadable.
            let read = i128::from_str_radix(number.as_str(), number.radix());
            Value::Number(read.map_or_else(|_| number.as_str().to_owned(), |n| n.to_string()))
        }
        DeValue::Float(number) => Value::Number(number.as_str().to_owned()),
        DeValue::Boolean(yes) => Value::Bool(*yes),
        // As in the text: `12:00` would else come back as `12:00:00`.
        DeValue::Datetime(date) => {
            let written = lines.text.get(value.span()).map(str::trim).filter(|t| !t.is_empty());
            Value::Date(written.map_or_else(|| date.to_string(), str::to_owned))
        }
        DeValue::Array(items) => Value::List(items.iter().map(|item| node(item, lines)).collect()),
        DeValue::Table(table) => Value::Table(entries(table, lines)),
    };
    Node { line, value }
}

impl<'de> Deserialize<'de> for Node {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        deserializer.deserialize_any(Any).map(|value| Self { line: None, value })
    }
}

struct Any;

impl<'de> Visitor<'de> for Any {
    type Value = Value;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("any value")
    }

    fn visit_unit<E>(self) -> Result<Value, E> {
        Ok(Value::Null)
    }

    fn visit_bool<E>(self, yes: bool) -> Result<Value, E> {
        Ok(Value::Bool(yes))
    }

    fn visit_u64<E>(self, number: u64) -> Result<Value, E> {
        Ok(Value::Number(number.to_string()))
    }

    fn visit_i64<E>(self, number: i64) -> Result<Value, E> {
        Ok(Value::Number(number.to_string()))
    }

    fn visit_f64<E>(self, number: f64) -> Result<Value, E> {
        Ok(Value::Number(number.to_string()))
    }

    fn visit_str<E>(self, text: &str) -> Result<Value, E> {
        Ok(Value::Text(text.to_owned()))
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut seq: A) -> Result<Value, A::Error> {
        let mut items = Vec::new();
        while let Some(item) = seq.next_element()? {
            items.push(item);
        }
        Ok(Value::List(items))
    }

    fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<Value, A::Error> {
        let mut entries = Vec::new();
        while let Some((key, node)) = map.next_entry()? {
            entries.push(Entry { key, line: None, node });
        }
        Ok(Value::Table(entries))
    }
}

/// Key of a member: `competition.slug`, `slug` at the top.
pub fn member(at: &str, key: &str) -> String {
    if at.is_empty() { key.to_owned() } else { format!("{at}.{key}") }
}

/// Key of a list's item: `workout[1]`.
pub fn item(at: &str, index: usize) -> String {
    format!("{at}[{index}]")
}

/// The key one step up: `workout[1].cap` → `workout[1]` → `workout` → the whole.
pub fn parent(at: &str) -> Option<&str> {
    if at.is_empty() {
        return None;
    }
    Some(at.rfind(['.', '[']).and_then(|cut| at.get(..cut)).unwrap_or(""))
}

/// Key → line, for every key of the tree.
pub fn key_lines(root: &Node) -> HashMap<String, u32> {
    fn walk(node: &Node, at: &str, lines: &mut HashMap<String, u32>) {
        match &node.value {
            Value::Table(entries) => {
                for entry in entries {
                    let key = member(at, &entry.key);
                    if let Some(line) = entry.line {
                        lines.insert(key.clone(), line);
                    }
                    walk(&entry.node, &key, lines);
                }
            }
            Value::List(items) => {
                for (index, node) in items.iter().enumerate() {
                    let key = item(at, index);
                    if let Some(line) = node.line {
                        lines.insert(key.clone(), line);
                    }
                    walk(node, &key, lines);
                }
            }
            _ => {}
        }
    }
    let mut lines = HashMap::new();
    walk(root, "", &mut lines);
    lines
}
