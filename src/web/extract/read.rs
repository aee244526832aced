//! Text to types, with every fault at once.
//!
//! Serde stops at the first fault. Here the member at fault is taken out, or another value put in
//! its place, and the rest is read again, until nothing is left to say. What serde says in its own
//! words is put into ours.

use crate::actions::language;
use crate::rules::fault::Fault;
use crate::web::problem::Problem;
use crate::words::Sentence;
use http::StatusCode;
use serde::de::DeserializeOwned;
use serde_json::Value;
use serde_path_to_error::{Path, Segment};
use std::collections::{BTreeMap, BTreeSet};

/// Faults listed at most; a person mends no more at once.
const MOST: usize = 50;

/// Reads JSON. 400 where it is none; 422 with all faults where it does not fit `T`.
pub(crate) fn json<T: DeserializeOwned>(bytes: &[u8]) -> Result<T, Problem> {
    let mut reader = serde_json::Deserializer::from_slice(bytes);
    let direct = serde_path_to_error::deserialize::<_, T>(&mut reader);
    let whole = reader.end().is_ok();
    let may_hold_nul = bytes.windows(6).any(|w| w == b"\\u0000");
    let failed = match direct {
        Ok(value) if whole && !may_hold_nul => return Ok(value),
        Ok(value) => Ok(value),
        Err(error) => Err(fault(&error.path().clone(), &error.inner().to_string())),
    };
    let tree: Value = serde_json::from_slice(bytes).map_err(|error| unreadable(&error))?;
    let mut faults = Vec::new();
    nuls(&tree, String::new(), &mut faults);
    match failed {
        Ok(value) if faults.is_empty() => return Ok(value),
        Ok(_) => {}
        Err(first) => {
            let found = misfits::<T>(tree);
            // A member given twice is seen only in the text itself.
            faults.extend(if found.is_empty() { vec![first] } else { found });
        }
    }
    Err(Problem::faults(faults))
}

fn unreadable(error: &serde_json::Error) -> Problem {
    let sentence = Sentence::new("unreadable_json").with("line", error.line()).with("column", error.column());
    Problem::new(StatusCode::BAD_REQUEST, sentence)
}

/// Reads `name=value&…` as queries and forms write it. 422 with all faults.
pub(crate) fn pairs<T: DeserializeOwned>(text: &[u8]) -> Result<T, Problem> {
    let given: Vec<(String, String)> = serde_urlencoded::from_bytes(text)
        .map_err(|_| Problem::new(StatusCode::BAD_REQUEST, Sentence::new("unreadable_form")))?;
    let mut faults = Vec::new();
    let mut once = BTreeMap::new();
    for (name, value) in given {
        if value.contains('\0') || name.contains('\0') {
            faults.push(Fault::new(below("", &name), Sentence::new("nul_character")));
        }
        if once.insert(name.clone(), value).is_some() {
            faults.push(Fault::new(below("", &name), Sentence::new("repeated_member").with("name", name)));
        }
    }
    for _ in 0..MOST {
        let text = serde_urlencoded::to_string(&once).unwrap_or_default();
        let reader = serde_urlencoded::Deserializer::new(form_urlencoded::parse(text.as_bytes()));
        match serde_path_to_error::deserialize::<_, T>(reader) {
            Ok(value) if faults.is_empty() => return Ok(value),
            Ok(_) => break,
            Err(error) => {
                let found = fault(error.path(), &error.inner().to_string());
                let name = unescape(found.pointer.trim_start_matches('/'));
                let known = faults.iter().any(|f: &Fault| f.pointer == found.pointer);
                if !known {
                    faults.push(found);
                }
                if once.remove(&name).is_none() {
                    break;
                }
            }
        }
    }
    Err(Problem::faults(faults))
}

/// Pointers of all strings and names with a NUL: no text of ours has one, and some databases
/// cannot keep it.
fn nuls(tree: &Value, at: String, faults: &mut Vec<Fault>) {
    match tree {
        Value::String(text) if text.contains('\0') => faults.push(Fault::new(at, Sentence::new("nul_character"))),
        Value::Array(items) => items.iter().enumerate().for_each(|(i, v)| nuls(v, below(&at, &i.to_string()), faults)),
        Value::Object(members) => {
            for (name, value) in members {
                if name.contains('\0') {
                    faults.push(Fault::new(below(&at, name), Sentence::new("nul_character")));
                }
                nuls(value, below(&at, name), faults);
            }
        }
        _ => {}
    }
}

/// Everything in which `tree` does not fit `T`.
fn misfits<T: DeserializeOwned>(mut tree: Value) -> Vec<Fault> {
    let mut faults: Vec<Fault> = Vec::new();
    let mut seen = BTreeSet::new();
    while faults.len() < MOST {
        let Err(error) = serde_path_to_error::deserialize::<_, T>(&tree) else { break };
        let found = fault(error.path(), &error.inner().to_string());
        let pointer = found.pointer.clone();
        let again = !seen.insert(pointer.clone());
        if !again {
            faults.push(found);
        }
        let mended = if again || tree.pointer(&pointer).is_none() {
            stand_in::<T>(&mut tree, &pointer)
        } else {
            take_out(&mut tree, &pointer)
        };
        if !mended {
            break;
        }
    }
    faults
}

/// Takes the member at `pointer` out, or the item of a list.
fn take_out(tree: &mut Value, pointer: &str) -> bool {
    let Some((parent, last)) = split(pointer) else { return false };
    match tree.pointer_mut(&parent) {
        Some(Value::Object(members)) => members.remove(&last).is_some(),
        Some(Value::Array(items)) => match last.parse::<usize>() {
            Ok(i) if i < items.len() => {
                items[i] = Value::Null;
                true
            }
            _ => false,
        },
        _ => false,
    }
}

/// Puts some value at `pointer` that moves the reading on; false when none does.
fn stand_in<T: DeserializeOwned>(tree: &mut Value, pointer: &str) -> bool {
    let Some((parent, last)) = split(pointer) else { return false };
    let candidates = [
        Value::String(String::new()),
        Value::from(1),
        Value::Bool(false),
        Value::Array(vec![]),
        Value::Object(serde_json::Map::new()),
    ];
    for candidate in candidates {
        match tree.pointer_mut(&parent) {
            Some(Value::Object(members)) => {
                members.insert(last.clone(), candidate);
            }
            Some(Value::Array(items)) => match last.parse::<usize>().ok().and_then(|i| items.get_mut(i)) {
                Some(item) => *item = candidate,
                None => return false,
            },
            _ => return false,
        }
        match serde_path_to_error::deserialize::<_, T>(&*tree) {
            Ok(_) => return true,
            Err(error) => {
                let next = fault(error.path(), &error.inner().to_string()).pointer;
                if next != pointer && !next.starts_with(&format!("{pointer}/")) {
                    return true;
                }
            }
        }
    }
    false
}

/// Parent pointer and last name.
fn split(pointer: &str) -> Option<(String, String)> {
    let (parent, last) = pointer.rsplit_once('/')?;
    Some((parent.to_owned(), unescape(last)))
}

/// `pointer` with one more name, escaped as RFC 6901 §3 says.
fn below(pointer: &str, name: &str) -> String {
    format!("{pointer}/{}", name.replace('~', "~0").replace('/', "~1"))
}

fn unescape(name: &str) -> String {
    name.replace("~1", "/").replace("~0", "~")
}

fn pointer(path: &Path) -> String {
    path.iter().fold(String::new(), |at, segment| match segment {
        Segment::Seq { index } => below(&at, &index.to_string()),
        Segment::Map { key } => below(&at, key),
        Segment::Enum { .. } | Segment::Unknown => at,
    })
}

/// What serde says, in our words, and where.
fn fault(path: &Path, said: &str) -> Fault {
    let said = said.split(" at line ").next().unwrap_or(said);
    let at = pointer(path);
    let named = |name: &str| if at.ends_with(&below("", name)) { at.clone() } else { below(&at, name) };
    let mut quoted = said.split('`');
    let name = quoted.nth(1).unwrap_or_default();
    let known = quoted.skip(1).step_by(2).collect::<Vec<_>>().join(", ");
    if said.starts_with("unknown field") {
        let code = if known.is_empty() { "unknown_member_of_none" } else { "unknown_member" };
        Fault::new(named(name), Sentence::new(code).with("name", name).with("known", known))
    } else if said.starts_with("missing field") {
        Fault::new(below(&at, name), Sentence::new("missing_member").with("name", name))
    } else if said.starts_with("duplicate field") {
        Fault::new(named(name), Sentence::new("repeated_member").with("name", name))
    } else if said.starts_with("unknown variant") {
        Fault::new(at, Sentence::new("unknown_choice").with("given", name).with("known", known))
    } else if let Some((_, wanted)) = said.split_once(", expected ").filter(|_| said.starts_with("invalid ")) {
        Fault::new(at, Sentence::new("wrong_kind").with("wanted", kind(wanted)))
    } else if said.contains("invalid digit") || said.contains("number too") || said.contains("from empty string") {
        Fault::new(at, Sentence::new("wrong_kind").with("wanted", kind("u32")))
    } else {
        Fault::new(at, Sentence::new("unreadable_member").with("reason", said))
    }
}

/// What serde expected, as a person would say it.
fn kind(wanted: &str) -> String {
    let code = match wanted {
        "u8" | "u16" | "u32" | "u64" | "usize" => "kind_whole_number",
        "i8" | "i16" | "i32" | "i64" => "kind_integer",
        "f32" | "f64" => "kind_number",
        "a string" | "str" | "string" => "kind_text",
        "a boolean" => "kind_truth",
        "a sequence" => "kind_list",
        "a map" => "kind_object",
        other if other.starts_with("struct ") || other.starts_with("internally tagged") => "kind_object",
        other => return other.to_owned(),
    };
    language::say(&Sentence::new(code))
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde::Deserialize;

    #[derive(Debug, Deserialize)]
    #[serde(deny_unknown_fields)]
    #[expect(dead_code, reason = "read, never looked at")]
    struct Inner {
        reps: u32,
        #[serde(default)]
        note: Option<String>,
    }

    #[derive(Debug, Deserialize)]
    #[serde(deny_unknown_fields)]
    #[expect(dead_code, reason = "read, never looked at")]
    struct Outer {
        name: String,
        count: u32,
        #[serde(default)]
        many: Vec<Inner>,
    }

    fn codes(problem: &Problem) -> Vec<String> {
        problem.errors.iter().map(|f| format!("{} {}", f.pointer, f.sentence.code)).collect()
    }

    #[test]
    fn every_fault_of_a_body_is_listed_at_once() {
        let body = br#"{"nmae":"x","many":[{"reps":"a"},{"reps":1,"note":5,"more":true}],"count":-1}"#;
        let problem = json::<Outer>(body).unwrap_err();
        let found = codes(&problem);
        assert_eq!(
            found,
            [
                "/count wrong_kind",
                "/many/0/reps wrong_kind",
                "/many/1/more unknown_member",
                "/many/1/note wrong_kind",
                "/nmae unknown_member",
                "/name missing_member",
            ]
        );
    }

    #[test]
    fn text_that_is_no_json_is_unreadable_with_its_place() {
        let problem = json::<Outer>(b"{\"name\": }").unwrap_err();
        assert_eq!(problem.status, StatusCode::BAD_REQUEST);
        assert_eq!(problem.sentence.code, "unreadable_json");
    }

    #[test]
    fn a_member_given_twice_is_refused() {
        let problem = json::<Outer>(br#"{"name":"a","name":"b","count":1}"#).unwrap_err();
        assert_eq!(codes(&problem), ["/name repeated_member"]);
    }

    #[test]
    fn an_escaped_nul_is_refused_and_an_escaped_backslash_is_not() {
        let problem = json::<Outer>(br#"{"name":"a\u0000b","count":1}"#).unwrap_err();
        assert_eq!(codes(&problem), ["/name nul_character"]);
        assert!(json::<Outer>(br#"{"name":"a\\u0000b","count":1}"#).is_ok());
    }

    #[test]
    fn a_query_is_read_with_every_fault_too() {
        #[derive(Debug, Deserialize)]
        #[serde(deny_unknown_fields)]
        #[expect(dead_code, reason = "read, never looked at")]
        struct Q {
            limit: Option<u32>,
            gym: Option<String>,
        }
        assert!(pairs::<Q>(b"limit=5&gym=a%20b").is_ok());
        let problem = pairs::<Q>(b"limit=x&gmy=a&gym=1&gym=2").unwrap_err();
        let mut found = codes(&problem);
        found.sort();
        assert_eq!(found, ["/gmy unknown_member", "/gym repeated_member", "/limit wrong_kind"]);
    }
}
