//! More is sent at once than the service takes: what there is no room for is refused before it takes memory. Measured at
//! the real process, whose peak the system keeps, against what follows from the bounds that `README.md` names; twice of
//! it, for whoever works with something has it more than once, and an allocator keeps a part of what it was given back.

use crate::field::{FILE, Field, SLUG};
use crate::service::{Service, free};
use crate::{check, pause, until};
use std::fmt::Write;
use std::net::SocketAddr;
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::{TcpSocket, TcpStream};
use tokio::sync::Semaphore;
use tokio::task::JoinSet;

/// Of `src/web/limits.rs`: how many changes are let in at once, how large a small body is, and what the others may make
/// up, in KiB.
const CHANGES: usize = 768;
const SMALL: usize = 64;
const BODIES: usize = 256 << 10;
/// The largest body, in KiB.
const LARGEST: usize = 4 << 10;
/// Of `src/web/sending.rs`: what answers on their way may make up, in KiB.
const ANSWERS: usize = 320 << 10;
/// Of `src/store/log.rs`: what the records of one page may make up, in bytes.
const A_PAGE: usize = 4 << 20;
/// Of `src/web/listen.rs`: what a connection keeps before anybody has read it, in KiB.
const HEAD: usize = 32;

/// Many who send at once, and whose last byte does not come.
struct Crowd {
    told: Arc<Told>,
    _all: JoinSet<()>,
}

#[derive(Default)]
struct Told {
    sent: AtomicUsize,
    answered: AtomicUsize,
    refused: AtomicUsize,
}

impl Crowd {
    /// `body`: without that byte.
    fn send(at: SocketAddr, many: usize, head: &str, body: &[u8]) -> Self {
        let (told, message) = (Arc::new(Told::default()), Arc::new([head.as_bytes(), body].concat()));
        let mut all = JoinSet::new();
        for _ in 0..many {
            all.spawn(send(at, Arc::clone(&message), Arc::clone(&told)));
        }
        Self { told, _all: all }
    }

    fn sent(&self) -> usize {
        self.told.sent.load(Ordering::SeqCst)
    }

    fn answered(&self) -> usize {
        self.told.answered.load(Ordering::SeqCst)
    }

    fn refused(&self) -> usize {
        self.told.refused.load(Ordering::SeqCst)
    }
}

async fn send(at: SocketAddr, message: Arc<Vec<u8>>, told: Arc<Told>) {
    let mut stream = TcpStream::connect(at).await.expect("a connection");
    let (mut from, mut to) = stream.split();
    let sending = async {
        // Whoever is refused is not listened to any longer.
        let _ = to.write_all(&message).await;
        told.sent.fetch_add(1, Ordering::SeqCst);
        std::future::pending::<()>().await;
    };
    let mut begun = [0; 12];
    tokio::select! {
        read = from.read_exact(&mut begun) => {
            let refused = read.is_ok() && &begun == b"HTTP/1.1 503";
            told.refused.fetch_add(usize::from(refused), Ordering::SeqCst);
            told.answered.fetch_add(1, Ordering::SeqCst);
        }
        () = sending => {}
    }
}

/// The head of a request with a body of so many bytes.
fn head(field: &Field, what: &str, kind: &str, bytes: usize) -> String {
    let token = &field.token;
    format!(
        "{what} HTTP/1.1\r\nhost: a\r\nauthorization: Bearer {token}\r\ncontent-type: {kind}\r\ncontent-length: {bytes}\r\n\r\n"
    )
}

/// Its peak so far, after it has done a little of everything.
fn warm(service: &Service) -> usize {
    tokio::task::block_in_place(|| {
        for path in ["/c/harbour/divisions/women", "/c/harbour", "/readyz"] {
            assert!(check::is_ok(&check::raw(service.at, path).0), "{path}");
        }
    });
    service.peak_kib()
}

/// Serves still, and has grown by less than that.
fn holds(service: &mut Service, before: usize, most: usize) {
    let grown = service.peak_kib() - before;
    println!("grown by {grown} KiB of {most}");
    assert!(service.runs(), "it stays up");
    let read = tokio::task::block_in_place(|| check::raw(service.at, "/c/harbour/divisions/women").0);
    assert!(check::is_ok(&read), "{read}");
    assert!(grown < most, "grown by {grown} KiB, and {most} would be too much");
}

#[tokio::test(flavor = "multi_thread")]
async fn thousands_of_changes_at_once_take_the_memory_of_those_that_are_let_in() {
    let open = rlimit::increase_nofile_limit(8_192).expect("a limit");
    let many = usize::try_from(open.saturating_sub(1_024)).expect("a few").min(5_000);
    assert!(many >= 2 * CHANGES, "the tests may open {open} files: raise that, as by ulimit -n 8192");
    let field = Field::new();
    let mut service = Service::start(&field, free());
    let before = warm(&service);
    let body = vec![b' '; (SMALL << 10) - 1];
    let score = format!("PUT /api/v1/competitions/{SLUG}/workouts/w1/scores/1");
    let head = head(&field, &score, "application/json", body.len() + 1);
    let crowd = Crowd::send(service.at, many, &head, &body);
    until("all others are refused", async || crowd.answered() + CHANGES >= many).await;
    assert!(crowd.refused() > many / 4, "{} of {many}", crowd.refused());
    // As all of these bodies alone would take more, and each that is let in is worked with.
    holds(&mut service, before, (CHANGES * SMALL + many * HEAD) * 3 / 2);
}

#[tokio::test(flavor = "multi_thread")]
async fn hundreds_of_large_files_at_once_take_the_memory_that_bodies_may_make_up() {
    const MANY: usize = 400;
    let field = Field::new();
    let mut service = Service::start(&field, free());
    let before = warm(&service);
    let body = vec![b'x'; (LARGEST << 10) - 1];
    let file = format!("POST /api/v1/competitions/{SLUG}/workouts/w1/scores");
    let head = head(&field, &file, "text/csv", body.len() + 1);
    let crowd = Crowd::send(service.at, MANY, &head, &body);
    let let_in = BODIES / LARGEST;
    until("all others are refused", async || crowd.answered() + let_in >= MANY && crowd.sent() >= let_in).await;
    pause(500).await;
    assert!(crowd.refused() > MANY / 4, "{} of {MANY}", crowd.refused());
    holds(&mut service, before, 2 * BODIES);
}

/// A file of rows none of which is taken, whole: what became of each is as large again, and nobody takes it.
#[tokio::test(flavor = "multi_thread")]
async fn hundreds_of_large_files_with_bad_rows_take_the_memory_of_those_that_are_at_work() {
    const MANY: usize = 200;
    let field = Field::new();
    let mut service = Service::start(&field, free());
    let before = warm(&service);
    let row = format!("9999999,12,{}\n", "The camera stood too low. ".repeat(30));
    let mut body = "bib,performance,note\n".to_owned();
    while body.len() + row.len() <= LARGEST << 10 {
        body.push_str(&row);
    }
    let file = format!("POST /api/v1/competitions/{SLUG}/workouts/w1/scores");
    let message = Arc::new(head(&field, &file, "text/csv", body.len()) + &body);
    let (turns, mut all) = (Arc::new(Semaphore::new(MANY)), JoinSet::new());
    for _ in 0..MANY {
        all.spawn(ask(service.at, Arc::clone(&message), Arc::clone(&turns)));
    }
    let told = all.join_all().await;
    let taken = told.iter().filter(|(_, begun)| begun == b"HTTP/1.1 200").count();
    println!("{taken} of {MANY} are answered");
    assert!(taken > 8 && taken < MANY, "{taken}");
    holds(&mut service, before, 2 * (BODIES + ANSWERS));
}

/// The file with standards that make it nearly as large as any may be. Nobody is told of these workouts yet.
fn large(of: u32) -> String {
    let mut file = FILE.to_owned();
    for n in 3..18 {
        let (standards, w) = (format!("Arms straight, {of}. ").repeat(3_500), format!("w{n}"));
        write!(
            file,
            "[[workout]]\nslug = \"{w}\"\ntitle = \"Later {n}\"\nformat = \"max_count\"\nmeasure = \"reps\"\ncap = \"6:00\"\n\
             opens = \"2098-01-01T19:00\"\ncloses = \"2099-01-01T21:00\"\nstandards = \"{standards}\"\n\n\
             [[workout.prescription]]\ndivisions = [\"women\", \"men\", \"guests\"]\n\n"
        )
        .expect("a text grows");
    }
    file
}

/// Somebody who asks for an answer that is larger than what the machine keeps of it, and takes nothing.
async fn ask(at: SocketAddr, head: Arc<String>, turns: Arc<Semaphore>) -> (TcpStream, [u8; 12]) {
    let _turn = turns.acquire().await.expect("open");
    let socket = TcpSocket::new_v4().expect("a socket");
    socket.set_recv_buffer_size(4 << 10).expect("a setting");
    let mut stream = socket.connect(at).await.expect("a connection");
    // Whoever is refused is not listened to any longer.
    let _ = stream.write_all(head.as_bytes()).await;
    let mut begun = [0; 12];
    // To be cut off is an answer too, to one whose file is not read to its end.
    let _ = stream.read_exact(&mut begun).await;
    (stream, begun)
}

#[tokio::test(flavor = "multi_thread")]
async fn answers_that_nobody_takes_take_the_memory_that_answers_may_make_up() {
    const MANY: usize = 280;
    let field = Field::new();
    for of in 0..5 {
        field.write("large.toml", &large(of));
        field.done(&["competition", "apply", "large.toml"]);
    }
    let one = field.done(&["log", "export", "--competition", SLUG]).len().min(A_PAGE) / 1024;
    assert!(MANY * one > 3 * ANSWERS, "{one} KiB each: all of them are more by far than there is room for");
    let mut service = Service::start(&field, free());
    let before = warm(&service);
    // Every file that was ever in force stands in the log.
    let head = Arc::new(head(&field, &format!("GET /api/v1/competitions/{SLUG}/log"), "text/plain", 0));
    let (turns, mut all) = (Arc::new(Semaphore::new(64)), JoinSet::new());
    for _ in 0..MANY {
        all.spawn(ask(service.at, Arc::clone(&head), Arc::clone(&turns)));
    }
    let told = all.join_all().await;
    let taken = told.iter().filter(|(_, begun)| begun == b"HTTP/1.1 200").count();
    let refused = told.iter().filter(|(_, begun)| begun == b"HTTP/1.1 503").count();
    println!("{taken} are answered, {refused} are told to come again");
    assert!(taken + refused == MANY && refused > 0, "{taken} and {refused}");
    holds(&mut service, before, 2 * ANSWERS);
    drop(told);
}
