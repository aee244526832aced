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
    assert!(rows.len() >= 50, "only {} rows", rows.len());
    let numbers: BTreeSet<&String> = rows.iter().map(|(number, ..)| number).collect();
    assert_eq!(numbers.len(), rows.len(), "a row stands twice");
    for (number, asked, shown) in &rows {
        assert!(!asked.is_empty(), "{number}");
        let said = ["Not met", "The proxy's"].iter().any(|plain| shown.starts_with(plain));
        assert!(said || !named(shown).is_empty(), "{number}: {shown}");
    }
}
