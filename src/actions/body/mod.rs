//! What somebody sends as JSON, member by member, with everything that is wrong with it at once.
//!
//! One reader for a single object over HTTP and for the rows of an array: [`Members`] walks an
//! object, [`score`](score::submit), [`roster`] and [`decision`](decision::rule) say which members
//! there are. Whether the values make sense is for the rules; here it is only their shape. A whole
//! number may be written `55` or `55.0` (JSON Schema takes both for an integer).

pub mod decision;
mod members;
pub mod roster;
pub mod score;

pub use members::Members;
