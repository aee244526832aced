//! What the page says on which a competition is made.

texts! {
    /// Every text of the page in one language.
    NewCompetition, NEW_COMPETITION:
    link: "Make a competition",
    title: "Make a competition",
    about: "A competition is one text: its divisions, workouts, windows and loads. Take the example, write your own into it, and look at what it makes before anything is stored.",
    example: "An example to begin with",
    there_already: "A competition of this name in addresses (slug) is there already. Choose another slug, or change that competition on its own page.",
    created: "The competition is there. Next: its gyms, its judges, its entries; then sign-ins for the gyms.",
}
