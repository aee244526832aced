//! What the box on an athlete's page says that works out what another result would change, and
//! what is said of percentiles.

texts! {
    /// Every text of the box in one language.
    WhatIf, WHAT_IF:
    title: "What if?",
    about: "Try another result: the places are worked out as if it were the score that counts. Nothing is stored, and nobody sees it.",
    workout: "Workout",
    level: "Level",
    performance: "Result",
    button: "Work it out",
    with: "With {text} in {workout}",
    caption: "Places now and with {text}",
    among: "Among",
    place_now: "Place now",
    place_then: "Place then",
    overall_now: "Overall now",
    overall_then: "Overall then",
    of: "{ordinal} of {of}",
    of_with: "{ordinal} of {of}, {points}",
    none: "none",
    same: "Nothing would change.",
    not_counted: "{workout} does not count in the overall yet, so the overall stays as it is.",
    check: "Please check: {said}",
    busy: "Many people are trying this just now. Wait a few seconds and try again; what you wrote is still here.",
    percentile: "Percentile",
    percentile_said: "{whole}.{tenth} %",
    percentile_about: "The percentile is the share of placed results in the division that are not better than this one, itself among them, cut down to a tenth.",
}
