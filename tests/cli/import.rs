//! From files to standings.

use super::support::{ENTRIES, Folder};
use serde_json::Value;

const SCORES: &str = "bib,performance,judge\n1042,6+14 tb 11:24,J-0101\n1043,6+14 tb 11:20,J-0101\n1044,7+2 tb 11:50,J-0201\n2001,5+39 tb 10:01,J-0101\n";

fn import(folder: &Folder, name: &str, text: &str, more: &[&str]) -> super::support::Ran {
    folder.write(name, text);
    let mut args = vec!["scores", "import", name, "--competition", "saltmarsh"];
    args.extend(more);
    folder.run(&args)
}

#[test]
fn a_good_file_is_taken_and_sent_twice_changes_nothing() {
    let folder = Folder::with_people();
    assert_eq!(import(&folder, "w1.csv", SCORES, &["--workout", "w1"]).done(), "4 taken, 0 unchanged, 0 refused\n");
    assert_eq!(import(&folder, "w1.csv", SCORES, &["--workout", "w1"]).done(), "0 taken, 4 unchanged, 0 refused\n");
    assert_eq!(
        folder.run(&["entries", "import", "entries.csv", "--competition", "saltmarsh"]).done(),
        "0 taken, 4 unchanged, 0 refused\n"
    );
}

#[test]
fn standings_come_out_as_a_table_csv_and_json() {
    let folder = Folder::with_people();
    import(&folder, "w1.csv", SCORES, &["--workout", "w1"]).done();
    import(
        &folder,
        "w2.csv",
        "bib,performance,judge\n1042,6:40,J-0101\n1043,6:40,J-0101\n1044,90 reps,J-0201\n",
        &["--workout", "w2"],
    )
    .done();
    let of = ["standings", "--competition", "saltmarsh", "--division", "women"];
    insta::assert_snapshot!(folder.run(&of).done(), @r"
    standing  bib   name         gym       country  points  w1             w1 place  w2       w2 place
    1         1043  Rita Alves   quayside  PT       3       6+14 tb 11:20  2         6:40     1
    2         1042  Ines Duarte  quayside  PT       4       6+14 tb 11:24  3         6:40     1
    2         1044  Aoife Byrne  slipway   IE       4       7+2 tb 11:50   1         90 reps  3
    ");
    let with = |more: &[&str]| {
        let args: Vec<&str> = of.iter().chain(more).copied().collect();
        folder.run(&args).done()
    };
    insta::assert_snapshot!(with(&["--workout", "w1"]), @r"
    place  bib   name         gym       country  performance    level       state
    1      1044  Aoife Byrne  slipway   IE       7+2 tb 11:50   prescribed  attested
    2      1043  Rita Alves   quayside  PT       6+14 tb 11:20  prescribed  attested
    3      1042  Ines Duarte  quayside  PT       6+14 tb 11:24  prescribed  attested
    ");
    insta::assert_snapshot!(with(&["--csv"]).replace("\r\n", "\n"), @r"
    standing,bib,name,gym,country,points,w1,w1 place,w2,w2 place
    1,1043,Rita Alves,quayside,PT,3,6+14 tb 11:20,2,6:40,1
    2,1042,Ines Duarte,quayside,PT,4,6+14 tb 11:24,3,6:40,1
    2,1044,Aoife Byrne,slipway,IE,4,7+2 tb 11:50,1,90 reps,3
    ");
    let json: Value = serde_json::from_str(&with(&["--json"])).unwrap();
    assert_eq!(json["rows"][0]["bib"], 1043, "{json}");
    assert_eq!(json["of"], 3, "{json}");
}

#[test]
fn standings_can_be_asked_as_of_an_earlier_position() {
    let folder = Folder::with_people();
    import(&folder, "w1.csv", SCORES, &["--workout", "w1"]).done();
    let of = ["standings", "--competition", "saltmarsh", "--division", "women", "--json"];
    let before: Value = serde_json::from_str(&folder.run(&of).done()).unwrap();
    let seq = before["log_seq"].as_u64().unwrap().to_string();
    import(&folder, "mended.csv", "bib,performance,judge,revise\n1042,8+0 tb 11:59,J-0101,yes\n", &["--workout", "w1"])
        .done();
    let first = |json: &Value| json["rows"][0]["bib"].as_u64();
    let now: Value = serde_json::from_str(&folder.run(&of).done()).unwrap();
    let then: Value = serde_json::from_str(&folder.run(&[&of[..], &["--as-of", &seq]].concat()).done()).unwrap();
    assert_eq!((first(&before), first(&now), first(&then)), (Some(1044), Some(1042), Some(1044)));
}

#[test]
fn good_rows_of_a_mixed_file_are_taken_and_the_others_come_back_to_be_mended() {
    let folder = Folder::with_people();
    let mixed = "bib,performance,judge\n1042,5+40,J-0101\n1043,6+14 tb 11:20,J-0101\n9999,6+1,J-0101\n2001,5+39 tb 10:01,J-0999\n";
    let ran = import(&folder, "w1.csv", mixed, &["--workout", "w1", "--refused", "again.csv"]);
    assert_eq!(ran.out, "1 taken, 0 unchanged, 3 refused\n");
    let said = ran.refused();
    assert!(said.contains("line 2, performance: 40 reps is a whole round here: write 6+0"), "{said}");
    assert!(said.lines().any(|l| l.starts_with("line 4") && l.contains("9999")), "{said}");
    assert!(said.lines().any(|l| l.starts_with("line 5, judge")), "{said}");
    let again = std::fs::read_to_string(folder.path().join("again.csv")).unwrap();
    assert_eq!(again.lines().count(), 4, "{again}");
    let mended =
        again.replace("5+40", "6+0 tb 11:40").replace("9999,6+1", "1044,6+1 tb 11:30").replace("J-0999", "J-0101");
    assert_eq!(import(&folder, "again.csv", &mended, &["--workout", "w1"]).done(), "3 taken, 0 unchanged, 0 refused\n");
}

#[test]
fn a_differing_figure_needs_revise() {
    let folder = Folder::with_people();
    import(&folder, "w1.csv", SCORES, &["--workout", "w1"]).done();
    let said = import(&folder, "other.csv", "bib,performance,judge\n1042,6+15 tb 11:24,J-0101\n", &["--workout", "w1"])
        .refused();
    assert!(said.contains("line 2"), "{said}");
}

#[test]
fn the_wide_shape_and_a_workout_column_are_taken_without_a_flag() {
    let folder = Folder::with_people();
    let wide = "bib,w1,w2,judge\n1042,6+14 tb 11:24,6:40,J-0101\n1043,6+13 tb 11:20,,J-0101\n";
    assert_eq!(import(&folder, "wide.csv", wide, &[]).done().split(',').next(), Some("2 taken"));
    let long = "workout,bib,performance,judge\nw2,1043,7:01,J-0101\n";
    assert_eq!(import(&folder, "long.csv", long, &[]).done(), "1 taken, 0 unchanged, 0 refused\n");
}

#[test]
fn a_file_that_cannot_be_read_at_all_stores_nothing_and_says_why() {
    let folder = Folder::with_people();
    let said = import(&folder, "w1.csv", "name,time\nInes Duarte,6:40\n", &["--workout", "w1"]).refused();
    assert!(said.contains("performance"), "{said}");
    let said = folder.run(&["scores", "import", "w1.csv", "--competition", "none", "--workout", "w1"]).refused();
    assert!(!said.is_empty());
}

#[test]
fn outcomes_are_there_for_programs_too() {
    let folder = Folder::with_people();
    folder.write("more.csv", &format!("{ENTRIES}1045,Marta Neves,2030-01-01,women,women,quayside\n"));
    let ran = folder.run(&["entries", "import", "more.csv", "--competition", "saltmarsh", "--json"]);
    assert_eq!(ran.code, 1);
    let json: Value = serde_json::from_str(&ran.out).unwrap();
    assert_eq!((json["unchanged"].as_u64(), json["refused"].as_u64()), (Some(4), Some(1)), "{json}");
    assert_eq!(json["rows"][0]["line"], 6, "{json}");
}

#[test]
fn rows_come_from_standard_input_too() {
    let folder = Folder::with_people();
    let ran = folder.run_with(&["scores", "import", "-", "--competition", "saltmarsh", "--workout", "w1"], SCORES);
    assert_eq!(ran.done(), "4 taken, 0 unchanged, 0 refused\n");
}

#[test]
fn what_is_to_be_known_of_a_stored_row_is_said_with_its_line() {
    let folder = Folder::with_people();
    let csv = "bib,performance,judge\n1042,6+14,J-0101\n1043,5+40,J-0101\n1044,7+2 tb 11:50,J-0201\n";
    let ran = import(&folder, "w1.csv", csv, &["--workout", "w1"]);
    assert_eq!((ran.code, &*ran.out), (1, "2 taken, 0 unchanged, 1 refused\n"));
    let of = |line: &str| ran.err.lines().find(|said| said.starts_with(line)).unwrap_or_default().to_owned();
    assert!(of("line 2").starts_with("line 2, performance: stored all the same: "), "{}", ran.err);
    assert!(of("line 3").starts_with("line 3, performance: 40 reps is a whole round"), "{}", ran.err);
    assert_eq!(of("line 4"), "", "{}", ran.err);
    let ran = import(&folder, "w1.csv", csv, &["--workout", "w1", "--json"]);
    let json: Value = serde_json::from_str(&ran.out).unwrap();
    assert_eq!((&json["remarks"][0]["pointer"], &json["unchanged"]), (&"/0/performance".into(), &2.into()), "{json}");
}

#[test]
fn a_question_that_rows_have_is_said_once_with_its_code_and_answered_for_all_of_them() {
    let folder = Folder::with_people();
    let csv = "bib,performance,judge\n1042,6:40:00,J-0101\n1043,6:52:00,J-0101\n1044,7.12,J-0201\n";
    let ran = import(&folder, "w2.csv", csv, &["--workout", "w2"]);
    assert_eq!((ran.code, &*ran.out), (1, "0 taken, 0 unchanged, 3 refused\n"), "{}", ran.err);
    let once = |n: u32, code: &str| {
        let (rows, flag) = (format!("asked about: {n}."), format!(" with: --confirm {code}"));
        let said = ran.err.lines().filter(|line| line.contains(&rows) && line.ends_with(&flag));
        assert_eq!(said.count(), 1, "{code}: {}", ran.err);
    };
    once(2, "spreadsheet_time");
    once(1, "time_without_colon");
    assert!(ran.err.contains("line 3, performance: 6:52:00 is six hours."), "{}", ran.err);
    let ran = import(&folder, "w2.csv", csv, &["--workout", "w2", "--confirm", "spreadsheet_time"]);
    assert_eq!((ran.code, &*ran.out), (1, "2 taken, 0 unchanged, 1 refused\n"), "{}", ran.err);
    let both = ["--workout", "w2", "--confirm", "spreadsheet_time", "--confirm", "time_without_colon"];
    assert_eq!(import(&folder, "w2.csv", csv, &both).done(), "1 taken, 2 unchanged, 0 refused\n");
    let meant = "bib,performance,judge\n1042,6:40,J-0101\n1043,6:52,J-0101\n1044,7:12,J-0201\n";
    assert_eq!(import(&folder, "meant.csv", meant, &["--workout", "w2"]).done(), "0 taken, 3 unchanged, 0 refused\n");
    // For programs: the same, and nothing but one object.
    let other = csv.replace("1042", "2001");
    let ran = import(&folder, "more.csv", &other, &["--workout", "w2", "--json"]);
    let json: Value = serde_json::from_str(&ran.out).unwrap();
    let asked = &json["questions"][0];
    assert_eq!((&asked["code"], &asked["rows"]), (&"spreadsheet_time".into(), &1.into()), "{json}");
    assert!(!ran.err.contains("--confirm"), "{}", ran.err);
    let ran = import(&folder, "more.csv", &other, &["--workout", "w2", "--confirm", "no_such,spreadsheet_time"]);
    assert_eq!(ran.done(), "1 taken, 2 unchanged, 0 refused\n");
}
