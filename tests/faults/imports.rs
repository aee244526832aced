//! Commands that import on the database of a service: beside it, killed in the middle, and standing still in the middle
//! of a write. On a file and on a server alike.

use crate::field::{Field, SLUG, WORKOUTS};
use crate::load::Load;
use crate::server::Server;
use crate::service::{Service, free};
use crate::{Draw, check, pause, times, until};
use sqlx::{Connection, PgConnection, SqliteConnection};
use std::fmt::Write;
use std::process::{Child, Command, Output, Stdio};

const CLIENTS: u32 = 64;
/// Rows of a long list.
const ROWS: u32 = 3_000;

/// Runs a command that must end well, while the service stores changes as before.
fn beside(field: &Field, load: &Load, args: &[&str]) -> String {
    let before = load.changes();
    let said = tokio::task::block_in_place(|| field.done(args));
    assert!(load.changes() > before, "nothing was stored beside {args:?}");
    said
}

async fn import_beside(field: Field) {
    let service = Service::start(&field, free());
    // The clients leave these alone: half of the bibs are nobody's.
    let load = Load::start_for(service.at, &field.token, CLIENTS, |bib| bib <= 128);
    let mut rows = "bib,performance,judge\n".to_owned();
    for bib in 129..=256 {
        writeln!(rows, "{bib},{},J-{}", bib * 2, if bib % 4 < 2 { 1 } else { 2 }).expect("a text grows");
    }
    for workout in WORKOUTS {
        load.goes_on().await;
        let file = format!("{workout}.csv");
        field.write(&file, &rows);
        let said = beside(&field, &load, &["scores", "import", &file, "--competition", SLUG, "--workout", workout]);
        assert!(said.starts_with("128 taken, 0 unchanged, 0 refused"), "{said}");
        load.goes_on().await;
    }
    let mut done = load.finish().await;
    for bib in 129..=256 {
        for workout in WORKOUTS {
            done.made.insert((bib, workout), vec![u64::from(bib) * 2]);
        }
    }
    // The service looks at the log every 200 ms for what others wrote.
    pause(1_000).await;
    check::whole(&field, service.at, &done);
}

/// A list of guests, of its own bibs; the first of them.
fn long_list(field: &Field, n: u32) -> u32 {
    let first = 100_000 + n * ROWS;
    let mut rows = "bib,name,born,category,division,gym\n".to_owned();
    for bib in first..first + ROWS {
        writeln!(rows, "{bib},Guest No{bib},1990-01-01,women,guests,quayside").expect("a text grows");
    }
    field.write("entries.csv", &rows);
    first
}

const IMPORT: [&str; 5] = ["entries", "import", "entries.csv", "--competition", SLUG];

fn start(field: &Field) -> Child {
    field.command(&IMPORT).stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().expect("the program starts")
}

/// How many of a list are there, as the database has it.
async fn there(field: &Field, first: u32) -> i64 {
    let sql = "SELECT COUNT(*) FROM entries WHERE bib >= $1 AND bib < $2";
    let (first, last) = (i64::from(first), i64::from(first + ROWS));
    if field.url.starts_with("sqlite:") {
        let mut connection = SqliteConnection::connect(&field.url).await.expect("it opens");
        let count = sqlx::query_scalar(sql).bind(first).bind(last).fetch_one(&mut connection).await;
        connection.close().await.expect("it closes");
        count.expect("a number")
    } else {
        let mut connection = PgConnection::connect(&field.url).await.expect("it opens");
        sqlx::query_scalar(sql).bind(first).bind(last).fetch_one(&mut connection).await.expect("a number")
    }
}

/// What an import said: taken, unchanged.
fn counts(said: &str) -> (u32, u32) {
    let mut numbers = said.split(|c: char| !c.is_ascii_digit()).filter_map(|n| n.parse().ok());
    let counts = (numbers.next(), numbers.next(), numbers.next());
    let (Some(taken), Some(unchanged), Some(0)) = counts else { panic!("{said}") };
    (taken, unchanged)
}

/// The log has every row of these lists once.
fn is_there_once(field: &Field, lists: u32) {
    field.done(&["log", "verify"]);
    let records = check::records(field);
    let entered = records.iter().filter(|record| record["action"] == "entry_set");
    let mut bibs: Vec<u64> = entered.filter_map(|record| record["body"]["entry"]["bib"].as_u64()).collect();
    bibs.retain(|bib| *bib >= 100_000);
    bibs.sort_unstable();
    assert!(bibs.into_iter().eq(100_000..u64::from(100_000 + lists * ROWS)), "each once");
}

async fn kill_imports(field: Field, often: u32) {
    let service = Service::start(&field, free());
    let load = Load::start(service.at, &field.token, CLIENTS);
    let (mut draw, mut half) = (Draw(17), 0);
    for n in 0..often {
        load.goes_on().await;
        let first = long_list(&field, n);
        let mut import = start(&field);
        until("rows are taken in", async || there(&field, first).await > 0).await;
        pause(draw.between(0, 100)).await;
        import.kill().expect("a process of ours");
        import.wait().expect("it ends");
        load.goes_on().await;
        check::meanwhile(&field, &[service.at], &load);
        let before = there(&field, first).await;
        let (taken, unchanged) = counts(&beside(&field, &load, &IMPORT));
        assert_eq!((taken + unchanged, i64::from(unchanged)), (ROWS, before));
        half += u32::from(taken > 0);
    }
    let done = load.finish().await;
    is_there_once(&field, often);
    check::whole(&field, service.at, &done);
    println!("{often} imports killed, {half} of them half way; {} changes", done.changes());
    assert!(half > 0, "one was killed half way");
}

fn signal(process: &Child, name: &str) {
    let sent = Command::new("kill").args(["-s", name, &process.id().to_string()]).status();
    assert!(sent.expect("kill").success(), "SIG{name}");
}

/// A file has one writer at a time: one that stands still with it in hand keeps the others from writing. They are told
/// so, and read all the same.
#[tokio::test(flavor = "multi_thread")]
async fn a_command_that_stands_still_in_the_middle_of_a_write_keeps_nobody_from_reading_and_nothing_is_lost() {
    let field = Field::new();
    let mut service = Service::start(&field, free());
    let at = service.at;
    let load = Load::start(at, &field.token, CLIENTS);
    let often = times(1, 5);
    for n in 0..u32::try_from(often).expect("a few") {
        load.goes_on().await;
        let first = long_list(&field, n);
        let import = start(&field);
        until("rows are taken in", async || there(&field, first).await > 0).await;
        let busy = "Too much is going on at this moment. Nothing was stored";
        let mut caught = false;
        for _ in 0..100 {
            signal(&import, "STOP");
            pause(100).await;
            let before = load.changes();
            load.refusals();
            // What was answered before may come late; more than that, and it stands still between two writes.
            let goes_on = || load.changes() > before + CLIENTS as usize;
            until("something is stored, or told to come again", async || {
                goes_on() || load.refusals().iter().any(|why| why.contains(busy))
            })
            .await;
            // It may have been told of what was before.
            pause(700).await;
            caught = !goes_on();
            if caught {
                break;
            }
            signal(&import, "CONT");
            pause(20).await;
        }
        assert!(caught, "it is never in the middle of a write");
        assert!(service.runs(), "it stays up");
        tokio::task::block_in_place(|| {
            for path in ["/c/harbour/divisions/women", "/healthz"] {
                let read = check::raw(at, path).0;
                assert!(check::is_ok(&read), "{path}: {read}");
            }
            let (_, ready) = check::raw(at, "/readyz");
            assert!(ready.contains(r#""database":true"#), "{ready}");
        });
        signal(&import, "CONT");
        let Output { status, stdout, stderr } =
            tokio::task::block_in_place(|| import.wait_with_output()).expect("it ends");
        let said = String::from_utf8_lossy(&stdout);
        assert!(status.success(), "{said}{}", String::from_utf8_lossy(&stderr));
        assert_eq!(counts(&said), (ROWS, 0), "{said}");
        load.goes_on().await;
        check::meanwhile(&field, &[at], &load);
    }
    let done = load.finish().await;
    is_there_once(&field, u32::try_from(often).expect("a few"));
    check::whole(&field, at, &done);
    println!("{} changes, {} sent again", done.changes(), done.again);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_command_that_imports_beside_it_loses_nothing_and_takes_nothing_away() {
    import_beside(Field::new()).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_command_that_imports_beside_it_on_a_server_loses_nothing_and_takes_nothing_away() {
    let Some(server) = Server::shared() else { return };
    import_beside(Field::on(&server).await).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn an_import_that_is_killed_in_the_middle_is_run_again_and_has_each_row_once() {
    kill_imports(Field::new(), u32::try_from(times(2, 20)).expect("a few")).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn an_import_that_is_killed_in_the_middle_on_a_server_is_run_again_and_has_each_row_once() {
    let Some(server) = Server::shared() else { return };
    kill_imports(Field::on(&server).await, u32::try_from(times(2, 20)).expect("a few")).await;
}
