//! `demo`: a sample competition in a database of its own, served, with a sign-in for each role.
//!
//! Everything is made through the same actions as real input, with the clock moved along from a
//! month ago to now; then the database is opened again as `serve` does. All of it is made up.

mod cast;
mod deeds;
mod field;
mod names;
mod officials;
mod pace;
mod seeded;
mod series;
mod sheets;
mod story;

use super::serve::{listen, reachable, start_log, until_stopped};
use super::talk::{Done, Progress, Stop, print_json, print_line, say, tell};
use crate::actions::open::{is_there, open, shown};
use crate::app::{Clock, Keys};
use crate::config::Config;
use crate::words::Sentence;
use clap::Args;
use std::net::SocketAddr;

/// The demo.
#[derive(Debug, Args)]
pub(super) struct Demo {
    /// Where to listen; port 0 takes any free one.
    #[arg(long, value_name = "ADDR", default_value = "127.0.0.1:8080")]
    listen: SocketAddr,
    /// Print the address and the sign-ins as one line of JSON.
    #[arg(long)]
    json: bool,
}

impl Demo {
    /// Does it.
    pub(super) async fn run(self, database: Option<&str>) -> Done {
        start_log("warn");
        // The port first: nobody should wait for a sample that cannot be served.
        let listener = listen(self.listen).await?;
        let address = listener.local_addr().map_err(anyhow::Error::from)?;
        let database = match database {
            Some(url) if is_there(url).await? => {
                return Err(Stop::because(&Sentence::new("cli_demo_used").with("url", shown(url))));
            }
            Some(url) => url.to_owned(),
            None => fresh(),
        };
        let config = Config {
            database,
            listen: address,
            public_url: format!("http://{}", reachable(address)),
            ..Config::default()
        };
        let now = Clock::System.now();
        let sign_ins = make(&config, now).await?;
        let service = open(config, Clock::System, Keys::System).await?;
        self.announce(&service.app.config, &sign_ins)?;
        until_stopped(service, listener, None).await
    }

    fn announce(&self, config: &Config, sign_ins: &[cast::SignIn]) -> Done {
        let url = &config.public_url;
        if self.json {
            return print_json(&serde_json::json!({
                "url": url, "competition": series::SLUG, "database": shown(&config.database), "sign_in": sign_ins,
            }));
        }
        print_line(&say(&Sentence::new("cli_demo_ready").with("url", format!("{url}/c/{}", series::SLUG))));
        print_line(&say(&Sentence::new("cli_demo_sign_in").with("url", url)));
        for sign_in in sign_ins {
            print_line(&format!(
                "  {:<10}  {:<30}  {:<24}  {}",
                sign_in.role, sign_in.email, sign_in.password, sign_in.about
            ));
        }
        tell(&say(
            &Sentence::new("cli_demo_database").with("path", shown(&config.database).trim_start_matches("sqlite://"))
        ));
        tell(&say(&Sentence::new("cli_demo_nobody_real")));
        tell(&say(&Sentence::new("cli_demo_stop")));
        Ok(())
    }
}

/// A database that is not there yet, in the folder for temporary files.
fn fresh() -> String {
    let folder = std::env::temp_dir();
    let mut number = std::process::id();
    loop {
        let path = folder.join(format!("tallywright-demo-{number}.db"));
        if !path.exists() {
            return format!("sqlite://{}", path.display());
        }
        number = number.wrapping_add(1);
    }
}

/// Makes the sample up to `now` and closes the database again.
async fn make(config: &Config, now: jiff::Timestamp) -> Result<Vec<cast::SignIn>, Stop> {
    let started = std::time::Instant::now();
    let calendar = series::Calendar::around(now)?;
    let clock = Clock::fixed(calendar.at(-31, 9, 0)?);
    let service = open(config.clone(), clock.clone(), Keys::System).await?;
    let told = async {
        let field = story::open(&service.app, &clock, &calendar).await?;
        let (cast, sign_ins) = cast::hire(&service.app, &field).await?;
        let mut progress = Progress::new(&Sentence::new("cli_demo_making"));
        let told = story::tell(&service.app, &clock, &calendar, &field, now, &cast, |t| progress.step(t)).await?;
        Ok::<_, Stop>((told, sign_ins))
    }
    .await;
    service.close().await;
    let (told, sign_ins) = told?;
    for why in &told.refused {
        tell(&say(&Sentence::new("cli_demo_refused").with("why", why)));
    }
    let made = Sentence::new("cli_demo_made").with("scores", told.scores);
    tell(&say(&made.with("seconds", format!("{:.1}", started.elapsed().as_secs_f64()))));
    Ok(sign_ins)
}
