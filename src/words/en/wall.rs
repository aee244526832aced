//! What a gym's screen says.

texts! {
    /// Every text of a gym's screen in one language.
    Wall, WALL:
    title: "{gym}: {workout}",
    link: "For a screen on the wall",
    about: "Anybody may open this page: it shows what is public, and needs no sign-in on the screen.",
    show: "What is shown",
    overall: "Overall",
    by_heat: "By heat",
    no_heat: "In no heat",
    heat: "On the floor: heat {n}",
    heat_caption: "Lanes of heat {n}",
    lane: "Lane {n}",
    place: "Place",
    athlete: "Athlete",
    result: "Result",
    points: "Points",
    more: "{n} more",
    nothing: "No results of this gym yet.",
    hidden: "Results are shown when the window closes, {at}.",
    nothing_open: "No workout has begun yet.",
    again: "{name}, continued",
    page: "Page {n} of {of}",
    page_back: "The page before",
    page_on: "The next page",
    pause: "Stop updating",
    go_on: "Go on updating",
    fresh: "Looked at {at}",
    stopped: "Stopped at {at}",
    lost: "No connection since {at}: what is shown may be old.",
}
