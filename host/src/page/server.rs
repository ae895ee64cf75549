//! A thread of its own that serves the page.

use std::io;
use std::net::SocketAddr;
use std::sync::Arc;
use std::sync::Mutex;
use std::sync::PoisonError;
use std::sync::atomic::Ordering;
use std::sync::mpsc;
use std::thread;
use std::time::Duration;

use axum::Extension;
use axum::Router;
use axum::body::Bytes;
use axum::http::HeaderValue;
use hyper::server::conn::http1;
use hyper_util::rt::TokioIo;
use hyper_util::rt::TokioTimer;
use hyper_util::service::TowerToHyperService;
use tokio::net::TcpListener;
use tokio::net::TcpStream;
use tokio::runtime;
use tokio::sync::Semaphore;
use tokio::sync::watch;
use tokio::time::sleep;
use tokio::time::timeout;

use crate::page::Feed;
use crate::page::Key;
use crate::page::KeyError;
use crate::page::Lock;
use crate::page::assets;
use crate::page::routes::Door;
use crate::page::routes::House;
use crate::page::routes::router;
use crate::page::seats::Guest;
use crate::page::seats::Seats;

/// What nobody may exceed.
#[derive(Clone, Copy, Debug)]
pub struct Bounds {
    /// Connections that have shown the key.
    pub known: usize,
    /// Connections that have not, from all addresses.
    pub strangers: usize,
    /// Connections that have not, from one address.
    pub strangers_each: usize,
    /// Bytes of the head of a request, 8192 at the least.
    pub head: usize,
    /// Bytes of its body.
    pub body: usize,
    /// A head must have come in this time; a connection without a request is closed after it too.
    pub head_within: Duration,
    /// A body must have come in this time after its head.
    pub body_within: Duration,
    /// A reader that has taken nothing for so long is closed.
    pub unread: Duration,
    /// So long a wrong key waits for its answer. With the seats of a stranger this bounds how many can
    /// be tried, and never locks out who has the right one.
    pub wrong_key: Duration,
    /// Between two snapshots of one stream, unless one is urgent.
    pub gap: Duration,
}

impl Default for Bounds {
    fn default() -> Self {
        Self {
            known: 64,
            strangers: 32,
            strangers_each: 16,
            head: 8192,
            body: 4096,
            head_within: Duration::from_secs(5),
            body_within: Duration::from_secs(5),
            unread: Duration::from_secs(20),
            wrong_key: Duration::from_secs(1),
            gap: Duration::from_millis(250),
        }
    }
}

/// The reply to one request: one line of JSON.
#[derive(Clone, Debug)]
pub struct Said {
    /// Whether it was done.
    pub done: bool,
    /// The reply.
    pub json: String,
}

/// The page ceased to work, or works again.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Report {
    /// Whether it works now.
    pub works: bool,
    /// Why not, with the remedy.
    pub why: String,
}

/// Why there is no page at all.
#[derive(Debug, thiserror::Error)]
pub enum OpenError {
    /// The system gives no thread or no random numbers.
    #[error("the page cannot be served: {0}")]
    System(#[from] io::Error),
    /// As it says.
    #[error(transparent)]
    Key(#[from] KeyError),
}

/// The page, served until it is dropped.
pub struct Server {
    feed: Feed,
    bound: Arc<Mutex<Option<SocketAddr>>>,
    reports: mpsc::Receiver<Report>,
    /// Dropped first when the page ends.
    end: Option<watch::Sender<()>>,
    ended: mpsc::Receiver<()>,
}

/// Requests that are put to the watch at once.
const ASKING: usize = 4;

/// An address that does not work is tried again after this: the network may come later than the watch.
const AGAIN: Duration = Duration::from_secs(5);

/// What lies in the connections at the end has this long to leave.
const LEAVING: Duration = Duration::from_millis(500);

/// Small boards have little memory, and nothing here recurses.
const STACK: usize = 512 << 10;

impl Server {
    /// Serves the page at `at`, to whoever has the key of `lock`. An address that does not work is
    /// reported and tried again.
    ///
    /// # Errors
    /// [`OpenError`]: the system gives no thread.
    pub fn open(
        at: SocketAddr,
        lock: Lock,
        bounds: Bounds,
        answer: impl Fn(&[u8]) -> Said + Send + Sync + 'static,
    ) -> Result<Self, OpenError> {
        // Which watch it is need not be secret, only another one each time.
        let feed = Feed::new(Key::new()?.text()[..8].to_owned());
        let runtime = runtime::Builder::new_current_thread()
            .enable_io()
            .enable_time()
            .max_blocking_threads(ASKING)
            .thread_stack_size(STACK)
            .thread_keep_alive(Duration::from_secs(1))
            .build()?;
        let page = assets::page();
        let (end, ending) = watch::channel(());
        let house = Arc::new(House {
            lock,
            bounds,
            feed: feed.clone(),
            end: ending,
            asking: Semaphore::new(ASKING),
            answer: Arc::new(answer),
            html: Bytes::from(page.html),
            policy: HeaderValue::from_str(&page.policy).map_err(io::Error::other)?,
        });
        let (report, reports) = mpsc::sync_channel(8);
        let (has_ended, ended) = mpsc::channel();
        let bound = Arc::new(Mutex::new(None));
        // The first time at once, so that whoever opens it knows the address.
        let first = listen(at, &runtime);
        if let Ok(listener) = &first {
            set(&bound, listener.local_addr().ok());
        }
        let serving = Arc::clone(&bound);
        thread::Builder::new().name("page".into()).stack_size(STACK).spawn(move || {
            let _has_ended: mpsc::Sender<()> = has_ended;
            runtime.block_on(keep(at, first, &house, &serving, &report));
        })?;
        Ok(Self { feed, bound, reports, end: Some(end), ended })
    }

    /// Where the watch says how it stands.
    pub fn feed(&self) -> &Feed {
        &self.feed
    }

    /// Where it is served, while it is.
    pub fn address(&self) -> Option<SocketAddr> {
        *self.bound.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// The next report, if there is one.
    pub fn report(&self) -> Option<Report> {
        self.reports.try_recv().ok()
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        // The last snapshot has a moment to go out; a browser that does not take it is left.
        self.end = None;
        let _ = self.ended.recv_timeout(2 * LEAVING);
    }
}

fn set(bound: &Mutex<Option<SocketAddr>>, to: Option<SocketAddr>) {
    *bound.lock().unwrap_or_else(PoisonError::into_inner) = to;
}

fn listen(at: SocketAddr, runtime: &runtime::Runtime) -> io::Result<TcpListener> {
    let _inside = runtime.enter();
    listen_here(at)
}

fn listen_here(at: SocketAddr) -> io::Result<TcpListener> {
    let listener = std::net::TcpListener::bind(at)?;
    listener.set_nonblocking(true)?;
    TcpListener::from_std(listener)
}

/// Serves for as long as the server is there, whatever becomes of the address.
async fn keep(
    at: SocketAddr,
    first: io::Result<TcpListener>,
    house: &Arc<House>,
    bound: &Mutex<Option<SocketAddr>>,
    report: &mpsc::SyncSender<Report>,
) {
    let seats = Seats::new(house.bounds);
    let router = router(house);
    let mut listener = first;
    let mut works = true;
    let mut end = house.end.clone();
    loop {
        let failed = match &listener {
            Ok(open) => {
                set(bound, open.local_addr().ok());
                if !works {
                    works = true;
                    // A report that finds no room follows seven that say the same.
                    let _ = report.try_send(Report { works, why: String::new() });
                }
                match accept(open, house, &seats, &router, &mut end).await {
                    Some(error) => error.to_string(),
                    None => break,
                }
            }
            Err(error) => error.to_string(),
        };
        set(bound, None);
        if works {
            works = false;
            let why = format!("cannot be served at {at}: {failed}; it is tried again every {} s", AGAIN.as_secs());
            let _ = report.try_send(Report { works, why });
        }
        drop(listener);
        if timeout(AGAIN, end.changed()).await.is_ok() {
            return;
        }
        listener = listen_here(at);
    }
    let gone = async {
        while seats.count() > 0 {
            sleep(Duration::from_millis(10)).await;
        }
    };
    let _ = timeout(LEAVING, gone).await;
}

/// Accepts until the end, which is none, or until the listener itself does not work.
async fn accept(
    listener: &TcpListener,
    house: &Arc<House>,
    seats: &Arc<Seats>,
    router: &Router,
    end: &mut watch::Receiver<()>,
) -> Option<io::Error> {
    loop {
        let accepted = tokio::select! {
            _ = end.changed() => return None,
            accepted = listener.accept() => accepted,
        };
        match accepted {
            Ok((stream, from)) => match seats.take(from.ip()) {
                Some(guest) => drop(tokio::spawn(serve(stream, guest, router.clone(), Arc::clone(house)))),
                None => {
                    // Said where it costs nothing: what does not fit into the socket's own buffer is left.
                    let full = b"HTTP/1.1 503 Service Unavailable\r\nConnection: close\r\nContent-Length: 0\r\n\r\n";
                    let _ = stream.try_write(full);
                }
            },
            // One that left before it was served, or out of file handles: neither is the listener's fault.
            Err(error) if connection_only(&error) => {}
            Err(error) if matches!(error.raw_os_error(), Some(23 | 24)) => sleep(Duration::from_millis(200)).await,
            Err(error) => return Some(error),
        }
    }
}

fn connection_only(error: &io::Error) -> bool {
    use io::ErrorKind::ConnectionAborted;
    use io::ErrorKind::ConnectionRefused;
    use io::ErrorKind::ConnectionReset;
    use io::ErrorKind::Interrupted;
    matches!(error.kind(), ConnectionAborted | ConnectionRefused | ConnectionReset | Interrupted)
}

async fn serve(stream: TcpStream, guest: Guest, router: Router, house: Arc<House>) {
    let Ok(local) = stream.local_addr() else { return };
    // Without it a line may wait for the answer to the one before.
    let _ = stream.set_nodelay(true);
    let guest = Arc::new(guest);
    let router = router.layer(Extension(Door { guest: Arc::clone(&guest), local }));
    let bounds = house.bounds;
    let connection = http1::Builder::new()
        .timer(TokioTimer::new())
        .header_read_timeout(bounds.head_within)
        .max_buf_size(bounds.head)
        .max_headers(64)
        .serve_connection(TokioIo::new(stream), TowerToHyperService::new(router));
    tokio::pin!(connection);
    let mut before = 0;
    loop {
        match timeout(bounds.unread, connection.as_mut()).await {
            // That the other side is gone, or speaks no HTTP, is the ordinary end.
            Ok(_) => return,
            Err(_) => {
                let taken = guest.taken.load(Ordering::Relaxed);
                if guest.reads.load(Ordering::Relaxed) && taken == before {
                    return;
                }
                before = taken;
            }
        }
    }
}
