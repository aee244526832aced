//! What is said once every workout that is known has closed.

use super::shell::{Dated, words};
use crate::actions::Failure;
use crate::actions::over::over;
use crate::actions::reader::Reader;
use crate::app::App;
use crate::rules::window::Over;

/// That some have more time, that results or a judge's word are still taken, and until when, or that
/// it is over; for everybody, or for one gym and region. `None`: it goes on, or nothing is known yet.
pub(super) async fn ended(
    app: &App,
    reader: &Reader,
    whose: Option<(Option<&str>, &str)>,
) -> Result<Option<Dated>, Failure> {
    Ok(over(app, reader, whose).await?.map(|over| said(reader, over)))
}

/// How far it is, in a sentence.
pub(super) fn said(reader: &Reader, over: Over) -> Dated {
    let w = words();
    let until = |text, at| Dated::new(text, at, &reader.competition.time_zone);
    match over {
        Over::MoreTime(at) => until(w.all_closed_but, at),
        Over::Receiving(at) => until(w.all_closed_received, at),
        Over::Vouching(at) => until(w.all_closed, at),
        Over::Done => Dated::plain(w.all_over),
    }
}
