//! Reading the log: the exact bytes that were hashed, for those who answer for the result.

use super::reader::Reader;
use super::{Failure, signed_in};
use crate::app::App;
use crate::rules::access::{Act, Actor, permit};
use jiff::Timestamp;
use serde::Serialize;
use utoipa::ToSchema;

/// Records in an answer, unless they are large.
pub const PAGE: u32 = 500;

/// One record of the log.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, ToSchema)]
pub struct RecordView {
    /// From 1, without gaps.
    #[schema(example = 8812)]
    pub seq: u64,
    /// Never going back.
    #[schema(value_type = String, format = DateTime)]
    pub at: Timestamp,
    /// What it is about; where `text` is null only of which kind.
    #[schema(example = "score/w1/1042")]
    pub subject: String,
    /// Hex SHA-256 of the byte 0 and `text`: a leaf of the Merkle tree (RFC 9162 §2.1).
    pub leaf: String,
    /// The record: exactly the bytes that were hashed, which are a JSON object. Null for all but
    /// the organiser where it tells of a workout that is not announced (competition files do): the
    /// leaf stands in the tree all the same.
    pub text: Option<String>,
}

/// Records after a log position.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, ToSchema)]
pub struct LogView {
    /// Oldest first, at most 500, and fewer where they are large: ask again with `after` the last of them.
    pub records: Vec<RecordView>,
    /// Last log position.
    pub log_seq: u64,
    /// Hex root of the Merkle tree over all records up to there.
    pub root: String,
}

/// Whether a record of this subject tells of a workout that its reader does not know yet. A
/// competition file tells of all of them.
fn tells_too_much(reader: &Reader, subject: &str) -> bool {
    let mut parts = subject.split('/');
    match (parts.next(), parts.next()) {
        (Some("competition"), None) => reader.workouts().count() < reader.competition.workouts.len(),
        (Some("score" | "workout"), Some(slug)) => reader.competition.workout(slug).is_some_and(|w| !reader.sees(w)),
        _ => false,
    }
}

/// Records after log position `after`, at most `limit`, and fewer where they are large.
pub async fn read(
    app: &App,
    actor: &Actor,
    now: Timestamp,
    competition: &str,
    after: u64,
    limit: u32,
) -> Result<LogView, Failure> {
    signed_in(actor)?;
    let reader = Reader::find(app, actor, now, competition).await?;
    let permit = permit(actor, Act::ReadLog { competition })?;
    let records = app.store.list_records(&permit, reader.id, after, limit.min(PAGE)).await?;
    let head = app.store.find_head(reader.id).await?;
    let records = records.into_iter().map(|r| {
        if tells_too_much(&reader, &r.subject) {
            let subject = r.subject.split('/').next().unwrap_or_default().to_owned();
            return Ok(RecordView { seq: r.seq, at: r.at, subject, leaf: hex::encode(r.leaf), text: None });
        }
        let text = String::from_utf8(r.bytes).map_err(|error| Failure::Broken(error.into()))?;
        Ok(RecordView { seq: r.seq, at: r.at, subject: r.subject, leaf: hex::encode(r.leaf), text: Some(text) })
    });
    Ok(LogView {
        records: records.collect::<Result<_, Failure>>()?,
        log_seq: head.as_ref().map_or(0, |h| h.seq),
        root: head.map_or_else(String::new, |h| hex::encode(h.root)),
    })
}
