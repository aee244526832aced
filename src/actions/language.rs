//! Whom an answer is for: the language of the reader, for as long as one request is worked on.
//!
//! Sentences are handed on as sentences; where one becomes text, it is said in [`reader`]'s
//! language. Who asks for nothing (the command line, a test) reads English. What is stored is never
//! said here: it stays as it was written. Tasks that are started on the side do not inherit it.

use crate::words::Lang;

tokio::task_local! {
    static READER: Lang;
}

/// The language of the one who reads what is made now.
#[must_use]
pub fn reader() -> Lang {
    READER.try_with(|lang| *lang).unwrap_or_default()
}

/// Works on something for somebody who reads `lang`.
pub async fn speaking<F: Future>(lang: Lang, work: F) -> F::Output {
    READER.scope(lang, work).await
}
