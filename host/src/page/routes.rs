//! What the page answers: its routes, and who may have what.

use std::net::SocketAddr;
use std::sync::Arc;

use axum::Extension;
use axum::Router;
use axum::body::Body;
use axum::body::Bytes;
use axum::extract::Request;
use axum::extract::State;
use axum::http::HeaderMap;
use axum::http::HeaderName;
use axum::http::HeaderValue;
use axum::http::StatusCode;
use axum::http::header;
use axum::middleware;
use axum::middleware::Next;
use axum::response::IntoResponse;
use axum::response::Response;
use axum::routing::get;
use axum::routing::post;
use tokio::sync::Semaphore;
use tokio::sync::watch;
use tokio::time::sleep;
use tokio::time::timeout;

use crate::page::Bounds;
use crate::page::Feed;
use crate::page::Lock;
use crate::page::Said;
use crate::page::guard;
use crate::page::guard::Refusal;
use crate::page::seats::Guest;
use crate::page::stream::Reading;

/// Whoever knows the answers; called from threads that may wait.
pub(super) type Answering = dyn Fn(&[u8]) -> Said + Send + Sync;

/// What every request of one server shares.
pub(super) struct House {
    pub(super) lock: Lock,
    pub(super) bounds: Bounds,
    pub(super) feed: Feed,
    pub(super) end: watch::Receiver<()>,
    pub(super) asking: Semaphore,
    pub(super) answer: Arc<Answering>,
    pub(super) html: Bytes,
    pub(super) policy: HeaderValue,
}

/// A guest and the address that was connected to.
#[derive(Clone)]
pub(super) struct Door {
    pub(super) guest: Arc<Guest>,
    pub(super) local: SocketAddr,
}

/// The routes of the page, and what guards each of them.
pub(super) fn router(house: &Arc<House>) -> Router {
    Router::new()
        .route("/", get(page))
        .route("/stream", get(stream))
        .route("/say", post(say))
        .fallback(nothing)
        .method_not_allowed_fallback(not_so)
        .layer(middleware::from_fn_with_state(Arc::clone(house), guarded))
        .with_state(Arc::clone(house))
}

async fn guarded(State(house): State<Arc<House>>, door: Extension<Door>, request: Request, next: Next) -> Response {
    let wanted = guard::addressed(request.uri(), request.version(), request.headers(), door.local);
    let mut response = match wanted {
        Ok(()) => next.run(request).await,
        Err(refusal) => refused(refusal),
    };
    let headers = response.headers_mut();
    headers.insert(header::CONTENT_SECURITY_POLICY, house.policy.clone());
    let fixed = [
        (header::CACHE_CONTROL, "no-store"),
        (header::X_CONTENT_TYPE_OPTIONS, "nosniff"),
        (header::X_FRAME_OPTIONS, "DENY"),
        (header::REFERRER_POLICY, "no-referrer"),
        (HeaderName::from_static("cross-origin-opener-policy"), "same-origin"),
        (HeaderName::from_static("cross-origin-resource-policy"), "same-origin"),
    ];
    for (name, value) in fixed {
        headers.insert(name, HeaderValue::from_static(value));
    }
    response
}

/// A refusal ends its connection: whatever else came on it is not read.
fn refused((status, why): Refusal) -> Response {
    let mut response = (status, format!("{why}\n")).into_response();
    response.headers_mut().insert(header::CONNECTION, HeaderValue::from_static("close"));
    response
}

async fn nothing() -> Response {
    refused((StatusCode::NOT_FOUND, "there is nothing here"))
}

async fn not_so() -> Response {
    refused((StatusCode::METHOD_NOT_ALLOWED, "not by this method"))
}

async fn page(State(house): State<Arc<House>>) -> Response {
    ([(header::CONTENT_TYPE, "text/html; charset=utf-8")], house.html.clone()).into_response()
}

/// Whether the request shows the key, and there is a seat.
async fn known(house: &House, headers: &HeaderMap, door: &Door) -> Result<(), Response> {
    if !guard::bearer(headers).is_some_and(|key| house.lock.opens(key)) {
        sleep(house.bounds.wrong_key).await;
        let mut response = refused((StatusCode::UNAUTHORIZED, "the key of the page was expected"));
        response.headers_mut().insert(header::WWW_AUTHENTICATE, HeaderValue::from_static("Bearer"));
        return Err(response);
    }
    let full = (StatusCode::SERVICE_UNAVAILABLE, "too many are connected already");
    if door.guest.known() { Ok(()) } else { Err(refused(full)) }
}

async fn stream(State(house): State<Arc<House>>, door: Extension<Door>, headers: HeaderMap) -> Response {
    if let Err(refusal) = known(&house, &headers, &door).await {
        return refusal;
    }
    let shared = Arc::clone(&house.feed.0);
    let reading = Reading::new(shared, Arc::clone(&door.guest), house.bounds.gap, house.end.clone());
    ([(header::CONTENT_TYPE, "application/x-ndjson")], Body::new(reading)).into_response()
}

async fn say(State(house): State<Arc<House>>, door: Extension<Door>, request: Request) -> Response {
    if let Err(refusal) = known(&house, request.headers(), &door).await {
        return refusal;
    }
    if !guard::is_json(request.headers()) {
        return refused((StatusCode::UNSUPPORTED_MEDIA_TYPE, "application/json was expected"));
    }
    let long = (StatusCode::PAYLOAD_TOO_LARGE, "a shorter request was expected");
    // One that says so itself is not waited for.
    if hyper::body::Body::size_hint(request.body()).lower() > u64::try_from(house.bounds.body).unwrap_or(0) {
        return refused(long);
    }
    let body = axum::body::to_bytes(request.into_body(), house.bounds.body);
    let body = match timeout(house.bounds.body_within, body).await {
        Ok(Ok(body)) => body,
        Ok(Err(_)) => return refused(long),
        Err(_) => return refused((StatusCode::REQUEST_TIMEOUT, "the request came too slowly")),
    };
    let busy = || refused((StatusCode::SERVICE_UNAVAILABLE, "too many ask at once; say it again"));
    let Ok(_asking) = house.asking.try_acquire() else { return busy() };
    let answer = Arc::clone(&house.answer);
    // The watch answers within seconds; whoever reads meanwhile does not wait for that.
    let Ok(said) = tokio::task::spawn_blocking(move || answer(&body)).await else { return busy() };
    let status = if said.done { StatusCode::OK } else { StatusCode::CONFLICT };
    (status, [(header::CONTENT_TYPE, "application/json")], said.json).into_response()
}
