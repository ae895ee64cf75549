//! A browser's own reading of the feed.
//!
//! It is asked for more only when the connection has room, and then takes the latest: a slow browser
//! skips snapshots, and neither the watch nor another browser waits for it.

use std::convert::Infallible;
use std::pin::Pin;
use std::sync::Arc;
use std::sync::atomic::Ordering;
use std::task::Context;
use std::task::Poll;
use std::time::Duration;

use axum::body::Bytes;
use hyper::body::Body;
use hyper::body::Frame;
use tokio::sync::watch::Receiver;
use tokio::time::timeout;

use crate::page::feed::Latest;
use crate::page::feed::Read;
use crate::page::feed::Shared;
use crate::page::seats::Guest;

type From = (Receiver<Arc<Latest>>, Receiver<()>);
type Next = Pin<Box<dyn Future<Output = (From, Option<Arc<Latest>>)> + Send>>;

/// The body of the stream.
pub(super) struct Reading {
    shared: Arc<Shared>,
    guest: Arc<Guest>,
    next: Next,
    gap: Duration,
    read: Read,
    /// The second half of a line whose first half is taken.
    half: Option<Bytes>,
}

impl Reading {
    /// The stream from now on until `end` has no sender any more; between two snapshots there are `gap`
    /// or more, unless one is urgent.
    pub(super) fn new(shared: Arc<Shared>, guest: Arc<Guest>, gap: Duration, end: Receiver<()>) -> Self {
        shared.readers.fetch_add(1, Ordering::Relaxed);
        guest.reads.store(true, Ordering::Relaxed);
        let from = shared.latest.subscribe();
        let next = Box::pin(following((from, end), None, gap));
        Self { shared, guest, next, gap, read: Read::default(), half: None }
    }
}

impl Drop for Reading {
    fn drop(&mut self) {
        self.shared.readers.fetch_sub(1, Ordering::Relaxed);
        self.guest.reads.store(false, Ordering::Relaxed);
    }
}

/// The snapshot after `last`; none when the feed has ended and its last one is taken.
async fn following(from: From, last: Option<Arc<Latest>>, gap: Duration) -> (From, Option<Arc<Latest>>) {
    let (mut from, mut end) = from;
    let (number, urgent) = last.map_or((0, 0), |last| (last.number, last.urgent));
    if number > 0 {
        tokio::select! {
            // To have waited in vain is the ordinary case.
            _ = timeout(gap, from.wait_for(|latest| latest.urgent != urgent)) => {}
            _ = end.changed() => {}
        }
    }
    let next = tokio::select! {
        biased;
        next = from.wait_for(|latest| latest.number != number) => next.map(|latest| Arc::clone(&latest)).ok(),
        _ = end.changed() => None,
    };
    ((from, end), next)
}

impl Body for Reading {
    type Data = Bytes;
    type Error = Infallible;

    fn poll_frame(self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<Option<Result<Frame<Bytes>, Infallible>>> {
        let this = self.get_mut();
        if let Some(half) = this.half.take() {
            this.guest.taken.fetch_add(1, Ordering::Relaxed);
            return Poll::Ready(Some(Ok(Frame::data(half))));
        }
        let (from, latest) = match this.next.as_mut().poll(cx) {
            Poll::Ready((from, Some(latest))) => (from, latest),
            Poll::Ready((from, None)) => {
                this.next = Box::pin(async { (from, None) });
                return Poll::Ready(None);
            }
            Poll::Pending => return Poll::Pending,
        };
        let line = this.shared.line(&latest, &mut this.read);
        this.half = Some(latest.json.clone());
        this.next = Box::pin(following(from, Some(latest), this.gap));
        Poll::Ready(Some(Ok(Frame::data(line))))
    }
}
