//! What is wrong with a log or its tables.

/// Code and sentence.
pub const SENTENCES: &[(&str, &str)] = &[
    ("log_gap", "Record {seq} is missing: record {found} stands in its place."),
    ("log_leaf", "Record {seq} was altered: its bytes do not have the hash that was kept of them."),
    ("log_unreadable", "Record {seq} cannot be read: {why}."),
    ("log_unlike", "Record {seq} says another {what} than its row in the table."),
    ("log_goes_back", "Record {seq} is dated before the record in front of it."),
    ("log_file_refused", "The competition file in record {seq} does not hold together any more."),
    ("log_head", "The head of the competition says {found} as its {what}; the log comes to {expected}."),
    ("log_root", "The tree over the log's records has another root than the head says."),
    ("table_row_missing", "The row {key} is missing in the table {table}, though the log has it."),
    ("table_row_extra", "The row {key} stands in the table {table}, though the log has nothing of it."),
    ("table_row_differs", "The row {key} of the table {table} is not what the log comes to: see {column}."),
    ("note_altered", "The text of note {id} is not the one that the log has a commitment of."),
    ("note_missing", "The text of note {id} is missing, though nobody was erased."),
    ("person_altered", "The facts of person {id} are not the ones that the log has a commitment of."),
    ("person_missing", "The facts of person {id} are missing, though the log does not say that they were erased."),
    ("person_not_erased", "The facts of person {id} are still there, though the log says that they were erased."),
];
