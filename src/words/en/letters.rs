//! What letters say, and the page that tells what became of them.

texts! {
    /// Every text about letters in one language.
    Letters, LETTERS:
    invite_button: "Mail the sign-ins",
    invite_about: "Each contact gets the link by e-mail. What could not be sent is listed below.",
    invite_done: "{n} letters are on their way. What became of each stands below.",
    invite_nobody: "Nobody needs a letter: all contacts have a sign-in, or no e-mail.",
    link_sent: "Mailed to {email}.",
    link_waiting: "On its way to {email}. What became of it stands below.",
    link_failed: "Not mailed to {email}. {why}",
    link_unseen: "This account has a password of its own, so the link is shown to nobody: only its owner gets it, by e-mail.",
    title: "Letters",
    caption: "Letters since the service was started",
    when: "When",
    outcome: "What became of it",
    sent: "taken by the mail server",
    waiting: "on its way",
    subject: "Your sign-in for {competition}",
    gym_text: "Hello {name},\n\nthis is the sign-in of {gym} for {competition}:\n\n{link}\n\nIt works once, until {until}. Set a password on the page that follows, to come back without a link. The desk, where you enter your athletes' results, is then one step away.\n\nYou did not expect this letter? Then leave it: nothing happens without the link.\n",
    service_subject: "Your sign-in",
    service_text: "Hello,\n\nthis is your sign-in at {service}:\n\n{link}\n\nIt works once, until {until}. Set a password on the page that follows, to come back without a link. If you have forgotten yours, you can set a new one there within 15 minutes.\n\nYou did not expect this letter? Then leave it: nothing happens without the link.\n",
    forgotten_subject: "A new password",
    forgotten_text: "Hello,\n\nsomebody, most likely you, has asked at {service} for a way to a new password. This is it:\n\n{link}\n\nIt works once, until {until}. It signs you in; set the new password on the page that follows, within 15 minutes.\n\nYou did not ask for it? Then leave this letter: nothing changes without the link.\n",
    text: "Hello,\n\nthis is your sign-in for {competition}:\n\n{link}\n\nIt works once, until {until}. Set a password on the page that follows, to come back without a link. If you have forgotten yours, you can set a new one there within 15 minutes.\n\nYou did not expect this letter? Then leave it: nothing happens without the link.\n",
}
