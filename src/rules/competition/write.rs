//! [`RawCompetition`] → text: the file in force, to be changed and applied again.

use super::raw::RawCompetition;
use std::fmt::Write;
use toml::{Table, Value};

/// Parts with a heading of their own, `[[…]]`; all else stands in one line each, lists of tables in a
/// line for each table.
const HEADED: [&str; 3] = ["division", "workout", "prescription"];

/// The file as TOML, as [`super::from_toml`] reads it. Comments are not kept.
///
/// # Errors
/// None for what was read; of a value that TOML cannot say.
pub fn to_toml(raw: &RawCompetition) -> Result<String, toml::ser::Error> {
    let mut text = String::new();
    for (key, value) in Table::try_from(raw)? {
        match value {
            Value::Table(table) => part(&mut text, &format!("[{key}]"), &key, table)?,
            Value::Array(parts) => headed(&mut text, &key, parts)?,
            other => line(&mut text, &key, other)?,
        }
    }
    Ok(text)
}

fn headed(text: &mut String, path: &str, parts: Vec<Value>) -> Result<(), toml::ser::Error> {
    for value in parts {
        match value {
            Value::Table(table) => part(text, &format!("[[{path}]]"), path, table)?,
            other => line(text, path, other)?,
        }
    }
    Ok(())
}

/// A heading, what stands in a line each, and then what has a heading of its own.
fn part(text: &mut String, heading: &str, path: &str, table: Table) -> Result<(), toml::ser::Error> {
    let blank = if text.is_empty() { "" } else { "\n" };
    writeln!(text, "{blank}{heading}").ok();
    let (below, own): (Vec<_>, Vec<_>) = table.into_iter().partition(|(key, _)| HEADED.contains(&key.as_str()));
    for (key, value) in own {
        line(text, &key, value)?;
    }
    for (key, value) in below {
        if let Value::Array(parts) = value {
            headed(text, &format!("{path}.{key}"), parts)?;
        }
    }
    Ok(())
}

fn line(text: &mut String, key: &str, value: Value) -> Result<(), toml::ser::Error> {
    match value {
        Value::Array(items) if items.iter().any(Value::is_table) => {
            writeln!(text, "{key} = [").ok();
            for item in items {
                writeln!(text, "  {item},").ok();
            }
            writeln!(text, "]").ok();
        }
        // Texts of several lines as such, in tables too.
        Value::String(_) => text.push_str(&toml::to_string_pretty(&Table::from_iter([(key.to_owned(), value)]))?),
        Value::Table(table) if table.values().any(|v| v.as_str().is_some_and(|v| v.contains('\n'))) => {
            for (below, value) in table {
                write!(text, "{key}.").ok();
                line(text, &below, value)?;
            }
        }
        other => _ = writeln!(text, "{key} = {other}"),
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rules::competition::from_toml;

    #[test]
    fn a_file_stands_as_people_write_it() {
        let file = include_str!("../../../tests/data/small.toml");
        let text = to_toml(&from_toml(file).expect("the file reads")).expect("can be written");
        for part in [
            "[competition]\nslug = \"saltmarsh\"\n",
            "\n[[division]]\nslug = \"men\"\n",
            "stations = [\n  { movement = \"kettlebell swing\", reps = 20 },\n",
            "\n[[workout.prescription]]\ndivisions = [\"women\", \"men\"]\nloads = [\n  { item = \"kettlebell\", kg = 16, lb = 35 },\n]\n",
        ] {
            assert!(text.contains(part), "{part} in {text}");
        }
    }
}
