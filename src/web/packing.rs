//! Answers made shorter for the way, as their readers take them.

use axum::body::Body;
use axum::extract::Request;
use axum::response::Response;
use std::convert::Infallible;
use tower::{Layer, ServiceExt, service_fn};
use tower_http::compression::{CompressionLayer, CompressionLevel};

/// How much is done to make an answer shorter. At the usual six a page of standings takes longer to pack than to
/// make, and comes out a twelfth shorter; what is sent as it is built in is packed once, as far as it goes.
const PACKED: CompressionLevel = CompressionLevel::Precise(3);

/// Packs what comes after it.
pub async fn pack<F: Future<Output = Response>>(request: Request, next: impl FnOnce(Request) -> F) -> Response {
    let mut next = Some(next);
    let inner = service_fn(|request| {
        let answer = next.take().expect("one request, one call")(request);
        async { Ok::<_, Infallible>(answer.await) }
    });
    let Ok(packed) = CompressionLayer::new().quality(PACKED).layer(inner).oneshot(request).await;
    packed.map(Body::new)
}
