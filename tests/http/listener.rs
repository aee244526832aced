//! The listener, by real sockets: what it does with heads that do not come, with connections that
//! wait, with readers that do not read, with too many at once, and at the end.

use crate::support::TestApp;
use axum::Router;
use axum::extract::ConnectInfo;
use axum::routing::get;
use serde_json::json;
use std::fmt::Write as _;
use std::net::{Ipv4Addr, SocketAddr};
use std::sync::Arc;
use std::time::{Duration, Instant};
use tallywright::actions::accounts::issue_token;
use tallywright::rules::access::Actor;
use tallywright::web::listen::{Patience, serve};
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::{TcpListener, TcpSocket, TcpStream};
use tokio::sync::Notify;
use tokio::task::JoinHandle;
use tokio_util::sync::CancellationToken;

/// Long enough for anything on a loaded machine.
const LONG: Duration = Duration::from_secs(20);
const SOON: Duration = Duration::from_millis(400);
/// Times short enough to be waited for.
const SHORT: Patience = Patience { connections: 10_000, head: SOON, stalled: SOON, answer: LONG };

struct Served {
    at: SocketAddr,
    stop: CancellationToken,
    task: JoinHandle<()>,
}

impl Served {
    async fn new(router: Router, patience: Patience) -> Self {
        Self::on(TcpListener::bind(("127.0.0.1", 0)).await.unwrap(), router, patience)
    }

    fn on(listener: TcpListener, router: Router, patience: Patience) -> Self {
        let (at, stop) = (listener.local_addr().unwrap(), CancellationToken::new());
        let task = tokio::spawn(serve(listener, router, patience, stop.clone().cancelled_owned()));
        Self { at, stop, task }
    }

    async fn connect(&self) -> TcpStream {
        TcpStream::connect(self.at).await.unwrap()
    }

    async fn connect_and_send(&self, head: &str) -> TcpStream {
        let mut stream = self.connect().await;
        stream.write_all(head.as_bytes()).await.unwrap();
        stream
    }

    /// Asks once and reads until the service closes.
    async fn ask(&self, path: &str) -> String {
        let head = format!("GET {path} HTTP/1.1\r\nhost: a\r\nconnection: close\r\n\r\n");
        rest(&mut self.connect_and_send(&head).await).await
    }
}

/// All that comes until the other side closes.
async fn rest(stream: &mut TcpStream) -> String {
    let mut bytes = Vec::new();
    // A reset is an end as well.
    let _ = tokio::time::timeout(LONG, stream.read_to_end(&mut bytes)).await.expect("the service closes");
    String::from_utf8_lossy(&bytes).into_owned()
}

fn small() -> Router {
    Router::new()
        .route("/", get(|ConnectInfo(peer): ConnectInfo<SocketAddr>| async move { peer.ip().to_string() }))
        .route("/large", get(|| async { vec![b'x'; 64 << 20] }))
}

#[tokio::test]
async fn a_handler_is_told_who_is_at_the_other_end() {
    let served = Served::new(small(), Patience::default()).await;
    assert!(served.ask("/").await.ends_with("127.0.0.1"));
}

#[tokio::test]
async fn a_head_that_does_not_come_is_not_waited_for() {
    let served = Served::new(small(), SHORT).await;
    assert_eq!(rest(&mut served.connect().await).await, "", "nothing was sent");
    let mut half = served.connect_and_send("GET / HTTP/1.1\r\nhost: a\r\nx-long: ").await;
    rest(&mut half).await;
    let mut idle = served.connect_and_send("GET / HTTP/1.1\r\nhost: a\r\n\r\n").await;
    assert!(rest(&mut idle).await.contains("127.0.0.1"), "answered, then closed while it waited for the next");
}

#[tokio::test]
async fn a_reader_who_does_not_read_is_let_go() {
    let served = Served::new(small(), SHORT).await;
    let mut stalled = served.connect_and_send("GET /large HTTP/1.1\r\nhost: a\r\n\r\n").await;
    tokio::time::sleep(SHORT.stalled * 4).await;
    let got = rest(&mut stalled).await.len();
    assert!(got < 64 << 20, "{got}");
}

/// Who takes a little now and then is let go as well: all of the answer is kept for them.
#[tokio::test]
async fn a_reader_who_never_comes_to_the_end_is_let_go() {
    let served = Served::new(small(), Patience { stalled: LONG, answer: SOON * 2, ..SHORT }).await;
    let mut slow = served.connect_and_send("GET /large HTTP/1.1\r\nhost: a\r\n\r\n").await;
    let mut few = [0; 1_000];
    let began = Instant::now();
    while tokio::time::timeout(LONG, slow.read(&mut few)).await.expect("an end").is_ok_and(|got| got > 0) {
        // What is on its way already comes to the end on its own.
        if began.elapsed() < SOON * 4 {
            tokio::time::sleep(Duration::from_millis(10)).await;
        }
        assert!(began.elapsed() < LONG, "it goes on for ever");
    }
    // Whoever asks again in time is served for as long as they like.
    let mut stream = served.connect().await;
    for _ in 0..8 {
        stream.write_all(b"GET / HTTP/1.1\r\nhost: a\r\n\r\n").await.unwrap();
        let got = tokio::time::timeout(LONG, stream.read(&mut few)).await.expect("answered").unwrap();
        assert!(String::from_utf8_lossy(&few[..got]).starts_with("HTTP/1.1 200"));
        tokio::time::sleep(SOON / 2).await;
    }
}

/// An answer takes its room until the last of it is with the machine, not until it was handed over to be sent.
#[tokio::test(flavor = "multi_thread")]
async fn answers_that_nobody_takes_are_counted_until_their_connections_end() {
    let app = TestApp::empty().await;
    let large = Router::new().route("/api/large", get(|| async { vec![b'x'; 16 << 20] }));
    let large = large.route("/api/fine", get(|| async { "fine" }));
    let patience = Patience { stalled: LONG * 10, answer: LONG * 10, ..Patience::of_this_process() };
    let served = Served::new(tallywright::web::behind_layers(app.app.clone(), large), patience).await;
    let mut held = Vec::new();
    loop {
        assert!(held.len() < 200, "there is an end to what is kept");
        let mut stream = served.connect_and_send("GET /api/large HTTP/1.1\r\nhost: a\r\n\r\n").await;
        let mut begun = [0; 12];
        tokio::time::timeout(LONG, stream.read_exact(&mut begun)).await.expect("answered").unwrap();
        match &begun {
            b"HTTP/1.1 200" => held.push(stream),
            told => {
                assert_eq!(String::from_utf8_lossy(told), "HTTP/1.1 503");
                break;
            }
        }
    }
    assert!(held.len() >= 16, "{}", held.len());
    assert!(served.ask("/api/fine").await.ends_with("fine"));
    drop(held);
    let began = Instant::now();
    while !served.ask("/api/large").await.starts_with("HTTP/1.1 200") {
        assert!(began.elapsed() < LONG, "there is room again");
    }
}

#[tokio::test]
async fn two_thousand_idle_and_five_hundred_slow_connections_stop_nobody() {
    let app = TestApp::new().await;
    let served = Served::new(app.router(), Patience::of_this_process()).await;
    let mut held = Vec::new();
    for n in 0..2_500 {
        let slow = if n % 5 == 0 { "GET / HTTP/1.1\r\nhost: a\r\nx-slow: 1" } else { "" };
        held.push(served.connect_and_send(slow).await);
    }
    for _ in 0..5 {
        let page = tokio::time::timeout(LONG, served.ask("/c/saltmarsh")).await.expect("answered");
        assert!(page.starts_with("HTTP/1.1 200"), "{page}");
    }
    drop(held);
}

/// Who asks for a large page and reads a few bytes of it a second. The service has no room to write ahead into, so that
/// it waits for each of them.
#[tokio::test(flavor = "multi_thread")]
async fn five_hundred_who_read_slowly_beside_two_thousand_idle_connections_stop_nobody() {
    // Bytes that the machine keeps of an answer on its way, as far as it lets itself be told.
    const KEPT: u32 = 4 << 10;
    let app = TestApp::new().await;
    let mut people = "bib,name,born,category,division,gym\n".to_owned();
    (0..500).for_each(|n| writeln!(people, "{},Runner {n},1995-02-03,women,women,quayside", 3_000 + n).unwrap());
    let entries = "/api/v1/competitions/saltmarsh/entries";
    app.organiser().await.post(entries).csv(&people).await.expect(200);
    let socket = TcpSocket::new_v4().unwrap();
    socket.set_send_buffer_size(KEPT).unwrap();
    socket.bind((Ipv4Addr::LOCALHOST, 0).into()).unwrap();
    // They read on in the end.
    let patience = Patience { stalled: LONG * 10, ..Patience::of_this_process() };
    let served = Served::on(socket.listen(1_024).unwrap(), app.router(), patience);
    let page = "/api/v1/competitions/saltmarsh/divisions/women/standings?limit=500";
    let whole = served.ask(page).await.len();
    assert!(whole > 100_000, "large: {whole}");
    let mut idle = Vec::new();
    for _ in 0..2_000 {
        idle.push(served.connect().await);
    }
    let mut slow = Vec::new();
    for _ in 0..500 {
        let socket = TcpSocket::new_v4().unwrap();
        socket.set_recv_buffer_size(KEPT).unwrap();
        let mut stream = socket.connect(served.at).await.unwrap();
        let head = format!("GET {page} HTTP/1.1\r\nhost: a\r\nconnection: close\r\n\r\n");
        stream.write_all(head.as_bytes()).await.unwrap();
        slow.push((stream, 0));
    }
    let staff = app.staff_of("quayside").await;
    for round in 0..5_u32 {
        for (stream, got) in &mut slow {
            let mut few = [0; 16];
            *got += tokio::time::timeout(LONG, stream.read(&mut few)).await.expect("it is answered").unwrap();
        }
        let page = tokio::time::timeout(LONG, served.ask("/c/saltmarsh/divisions/women")).await.expect("answered");
        assert!(page.starts_with("HTTP/1.1 200"), "{page}");
        let score = json!({ "performance": format!("6+{round} tb 11:24") });
        let path = format!("/api/v1/competitions/saltmarsh/workouts/w1/scores/{}", 3_000 + round);
        let stored = tokio::time::timeout(LONG, async { staff.put(&path).json(score).await });
        stored.await.expect("answered").expect(201);
        tokio::time::sleep(Duration::from_secs(1)).await;
    }
    for (mut stream, got) in slow.into_iter().step_by(50) {
        assert!(got > 0, "each is answered");
        // What there was no room for waits at the service: all of it comes, once it is read.
        assert_eq!(got + rest(&mut stream).await.len(), whole);
    }
    drop(idle);
}

#[tokio::test]
async fn more_connections_than_there_is_room_for_wait_until_one_ends() {
    let served = Served::new(small(), Patience { connections: 3, ..Patience::default() }).await;
    let mut held = Vec::new();
    for _ in 0..3 {
        held.push(served.connect_and_send("GET / HTTP/1.1\r\n").await);
    }
    // The three must have been accepted before the fourth comes: it is in line behind them.
    let late = served.ask("/");
    tokio::pin!(late);
    assert!(tokio::time::timeout(Duration::from_millis(300), &mut late).await.is_err(), "no room");
    held.pop();
    assert!(tokio::time::timeout(LONG, late).await.expect("room").ends_with("127.0.0.1"));
}

#[tokio::test]
async fn told_to_stop_it_answers_what_is_in_flight_and_takes_nothing_new() {
    let (asked, go) = (Arc::new(Notify::new()), Arc::new(Notify::new()));
    let (told, wait) = (Arc::clone(&asked), Arc::clone(&go));
    let slow = move || async move {
        told.notify_one();
        wait.notified().await;
        "done"
    };
    let served = Served::new(Router::new().route("/slow", get(slow)), Patience::default()).await;
    let mut idle = served.connect().await;
    let mut busy = served.connect_and_send("GET /slow HTTP/1.1\r\nhost: a\r\n\r\n").await;
    asked.notified().await;
    served.stop.cancel();
    assert_eq!(rest(&mut idle).await, "", "an idle connection is closed at once");
    assert!(!served.task.is_finished());
    go.notify_one();
    assert!(rest(&mut busy).await.ends_with("done"));
    tokio::time::timeout(LONG, served.task).await.expect("it ends").unwrap();
    assert!(TcpStream::connect(served.at).await.is_err());
}

#[tokio::test]
async fn five_hundred_bodies_that_do_not_come_stop_nobody() {
    let app = TestApp::new().await;
    let served = Served::new(app.router(), Patience::of_this_process()).await;
    let staff = app.staff_of("quayside").await;
    let token = issue_token(&app.app, &Actor::operator(), Some("staff.quayside@example.org"), "slow", 90)
        .await
        .expect("issued");
    let begun = format!(
        "PUT /api/v1/competitions/saltmarsh/workouts/w1/scores/1042 HTTP/1.1\r\nhost: a\r\nauthorization: Bearer {}\r\ncontent-type: application/json\r\ncontent-length: 100\r\n\r\n{{",
        token.secret
    );
    let mut held = Vec::new();
    for _ in 0..500 {
        held.push(served.connect_and_send(&begun).await);
    }
    let page = tokio::time::timeout(LONG, served.ask("/c/saltmarsh")).await.expect("answered");
    assert!(page.starts_with("HTTP/1.1 200"), "{page}");
    let score = staff.put("/api/v1/competitions/saltmarsh/workouts/w1/scores/1042");
    score.json(json!({ "performance": "6+14 tb 11:24" })).await.expect(201);
    // They are not waited for for ever.
    let answer = rest(&mut held.pop().unwrap()).await;
    assert!(answer.contains("too_slow_body"), "{answer}");
}

/// RFC 6585, section 5.
#[tokio::test]
async fn a_head_that_is_too_large_is_refused_before_it_is_read() {
    let served = Served::new(small(), SHORT).await;
    let fine = format!("GET / HTTP/1.1\r\nhost: a\r\nconnection: close\r\nx-long: {}\r\n\r\n", "x".repeat(16 << 10));
    assert!(rest(&mut served.connect_and_send(&fine).await).await.starts_with("HTTP/1.1 200"));
    let large = format!("GET / HTTP/1.1\r\nhost: a\r\nx-long: {}", "x".repeat(64 << 10));
    let told = rest(&mut served.connect_and_send(&large).await).await;
    assert!(told.is_empty() || told.starts_with("HTTP/1.1 431"), "{told}");
}

/// RFC 9112, section 6.3: a body of two lengths, or in a coding whose end nobody can tell, is refused, so
/// that nothing in it is taken for another request.
#[tokio::test]
async fn a_message_whose_end_is_in_doubt_is_refused() {
    let served = Served::new(small(), SHORT).await;
    for doubt in [
        "content-length: 3\r\ncontent-length: 40",
        "transfer-encoding: gzip",
        "content-length: +3",
        "content-length: 3, 40",
    ] {
        let head = format!("POST / HTTP/1.1\r\nhost: a\r\n{doubt}\r\n\r\nGET / HTTP/1.1\r\nhost: a\r\n\r\n");
        let told = rest(&mut served.connect_and_send(&head).await).await;
        assert!(told.starts_with("HTTP/1.1 400") && told.matches("HTTP/1.1").count() == 1, "{doubt}: {told}");
    }
}
