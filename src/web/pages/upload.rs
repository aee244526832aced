//! A form that may bring a file along (`multipart/form-data`, RFC 7578), at most 4 MiB in all.
//!
//! The same form without a file may come as a plain one. The hidden field `csrf` is checked as in
//! [`crate::web::session::Form`] and taken out. What it does not do: read what the file says.

use super::form::Fields;
use crate::app::App;
use crate::web::extract::{LARGE, collect, is_kind};
use crate::web::problem::Problem;
use crate::web::session::{Caller, Sent, Typed, ours, people_only};
use crate::words::Sentence;
use axum::extract::{FromRequest, FromRequestParts, Request};
use bytes::Bytes;
use http::{StatusCode, header};
use std::convert::Infallible;

/// Most parts of a form.
const MOST: usize = 100;

/// What was sent.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Upload {
    /// The fields that are no file.
    pub fields: Fields,
    /// The bytes of the field `file`, when one was chosen.
    pub file: Option<Bytes>,
    /// What that file is called.
    name: Option<String>,
}

impl Upload {
    /// The file's bytes, else those of the field `text`; `None`: neither.
    #[must_use]
    pub fn content(&self) -> Option<Vec<u8>> {
        let typed = || Some(self.fields.exact("text")).filter(|t| !t.trim().is_empty()).map(|t| t.as_bytes().to_vec());
        self.file.as_ref().map(|bytes| bytes.to_vec()).or_else(typed)
    }

    /// The content as text with plain line ends, as browsers send others than were typed; `None`:
    /// it is no text. Empty: there is none.
    #[must_use]
    pub fn text(&self) -> Option<String> {
        let text = String::from_utf8(self.content().unwrap_or_default()).ok().filter(|t| !t.contains('\0'))?;
        Some(text.strip_prefix('\u{feff}').unwrap_or(&text).replace("\r\n", "\n"))
    }
}

impl FromRequest<App> for Upload {
    type Rejection = Problem;

    async fn from_request(request: Request, app: &App) -> Result<Self, Problem> {
        let (mut parts, body) = request.into_parts();
        let caller = Caller::from_request_parts(&mut parts, app).await?;
        people_only(&caller)?;
        let plain = is_kind(&parts.headers, "application", "x-www-form-urlencoded");
        let kind = parts.headers.get(header::CONTENT_TYPE).and_then(|v| v.to_str().ok()).unwrap_or_default();
        let boundary = multer::parse_boundary(kind).ok();
        if !plain && boundary.is_none() {
            let sentence = Sentence::new("unsupported_media_type").with("wanted", "multipart/form-data");
            return Err(Problem::new(StatusCode::UNSUPPORTED_MEDIA_TYPE, sentence));
        }
        let bytes = collect(&parts.headers, body, LARGE).await?;
        let mut upload = match boundary {
            Some(boundary) => of_parts(bytes, boundary).await?,
            None => Self {
                fields: Fields(form_urlencoded::parse(&bytes).take(MOST).map(|(n, v)| (n.into(), v.into())).collect()),
                ..Self::default()
            },
        };
        let (given, fields): (Vec<_>, Vec<_>) = upload.fields.0.into_iter().partition(|(name, _)| name == "csrf");
        let ours = ours(&caller, &given.iter().map(|(_, value)| value.as_bytes()).collect::<Vec<_>>());
        let typed = parts.extensions.get::<Typed>().filter(|_| ours.is_err() || caller.actor.account.is_none());
        if let Some(typed) = typed {
            typed.keep(Sent { fields: fields.clone(), file: upload.name.take() });
        }
        ours?;
        upload.fields = Fields(fields);
        Ok(upload)
    }
}

/// The parts of a form that is here as a whole.
async fn of_parts(bytes: Bytes, boundary: String) -> Result<Upload, Problem> {
    let unreadable = |_| Problem::new(StatusCode::BAD_REQUEST, Sentence::new("broken_off"));
    let whole = futures_util::stream::once(async move { Ok::<_, Infallible>(bytes) });
    let mut parts = multer::Multipart::new(whole, boundary);
    let mut upload = Upload::default();
    while let Some(part) = parts.next_field().await.map_err(unreadable)? {
        let name = part.name().unwrap_or_default().to_owned();
        let is_file = name == "file";
        let called = part.file_name().map(str::to_owned);
        let bytes = part.bytes().await.map_err(unreadable)?;
        if is_file {
            upload.file = Some(bytes).filter(|b| !b.is_empty());
            upload.name = upload.file.as_ref().and(called);
        } else if upload.fields.0.len() < MOST {
            let text = String::from_utf8(bytes.to_vec())
                .map_err(|_| Problem::new(StatusCode::BAD_REQUEST, Sentence::new("not_utf8")))?;
            upload.fields.0.push((name, text));
        }
    }
    Ok(upload)
}

#[cfg(test)]
mod tests {
    use super::*;

    const FORM: &str = "--x\r\nContent-Disposition: form-data; name=\"do\"\r\n\r\ncheck\r\n\
        --x\r\nContent-Disposition: form-data; name=\"text\"\r\n\r\na\r\nb\r\n\
        --x\r\nContent-Disposition: form-data; name=\"file\"; filename=\"s.toml\"\r\nContent-Type: text/plain\r\n\r\nFILE\r\n--x--\r\n";

    #[tokio::test]
    async fn a_file_goes_before_what_was_pasted() {
        let upload = of_parts(FORM.into(), "x".to_owned()).await.expect("reads");
        assert_eq!((upload.fields.get("do"), upload.text().as_deref()), ("check", Some("FILE")));
        let without = FORM.replace("filename=\"s.toml\"", "filename=\"\"").replace("\r\n\r\nFILE", "\r\n\r\n");
        let upload = of_parts(without.into(), "x".to_owned()).await.expect("reads");
        assert_eq!(upload.text().as_deref(), Some("a\nb"));
    }

    #[tokio::test]
    async fn what_breaks_off_or_is_no_text_is_said_so() {
        assert!(of_parts(FORM.get(..80).unwrap_or_default().into(), "x".to_owned()).await.is_err());
        let binary = Upload { file: Some(Bytes::from_static(&[0xff, 0xfe, 0])), ..Upload::default() };
        assert_eq!(binary.text(), None);
        assert_eq!(Upload::default().text().as_deref(), Some(""));
        assert_eq!(Upload::default().content(), None);
    }
}
