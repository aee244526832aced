//! Letters: sent aside, one after the other of a bounded queue, and what became of each.
//!
//! A request hands letters over and goes on; it may wait a moment for the outcome. What a letter says is
//! kept nowhere, as it holds a secret: what waits when the process ends is not sent, and its link can be
//! made anew. To whom letters about a competition went, and what became of them, stands in the database
//! ([`book`] writes it), the same at every service; a list that cannot be written keeps no letter from
//! going. The log names no address and no secret. What it does not do: decide who is written to, or say
//! what a letter says.

mod book;

pub use crate::store::letters::Outcome;

use crate::app::{Clock, Keys};
use crate::config::{Mail, Patience};
use crate::rules::people::fold_name;
use crate::store::Store;
use crate::store::letters::NewLetter;
use crate::words::Sentence;
use book::{Book, News, Slip};
use futures_util::{StreamExt, stream};
use jiff::Timestamp;
use lettre::message::Mailbox;
use lettre::message::header::{ContentType, HeaderName, HeaderValue};
use lettre::transport::smtp::PoolConfig;
use lettre::{Address, AsyncSmtpTransport, AsyncTransport, Message, Tokio1Executor};
use std::sync::Arc;
use std::time::{Duration, SystemTime};
use tokio::sync::{mpsc, watch};
use tokio_util::sync::CancellationToken;

/// Letters that may wait: the gyms of the largest competitions.
const QUEUE: usize = 2_000;
/// Letters sent at once.
const AT_ONCE: usize = 4;
/// How long what waits may still be sent once the process is told to stop.
const LAST: Duration = Duration::from_secs(5);

/// A letter.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Letter {
    /// The competition it is about; empty: none, and it is listed nowhere.
    pub competition: String,
    /// One address.
    pub to: String,
    /// One line.
    pub subject: String,
    /// Plain text.
    pub text: String,
}

/// A letter that was handed over.
#[derive(Debug)]
pub struct Handed {
    listed: bool,
    news: watch::Receiver<News>,
}

impl Handed {
    /// Whether the list of its competition's letters has it for certain; of one about none there is no list.
    #[must_use]
    pub fn is_listed(&self) -> bool {
        self.listed
    }

    /// What became of it, waited for at most so long: until the list says so too.
    pub async fn outcome(mut self, at_most: Duration) -> Outcome {
        let written = async { self.news.wait_for(|news| news.written).await.map(drop) };
        // Late, or of an office that has ended: what is known by then.
        let _ = tokio::time::timeout(at_most, written).await;
        self.news.borrow().outcome.clone()
    }
}

/// Where letters are handed over; without a mail server nothing is. Cheap to clone.
#[derive(Clone, Default)]
pub struct Post(Option<Arc<Office>>);

struct Office {
    queue: mpsc::Sender<(Slip, Letter)>,
    book: Arc<Book>,
    store: Store,
    clock: Clock,
    keys: Keys,
}

impl Post {
    /// Starts sending by the server that `mail` names, until `stop`. The future is to be run.
    ///
    /// # Errors
    /// When the server's or the sender's address is none.
    pub fn start(
        mail: &Mail,
        store: Store,
        clock: Clock,
        keys: Keys,
        stop: CancellationToken,
    ) -> Result<(Self, impl Future<Output = ()> + Send + 'static), Sentence> {
        let (queue, letters) = mpsc::channel(QUEUE);
        let book = Arc::new(Book::default());
        let sender = Sender {
            transport: transport(&mail.url)?,
            from: from(mail)?,
            patience: mail.patience.clone(),
            book: Arc::clone(&book),
            clock: clock.clone(),
            keys: keys.clone(),
            stop,
        };
        let (kept, written, now) = (Arc::clone(&book), store.clone(), clock.clone());
        let work = async move {
            let ended = CancellationToken::new();
            let sending = async {
                sender.run(letters).await;
                ended.cancel();
            };
            tokio::join!(sending, kept.keep(&written, &now, &ended));
        };
        let office = Office { queue, book, store, clock, keys };
        Ok((Self(Some(Arc::new(office))), work))
    }

    /// Whether letters can be sent.
    #[must_use]
    pub fn is_there(&self) -> bool {
        self.0.is_some()
    }

    /// Hands a letter over. `None`: there is no mail server.
    pub async fn send(&self, letter: Letter) -> Option<Handed> {
        self.send_all(vec![letter]).await?.pop()
    }

    /// Hands letters over, which are listed together. `None`: there is no mail server.
    pub async fn send_all(&self, letters: Vec<Letter>) -> Option<Vec<Handed>> {
        Some(self.0.as_ref()?.take(letters).await)
    }
}

impl Office {
    /// Lists letters, and gives them to who sends them: whether they are listed or not.
    async fn take(&self, letters: Vec<Letter>) -> Vec<Handed> {
        // Drawn, so that a number that was erased never comes again: an outcome finds its own letter or none.
        let first = self.keys.bytes().iter().take(7).fold(0_i64, |number, byte| (number << 8) | i64::from(*byte));
        let numbered = || letters.iter().zip(first..).filter(|(letter, _)| !letter.competition.is_empty());
        let new = |(letter, id): (&Letter, i64)| NewLetter {
            id,
            competition: letter.competition.clone(),
            folded_email: fold_name(&letter.to),
        };
        let listed = self.list(numbered().map(new).collect()).await;
        let hand = |(letter, id): (Letter, i64)| {
            let (news, handed) = watch::channel(News::default());
            let slip = self.book.open((!letter.competition.is_empty()).then_some(id), news);
            if let Err(full) = self.queue.try_send((slip, letter)) {
                self.book.note(full.into_inner().0, Outcome::Failed(Sentence::new("mail_full")));
            }
            Handed { listed, news: handed }
        };
        letters.into_iter().zip(first..).map(hand).collect()
    }

    /// Whether these are listed now.
    async fn list(&self, letters: Vec<NewLetter>) -> bool {
        if letters.is_empty() {
            return true;
        }
        let all = letters.len();
        let written = self.store.add_letters(letters, self.clock.now()).await;
        if let Err(error) = &written {
            tracing::warn!(target: "mail", %error, letters = all, "letters go that the list may not have");
        }
        written.is_ok()
    }
}

/// Whether letters can be sent with these settings.
pub fn check(mail: &Mail) -> Result<(), Sentence> {
    transport(&mail.url)?;
    from(mail).map(drop)
}

fn from(mail: &Mail) -> Result<Mailbox, Sentence> {
    mail.from.parse().map_err(|_| Sentence::new("mail_from").with("from", &mail.from))
}

/// The connection; the address is a secret and never told.
fn transport(url: &str) -> Result<AsyncSmtpTransport<Tokio1Executor>, Sentence> {
    let wrong = || Sentence::new("mail_url");
    if !url.starts_with("smtp://") && !url.starts_with("smtps://") {
        return Err(wrong());
    }
    let builder = AsyncSmtpTransport::<Tokio1Executor>::from_url(&secured(url)).map_err(|_| wrong())?;
    let pool = PoolConfig::new().max_size(u32::try_from(AT_ONCE).unwrap_or(1)).idle_timeout(Duration::from_secs(20));
    Ok(builder.pool_config(pool).build())
}

/// The same address; beyond this machine never without TLS, unless it says how.
fn secured(url: &str) -> String {
    let Some(rest) = url.strip_prefix("smtp://").filter(|rest| !rest.contains("tls=")) else { return url.to_owned() };
    let authority = rest.split(['/', '?']).next().unwrap_or_default();
    let host = authority.rsplit('@').next().unwrap_or_default();
    let here = ["localhost", "127.0.0.1", "[::1]"]
        .iter()
        .any(|own| host.strip_prefix(own).is_some_and(|port| port.is_empty() || port.starts_with(':')));
    match (here, rest.contains('?')) {
        (true, _) => url.to_owned(),
        (false, true) => format!("{url}&tls=required"),
        (false, false) => format!("{url}?tls=required"),
    }
}

/// One address, one line of subject, plain text: nothing of a name or a title becomes a header.
fn message(from: &Mailbox, letter: &Letter, at: Timestamp, id: &str) -> Result<Message, Sentence> {
    let to: Address = letter.to.parse().map_err(|_| Sentence::new("mail_address"))?;
    let one_line: String = letter.subject.chars().map(|c| if c.is_control() { ' ' } else { c }).collect();
    let by_program = HeaderName::new_from_ascii_str("Auto-Submitted");
    Message::builder()
        .from(from.clone())
        .to(Mailbox::new(None, to))
        .date(SystemTime::UNIX_EPOCH + Duration::from_secs(u64::try_from(at.as_second()).unwrap_or(0)))
        .message_id(Some(format!("<{id}@{}>", from.email.domain())))
        .subject(one_line)
        .raw_header(HeaderValue::new(by_program, "auto-generated".to_owned()))
        .header(ContentType::TEXT_PLAIN)
        .body(letter.text.clone())
        .map_err(|_| Sentence::new("mail_address"))
}

struct Sender {
    transport: AsyncSmtpTransport<Tokio1Executor>,
    from: Mailbox,
    patience: Patience,
    book: Arc<Book>,
    clock: Clock,
    keys: Keys,
    stop: CancellationToken,
}

impl Sender {
    async fn run(self, letters: mpsc::Receiver<(Slip, Letter)>) {
        let (sender, stop) = (&self, &self.stop);
        let queue = stream::unfold(letters, |mut letters| async move {
            let next = tokio::select! {
                biased;
                () = stop.cancelled() => {
                    letters.close();
                    letters.recv().await
                }
                next = letters.recv() => next,
            };
            next.map(|letter| (letter, letters))
        });
        let work = queue.for_each_concurrent(AT_ONCE, |(slip, letter)| async move {
            sender.book.note(slip, sender.deliver(&letter).await);
        });
        tokio::select! {
            () = work => {}
            () = async { stop.cancelled().await; tokio::time::sleep(LAST).await } => {}
        }
    }

    /// Sends a letter, again where it may help.
    async fn deliver(&self, letter: &Letter) -> Outcome {
        let id = hex::encode(&self.keys.bytes()[..16]);
        let message = match message(&self.from, letter, self.clock.now(), &id) {
            Ok(message) => message,
            Err(why) => return Outcome::Failed(why),
        };
        let mut again = self.patience.again.iter();
        loop {
            let (why, may_help) =
                match tokio::time::timeout(self.patience.each, self.transport.send(message.clone())).await {
                    Ok(Ok(_)) => return Outcome::Sent,
                    Ok(Err(error)) => match error.status() {
                        Some(code) => (Sentence::new("mail_refused").with("code", code), error.is_transient()),
                        None => (Sentence::new("mail_unreachable"), true),
                    },
                    Err(_) => (Sentence::new("mail_slow"), true),
                };
            let Some(wait) = again.next().filter(|_| may_help && !self.stop.is_cancelled()) else {
                tracing::warn!(target: "mail", why = %why.code, "a letter was not sent");
                return Outcome::Failed(why);
            };
            tokio::select! {
                () = tokio::time::sleep(*wait) => {}
                () = self.stop.cancelled() => {}
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn written(to: &str, subject: &str, text: &str) -> Result<String, Sentence> {
        let letter = Letter { competition: "c".into(), to: to.into(), subject: subject.into(), text: text.into() };
        let from: Mailbox = "Scores <scores@example.org>".parse().expect("an address");
        let message = message(&from, &letter, Timestamp::UNIX_EPOCH, "abc")?;
        Ok(String::from_utf8(message.formatted()).expect("ASCII"))
    }

    #[test]
    fn nothing_of_a_subject_or_a_text_becomes_a_header() {
        for break_in in
            ["x\r\nBcc: all@example.org", "x\nBcc: all@example.org", "x\u{85}Bcc: a@b.example", "\r\n\r\nhello"]
        {
            let said = written("ines@example.org", break_in, "Bcc: all@example.org\r\n.\r\nQUIT").expect("a letter");
            let (head, body) = said.split_once("\r\n\r\n").expect("a head");
            assert!(!head.lines().any(|line| line.to_lowercase().starts_with("bcc")), "{head}");
            assert_eq!(head.matches("Subject:").count(), 1);
            assert!(body.contains("Bcc: all"), "the text is the text: {body}");
        }
        for to in
            ["a@example.org\r\nBcc: b@example.org", "a@example.org, b@example.org", "a", "<a@b.example>, <c@d.example>"]
        {
            assert_eq!(written(to, "x", "y").unwrap_err().code, "mail_address", "{to:?}");
        }
    }

    #[test]
    fn names_in_any_script_arrive_as_written() {
        let said = written("ines@example.org", "Käthe Œ שלום", "Grüße").expect("a letter");
        assert!(
            said.is_ascii() && said.contains("Subject: =?utf-8?") && said.contains("Auto-Submitted: auto-generated")
        );
    }

    #[test]
    fn beyond_this_machine_a_password_is_not_sent_in_clear() {
        assert_eq!(secured("smtp://mail.example"), "smtp://mail.example?tls=required");
        assert_eq!(secured("smtp://u:p@mail.example:587/?a=b"), "smtp://u:p@mail.example:587/?a=b&tls=required");
        for as_it_is in
            ["smtp://127.0.0.1:2525", "smtp://localhost", "smtps://mail.example", "smtp://a?tls=opportunistic"]
        {
            assert_eq!(secured(as_it_is), as_it_is);
        }
        assert_eq!(secured("smtp://localhost.example"), "smtp://localhost.example?tls=required");
        assert!(transport("http://mail.example").is_err() && transport("smtp://").is_err());
    }
}
