//! What stands on every page: the frame around it, forms, problems.

area! { ($) frame:
    lang: "en",
    own_name: "English",
    languages_label: "Language",
    skip: "Skip to the page",
    nav_label: "Main",
    nav_account: "Your account",
    nav_sign_in: "Sign in",
    nav_sign_out: "Sign out",
    nav_referee: "Referee",
    nav_desk: "Your desk",
    trail_label: "You are here",
    trail_home: "Competitions",
    foot_api: "For programs: the API",
    foot_caution: "Anyone may stop an athlete; the score is the reps done to then. Local codes, the gym's rules and licensed professionals come first.",
    as_of: "State {seq} of the competition's log, shown {at}.",

    time_over: "time is up: load the page again",
    time_yours: "{at} your time",
    time_there: "{at} in {zone}",

    // Forms
    errors_title: "Please mend this",
    questions_title: "Please check",
    question_yes: "Yes, it is right.",
    back_to_desk: "Back to the desk",
    back_to_own: "Back to your page",
    back_to_referee: "Back to the list",
    do_col: "Action",
    field_number: "Write a whole number here, or leave it empty.",
    field_time: "Write date and time as 2027-01-16 10:40, or leave it empty.",

    // Problems
    problem_send_again: "To send it again, reload this page: what you typed goes with it.",
    problem_look_again: "To try again, reload this page.",
    problem_signed_out: "Your session has ended, so nothing was stored. Sign in, and you come back to the page.",
    problem_typed: "What you typed",
    problem_typed_about: "Nothing of it was stored. Copy it before you go on; only this page still has it.",
    problem_typed_row: "{whose}, {field}",
    problem_typed_ticked: "ticked",
    problem_typed_n: "{n} ticked",
    problem_typed_file: "{name}: choose it again",
    problem_back: "Back to the page before",
    problem_home: "To the competitions",
}
