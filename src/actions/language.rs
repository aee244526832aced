//! Whom an answer is for: the language of the reader, for as long as one request is worked on.
//!
//! Sentences are handed on as sentences; where one becomes text, it is said in [`reader`]'s
//! language. Who asks for nothing (the command line, a test) reads English. What is stored is never
//! said here: it stays as it was written. Tasks that are started on the side do not inherit it.

use crate::words::{Lang, Sentence};

tokio::task_local! {
    static READER: Lang;
    // Whether what is made is a page.
    static PAGE: bool;
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

/// Works on a page, where what people wrote stands apart in sentences; or, `page` being false, on what
/// programs read.
pub async fn on_page<F: Future>(page: bool, work: F) -> F::Output {
    PAGE.scope(page, work).await
}

/// A sentence in the language of the one who reads what is made now.
#[must_use]
pub fn say(sentence: &Sentence) -> String {
    let page = PAGE.try_with(|page| *page).unwrap_or_default();
    if page { sentence.say_apart(reader()) } else { sentence.say(reader()) }
}
