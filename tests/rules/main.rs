//! Rules held against outside values, slow twins and small models: one module a topic. The values
//! stand in `tests/vectors`, their sources beside each check.

mod amend;
mod arithmetic;
mod board;
mod changes;
mod dates;
mod files;
mod languages;
mod left_out;
mod life;
mod names;
mod places;
mod sentences;
mod series;
mod support;
mod tables;
mod words;

/// A file of `tests/vectors`.
fn vector(name: &str) -> serde_json::Value {
    let path = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/vectors").join(name);
    let text = std::fs::read_to_string(&path).unwrap_or_else(|e| panic!("{}: {e}", path.display()));
    serde_json::from_str(&text).unwrap_or_else(|e| panic!("{}: {e}", path.display()))
}
