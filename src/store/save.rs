//! What a group changed, written out: multi-row statements of fixed sizes.
