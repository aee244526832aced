//! What is wrong with the shape of something sent, and what a reader is told.

/// Code and sentence.
pub const SENTENCES: &[(&str, &str)] = &[
    ("as_of_outside", "Log position {seq} is not one at which there were standings: the last one is {last}."),
    ("extension_whom", "Say for whom: either a gym or a region, not both and not neither."),
    ("gap_point", "1 point"),
    ("gap_points", "{points} points"),
    ("hidden_name", "Athlete {bib}"),
    ("member_bool", "{member} is true or false, without quotes."),
    ("member_control", "{member} contains a control character: take it out."),
    ("member_instant", "Write {member} as an instant with its offset, e.g. 2027-01-16T10:40:00Z."),
    ("member_long", "{member} may have at most {most} characters."),
    ("member_needed", "{member} is needed."),
    ("member_text", "{member} is a text, in quotes."),
    ("member_texts", "{member} is a list of at most 100 texts."),
    ("member_unknown", "There is nothing called {member} here; known are: {known}."),
    ("member_whole", "{member} is a whole number from {least} to {most}."),
    ("member_word", "{member} is one of: {words}."),
    ("no_competition", "There is no competition called {competition} here, or it is private."),
    ("no_division", "There is no division called {division}; there are: {known}."),
    ("no_entry", "There is no bib {bib} in this competition."),
    ("no_score", "Bib {bib} has no score in {workout} that you may see."),
    ("no_workout", "There is no workout called {workout}, or it is not announced yet."),
    ("not_an_array", "Send a list of objects: [{...}, {...}]."),
    ("not_an_object", "This must be an object: {...}."),
    (
        "performance_form",
        "Write the performance as a text (\"6+14 tb 11:24\") or as an object ({\"rounds\": 6, \"reps\": 14}).",
    ),
];
