//! The table of sentences: every code that is named has one, each only once, none is left over.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};
use tallywright::words::en::AREAS;

/// All source files but the table itself.
fn sources(folder: &Path, into: &mut Vec<PathBuf>) {
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() && !path.ends_with("src/words") {
            sources(&path, into);
        } else if path.extension().is_some_and(|e| e == "rs") {
            into.push(path);
        }
    }
}

/// The source without its unit tests, which name codes of their own.
fn code() -> String {
    let mut files = Vec::new();
    sources(&Path::new(env!("CARGO_MANIFEST_DIR")).join("src"), &mut files);
    assert!(files.len() > 50);
    let texts = files.iter().map(|file| std::fs::read_to_string(file).unwrap());
    texts.map(|text| text.split("#[cfg(test)]").next().unwrap_or_default().to_owned()).collect()
}

/// Codes that a sentence is made of on the spot.
fn named(code: &str) -> BTreeSet<&str> {
    let made = code.split("Sentence::new(").skip(1);
    made.filter_map(|rest| rest.trim_start().strip_prefix('"')?.split('"').next()).collect()
}

#[test]
fn every_code_that_is_named_has_its_sentence() {
    let known: BTreeSet<&str> = AREAS.iter().flat_map(|area| area.iter().map(|(code, _)| *code)).collect();
    let code = code();
    let named = named(&code);
    assert!(named.len() > 100);
    let unsaid: Vec<_> = named.difference(&known).collect();
    assert!(unsaid.is_empty(), "without a sentence: {unsaid:?}");
}

#[test]
fn a_code_has_one_sentence_and_is_named_somewhere() {
    let code = code();
    let literals: BTreeSet<&str> = code.split('"').collect();
    let mut times = BTreeMap::new();
    for (code, sentence) in AREAS.iter().flat_map(|area| area.iter()) {
        *times.entry(*code).or_insert(0) += 1;
        assert!(literals.contains(code), "{code} is named nowhere");
        assert!(!sentence.is_empty());
        assert_eq!(sentence.matches('{').count(), sentence.matches('}').count(), "{code}");
    }
    let twice: Vec<_> = times.iter().filter(|(_, n)| **n > 1).collect();
    assert!(twice.is_empty(), "two sentences: {twice:?}");
}

/// Every text of the pages is said by a page: by a template, by code, or by a script.
#[test]
fn no_text_of_the_pages_is_left_over() {
    let home = Path::new(env!("CARGO_MANIFEST_DIR"));
    let read = |folder: &str, kind: &str| -> Vec<String> {
        let files = std::fs::read_dir(home.join(folder)).unwrap().map(|entry| entry.unwrap().path());
        files
            .filter(|f| f.extension().is_some_and(|e| e == kind))
            .map(|f| std::fs::read_to_string(f).unwrap())
            .collect()
    };
    let said = code()
        + &read("templates", "html").concat()
        + &read("static", "js").concat()
        + &read("static/desk", "js").concat();
    let used: BTreeSet<&str> = said
        .split('.')
        .skip(1)
        .map(|rest| {
            let rest = rest.trim_start();
            &rest[..rest.find(|c: char| !c.is_alphanumeric() && c != '_').unwrap_or(rest.len())]
        })
        .collect();
    let mut texts = read("src/words/en", "rs");
    texts.extend(read("src/words/en/pages", "rs"));
    let fields: Vec<&str> = texts
        .iter()
        .filter(|text| text.contains("texts!") || text.contains("area!"))
        .flat_map(|text| text.lines())
        .filter_map(|line| line.strip_prefix("    ")?.split_once(": \"").map(|(name, _)| name))
        .collect();
    assert!(fields.len() > 400, "{}", fields.len());
    // The script makes these of the plural rules of the language.
    let made = ["ordinal_one", "ordinal_two", "ordinal_few"];
    let left: Vec<_> = fields.iter().filter(|f| !used.contains(*f) && !made.contains(f)).collect();
    assert!(left.is_empty(), "no page says {left:?}");
}
