//! The way to a server by TLS, as `README.md` writes its address: `sslmode=verify-full` and the root that has signed the
//! server's certificate.

use crate::field::Field;
use crate::load::Load;
use crate::server::{Server, skipped};
use crate::service::{Service, free};
use crate::{check, until};
use std::net::SocketAddr;
use std::path::Path;
use std::process::{Command, Stdio};
use tokio::net::{TcpListener, TcpStream};

/// A port of this machine that leads to there: a server of the tests has an address of its own, and no name.
async fn leads_to(there: SocketAddr) -> u16 {
    let listener = TcpListener::bind(("127.0.0.1", 0)).await.expect("a free port");
    let port = listener.local_addr().expect("an address").port();
    tokio::spawn(async move {
        while let Ok((mut client, _)) = listener.accept().await {
            let Ok(mut server) = TcpStream::connect(there).await else { continue };
            tokio::spawn(async move { tokio::io::copy_bidirectional(&mut client, &mut server).await });
        }
    });
    port
}

/// A root that has signed nothing; false: nobody makes one here.
fn another_root(file: &Path) -> bool {
    let key = file.with_extension("key");
    let name = "/CN=Another root of the tests";
    let made = Command::new("openssl")
        .args(["req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes", "-days", "2"])
        .args(["-subj", name, "-keyout"])
        .arg(key)
        .arg("-out")
        .arg(file)
        .stdin(Stdio::null())
        .output();
    made.is_ok_and(|made| made.status.success())
}

#[tokio::test(flavor = "multi_thread")]
async fn a_server_is_trusted_by_the_root_and_the_name_of_its_certificate_alone() {
    let Some(server) = Server::start() else { return };
    let folder = tempfile::tempdir().expect("a temporary folder");
    let other = folder.path().join("other.pem");
    if !another_root(&other) {
        skipped("there is no openssl here, so no server was spoken to by TLS");
        return;
    }
    let port = leads_to(server.tcp().await).await;
    let field = Field::on(&server).await;
    let address = |host: &str, root: Option<&Path>| {
        let root = root.map_or_else(String::new, |root| format!("&sslrootcert={}", root.display()));
        format!("postgres://tally@{host}:{port}/{}?sslmode=verify-full{root}&application_name=by_tls", field.database())
    };
    let refused = |url: &str| {
        let ran = field.run(&["--database", url, "log", "verify"]);
        let said = String::from_utf8_lossy(&ran.stderr).into_owned();
        assert!(!ran.status.success() && !said.contains("panicked"), "{said}");
        said
    };
    let said = refused(&address("localhost", Some(&other)));
    assert!(said.contains("does not speak TLS") && said.contains("ssl = on"), "{said}");

    let root = server.secure("localhost");
    let secured = "SELECT COUNT(*) FROM pg_settings WHERE name = 'ssl' AND setting = 'on'";
    until("it speaks TLS", async || server.number(secured).await == 1).await;
    let service = Service::start_on(&field, &address("localhost", Some(&root)), free());
    let load = Load::start(service.at, &field.token, 8);
    load.goes_on().await;
    let by = |how: &str| {
        format!(
            "SELECT COUNT(*) FROM pg_stat_ssl s JOIN pg_stat_activity a ON a.pid = s.pid WHERE a.application_name = 'by_tls' AND {how}"
        )
    };
    assert!(server.number(&by("s.ssl")).await > 0);
    assert_eq!(server.number(&by("NOT s.ssl")).await, 0);
    let done = load.finish().await;
    check::whole(&field, service.at, &done);

    for root in [Some(&*other), None] {
        let said = refused(&address("localhost", root));
        assert!(said.contains("has signed its server's certificate") && said.contains("sslrootcert="), "{said}");
    }
    let said = refused(&address("127.0.0.1", Some(&root)));
    assert!(said.contains("certificate of another name") && said.contains("localhost"), "{said}");
    let said = refused(&address("localhost", Some(&folder.path().join("none.pem"))));
    assert!(said.contains("none.pem cannot be read"), "{said}");
}
