//! The table of OWASP's requirements in `DEVELOPERS.md`: each row names tests that are there, or says
//! plainly that it is not met. Whether a test shows what its row says is for who reads both.

use std::collections::BTreeSet;
use std::path::Path;

/// The rows: number, what is asked, what shows it.
fn rows() -> Vec<(String, String, String)> {
    let text = std::fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("DEVELOPERS.md")).expect("the file");
    let section = text.split("\n## Security requirements\n").nth(1).expect("the section");
    let section = section.split("\n## ").next().unwrap_or_default();
    let cells = section.lines().filter_map(|line| line.strip_prefix("| ")?.strip_suffix(" |"));
    let rows = cells.filter(|line| line.starts_with(|c: char| c.is_ascii_digit()));
    rows.map(|line| {
        let cells: Vec<&str> = line.split(" | ").collect();
        let [number, asked, shown] = cells[..] else { panic!("three cells: {line}") };
        (number.to_owned(), asked.to_owned(), shown.to_owned())
    })
    .collect()
}

/// What stands between backquotes and names a test: `path::name`, below `tests` or `src`.
fn named(shown: &str) -> Vec<(String, String)> {
    let quoted = shown.split('`').skip(1).step_by(2);
    quoted.filter_map(|q| q.rsplit_once("::")).map(|(path, name)| (path.to_owned(), name.to_owned())).collect()
}

#[test]
fn every_test_that_the_table_names_is_there() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let mut missing = Vec::new();
    for (number, _, shown) in rows() {
        for (path, name) in named(&shown) {
            let file = if path.starts_with("src/") { path.clone() } else { format!("tests/{path}") };
            let text = std::fs::read_to_string(root.join(&file)).unwrap_or_default();
            let before = text.split(&format!("fn {name}(")).next().filter(|before| before.len() < text.len());
            // The attribute stands right before it.
            let is_test = before.is_some_and(|lines| {
                lines.trim_end().rsplit('\n').take(2).any(|l| l.contains("test]") || l.contains("test("))
            });
            if !is_test {
                missing.push(format!("{number}: {file}::{name}"));
            }
        }
    }
    assert!(missing.is_empty(), "named and not there:\n{}", missing.join("\n"));
}

#[test]
fn every_row_has_a_test_or_says_that_it_is_not_met() {
    let rows = rows();
    let numbers: BTreeSet<&String> = rows.iter().map(|(number, ..)| number).collect();
    assert_eq!(numbers.len(), rows.len(), "a row stands twice");
    for (number, asked, shown) in &rows {
        assert!(!asked.is_empty(), "{number}");
        let said = ["Not met", "The proxy's"].iter().any(|plain| shown.starts_with(plain));
        assert!(said || !named(shown).is_empty(), "{number}: {shown}");
    }
}

/// The selection is data from outside: number, level and our own words for what is asked.
#[test]
fn the_table_has_exactly_the_rows_that_were_selected() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/vectors/asvs5_selected.json");
    let selected: serde_json::Value = serde_json::from_slice(&std::fs::read(path).expect("the file")).expect("JSON");
    let number =
        |row: &serde_json::Value| row["id"].as_str().and_then(|id| id.strip_prefix("v5.0.0-")).map(str::to_owned);
    let selected: BTreeSet<String> = selected["rows"].as_array().expect("rows").iter().filter_map(number).collect();
    let table: BTreeSet<String> = rows().into_iter().map(|(number, ..)| number).collect();
    assert!(selected.len() > 90, "{}", selected.len());
    let missing: Vec<&String> = selected.difference(&table).collect();
    let strange: Vec<&String> = table.difference(&selected).collect();
    assert!(missing.is_empty() && strange.is_empty(), "not in the table: {missing:?}; not selected: {strange:?}");
}
