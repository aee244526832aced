//! Every language says everything: the same codes, the same texts, the same placeholders, and no
//! text left in English but those that are the same in both.

use std::collections::{BTreeMap, BTreeSet};
use tallywright::words::{Lang, Noun, Sentence, Value, pages};

/// What is the same in a language as in English: words of the trade, signs, names of columns.
fn is_the_same(lang: Lang, name: &str) -> bool {
    let same: &[&str] = match lang {
        Lang::En => return true,
        Lang::De => &[
            // Sentences that are signs alone.
            "gap_calories",
            "gap_load",
            "gap_metres",
            "gap_time",
            // Names and signs.
            "Claims claim_code",
            "Claims slip_code",
            "Claims state",
            "Pages calendar_event",
            "Pages saved_title",
            "Pages problem_typed_row",
            "Pages role_detail",
            "Pages role_in",
            "Pages ranking_in",
            "Plot band",
            "Proposals gym",
            "Proposals of_judge",
            "Plot band_level",
            "Wall title",
            "Desk heats_link",
            "Desk missing_of",
            "Desk vouch_one",
            "Organise text_person",
            "Sheet then",
            "Script letters",
            "Script digits",
            "Script minute",
            "Script second",
            "Script hour",
            // Words of the trade, and words that both languages have.
            "Pages level",
            "Pages level_of",
            "Pages workout",
            "Pages workouts_title",
            "WhatIf level",
            "WhatIf workout",
            "Pages gym",
            "Pages scope_gym",
            "Pages region",
            "Pages scope_region",
            "Pages judge",
            "Pages role_judge",
            "Pages evidence",
            "Pages standards_of_movement",
            "Pages session_device",
            "Pages token_name",
            "Desk receipt_judge",
            "Organise gyms",
            "Organise judges",
            "Organise extension_workout",
            "Organise file_at",
            "Organise extension_gym",
            "Organise extension_region_of",
            "Organise missing_gym",
            "Organise missing_workout",
            "Organise list_name",
            "Organise list_region",
            "Organise list_code",
            "Heats link",
            "Heats desk_group",
            "DeskFile workout",
            "Heats heat",
            "Heats heat_n",
            "Heats start_hint",
            "Heats judge",
            "Sheet level",
            "Sheet paper_a4",
            "Sheet paper_letter",
            "Sheet judge",
            "Sheet gym",
            "Sheet heat",
            "Sheet start",
        ],
    };
    same.contains(&name)
}

/// Every sentence and text of a language by its name.
fn all(lang: Lang) -> BTreeMap<String, &'static str> {
    let tables = lang.tables();
    let sentences = tables.areas.iter().flat_map(|area| area.iter()).map(|(code, said)| ((*code).to_owned(), *said));
    let texts = tables.texts().into_iter().map(|(kind, name, text)| (format!("{kind} {name}"), text));
    sentences.chain(texts).collect()
}

fn placeholders(text: &str) -> BTreeSet<&str> {
    text.split('{').skip(1).filter_map(|rest| rest.split('}').next()).collect()
}

fn others() -> impl Iterator<Item = Lang> {
    Lang::ALL.into_iter().filter(|lang| *lang != Lang::En)
}

#[test]
fn every_language_says_everything_and_nothing_more() {
    let english = all(Lang::En);
    assert!(english.len() > 1000, "{}", english.len());
    for lang in others() {
        let said = all(lang);
        let missing: Vec<_> = english.keys().filter(|name| !said.contains_key(*name)).collect();
        let extra: Vec<_> = said.keys().filter(|name| !english.contains_key(*name)).collect();
        assert!(missing.is_empty(), "{lang:?} does not say {missing:#?}");
        assert!(extra.is_empty(), "{lang:?} says what English does not: {extra:#?}");
    }
}

#[test]
fn a_sentence_has_the_same_placeholders_in_every_language() {
    for lang in others() {
        let said = all(lang);
        let wrong: Vec<_> = all(Lang::En)
            .into_iter()
            .filter(|(name, english)| placeholders(english) != placeholders(said[name]))
            .map(|(name, _)| name)
            .collect();
        assert!(wrong.is_empty(), "{lang:?}: {wrong:#?}");
    }
}

/// Placeholders for our own words, for figures and for times.
const OURS: &[&str] = &[
    "account",
    "address",
    "after",
    "age",
    "age_date",
    "ages",
    "all",
    "at",
    "athletes",
    "attempt",
    "attest_by",
    "band",
    "bands",
    "before",
    "better",
    "bib",
    "bibs",
    "born",
    "browser",
    "cap",
    "cells",
    "closes",
    "cm",
    "codes",
    "columns",
    "confirm",
    "count",
    "database",
    "date",
    "day",
    "day_first",
    "decimal",
    "difference",
    "done",
    "end",
    "entries",
    "example",
    "expected",
    "expires",
    "field",
    "first",
    "first_at",
    "format",
    "formats",
    "from",
    "gap",
    "got",
    "grace",
    "gyms",
    "heat",
    "heaviest",
    "hours",
    "id",
    "in_divisions",
    "in_workouts",
    "inch_in_cm",
    "kg",
    "kg_in_lb",
    "kind",
    "lane",
    "lanes",
    "last",
    "late",
    "lb",
    "lb_in_kg",
    "least",
    "left",
    "limit",
    "line",
    "link",
    "load",
    "mended",
    "metres",
    "minutes",
    "missing",
    "month_first",
    "more",
    "most",
    "moved",
    "n",
    "names",
    "needed",
    "next",
    "number",
    "of",
    "offers",
    "offset",
    "opens",
    "ordinal",
    "other",
    "others",
    "per",
    "place",
    "places",
    "points",
    "reason",
    "received",
    "records",
    "refused",
    "reps",
    "request_id",
    "rest",
    "right",
    "role",
    "root",
    "round",
    "rounds",
    "row",
    "rows",
    "said",
    "scores",
    "second",
    "seconds",
    "seq",
    "service",
    "settled",
    "size",
    "spoken",
    "standings",
    "state",
    "station",
    "stations",
    "step",
    "system",
    "table",
    "tables",
    "taken",
    "tenth",
    "then",
    "then_at",
    "time",
    "titles",
    "to",
    "top",
    "total",
    "unchanged",
    "unit",
    "until",
    "url",
    "value",
    "void",
    "waiting",
    "wanted",
    "way",
    "weight",
    "what",
    "when",
    "whole",
    "whom",
    "why",
    "words",
    "zone",
];

#[test]
fn of_every_placeholder_is_known_whether_people_wrote_what_stands_there() {
    assert!(tallywright::words::OWN.is_sorted() && OURS.is_sorted(), "sorted: the one is searched");
    let texts = all(Lang::En);
    let is_name = |name: &&str| name.bytes().all(|b| b.is_ascii_lowercase() || b == b'_');
    let used: BTreeSet<&str> = texts.values().flat_map(|text| placeholders(text)).filter(is_name).collect();
    let known: BTreeSet<&str> = tallywright::words::OWN.iter().chain(OURS).copied().collect();
    assert_eq!(known.len(), tallywright::words::OWN.len() + OURS.len(), "one is in both");
    let unknown: Vec<_> = used.difference(&known).collect();
    assert!(unknown.is_empty(), "add to OWN (words/sentence.rs) or to OURS: {unknown:?}");
    let gone: Vec<_> = known.difference(&used).collect();
    assert!(gone.is_empty(), "no text has these any more: {gone:?}");
}

#[test]
fn nothing_is_left_in_english() {
    for lang in others() {
        let said = all(lang);
        let english = all(Lang::En);
        let left: Vec<_> =
            said.iter().filter(|(name, text)| english[*name] == **text && !is_the_same(lang, name)).collect();
        assert!(left.is_empty(), "{lang:?} is still English in {left:#?}");
        let words: String = said.values().copied().collect();
        assert!(!words.contains('\u{201d}') && !words.contains('\u{2019}'), "{lang:?} has English quotation marks");
    }
}

/// The list above holds nothing that is not so any more.
#[test]
fn what_is_said_to_be_the_same_is() {
    let english = all(Lang::En);
    for lang in others() {
        let said = all(lang);
        let same: BTreeSet<_> = said.iter().filter(|(name, text)| english[*name] == **text).map(|(n, _)| n).collect();
        let listed = english.keys().filter(|name| is_the_same(lang, name)).collect::<BTreeSet<_>>();
        assert_eq!(listed, same);
    }
}

#[test]
fn the_cautions_are_whole_in_every_language() {
    let shape = |lang| -> Vec<usize> { pages(lang).cautions.groups.iter().map(|(_, lines)| lines.len()).collect() };
    for lang in others() {
        assert_eq!(shape(lang), shape(Lang::En), "{lang:?}");
        let (own, english) = (pages(lang).cautions, pages(Lang::En).cautions);
        let lines = |c: &tallywright::words::cautions::Cautions| -> BTreeSet<&str> {
            let below = c.groups.iter().flat_map(|(head, lines)| std::iter::once(head).chain(lines.iter()));
            below.copied().chain([c.title, c.intro, c.standing]).collect()
        };
        assert!(lines(own).is_disjoint(&lines(english)), "{lang:?}");
    }
}

/// Types of texts that [`tallywright::words::Tables::texts`] leaves out would be held by nothing here.
#[test]
fn every_type_of_texts_is_among_them() {
    let kinds: BTreeSet<&str> = Lang::En.tables().texts().iter().map(|(kind, ..)| *kind).collect();
    let mut types = 0;
    let mut folders = vec![std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("src/words/en")];
    while let Some(folder) = folders.pop() {
        for entry in std::fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                folders.push(path);
            } else {
                types += std::fs::read_to_string(path).unwrap().matches("texts! {").count();
            }
        }
    }
    assert_eq!(kinds.len(), types, "{kinds:?}");
}

#[test]
fn every_language_counts_everything() {
    for lang in Lang::ALL {
        let grammar = lang.grammar();
        for noun in Noun::ALL {
            let (one, many) = ((grammar.count)(1, noun), (grammar.count)(2_000, noun));
            assert!(one.starts_with("1 ") && many.starts_with(&(grammar.number)(2_000)), "{one}, {many}");
        }
    }
}

/// A whole sentence with a part of its own, in both languages.
#[test]
fn a_tiebreak_is_explained_in_the_readers_language() {
    let when = Sentence::new("marker_station").with("round", 6).with("movement", "row");
    let asked = Sentence::new("tiebreak_zero").with_said("when", when);
    assert_eq!(asked.say(Lang::En), "0:00 is no tiebreak time: it is the clock when the row of round 6 ended.");
    assert_eq!(asked.say(Lang::De), "0:00 ist keine Tiebreak-Zeit: es ist die Uhr, als row in Runde 6 fertig war.");
    let asked = Sentence::new("time_without_colon").with_value("spoken", Value::Spoken(572)).with("time", "9:32");
    assert_eq!(asked.say(Lang::En), "Nine minutes thirty-two? Write 9:32.");
    assert_eq!(asked.say(Lang::De), "Neun Minuten zweiunddreißig? Schreib 9:32.");
}

/// Every file below a folder.
fn below(folder: &str) -> Vec<std::path::PathBuf> {
    let mut found = Vec::new();
    let mut folders = vec![std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join(folder)];
    while let Some(folder) = folders.pop() {
        for entry in std::fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() { folders.push(path) } else { found.push(path) }
        }
    }
    found
}

/// Whoever makes text asks who reads it, and takes no language for granted.
#[test]
fn no_language_is_taken_for_granted() {
    let mut named = Vec::new();
    for path in below("src").into_iter().filter(|path| path.extension().is_none_or(|e| e != "gz")) {
        let chooses = ["src/words/", "src/cli/", "web/language.rs", "actions/language.rs"];
        let text = std::fs::read_to_string(&path).unwrap();
        let code = text.split("#[cfg(test)]").next().unwrap_or_default();
        let path = path.display().to_string();
        if !chooses.iter().any(|c| path.contains(c)) && ["Lang::", "words::de::"].iter().any(|l| code.contains(l)) {
            named.push(path);
        }
    }
    assert!(named.is_empty(), "say it in crate::actions::language::reader(): {named:#?}");
}

/// Our own scripts say what the page gives them.
#[test]
fn scripts_hold_no_sentences() {
    let mut said = Vec::new();
    for path in below("static") {
        let name = path.display().to_string();
        if path.extension().is_none_or(|kind| kind != "js") || name.contains("/vendor/") {
            continue;
        }
        for line in std::fs::read_to_string(&path).unwrap().lines() {
            let code = line.split("// ").next().unwrap_or_default();
            let literals = code.split(['"', '`']).skip(1).step_by(2);
            let prose = |text: &&str| {
                let words: Vec<&str> = text.split(' ').collect();
                let plain =
                    |w: &&&str| w.len() > 1 && w.trim_end_matches(['.', ',', ':']).chars().all(char::is_alphabetic);
                words.iter().filter(plain).count() >= 3
            };
            said.extend(literals.filter(prose).map(|text| format!("{name}: {text}")));
        }
    }
    assert!(said.is_empty(), "{said:#?}");
}

/// A template without what is filled in: tags and expressions of askama, and comments.
fn fixed(template: &str) -> String {
    let mut rest = template;
    let mut out = String::new();
    while let Some(at) = rest.find("{{").into_iter().chain(rest.find("{%")).chain(rest.find("{#")).min() {
        out.push_str(&rest[..at]);
        let end = match &rest[at..at + 2] {
            "{{" => "}}",
            "{%" => "%}",
            _ => "#}",
        };
        rest = rest[at..].split_once(end).map_or("", |(_, after)| after);
    }
    out + rest
}

/// Templates hold marks and names of things, no words for people: those come from the tables.
#[test]
fn templates_hold_no_words() {
    let mut words = Vec::new();
    for path in below("templates") {
        let text = fixed(&std::fs::read_to_string(&path).unwrap());
        let name = path.file_name().unwrap().to_string_lossy().into_owned();
        let mut said = |text: &str| {
            let letters = text.split(|c: char| !c.is_alphabetic()).filter(|word| word.chars().count() > 2);
            let own = ["Tallywright", "DOCTYPE", "nbsp", "times", "middot"];
            words.extend(letters.filter(|word| !own.contains(word)).map(|word| format!("{name}: {word}")));
        };
        // Between the tags, and in the attributes that are read out or shown. A macro of `ui.html` is a
        // piece of a tag alone.
        let mut rest = text.as_str();
        while let Some((before, after)) = rest.split_once('<') {
            if !before.contains("=\"") {
                said(before);
            }
            let (tag, next) = after.split_once('>').unwrap_or((after, ""));
            for attribute in ["aria-label=\"", "title=\"", "placeholder=\"", "alt=\""] {
                for value in tag.split(attribute).skip(1) {
                    said(value.split('"').next().unwrap_or_default());
                }
            }
            rest = next;
        }
        said(rest);
    }
    assert!(words.is_empty(), "{words:#?}");
}

/// No literal of the floors that make text for people reads like a sentence.
#[test]
fn pages_and_actions_hold_no_sentences() {
    struct Prose(Vec<String>);
    impl<'ast> syn::visit::Visit<'ast> for Prose {
        fn visit_item_mod(&mut self, module: &'ast syn::ItemMod) {
            if !module.attrs.iter().any(|a| a.path().is_ident("cfg")) {
                syn::visit::visit_item_mod(self, module);
            }
        }
        fn visit_attribute(&mut self, _: &'ast syn::Attribute) {}
        fn visit_macro(&mut self, item: &'ast syn::Macro) {
            // What the log says is for whoever runs the service.
            if item.path.segments.first().is_none_or(|s| s.ident != "tracing") {
                let tokens = item.tokens.to_string();
                tokens.split('"').skip(1).step_by(2).for_each(|text| self.look(text));
            }
        }
        fn visit_expr_method_call(&mut self, call: &'ast syn::ExprMethodCall) {
            // Why something cannot happen is for whoever reads the code.
            if call.method != "expect" {
                syn::visit::visit_expr_method_call(self, call);
            }
        }
        fn visit_lit_str(&mut self, text: &'ast syn::LitStr) {
            self.look(&text.value());
        }
    }
    impl Prose {
        fn look(&mut self, text: &str) {
            let word = |w: &&str| {
                let bare = w.trim_end_matches(['.', ',', ':']);
                bare.len() > 1 && bare.chars().all(char::is_alphabetic)
            };
            // Three words in a row with nothing but spaces between.
            let words: Vec<&str> = text.split(' ').collect();
            if words.windows(3).any(|three| three.iter().all(word)) {
                self.0.push(text.to_owned());
            }
        }
    }
    let mut found = Vec::new();
    for path in ["src/web/pages", "src/actions"]
        .into_iter()
        .flat_map(below)
        .filter(|path| path.extension().is_some_and(|e| e == "rs") && !path.ends_with("samples.rs"))
    {
        let mut prose = Prose(Vec::new());
        syn::visit::Visit::visit_file(&mut prose, &syn::parse_file(&std::fs::read_to_string(&path).unwrap()).unwrap());
        found.extend(prose.0.into_iter().map(|text| format!("{}: {text}", path.display())));
    }
    assert!(found.is_empty(), "{found:#?}");
}
