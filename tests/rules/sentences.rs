//! Every sentence that code names is there, once.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use syn::visit::Visit;
use tallywright::words::{Lang, en, template};

#[test]
fn codes_are_unique() {
    let mut places: BTreeMap<&str, usize> = BTreeMap::new();
    for (code, _) in en::AREAS.iter().flat_map(|area| area.iter()) {
        *places.entry(code).or_default() += 1;
    }
    let twice: Vec<_> = places.into_iter().filter(|(_, n)| *n > 1).collect();
    assert!(twice.is_empty(), "{twice:?}");
}

#[test]
fn every_code_that_is_named_has_a_sentence() {
    let mut files = Vec::new();
    collect(&Path::new(env!("CARGO_MANIFEST_DIR")).join("src"), &mut files);
    let mut missing = Vec::new();
    let mut named = 0;
    for file in files {
        let text = std::fs::read_to_string(&file).unwrap();
        let mut codes = Codes(Vec::new());
        codes.visit_file(&syn::parse_file(&text).unwrap());
        named += codes.0.len();
        missing.extend(
            codes.0.into_iter().filter(|code| template(Lang::En, code).is_none()).map(|code| (file.clone(), code)),
        );
    }
    assert!(named > 100, "the walk finds codes");
    assert!(missing.is_empty(), "{missing:#?}");
}

/// Literals in `Sentence::new("…")`.
struct Codes(Vec<String>);

impl<'ast> Visit<'ast> for Codes {
    fn visit_item_mod(&mut self, module: &'ast syn::ItemMod) {
        let tests = module.attrs.iter().any(|a| a.path().is_ident("cfg"));
        if !tests {
            syn::visit::visit_item_mod(self, module);
        }
    }

    fn visit_expr_call(&mut self, call: &'ast syn::ExprCall) {
        if let syn::Expr::Path(path) = &*call.func
            && path.path.segments.iter().rev().map(|s| s.ident.to_string()).take(2).eq(["new", "Sentence"])
            && let Some(syn::Expr::Lit(syn::ExprLit { lit: syn::Lit::Str(code), .. })) = call.args.first()
        {
            self.0.push(code.value());
        }
        syn::visit::visit_expr_call(self, call);
    }
}

fn collect(folder: &Path, files: &mut Vec<PathBuf>) {
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            collect(&path, files);
        } else if path.extension().is_some_and(|e| e == "rs") {
            files.push(path);
        }
    }
}
