//! The floors of the house, held by parsing what every source file names.
//!
//! A floor may name only what lies below it: `rules` and `words` nothing that does I/O, `standings`
//! and `store` not each other, `actions` no HTTP, `web` no SQL. Paths are read from the syntax tree
//! (imports, types, calls, and the words inside macros), never from the text, so that a comment or
//! a string cannot fail or pass a check. What this does not do: judge whether a module is well made.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};
use syn::visit::{self, Visit};

/// Crates that the pure floor may name: data, text, dates and digests; nothing that reads a file,
/// opens a socket, waits or asks the time.
const PURE: &[&str] = &[
    "csv",
    "hex",
    "icu_casemap",
    "jiff",
    "serde",
    "serde_json",
    "serde_path_to_error",
    "sha2",
    "smallvec",
    "strsim",
    "thiserror",
    "toml",
    "toml_edit",
    "unicode_normalization",
    "unicode_properties",
];

/// Crates that speak HTTP.
const HTTP: &[&str] =
    &["axum", "axum_extra", "askama_web", "http", "http_body_util", "tower", "tower_http", "utoipa_axum"];

/// Files that may be longer than [`LINES`], each with the day it was let in and why.
const LONG: &[(&str, &str)] = &[];

/// A file longer than this wants to be two.
const LINES: usize = 500;

/// One source file and what it names.
struct Source {
    /// Below `src`, e.g. `rules/order.rs`.
    path: String,
    /// The module it is, e.g. `["rules", "order"]`.
    module: Vec<String>,
    lines: usize,
    names: BTreeSet<Vec<String>>,
    opens_with_a_comment: bool,
}

impl Source {
    /// The first module of its path: the floor it stands on.
    fn floor(&self) -> &str {
        self.module.first().map_or("", String::as_str)
    }

    /// Modules of this crate that it names, e.g. `rules`, `store`.
    fn inside(&self) -> impl Iterator<Item = &Vec<String>> {
        self.names.iter().filter(|n| n[0] == "crate" && n.len() > 1)
    }
}

/// Collects the paths of a file, resolved from `crate`; test modules are left out, as tests may
/// name what they like.
struct Names {
    module: Vec<String>,
    found: BTreeSet<Vec<String>>,
}

impl Names {
    fn add(&mut self, segments: &[String]) {
        let Some(first) = segments.first() else { return };
        let mut full: Vec<String> = match first.as_str() {
            "crate" => vec!["crate".to_owned()],
            "self" => std::iter::once("crate".to_owned()).chain(self.module.iter().cloned()).collect(),
            "super" => {
                let ups = segments.iter().take_while(|s| *s == "super").count();
                let keep = self.module.len().saturating_sub(ups);
                let base: Vec<String> =
                    std::iter::once("crate".to_owned()).chain(self.module[..keep].iter().cloned()).collect();
                self.found.insert(base.iter().cloned().chain(segments[ups..].iter().cloned()).collect());
                return;
            }
            other => vec![other.to_owned()],
        };
        full.extend(segments[1..].iter().cloned());
        self.found.insert(full);
    }

    fn add_use(&mut self, tree: &syn::UseTree, before: &[String]) {
        let with =
            |name: &syn::Ident| before.iter().cloned().chain(std::iter::once(name.to_string())).collect::<Vec<_>>();
        match tree {
            syn::UseTree::Path(p) => self.add_use(&p.tree, &with(&p.ident)),
            syn::UseTree::Name(n) => self.add(&with(&n.ident)),
            syn::UseTree::Rename(r) => self.add(&with(&r.ident)),
            syn::UseTree::Glob(_) => self.add(before),
            syn::UseTree::Group(g) => g.items.iter().for_each(|t| self.add_use(t, before)),
        }
    }

    /// `a::b` inside a macro's words.
    fn add_words(&mut self, tokens: &str) {
        let words: Vec<&str> = tokens.split_whitespace().collect();
        let mut at = 0;
        while at < words.len() {
            let mut path =
                vec![words[at].trim_start_matches(['(', '[', '{', '&', '*', '$', '!', '?', '.', ',', '<']).to_owned()];
            let mut next = at + 1;
            while next + 1 < words.len() && words[next] == "::" {
                path.push(words[next + 1].to_owned());
                next += 2;
            }
            if path.len() > 1 && path[0].chars().all(|c| c.is_alphanumeric() || c == '_') && !path[0].is_empty() {
                self.add(&path);
            }
            at = next;
        }
    }
}

fn is_test(attributes: &[syn::Attribute]) -> bool {
    attributes.iter().any(|a| a.path().is_ident("cfg") && a.parse_args::<syn::Ident>().is_ok_and(|i| i == "test"))
}

impl<'ast> Visit<'ast> for Names {
    fn visit_item_mod(&mut self, item: &'ast syn::ItemMod) {
        if is_test(&item.attrs) {
            return;
        }
        self.module.push(item.ident.to_string());
        visit::visit_item_mod(self, item);
        self.module.pop();
    }

    fn visit_item_use(&mut self, item: &'ast syn::ItemUse) {
        if !is_test(&item.attrs) {
            self.add_use(&item.tree, &[]);
        }
    }

    fn visit_path(&mut self, path: &'ast syn::Path) {
        if path.segments.len() > 1 {
            let segments: Vec<String> = path.segments.iter().map(|s| s.ident.to_string()).collect();
            self.add(&segments);
        }
        visit::visit_path(self, path);
    }

    fn visit_macro(&mut self, item: &'ast syn::Macro) {
        self.add_words(&item.tokens.to_string());
        visit::visit_macro(self, item);
    }
}

fn files(folder: &Path, found: &mut Vec<PathBuf>) {
    let mut entries: Vec<PathBuf> =
        std::fs::read_dir(folder).expect("src can be read").map(|e| e.expect("an entry").path()).collect();
    entries.sort();
    for path in entries {
        if path.is_dir() {
            files(&path, found);
        } else if path.extension().is_some_and(|e| e == "rs") {
            found.push(path);
        }
    }
}

fn read(text: &str, module: Vec<String>) -> BTreeSet<Vec<String>> {
    let tree = syn::parse_file(text).expect("the source parses");
    let mut names = Names { module, found: BTreeSet::new() };
    names.visit_file(&tree);
    names.found
}

fn sources() -> Vec<Source> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut paths = Vec::new();
    files(&root, &mut paths);
    assert!(paths.len() > 30, "the sources are found");
    paths
        .iter()
        .map(|path| {
            let text = std::fs::read_to_string(path).expect("a source file is UTF-8");
            let below = path.strip_prefix(&root).expect("below src").to_string_lossy().into_owned();
            let mut module: Vec<String> = below.trim_end_matches(".rs").split('/').map(str::to_owned).collect();
            if module.last().is_some_and(|l| l == "mod" || l == "lib") {
                module.pop();
            }
            Source {
                names: read(&text, module.clone()),
                lines: text.lines().count(),
                opens_with_a_comment: text.starts_with("//!"),
                path: below,
                module,
            }
        })
        .collect()
}

/// What each source of `floor` names and `forbidden` says no to, as lines to read.
fn offences(floor: &str, forbidden: impl Fn(&Source, &[String]) -> bool) -> Vec<String> {
    let mut found = Vec::new();
    for source in sources().iter().filter(|s| s.floor() == floor) {
        for name in source.names.iter().filter(|n| forbidden(source, n)) {
            found.push(format!("src/{} names {}", source.path, name.join("::")));
        }
    }
    found
}

/// A path into this crate that begins with one of these modules.
fn inside(name: &[String], modules: &[&str]) -> bool {
    name[0] == "crate" && name.get(1).is_some_and(|m| modules.contains(&m.as_str()))
}

/// Crates that this package depends on, as they are written in Rust.
fn dependencies() -> BTreeSet<String> {
    let text = std::fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("Cargo.toml")).expect("Cargo.toml");
    let manifest: toml::Table = text.parse().expect("Cargo.toml is TOML");
    ["dependencies", "dev-dependencies"]
        .iter()
        .filter_map(|part| manifest.get(*part)?.as_table())
        .flat_map(|table| table.keys().map(|k| k.replace('-', "_")))
        .collect()
}

fn assert_none(found: &[String]) {
    assert!(found.is_empty(), "{}", found.join("\n"));
}

#[test]
fn rules_and_words_name_nothing_above_them() {
    let above = ["standings", "store", "actions", "web", "cli", "app", "config"];
    let mut found = offences("rules", |_, n| inside(n, &above));
    found.extend(offences("words", |_, n| inside(n, &above) || inside(n, &["rules"])));
    assert_none(&found);
}

#[test]
fn rules_and_words_name_no_crate_that_does_input_or_output() {
    let all = dependencies();
    assert!(all.contains("sqlx") && all.contains("axum"), "the dependencies are read");
    let impure = |_: &Source, n: &[String]| all.contains(&n[0]) && !PURE.contains(&n[0].as_str());
    let mut found = offences("rules", impure);
    found.extend(offences("words", impure));
    let io = ["fs", "net", "process", "thread", "env", "io", "time"];
    let system = |_: &Source, n: &[String]| n[0] == "std" && n.get(1).is_some_and(|m| io.contains(&m.as_str()));
    found.extend(
        offences("rules", system)
            .into_iter()
            .filter(|line| !line.contains("std::io::Read") && !line.contains("std::time::Duration"))
            // Work that is shared out and done when the function returns: what comes of it is the same.
            .filter(|line| !line.contains("std::thread::scope")),
    );
    found.extend(offences("words", system));
    assert_none(&found);
}

#[test]
fn standings_and_store_do_not_know_each_other() {
    let mut found = offences("standings", |_, n| inside(n, &["store", "actions", "web", "cli"]) || n[0] == "sqlx");
    found.extend(offences("store", |_, n| inside(n, &["standings", "actions", "web", "cli"])));
    assert_none(&found);
}

#[test]
fn http_is_known_to_the_web_alone() {
    let http = |_: &Source, n: &[String]| HTTP.contains(&n[0].as_str());
    let mut found = Vec::new();
    for floor in ["rules", "words", "standings", "store", "actions"] {
        found.extend(offences(floor, http));
    }
    found.extend(offences("actions", |_, n| inside(n, &["web", "cli"])));
    found.extend(offences("web", |_, n| inside(n, &["cli"])));
    assert_none(&found);
}

#[test]
fn sql_is_known_to_the_store_alone() {
    let mut found = Vec::new();
    for source in sources().iter().filter(|s| s.floor() != "store") {
        if source.names.iter().any(|n| n[0] == "sqlx") {
            found.push(format!("src/{} names sqlx", source.path));
        }
    }
    assert_none(&found);
}

/// The tests ask for more of these than the program does, and a build for the tests has it all.
#[test]
fn the_program_names_no_part_of_a_crate_that_only_the_tests_have() {
    let client =
        |n: &[String]| matches!(n[0].as_str(), "hyper" | "hyper_util") && n.iter().any(|part| part == "client");
    let found: Vec<String> = sources()
        .iter()
        .filter(|source| source.names.iter().any(|n| client(n)))
        .map(|source| format!("src/{} names a client", source.path))
        .collect();
    assert_none(&found);
}

/// What may name an engine: the floor of their differences, and what passes the same text on to either.
const ENGINES: &[&str] = &["store/dialect/", "store/bulk.rs", "store/db.rs", "store/transfer.rs"];

/// Whether a name is one engine's, however it is come by.
fn is_of_an_engine(name: &[String]) -> bool {
    let own = |part: &String| {
        let part = part.to_lowercase();
        ["sqlite", "postgres", "pgpool", "pgconnection", "pgdatabase"].iter().any(|engine| part.starts_with(engine))
    };
    name.iter().any(own)
}

#[test]
fn what_differs_between_the_engines_stands_in_one_place() {
    let (all, mut found) = (sources(), Vec::new());
    for source in all.iter().filter(|s| !ENGINES.iter().any(|place| s.path.starts_with(place))) {
        for name in source.names.iter().filter(|name| is_of_an_engine(name)) {
            found.push(format!("src/{} names {}", source.path, name.join("::")));
        }
        // Whoever asks which one it is, to do something else, is a command that says what a server does by itself.
        let asks = |name: &&Vec<String>| name.last().is_some_and(|last| last == "is_served");
        if !["actions/open.rs", "cli/backup.rs"].contains(&&*source.path)
            && let Some(name) = source.names.iter().find(asks)
        {
            found.push(format!("src/{} names {}", source.path, name.join("::")));
        }
    }
    assert_none(&found);
    let seen = |path: &str| all.iter().any(|s| s.path == path && s.names.iter().any(|name| is_of_an_engine(name)));
    assert!(ENGINES[1..].iter().all(|path| seen(path)), "what is let in names them");
}

#[test]
fn the_clock_is_read_and_random_bytes_are_drawn_in_one_file() {
    let mut found = Vec::new();
    for source in sources().iter().filter(|s| s.path != "app.rs") {
        for name in &source.names {
            let clock = name.last().is_some_and(|l| l == "now")
                && name.iter().any(|p| ["Timestamp", "SystemTime", "Zoned", "DateTime"].contains(&p.as_str()));
            let random = ["getrandom", "rand", "fastrand", "OsRng"].contains(&name[0].as_str());
            if clock || random {
                found.push(format!("src/{} names {}", source.path, name.join("::")));
            }
        }
    }
    assert_none(&found);
}

#[test]
fn no_stub_is_left() {
    let mut found = Vec::new();
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut paths = Vec::new();
    files(&root, &mut paths);
    for path in paths {
        struct Stubs(usize);
        impl<'ast> Visit<'ast> for Stubs {
            fn visit_macro(&mut self, item: &'ast syn::Macro) {
                if item.path.is_ident("todo") || item.path.is_ident("unimplemented") {
                    self.0 += 1;
                }
                visit::visit_macro(self, item);
            }
        }
        let text = std::fs::read_to_string(&path).expect("a source file is UTF-8");
        let mut stubs = Stubs(0);
        stubs.visit_file(&syn::parse_file(&text).expect("the source parses"));
        if stubs.0 > 0 {
            found.push(format!("{} has {} stubs", path.display(), stubs.0));
        }
    }
    assert_none(&found);
}

#[test]
fn files_open_with_what_they_are_and_stay_short() {
    let long: BTreeMap<&str, &str> = LONG.iter().copied().collect();
    let mut found = Vec::new();
    for source in sources() {
        if !source.opens_with_a_comment {
            found.push(format!("src/{} does not open with what it is", source.path));
        }
        match (source.lines > LINES, long.contains_key(source.path.as_str())) {
            (true, false) => found.push(format!("src/{} has {} lines, more than {LINES}", source.path, source.lines)),
            (false, true) => found.push(format!("src/{} is short again: take it off the list", source.path)),
            _ => {}
        }
    }
    assert_none(&found);
}

#[test]
fn every_module_is_on_a_floor() {
    let known = ["rules", "words", "standings", "store", "actions", "web", "cli", "app", "config", "main", ""];
    let strange: Vec<String> =
        sources().iter().filter(|s| !known.contains(&s.floor())).map(|s| s.path.clone()).collect();
    assert_none(&strange);
    assert!(sources().iter().any(|s| s.inside().next().is_some()), "paths into the crate are seen");
}

/// The checks above are only worth something if a breach is seen: here are some.
mod a_breach_is_seen {
    use super::*;

    fn seen(text: &str, module: &[&str]) -> BTreeSet<String> {
        read(text, module.iter().map(|m| (*m).to_owned()).collect()).iter().map(|n| n.join("::")).collect()
    }

    #[test]
    fn in_an_import() {
        assert!(
            seen("use crate::{store::{Store, log}, rules::order};", &["rules", "x"]).contains("crate::store::Store")
        );
    }

    #[test]
    fn through_super() {
        assert!(seen("use super::super::store;", &["rules", "x"]).contains("crate::store"));
        assert!(seen("fn f() { super::super::web::serve() }", &["actions", "x"]).contains("crate::web::serve"));
    }

    #[test]
    fn in_a_call_and_a_type() {
        let found = seen("fn f(a: sqlx::SqlitePool) { jiff::Timestamp::now(); }", &["web"]);
        assert!(found.contains("sqlx::SqlitePool") && found.contains("jiff::Timestamp::now"));
    }

    #[test]
    fn by_naming_an_engine() {
        let of_an_engine =
            |text: &str| read(text, vec!["store".to_owned(), "x".to_owned()]).iter().any(|n| is_of_an_engine(n));
        assert!(of_an_engine("fn f(db: &Db) { match db { Db::Sqlite(_) => {}, _ => {} } }"));
        assert!(of_an_engine("fn f(db: &Db) -> bool { matches!(db, Db::Postgres(_)) }"));
        assert!(of_an_engine("use super::dialect::postgres::trouble;"));
        assert!(!of_an_engine("use super::dialect::trouble;"));
    }

    #[test]
    fn inside_a_macro() {
        assert!(
            seen("fn f() { println!(\"{}\", jiff::Timestamp::now()); }", &["web"]).contains("jiff::Timestamp::now")
        );
    }

    #[test]
    fn but_not_in_a_test_module_a_comment_or_a_string() {
        let text = "/// sqlx::query\nfn f() { let _ = \"sqlx::query\"; }\n#[cfg(test)] mod tests { use sqlx::query; }";
        assert!(seen(text, &["web"]).is_empty());
    }
}
