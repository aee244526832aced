//! Style sheets, scripts and the mark: built in, named by their content, packed once: what pages
//! need at start, the large files of `static/vendor` when they are first asked for.
//!
//! A name changes with its content, so that answers may be kept for ever. What it does not do:
//! anything for files that people send.

use super::sending::BuiltIn;
use axum::Extension;
use axum::body::Bytes;
use axum::extract::Path;
use axum::response::{IntoResponse, Response};
use http::{HeaderMap, HeaderValue, StatusCode, header};
use rust_embed::RustEmbed;
use sha2::{Digest, Sha256};
use std::borrow::Cow;
use std::collections::{BTreeMap, BTreeSet};
use std::io::Write;
use std::sync::{LazyLock, OnceLock};

#[derive(RustEmbed)]
#[folder = "static/"]
struct Files;

/// One file, as it is and packed.
struct Asset {
    kind: &'static str,
    /// Quoted, for `ETag`.
    tag: String,
    plain: Bytes,
    packed: OnceLock<Packed>,
}

/// The packed forms of a file. Empty when packing fails: then the file is sent as it is.
struct Packed {
    brotli: Bytes,
    gzip: Bytes,
}

static UNPACKED: Packed = Packed { brotli: Bytes::new(), gzip: Bytes::new() };

/// From here on a file is packed in haste: the best packing takes seconds for a tenth less.
const LARGE: usize = 100_000;

impl Asset {
    fn packed(&self) -> &Packed {
        self.packed.get_or_init(|| {
            let (brotli, gzip) = if self.plain.len() < LARGE { (11, 9) } else { (6, 6) };
            let (brotli, gzip) = (packed_by_brotli(&self.plain, brotli), packed_by_gzip(&self.plain, gzip));
            Packed { brotli: brotli.into(), gzip: gzip.into() }
        })
    }
}

/// Address by file name, files by the name in their address, and the scripts that a script needs.
#[derive(Default)]
struct Table {
    urls: BTreeMap<String, String>,
    files: BTreeMap<String, Asset>,
    needs: BTreeMap<String, Vec<String>>,
}

static TABLE: LazyLock<Table> = LazyLock::new(|| {
    let mut table = Table::default();
    for name in Files::iter() {
        table.add(&name, &mut Vec::new());
    }
    table
});

impl Table {
    /// A file, after the scripts that it takes something from: it is given their names. `open` are those
    /// that wait for it; of two that need each other no name can be known, and a test finds them.
    fn add(&mut self, name: &str, open: &mut Vec<String>) {
        let (Some(file), Some((stem, ending))) = (Files::get(name), name.rsplit_once('.')) else { return };
        if self.urls.contains_key(name) || open.iter().any(|waits| waits == name) {
            return;
        }
        open.push(name.to_owned());
        let plain = self.linked(name, file.data, open);
        open.pop();
        let digest = hex::encode(Sha256::digest(&plain));
        // Addresses have no folders: the file's own name is enough, its content makes it unique.
        let stem = stem.rsplit('/').next().unwrap_or(stem);
        let hashed = format!("{stem}.{}.{ending}", &digest[..12]);
        let kind = match ending {
            "css" => "text/css; charset=utf-8",
            "svg" => "image/svg+xml",
            "js" => "text/javascript; charset=utf-8",
            "md" | "txt" => "text/plain; charset=utf-8",
            _ => "application/octet-stream",
        };
        self.urls.insert(name.to_owned(), format!("/static/{hashed}"));
        let plain = match plain {
            Cow::Borrowed(built_in) => Bytes::from_static(built_in),
            Cow::Owned(made) => made.into(),
        };
        let asset = Asset { kind, tag: format!("\"{}\"", &digest[..24]), plain, packed: OnceLock::new() };
        self.files.insert(hashed, asset);
    }

    /// A script of ours as it is served: with the addresses of those it takes from, and without the
    /// comments, which stand in lines of their own.
    fn linked(&mut self, name: &str, data: Cow<'static, [u8]>, open: &mut Vec<String>) -> Cow<'static, [u8]> {
        let mut text = match std::str::from_utf8(&data) {
            Ok(text) if is_ours(name) => text.to_owned(),
            _ => return data,
        };
        let mut needs = Vec::new();
        for (written, other) in imports(name, &text) {
            self.add(&other, open);
            let Some(url) = self.urls.get(&other) else { continue };
            text = text.replace(&format!("\"{written}\""), &format!("\"{url}\""));
            needs.extend(self.needs.get(&other).into_iter().flatten().cloned().chain([url.clone()]));
        }
        let mut seen = BTreeSet::new();
        needs.retain(|url| seen.insert(url.clone()));
        self.needs.insert(name.to_owned(), needs);
        let code = text.lines().filter(|line| !line.trim_start().starts_with("//") && !line.trim().is_empty());
        Cow::Owned(code.flat_map(|line| [line, "\n"]).collect::<String>().into_bytes())
    }
}

fn is_ours(name: &str) -> bool {
    !name.starts_with("vendor/") && std::path::Path::new(name).extension().is_some_and(|ending| ending == "js")
}

/// The scripts that a script of ours takes something from: as it writes them, and by their names.
fn imports(name: &str, text: &str) -> Vec<(String, String)> {
    let folder = name.rsplit_once('/').map_or("", |(folder, _)| folder);
    let lines = text.lines().filter(|line| line.starts_with("import "));
    let written = lines.filter_map(|line| line.split('"').nth(1)).filter(|path| path.starts_with('.'));
    let named = |path: &str| {
        let mut steps: Vec<&str> = folder.split('/').filter(|step| !step.is_empty()).collect();
        for step in path.split('/') {
            match step {
                "." => {}
                ".." => drop(steps.pop()),
                step => steps.push(step),
            }
        }
        steps.join("/")
    };
    written.map(|path| (path.to_owned(), named(path))).collect()
}

fn packed_by_brotli(data: &[u8], quality: i32) -> Vec<u8> {
    let mut out = Vec::new();
    let params = brotli::enc::BrotliEncoderParams { quality, ..Default::default() };
    brotli::BrotliCompress(&mut &*data, &mut out, &params).map_or(Vec::new(), |_| out)
}

fn packed_by_gzip(data: &[u8], level: u32) -> Vec<u8> {
    let mut packer = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::new(level));
    packer.write_all(data).and_then(|()| packer.finish()).unwrap_or_default()
}

/// Packs the files that pages need, so that the first reader does not wait for it.
pub fn prepare() {
    for asset in TABLE.files.values().filter(|asset| asset.plain.len() < LARGE) {
        asset.packed();
    }
}

/// The address of a file of `static/`; the plain name where there is no such file (a test walks
/// the names that templates use).
#[must_use]
pub fn url(name: &str) -> String {
    TABLE.urls.get(name).cloned().unwrap_or_else(|| format!("/static/{name}"))
}

/// The addresses of all that a script takes from, those first that take from no other: told in the head
/// of a page they are fetched together, not one after another.
#[must_use]
pub fn needs(name: &str) -> &'static [String] {
    TABLE.needs.get(name).map_or(&[], Vec::as_slice)
}

/// `GET /static/{name}`.
pub async fn get_asset(Path(name): Path<String>, headers: HeaderMap) -> Response {
    let Some(asset) = TABLE.files.get(&name) else {
        return StatusCode::NOT_FOUND.into_response();
    };
    let mut answer = HeaderMap::new();
    answer.insert(header::CACHE_CONTROL, HeaderValue::from_static("public, max-age=31536000, immutable"));
    answer.insert(header::VARY, HeaderValue::from_static("accept-encoding"));
    if let Ok(tag) = HeaderValue::from_str(&asset.tag) {
        answer.insert(header::ETAG, tag);
    }
    if said(&headers, &header::IF_NONE_MATCH).any(|tag| tag.trim_start_matches("W/") == asset.tag || tag == "*") {
        return (StatusCode::NOT_MODIFIED, answer).into_response();
    }
    answer.insert(header::CONTENT_TYPE, HeaderValue::from_static(asset.kind));
    let packed = if asset.packed.get().is_some() || asset.plain.len() < LARGE {
        asset.packed()
    } else {
        tokio::task::spawn_blocking(move || asset.packed()).await.unwrap_or(&UNPACKED)
    };
    let body = if !packed.brotli.is_empty() && accepts(&headers, "br") {
        answer.insert(header::CONTENT_ENCODING, HeaderValue::from_static("br"));
        packed.brotli.clone()
    } else if !packed.gzip.is_empty() && accepts(&headers, "gzip") {
        answer.insert(header::CONTENT_ENCODING, HeaderValue::from_static("gzip"));
        packed.gzip.clone()
    } else {
        asset.plain.clone()
    };
    (answer, Extension(BuiltIn), body).into_response()
}

/// The members of a header that is a list.
fn said<'a>(headers: &'a HeaderMap, name: &http::HeaderName) -> impl Iterator<Item = &'a str> {
    headers.get_all(name).into_iter().filter_map(|v| v.to_str().ok()).flat_map(|v| v.split(',')).map(str::trim)
}

/// Whether a packing is accepted: named, and not with `q=0`.
fn accepts(headers: &HeaderMap, packing: &str) -> bool {
    said(headers, &header::ACCEPT_ENCODING).any(|member| {
        let mut parts = member.split(';').map(str::trim);
        parts.next().is_some_and(|name| name.eq_ignore_ascii_case(packing))
            && !parts.any(|p| p.strip_prefix("q=").is_some_and(|q| q.parse().is_ok_and(|q: f32| q <= 0.0)))
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_carry_their_content_and_packed_forms_are_smaller() {
        let url = url("site.css");
        let name = url.strip_prefix("/static/").expect("below /static");
        let asset = &TABLE.files[name];
        assert_eq!(name.len(), "site.css".len() + 13);
        let packed = asset.packed();
        assert!(packed.brotli.len() < asset.plain.len() / 2 && packed.gzip.len() < asset.plain.len() / 2);
    }

    #[test]
    fn scripts_take_from_others_by_the_names_that_are_served() {
        for name in Files::iter().filter(|name| is_ours(name)) {
            let url = url(&name);
            let asset = &TABLE.files[url.strip_prefix("/static/").expect("below /static")];
            let text = str::from_utf8(&asset.plain).expect("is text");
            for path in ["\"./", "\"../"] {
                assert!(
                    !text.contains(path),
                    "{name} takes from {path}: two that need each other, or an import over lines"
                );
            }
        }
        let parts = needs("desk/desk.js");
        let at =
            |name: &str| parts.iter().position(|p| *p == url(name)).unwrap_or_else(|| panic!("{name} in {parts:?}"));
        assert!(at("time.js") < at("desk/row.js") && at("desk/row.js") < at("desk/visitors.js"), "{parts:?}");
    }

    #[test]
    fn files_of_others_come_with_their_licence_and_without_a_folder_in_their_address() {
        let url = url("vendor/swagger-ui/swagger-ui-bundle.js");
        assert!(TABLE.files.contains_key(url.strip_prefix("/static/").expect("below /static")), "{url}");
        for name in ["LICENSE", "NOTICE", "README.md"] {
            assert!(Files::get(&format!("vendor/swagger-ui/{name}")).is_some(), "{name}");
        }
    }

    #[test]
    fn a_packing_refused_with_q_0_is_not_sent() {
        let mut headers = HeaderMap::new();
        headers.insert(header::ACCEPT_ENCODING, HeaderValue::from_static("gzip;q=0, br;q=0.5"));
        assert!(accepts(&headers, "br") && !accepts(&headers, "gzip"));
        headers.insert(header::ACCEPT_ENCODING, HeaderValue::from_static("br;q=0.000"));
        assert!(!accepts(&headers, "br"));
    }

    #[test]
    fn the_style_sheet_keeps_to_a_strict_policy() {
        let css = String::from_utf8(Files::get("site.css").expect("is built in").data.to_vec()).expect("is text");
        assert!(!css.contains("url(") && !css.contains("@import"));
    }
}
