//! CSV in and out: `csv_formula.json`, and what people's spreadsheets do.

use super::vector;
use proptest::prelude::*;
use tallywright::rules::competition;
use tallywright::rules::fault::Read;
use tallywright::rules::roster::{check_entry, check_gym, check_judge};
use tallywright::rules::table::dates::{self, DateOrder};
use tallywright::rules::table::{self, Kind, Row, Table};
use tallywright::words::Lang;

fn read(text: &str) -> Table {
    table::read(text.as_bytes()).unwrap()
}

/// OWASP, "CSV Injection": risky first characters and its two worked escapes; quoting as RFC 4180.
#[test]
fn no_cell_starts_a_formula() {
    let vectors = vector("csv_formula.json");
    for case in vectors["rows"].as_array().unwrap() {
        let value = case["value"].as_str().unwrap();
        let cell = table::cell(value);
        // The vector leaves CR and LF bare; RFC 4180 wants them quoted, which a reader undoes.
        let expected = case["cell_with_quote_prefix_only_when_risky_RFC4180"].as_str().unwrap();
        if expected.contains(['\r', '\n']) {
            assert_eq!(cell, format!("\"{expected}\""));
        } else {
            assert_eq!(cell, expected);
        }
    }
    for case in vectors["owasp_worked"].as_array().unwrap() {
        assert_eq!(table::cell(case["input"].as_str().unwrap()), case["output"].as_str().unwrap());
    }
}

#[test]
fn separators_marks_and_line_ends_are_found() {
    for text in [
        "name;born\r\nInes Duarte;1991-04-03\r\n",
        "\u{feff}name,born\nInes Duarte,1991-04-03",
        "name\tborn\nInes Duarte\t1991-04-03\n\n\t\n",
        "sep=;\r\nname;born\r\nInes Duarte;1991-04-03",
        "\"name\",\"born\"\r\n\"Ines Duarte\",\"1991-04-03\"",
    ] {
        let table = read(text);
        assert_eq!(table.columns, ["name", "born"], "{text}");
        assert_eq!(table.rows.len(), 1, "{text}");
        assert_eq!(table.cell(&table.rows[0], "born"), "1991-04-03", "{text}");
    }
    assert_eq!(read("sep=;\nname;born\nA;1991-04-03").rows[0].line, 3);
    assert_eq!(read("name\n\"A\nB\"\nC").rows[1].line, 4, "lines of the file, not rows");
}

#[test]
fn a_file_in_another_encoding_is_named() {
    let code = |bytes: &[u8]| table::read(bytes).unwrap_err()[0].sentence.code.clone();
    assert_eq!(code(b"\xff\xfen\0a\0"), "csv_utf16");
    assert_eq!(code(b"name\nIn\xeas"), "csv_not_utf8");
    assert_eq!(table::read(b"name\nIn\xeas").unwrap_err()[0].line, Some(2));
    assert_eq!(code(b""), "csv_empty");
}

#[test]
fn columns_are_checked_once() {
    let table =
        read("Name,Borne,category,Division,Shoe size\nA,1991-04-03,women,women,38\nB,1991-04-03,women,women,39");
    let missing = table.check_columns(Kind::Entries, &[]).unwrap_err();
    assert_eq!(missing.len(), 1);
    assert_eq!(
        missing[0].sentence.say(Lang::En),
        "The column born is missing. Needed are: name, born, category, division."
    );
    let table = read("Name,Born,category,Division,Show-Name,Shoe size,reason\nA,1991-04-03,women,women,no,38,x");
    let warnings = table.check_columns(Kind::Entries, &[]).unwrap();
    assert_eq!(warnings.len(), 1);
    assert_eq!(warnings[0].sentence.say(Lang::En), "Nobody knows the column \"Shoe size\": it was not read.");
    let entry = table::entry(&table, &table.rows[0], DateOrder::Ask).whole().unwrap();
    assert_eq!(entry.show_name, Some(false));
    assert_eq!(read("name,name\nA,B").check_columns(Kind::Gyms, &[]).unwrap_err().len(), 3, "twice, and two missing");
}

#[test]
fn scores_are_long_or_wide() {
    let long =
        read("bib;performance;tb;judge;no_reps;revise;workout\n1042;6+14;TB 11:24;J-0142;3;yes;\n;148 reps;;;;;w3");
    assert!(long.check_columns(Kind::Scores, &[]).unwrap().is_empty());
    let row = table::score(&long, &long.rows[0], &[]).whole().unwrap();
    assert_eq!(row.performances, [(None, "6+14 tb 11:24".to_owned())]);
    assert_eq!((row.bib, row.no_reps, row.revise, row.judge.as_str()), (Some(1042), Some(3), true, "J-0142"));
    let nobody = table::score(&long, &long.rows[1], &[]).whole().unwrap_err();
    assert_eq!((nobody[0].pointer.as_str(), nobody[0].line), ("/bib", Some(3)));

    let wide = read("name,w-1,w2\nInes Duarte,6+14 tb 11:24,\nRita Alves,5+3,100 kg");
    assert!(wide.check_columns(Kind::Scores, &["w-1", "w2"]).unwrap().is_empty());
    let rows: Vec<_> =
        wide.rows.iter().map(|r| table::score(&wide, r, &["w-1", "w2"]).whole().unwrap().performances).collect();
    assert_eq!(rows[0], [(Some("w-1".to_owned()), "6+14 tb 11:24".to_owned())]);
    assert_eq!(rows[1].len(), 2);
    let both = read("bib,performance,w2\n1,2,3").check_columns(Kind::Scores, &["w2"]).unwrap_err();
    assert_eq!(both[0].sentence.code, "csv_scores_both");
    let tb = read("bib,w2,tb\n1,2,3").check_columns(Kind::Scores, &["w2"]).unwrap_err();
    assert_eq!(tb[0].sentence.code, "csv_not_in_wide");
}

/// In a row of several results it would go along with each of them.
#[test]
fn what_stands_beside_results_has_an_end() {
    let long = "x".repeat(501);
    let table = read(&format!("bib,w1,w2,level,video,judge\n1,6+14,100 kg,{long},{long},{}\n", &long[..500]));
    let Read { value, faults } = table::score(&table, &table.rows[0], &["w1", "w2"]);
    let said: Vec<String> = faults.iter().map(|f| format!("{} {}", f.pointer, f.sentence.code)).collect();
    assert_eq!(said, ["/level line_too_long", "/video line_too_long"]);
    assert_eq!((value.level.len(), value.video.len(), value.judge.len()), (0, 0, 500));
    assert_eq!(value.performances.len(), 2);
}

#[test]
fn a_row_is_refused_by_itself_with_line_and_column() {
    let table = read("bib,performance\n\"1,042\",5+1\n1042.0,5+1\n7,5+1,extra\n1.2E+03,5+1");
    let row = |at: usize| table::score(&table, &table.rows[at], &[]).whole();
    let faults = row(0).unwrap_err();
    assert_eq!((faults[0].pointer.as_str(), faults[0].line), ("/bib", Some(2)));
    assert_eq!(faults[0].sentence.code, "csv_number_changed");
    assert_eq!(row(1).unwrap().bib, Some(1042), "what a spreadsheet makes of 1042");
    assert_eq!(row(2).unwrap_err()[0].sentence.code, "csv_row_long");
    assert_eq!(row(3).unwrap_err()[0].sentence.code, "csv_number_changed");
}

#[test]
fn refused_rows_come_back_to_be_mended_and_sent_again() {
    let table = read("name;born;note\nAna;x;=1+1\nEva;1990-01-02;fine");
    let back = table::refused(&table, &[(0, vec!["born: no date; try again".to_owned()])]);
    assert_eq!(back, "name;born;note;line;reason\r\nAna;x;'=1+1;2;\"born: no date; try again\"\r\n");
    let again = read(&back);
    assert_eq!(again.cell(&again.rows[0], "note"), "=1+1");
    let twice = table::refused(&again, &[(0, vec!["still".to_owned()])]);
    assert_eq!(read(&twice).columns, ["name", "born", "note", "line", "reason"]);
}

#[test]
fn dates_are_read_as_people_write_them() {
    let iso = |text: &str, order| dates::read(text, order).map(|d| d.to_string());
    for (text, date) in [
        ("1991-04-03", "1991-04-03"),
        ("1991-04-03 00:00:00", "1991-04-03"),
        ("1991/4/3", "1991-04-03"),
        ("25/03/1991", "1991-03-25"),
        ("03/25/1991", "1991-03-25"),
        ("4/4/1991", "1991-04-04"),
        ("3.4.1991", "1991-04-03"),
        ("3 April 1991", "1991-04-03"),
        ("Apr 3, 1991", "1991-04-03"),
        ("29-Feb-2000", "2000-02-29"),
    ] {
        assert_eq!(iso(text, DateOrder::Ask).unwrap(), date, "{text}");
    }
    assert_eq!(iso("03/04/1991", DateOrder::DayFirst).unwrap(), "1991-04-03");
    assert_eq!(iso("03/04/1991", DateOrder::MonthFirst).unwrap(), "1991-03-04");
    let asked = dates::read("03/04/1991", DateOrder::Ask).unwrap_err();
    assert_eq!(
        asked.say(Lang::En),
        "03/04/1991: 3 April or 4 March? Write 1991-04-03, or choose day-first for the file."
    );
    // 33331 days after 1899-12-30, as spreadsheets count.
    assert!(dates::read("33331", DateOrder::Ask).unwrap_err().say(Lang::En).contains("1991-04-03"));
    for (text, code) in [
        ("3/4/91", "date_short_year"),
        ("30/02/1991", "date_unreadable"),
        ("soon", "date_unreadable"),
        ("1991", "date_unreadable"),
    ] {
        assert_eq!(dates::read(text, DateOrder::Ask).unwrap_err().code, code, "{text}");
    }
}

#[test]
fn a_row_says_when_it_was_performed() {
    let raw = competition::from_toml(include_str!("../data/saltmarsh.toml")).unwrap();
    let competition = competition::compile(&raw).unwrap().value;
    let (zone, window) = (&competition.time_zone, competition.workouts[0].window);
    let received = "2027-01-14T10:00:00Z".parse().unwrap();
    let at = |text: &str| {
        table::performed_at(text, zone, received, &window, DateOrder::Ask).map(|at| at.map(|t| t.to_string()))
    };
    assert_eq!(at("").unwrap(), None);
    assert_eq!(at("9:40").unwrap().unwrap(), "2027-01-14T09:40:00Z");
    assert_eq!(at("21:15:30").unwrap().unwrap(), "2027-01-13T21:15:30Z", "not yet today: yesterday");
    assert_eq!(at("2027-01-13").unwrap().unwrap(), "2027-01-13T12:00:00Z");
    assert_eq!(at("2027-01-12").unwrap().unwrap(), "2027-01-12T19:00:00Z", "noon was before it opened");
    assert_eq!(at("14.1.2027").unwrap().unwrap(), "2027-01-14T10:00:00Z", "noon is not yet");
    assert_eq!(at("13/1/2027 9:40").unwrap().unwrap(), "2027-01-13T09:40:00Z");
    assert_eq!(at("2027-01-13T09:40:00+00:00").unwrap().unwrap(), "2027-01-13T09:40:00Z");
    assert_eq!(at("2027-01-13T09:40Z").unwrap().unwrap(), "2027-01-13T09:40:00Z");
    assert!(at("25:00").is_err() && at("then").is_err() && at("2027-01-13T09:40 PM").is_err());
}

#[test]
fn all_faults_of_an_entry_come_at_once() {
    let raw = competition::from_toml(include_str!("../data/saltmarsh.toml")).unwrap();
    let competition = competition::compile(&raw).unwrap().value;
    let table = read("bib,name,born,category,division,gym,country,email\n0,,1991-13-01,ladies,wimen,harbour,UK,ines");
    let entry = table::entry(&table, &table.rows[0], DateOrder::Ask).whole().unwrap();
    let faults = check_entry(&entry, &competition, &|_| false).unwrap_err();
    let said: Vec<String> = faults.iter().map(|f| format!("{} {}", f.pointer, f.sentence.say(Lang::En))).collect();
    insta::assert_snapshot!(said.join("\n"), @r#"
    /bib A bib is a number from 1 to 9999999, or blank to have one given out.
    /name The name is missing.
    /born "1991-13-01" is no date: write it as 1991-04-03.
    /category There is no category "ladies": write women, men or any.
    /division There is no division "wimen". Did you mean women?
    /gym There is no gym "harbour" in this competition: add it first, or check its short name.
    /country UK is no country code; GB is. Write GB.
    /email "ines" is no e-mail address.
    "#);
}

#[test]
fn somebody_under_age_is_hidden_and_needs_consent() {
    let text = include_str!("../data/saltmarsh.toml").replace("ages = [18]", "ages = [16]");
    let raw = competition::from_toml(&text).unwrap();
    let competition = competition::compile(&raw).unwrap().value;
    let table = read("name,born,category,division,country,guardian_consent\nTomé Reis,2010-01-15,men,men,pt,");
    let mut entry = table::entry(&table, &table.rows[0], DateOrder::Ask).whole().unwrap();
    let checked = check_entry(&entry, &competition, &|_| true).unwrap();
    assert!(!checked.value.show_name);
    assert_eq!(checked.value.country, "PT");
    assert_eq!(checked.warnings[0].sentence.code, "guardian_consent_missing");
    entry.guardian_consent = Some(true);
    assert!(check_entry(&entry, &competition, &|_| true).unwrap().warnings.is_empty());
}

#[test]
fn gyms_and_judges_are_checked_whole() {
    let table = read(
        "slug,name,country,time_zone,email\nquayside,Quayside Hall,PT,Atlantic/Azores,desk@quayside.example\nQuay Side,,XX,Mars/Base,x",
    );
    let row = |at: usize| table::gym(&table, &table.rows[at]).whole().unwrap();
    let gym = check_gym(&row(0)).unwrap().value;
    assert_eq!((gym.gym.slug.as_str(), gym.contact.unwrap().email.as_str()), ("quayside", "desk@quayside.example"));
    assert_eq!(check_gym(&row(1)).unwrap_err().len(), 5);
    let table =
        read("code,name,valid_from,valid_to\nJ-0142,Rita Alves,2027-01-01,31.12.2027\nJ 1,Rita,2027-02-01,2027-01-01");
    let row = |at: usize| table::judge(&table, &table.rows[at], DateOrder::Ask).whole().unwrap();
    assert_eq!(check_judge(&row(0), &|_| true).unwrap().value.valid_to, jiff::civil::date(2027, 12, 31));
    let codes: Vec<_> = check_judge(&row(1), &|_| true).unwrap_err().into_iter().map(|f| f.sentence.code).collect();
    assert_eq!(codes, ["judge_code", "judge_dates"]);
}

proptest! {
    #[test]
    fn any_bytes_are_read_or_refused(bytes in proptest::collection::vec(any::<u8>(), 0..400)) {
        rows_of(&bytes);
    }

    #[test]
    fn any_text_of_separators_and_quotes_is_read_or_refused(text in "[a-z0-9,;\t\"'\r\n=+.:/é -]{0,200}") {
        rows_of(format!("bib,name,born,performance,tb,revise,performed_at\n{text}").as_bytes());
        let _ = dates::read(&text, DateOrder::Ask);
    }

    #[test]
    fn what_is_written_reads_back(cells in proptest::collection::vec("[!-&(-~é=+@\n\t-][ -~éß=+@'\"\n\r\t-]{0,12}", 3)) {
        // A cell that already looks escaped ('=…) would read back without its apostrophe.
        prop_assume!(!cells.iter().all(|c| c.trim().is_empty()));
        let text = table::write(&["a", "b", "c"], [cells.clone()]);
        let table = read(&text);
        let row: &Row = &table.rows[0];
        prop_assert_eq!(&row.cells, &cells);
    }
}

fn rows_of(bytes: &[u8]) {
    let Ok(table) = table::read(bytes) else { return };
    for kind in [Kind::Gyms, Kind::Entries, Kind::Judges, Kind::Scores] {
        let _ = table.check_columns(kind, &["w1"]);
    }
    for row in &table.rows {
        let _ = check_gym(&table::gym(&table, row).value);
        let _ = table::entry(&table, row, DateOrder::Ask);
        let _ = check_judge(&table::judge(&table, row, DateOrder::DayFirst).value, &|_| true);
        let _ = table::score(&table, row, &["w1"]);
    }
}
