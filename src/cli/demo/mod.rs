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
mod scale;
mod seeded;
mod series;
mod sheets;
mod story;

use super::serve::{listen, reachable, start_log, until_stopped};
use super::talk::{Done, Progress, Stop, print_json, print_line, say, tell};
use crate::actions::open::{is_there, open, shown};
use crate::app::{App, Clock, Keys};
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
    /// Make a field of so many athletes, about eighty to a gym, instead of the sample: to see how it
    /// does with many.
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(300..=5_000_000))]
    athletes: Option<u32>,
    /// How many of the workouts the field has done; the last of them is open until tomorrow.
    #[arg(long, value_name = "W", default_value_t = 5, requires = "athletes", value_parser = clap::value_parser!(u8).range(1..=5))]
    workouts: u8,
    /// Another seed gives other people and other scores.
    #[arg(long, value_name = "S", requires = "athletes")]
    seed: Option<u64>,
    /// Only make the database; serve nothing.
    #[arg(long, requires = "athletes")]
    only_make: bool,
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
        let sign_ins = self.make(&config, Clock::System.now()).await?;
        if self.only_make {
            return self.announce(&config, &sign_ins);
        }
        let service = open(config, Clock::System, Keys::System).await?;
        self.announce(&service.app.config, &sign_ins)?;
        until_stopped(service, listener, None).await
    }

    /// Makes what was asked for up to `now` and closes the database again.
    async fn make(&self, config: &Config, now: jiff::Timestamp) -> Result<Vec<cast::SignIn>, Stop> {
        let started = std::time::Instant::now();
        let calendar = series::Calendar::around(now)?;
        let (calendar, size) = match self.athletes {
            Some(athletes) => {
                let size = field::Size::of(athletes, self.seed.unwrap_or(field::SEED));
                (calendar.with_running(self.workouts.into()), size)
            }
            None => (calendar, field::Size::SAMPLE),
        };
        let clock = Clock::fixed(calendar.beginning()?);
        let made = Config { in_the_making: true, ..config.clone() };
        let service = open(made, clock.clone(), Keys::System).await?;
        let told = self.tell(&service.app, &clock, &calendar, size, now).await;
        service.close().await;
        let (told, sign_ins) = told?;
        for why in &told.refused {
            tell(&say(&Sentence::new("cli_demo_refused").with("why", why)));
        }
        let made = Sentence::new("cli_demo_made").with("athletes", size.athletes).with("gyms", told.gyms);
        let made = made.with("scores", told.scores);
        tell(&say(&made.with("seconds", format!("{:.1}", started.elapsed().as_secs_f64()))));
        Ok(sign_ins)
    }

    async fn tell(
        &self,
        app: &App,
        clock: &Clock,
        calendar: &series::Calendar,
        size: field::Size,
        now: jiff::Timestamp,
    ) -> Result<(story::Told, Vec<cast::SignIn>), Stop> {
        let (entries, workouts) = (usize::try_from(size.athletes).unwrap_or(usize::MAX), usize::from(self.workouts));
        let mut progress = Progress::new(&Sentence::new("cli_demo_making"));
        // Of a large field the entries are a part of the work that is seen.
        let all = if self.athletes.is_some() { entries * (1 + workouts) } else { entries * 1_000 };
        let field = story::open(app, clock, calendar, size, |done| progress.step(done * 1_000 / all)).await?;
        let gyms = field.gyms.len();
        let (cast, sign_ins) = cast::hire(app, &field).await?;
        let told = if self.athletes.is_some() {
            let step = |rows: usize| progress.step((entries + rows).min(all) * 1_000 / all);
            scale::tell(app, clock, calendar, field, workouts, now, step).await?
        } else {
            story::tell(app, clock, calendar, &field, now, &cast, |t| progress.step(t)).await?
        };
        Ok((story::Told { gyms, ..told }, sign_ins))
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
