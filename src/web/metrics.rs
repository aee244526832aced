//! Counts for Prometheus: requests by route and status, how long they took, where the logs
//! stand, and how many changes wait to be written. On a listener of its own ([`listener`]), or at `/metrics` for who administers the
//! service (OWASP ASVS 5.0.0, 13.4.5: not public by accident).

use super::problem::Answer;
use super::session::Caller;
use crate::app::App;
use crate::rules::access::{Act, permit};
use axum::Router;
use axum::extract::State;
use axum::response::IntoResponse;
use axum::routing::get;
use http::{Method, header};
use metrics_exporter_prometheus::{Matcher, PrometheusBuilder, PrometheusHandle};
use std::collections::HashMap;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{OnceLock, PoisonError, RwLock};
use std::time::Duration;

const REQUESTS: &str = "http_requests_total";
const SECONDS: &str = "http_request_duration_seconds";
/// Upper bounds in seconds, from a page out of memory to the longest wait.
const BUCKETS: [f64; 12] = [0.0005, 0.001, 0.0025, 0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 1.0, 5.0, 30.0];

/// Exposition format 0.0.4.
const TEXT: &str = "text/plain; version=0.0.4; charset=utf-8";

/// One recorder a process: the `metrics` crate has no other.
static RECORDER: OnceLock<Option<PrometheusHandle>> = OnceLock::new();

fn recorder() -> Option<&'static PrometheusHandle> {
    RECORDER
        .get_or_init(|| {
            let builder = PrometheusBuilder::new().set_buckets_for_metric(Matcher::Full(SECONDS.to_owned()), &BUCKETS);
            builder.and_then(PrometheusBuilder::install_recorder).ok()
        })
        .as_ref()
}

/// Starts counting. Called once by the router; again, it does nothing.
pub fn start() {
    if recorder().is_none() {
        tracing::warn!("metrics are off: another recorder is installed");
    }
    metrics::describe_counter!(REQUESTS, "Requests answered, by route and status.");
    metrics::describe_histogram!(SECONDS, metrics::Unit::Seconds, "From the head read to the head of the answer.");
}

/// What is counted of one kind of request.
#[derive(Clone)]
struct Counts {
    requests: metrics::Counter,
    seconds: metrics::Histogram,
}

/// By method and status, then by route: looked up for every request, made for the first of its kind.
type Kinds = HashMap<(&'static str, u16), HashMap<String, Counts>>;

static COUNTED: AtomicU64 = AtomicU64::new(0);
/// So many durations are kept one by one at most.
const GATHERED: u64 = 1 << 14;

static KINDS: RwLock<Option<Kinds>> = RwLock::new(None);

/// Counts one request.
pub fn count(method: &Method, route: &str, status: u16, elapsed: Duration) {
    let method = match *method {
        Method::GET => "GET",
        Method::HEAD => "HEAD",
        Method::POST => "POST",
        Method::PUT => "PUT",
        Method::PATCH => "PATCH",
        Method::DELETE => "DELETE",
        _ => "other",
    };
    let known = KINDS.read().unwrap_or_else(PoisonError::into_inner);
    let found = known.as_ref().and_then(|kinds| kinds.get(&(method, status))?.get(route).cloned());
    drop(known);
    let counts = found.unwrap_or_else(|| {
        let name = || route.to_owned();
        let counts = Counts {
            requests: metrics::counter!(REQUESTS, "method" => method, "route" => name(), "status" => status.to_string()),
            seconds: metrics::histogram!(SECONDS, "method" => method, "route" => name()),
        };
        let mut known = KINDS.write().unwrap_or_else(PoisonError::into_inner);
        known.get_or_insert_default().entry((method, status)).or_default().insert(name(), counts.clone());
        counts
    });
    counts.requests.increment(1);
    counts.seconds.record(elapsed.as_secs_f64());
    // What was recorded is kept one by one until it is put into its buckets, which else only who asks
    // for the metrics does.
    if COUNTED.fetch_add(1, Ordering::Relaxed) % GATHERED == GATHERED - 1 {
        recorder().inspect(|recorder| recorder.run_upkeep());
    }
}

/// `GET /metrics`, for who administers the service.
pub async fn show(State(app): State<App>, caller: Caller) -> Answer {
    permit(&caller.actor, Act::Administer)?;
    Ok(text(&app).await.into_response())
}

async fn text(app: &App) -> impl IntoResponse + use<> {
    if let Ok(heads) = app.store.heads().await {
        for (competition, seq) in heads {
            #[expect(clippy::cast_precision_loss, reason = "a gauge is a float; a log is shorter than 2^53")]
            metrics::gauge!("log_records", "competition" => competition.to_string()).set(seq as f64);
        }
    }
    #[expect(clippy::cast_precision_loss, reason = "a gauge is a float; a queue is short")]
    metrics::gauge!("writer_waiting").set(app.writer.waiting() as f64);
    let body = recorder().map(PrometheusHandle::render).unwrap_or_default();
    ([(header::CONTENT_TYPE, TEXT)], body)
}

/// `/metrics` and nothing else, without a token: for a listener that only the collector reaches.
pub fn listener(app: App) -> Router {
    Router::new().route("/metrics", get(|State(app): State<App>| async move { text(&app).await })).with_state(app)
}
