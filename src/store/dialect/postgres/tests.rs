//! What is asked of a server and of its address, on the server that the tests are run on.

use super::*;
use crate::store::dialect::served::Served;

/// Of each pool and each of its connections, also of one that is made anew. On the server that the tests
/// are run on, where there is one.
#[tokio::test]
async fn every_connection_has_the_settings_of_its_pool() {
    let Some(served) = Served::new("no connection was asked for its settings").await else { return };
    // As an operator may have it for everybody.
    served.set("statement_timeout = '9s'").await;
    // Of a socket that is no network's the server knows no keepalives.
    let by_tcp = served.by_tcp().await;
    let is_by_tcp = by_tcp.is_some();
    let Pools { reads, follows, looks, writes, groups } =
        open(by_tcp.as_ref().unwrap_or(&served.url)).await.expect("opens");
    let ours = [
        ("synchronous_commit", "on"),
        ("lock_timeout", "2s"),
        ("statement_timeout", "0"),
        ("tcp_keepalives_idle", "10"),
        ("tcp_keepalives_interval", "5"),
        ("tcp_keepalives_count", "3"),
    ];
    let idle = "idle_in_transaction_session_timeout";
    let write = [(idle, "1500ms"), ("default_transaction_read_only", "off")];
    let read = [(idle, "5min"), ("default_transaction_read_only", "on")];
    for (pool, own) in [(&reads, read), (&follows, read), (&writes, write), (&groups, write)] {
        for _ in 0..2 {
            let mut all = Vec::new();
            for _ in 0..pool.options().get_max_connections() {
                all.push(pool.acquire().await.expect("a connection"));
            }
            for connection in &mut all {
                for (name, value) in ours.into_iter().chain(own) {
                    let said: String = sqlx::query_scalar("SELECT current_setting($1)")
                        .bind(name)
                        .fetch_one(&mut **connection)
                        .await
                        .expect("a value");
                    assert!(said == value || (!is_by_tcp && name.starts_with("tcp")), "{name} is {said}");
                }
                let marks: i64 = sqlx::query_scalar(
                    "SELECT COUNT(*) FROM pg_locks WHERE pid = pg_backend_pid() AND locktype = 'advisory' AND classid = 29817",
                )
                .fetch_one(&mut **connection)
                .await
                .expect("a number");
                assert_eq!(marks, i64::from(own == write), "those that write are marked as ours");
            }
            // The next ones are new.
            for connection in all {
                connection.close().await.expect("closes");
            }
        }
    }
    for pool in [reads, follows, looks, writes, groups] {
        pool.close().await;
    }
    served.end().await;
}

/// Whoever has one is told at the start, not with the first name that does not fit.
#[tokio::test]
async fn a_database_that_keeps_its_texts_otherwise_is_not_opened() {
    for encoding in ["LATIN1", "SQL_ASCII"] {
        let Some(served) = Served::of_encoding(encoding).await else { return };
        let said = open(&served.url).await.err().expect("it is not opened").to_string();
        assert!(said.contains(encoding) && said.contains("createdb --encoding=UTF8"), "{said}");
        served.end().await;
    }
}

/// As a firewall does, or a port of something else.
#[tokio::test]
async fn who_takes_a_connection_and_says_nothing_is_not_waited_for_without_end() {
    let nobody = tokio::net::TcpListener::bind(("127.0.0.1", 0)).await.expect("a free port");
    let port = nobody.local_addr().expect("an address").port();
    let url = format!("postgres://tally@127.0.0.1:{port}/series");
    let (opened, there, vacant) = tokio::join!(open(&url), is_there(&url), is_vacant(&url));
    let said = opened.err().expect("it is not opened").to_string();
    assert!(said.contains("its server cannot be reached (it has not answered in time)"), "{said}");
    assert!(there.is_err() && vacant.is_err());
}

#[test]
fn what_is_wrong_with_a_certificate_says_what_to_do() {
    let said = |what: &str| why(&sqlx::Error::Io(std::io::Error::other(format!("invalid peer certificate: {what}"))));
    assert!(said("UnknownIssuer").contains("sslrootcert=/etc/ssl/db.pem"));
    assert!(said("certificate not valid for name \"db\"").contains("write that name in the address"));
    assert!(said("Expired").contains("is not taken (Expired)"));
    let missing = "postgres://db/series?sslmode=verify-full&sslrootcert=/no/such/root.pem";
    let missing = why(&options(missing).expect_err("refused"));
    assert!(missing.contains("the root certificate /no/such/root.pem cannot be read"), "{missing}");
}
