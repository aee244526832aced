//! Checking and applying competition files.

use super::support::{Folder, SERIES};
use serde_json::Value;

/// Four things are wrong with it: a zone, a cap, a division and a key that nobody knows.
fn faulty() -> String {
    SERIES
        .replace("Europe/Lisbon", "Europe/Lisboa")
        .replace("cap = \"12:00\"", "cap = \"twelve\"")
        .replacen("divisions = [\"women\", \"men\"]", "divisions = [\"women\", \"mens\"]", 1)
        .replace("title = \"Breakwater\"", "title = \"Breakwater\"\ncolour = \"red\"")
}

fn line_of(text: &str, part: &str) -> usize {
    text.lines().position(|l| l.contains(part)).expect("it is in the text") + 1
}

#[test]
fn all_faults_of_a_file_are_listed_with_their_lines() {
    let folder = Folder::new();
    folder.write("series.toml", &faulty());
    let said = folder.run(&["competition", "check", "series.toml"]).refused();
    for part in ["Europe/Lisboa", "twelve", "colour", "mens"] {
        let line = format!("line {}", line_of(&faulty(), part));
        assert!(said.lines().any(|l| l.starts_with(&line)), "{line} ({part}) is missing in\n{said}");
    }
    assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 1, "checking makes no database");
}

#[test]
fn faults_are_there_for_programs_too() {
    let folder = Folder::new();
    folder.write("series.toml", &faulty());
    let ran = folder.run(&["competition", "check", "series.toml", "--json"]);
    assert_eq!((ran.code, ran.err.as_str()), (1, ""));
    let json: Value = serde_json::from_str(&ran.out).unwrap();
    assert_eq!(json["ok"], false);
    let faults = json["faults"].as_array().unwrap();
    assert!(faults.len() >= 4, "{json}");
    assert!(
        faults.iter().all(|f| f["line"].is_u64() && f["message"].as_str().is_some_and(|m| !m.is_empty())),
        "{json}"
    );
}

#[test]
fn a_faulty_file_is_not_applied_and_makes_no_database() {
    let folder = Folder::new();
    folder.write("series.toml", &faulty());
    assert!(folder.run(&["competition", "apply", "series.toml"]).refused().lines().count() >= 4);
    assert!(!folder.path().join("tallywright.db").exists());
}

#[test]
fn a_file_that_holds_together_is_said_to() {
    let folder = Folder::new();
    folder.write("series.toml", SERIES);
    assert_eq!(
        folder.run(&["competition", "check", "series.toml"]).done(),
        "saltmarsh: the file holds together. 2 divisions, 2 workouts.\n"
    );
    assert_eq!(folder.run_with(&["competition", "check", "-"], SERIES).done().lines().count(), 1);
}

#[test]
fn applying_twice_changes_nothing_the_second_time() {
    let folder = Folder::new();
    folder.write("series.toml", SERIES);
    assert!(folder.run(&["competition", "apply", "series.toml", "--dry-run"]).done().contains("nothing was stored"));
    assert!(folder.run(&["competition", "apply", "series.toml"]).done().starts_with("saltmarsh: applied."));
    assert_eq!(folder.run(&["competition", "apply", "series.toml"]).done(), "saltmarsh: nothing to change.\n");
}

#[test]
fn a_changed_title_is_shown_before_and_after() {
    let folder = Folder::new();
    folder.write("series.toml", SERIES);
    folder.run(&["competition", "apply", "series.toml"]).done();
    folder.write("series.toml", &SERIES.replace("Low Tide", "High Water"));
    let said = folder.run(&["competition", "apply", "series.toml", "--dry-run"]).done();
    assert!(said.contains("Low Tide → High Water"), "{said}");
    let json = folder.run(&["competition", "apply", "series.toml", "--json", "--reason", "It has a name now."]).done();
    let json: Value = serde_json::from_str(&json).unwrap();
    assert_eq!(json["changes"].as_array().unwrap().len(), 1, "{json}");
}

#[test]
fn a_change_that_alters_stored_scores_needs_rescore() {
    let folder = Folder::with_people();
    folder.write("scores.csv", "bib,performance,judge\n1042,6+14 tb 11:24,J-0101\n");
    folder.run(&["scores", "import", "scores.csv", "--competition", "saltmarsh", "--workout", "w1"]).done();
    folder.write("series.toml", &SERIES.replace("calories = 6", "calories = 8"));
    let said = folder.run(&["competition", "apply", "series.toml"]).refused();
    assert!(said.contains("rescore"), "{said}");
    let said = folder.run(&["competition", "apply", "series.toml", "--rescore"]).refused();
    assert!(said.contains("say why"), "{said}");
    let said = folder.run(&["competition", "apply", "series.toml", "--rescore", "--reason", "Miscounted."]).done();
    assert!(said.contains("score w1/1042"), "{said}");
    folder.run(&["log", "verify"]).done();
}

#[test]
fn a_file_that_is_not_there_or_not_utf_8_is_named() {
    let folder = Folder::new();
    assert!(folder.run(&["competition", "check", "none.toml"]).refused().starts_with("none.toml cannot be read"));
    std::fs::write(folder.path().join("latin.toml"), b"[competition]\nslug = \"a\"\ntitle = \"S\xe3o\"\n").unwrap();
    assert_eq!(
        folder.run(&["competition", "check", "latin.toml"]).refused(),
        "latin.toml is not UTF-8 from line 3 on: save it as UTF-8.\n"
    );
}

/// The readme's own walk: its file, and the row that its gym sends.
#[test]
fn the_readme_goes_from_a_file_to_standings() {
    let readme = include_str!("../../README.md");
    let file = readme.split("```toml\n").nth(1).and_then(|rest| rest.split("```").next()).expect("a file");
    let folder = Folder::new();
    folder.write("series.toml", file);
    folder.write("gyms.csv", "slug,name,country\nquayside,Quayside,PT\n");
    folder.write("judges.csv", "code,name,valid_from,valid_to\nJ-0142,Jo Maia,2027-01-01,2027-12-31\n");
    folder.write(
        "entries.csv",
        "bib,name,born,category,division,gym\n1042,Ines Duarte,1995-05-05,women,women,quayside\n",
    );
    folder.write("w1.csv", "bib,performance,judge,performed_at\n1042,6+14 tb 11:24,J-0142,2027-01-13 10:00\n");
    let of = |what: &'static [&'static str]| folder.run(what);
    of(&["competition", "check", "series.toml"]).done();
    of(&["competition", "apply", "series.toml"]).done();
    of(&["gyms", "import", "gyms.csv", "--competition", "saltmarsh"]).done();
    of(&["judges", "import", "judges.csv", "--competition", "saltmarsh"]).done();
    of(&["entries", "import", "entries.csv", "--competition", "saltmarsh"]).done();
    // The example's window lies in 2027: before it opens, a score is refused with the reason.
    let said = of(&["scores", "import", "w1.csv", "--competition", "saltmarsh", "--workout", "w1"]);
    assert!(said.code == 0 || said.err.contains("line 2") || said.out.contains("line 2"), "{}{}", said.out, said.err);
    of(&["standings", "--competition", "saltmarsh", "--division", "women"]).done();
}

#[test]
fn the_file_in_force_is_printed_and_applied_again_changes_nothing() {
    let folder = Folder::new();
    folder.write("series.toml", SERIES);
    folder.run(&["competition", "apply", "series.toml"]).done();
    let shown = folder.run(&["competition", "show", "saltmarsh"]).done();
    folder.write("shown.toml", &shown);
    let again = folder.run(&["competition", "apply", "shown.toml", "--json"]).done();
    let again: Value = serde_json::from_str(&again).unwrap();
    assert_eq!(again["changes"], serde_json::json!([]), "{again}");
    assert!(folder.run(&["competition", "show", "nowhere"]).refused().contains("nowhere"));
}

#[test]
fn showing_makes_no_database() {
    let folder = Folder::new();
    folder.run(&["competition", "show", "saltmarsh"]).refused();
    assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 0);
}
