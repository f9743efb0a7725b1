//! Listens, and keeps connections that are idle, or never read what they asked for, from keeping others out.

use std::collections::VecDeque;
use std::convert::Infallible;
use std::net::{IpAddr, SocketAddr};
use std::pin::Pin;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use std::task::{Context, Poll};
use std::time::Duration;

use axum::Router;
use axum::body::{Body, Bytes, HttpBody};
use axum::http::{Request, Response};
use hyper_util::rt::{TokioIo, TokioTimer};
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::{OwnedSemaphorePermit, Semaphore, oneshot, watch};

use super::peer::{Connected, Peer, greediest};
use super::unread::GivesUp;

/// Connections at a time; together with files and feeds well under the usual limit of 1,024 descriptors.
pub const MOST_CONNECTIONS: usize = 512;

/// How long a connection is borne with.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Patience {
    /// To say what it wants, and to stay idle between two requests.
    pub ask: Duration,
    /// To read on, once what it asked for is being sent.
    pub read: Duration,
}

impl Default for Patience {
    fn default() -> Self {
        Self { ask: Duration::from_secs(10), read: Duration::from_secs(30) }
    }
}

/// A connection that may have to go when room is needed.
struct Open {
    peer: Peer,
    under_way: Arc<AtomicUsize>,
    close: oneshot::Sender<()>,
}

/// An answer under way on a connection, until it is dropped.
struct UnderWay(Arc<AtomicUsize>);

impl UnderWay {
    fn on(count: &Arc<AtomicUsize>) -> Self {
        count.fetch_add(1, Ordering::Relaxed);
        Self(Arc::clone(count))
    }
}

impl Drop for UnderWay {
    fn drop(&mut self) {
        self.0.fetch_sub(1, Ordering::Relaxed);
    }
}

/// An answer's body that counts as under way while it lasts.
struct Counted {
    body: Body,
    _under_way: UnderWay,
}

impl HttpBody for Counted {
    type Data = Bytes;
    type Error = axum::Error;

    fn poll_frame(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
    ) -> Poll<Option<Result<hyper::body::Frame<Bytes>, axum::Error>>> {
        Pin::new(&mut self.body).poll_frame(context)
    }

    fn is_end_stream(&self) -> bool {
        self.body.is_end_stream()
    }

    fn size_hint(&self) -> hyper::body::SizeHint {
        self.body.size_hint()
    }
}

/// Serves `router` until `closing` turns true, then lets answers under way end for a moment. Only `proxies` are believed in
/// whom they ask for.
///
/// # Errors
/// What the listener says, except of single connections.
pub async fn serve(
    listener: TcpListener,
    router: Router,
    patience: Patience,
    proxies: &[IpAddr],
    mut closing: watch::Receiver<bool>,
) -> std::io::Result<()> {
    let proxies: Vec<IpAddr> = proxies.iter().map(IpAddr::to_canonical).collect();
    let room = Arc::new(Semaphore::new(MOST_CONNECTIONS));
    let open: Arc<Mutex<VecDeque<Open>>> = Arc::default();
    loop {
        let accepted = tokio::select! {
            accepted = listener.accept() => accepted,
            _ = closing.changed() => return Ok(()),
        };
        let (stream, from): (TcpStream, SocketAddr) = match accepted {
            Ok(accepted) => accepted,
            // Out of descriptors or memory, or a peer that left already: the listener itself is well.
            Err(_) => {
                make_room(&open, None);
                tokio::time::sleep(Duration::from_millis(20)).await;
                continue;
            }
        };
        let permit = match Arc::clone(&room).try_acquire_owned() {
            Ok(permit) => permit,
            Err(_) => {
                make_room(&open, Some(Peer::of(from.ip())));
                let wait = tokio::time::timeout(Duration::from_secs(1), Arc::clone(&room).acquire_owned());
                match wait.await {
                    Ok(Ok(permit)) => permit,
                    // Everyone is busy: this one is turned away.
                    _ => continue,
                }
            }
        };
        let (close, closed) = oneshot::channel();
        let under_way = Arc::<AtomicUsize>::default();
        {
            let mut open = open.lock().unwrap_or_else(PoisonError::into_inner);
            open.retain(|one| !one.close.is_closed());
            open.push_back(Open { peer: Peer::of(from.ip()), under_way: Arc::clone(&under_way), close });
        }
        let address = from.ip().to_canonical();
        let from = Connected { address, is_proxy: proxies.contains(&address) };
        let connection = Connection { from, router: router.clone(), patience, under_way, _permit: permit };
        tokio::spawn(connection.run(stream, closed, closing.clone()));
    }
}

/// Closes the oldest connection on which nothing is under way; where there is none, the oldest of the visitor who has most, if
/// the newcomer has far fewer: who keeps all of them busy keeps nobody else out.
fn make_room(open: &Mutex<VecDeque<Open>>, newcomer: Option<Peer>) {
    let mut open = open.lock().unwrap_or_else(PoisonError::into_inner);
    let is_idle = |one: &Open| one.under_way.load(Ordering::Relaxed) == 0 && !one.close.is_closed();
    let of_greediest = || {
        let own = open.iter().filter(|one| Some(one.peer) == newcomer).count();
        let (greedy, count) = greediest(open.iter().map(|one| one.peer))?;
        let at = open.iter().position(|one| one.peer == greedy && !one.close.is_closed())?;
        (2 * own < count).then_some(at)
    };
    let at = open.iter().position(is_idle).or_else(of_greediest);
    if let Some(one) = at.and_then(|at| open.remove(at)) {
        // It may have ended by itself this moment: then there is room as well.
        let _ = one.close.send(());
    }
}

struct Connection {
    from: Connected,
    router: Router,
    patience: Patience,
    under_way: Arc<AtomicUsize>,
    _permit: OwnedSemaphorePermit,
}

impl Connection {
    async fn run(self, stream: TcpStream, closed: oneshot::Receiver<()>, mut closing: watch::Receiver<bool>) {
        // Events are small and wanted at once.
        let _ = stream.set_nodelay(true);
        let from = self.from;
        let service = hyper::service::service_fn(|mut request: Request<hyper::body::Incoming>| {
            request.extensions_mut().insert(from);
            let under_way = UnderWay::on(&self.under_way);
            let answer = tower_call(self.router.clone(), request.map(Body::new));
            async move {
                let counted = |body| Body::new(Counted { body, _under_way: under_way });
                Ok::<_, Infallible>(answer.await.map(counted))
            }
        });
        let serving = hyper::server::conn::http1::Builder::new()
            .timer(TokioTimer::new())
            .header_read_timeout(self.patience.ask)
            .max_buf_size(64 * 1024)
            .max_headers(100)
            .serve_connection(TokioIo::new(GivesUp::new(stream, self.patience.read)), service);
        tokio::pin!(serving);
        tokio::select! {
            _ = serving.as_mut() => {}
            Ok(()) = closed => {}
            _ = closing.changed() => {
                serving.as_mut().graceful_shutdown();
                let _ = tokio::time::timeout(Duration::from_secs(1), serving).await;
            }
        }
    }
}

async fn tower_call(router: Router, request: Request<Body>) -> Response<Body> {
    use hyper_util::service::TowerToHyperService;
    let service = TowerToHyperService::new(router);
    match hyper::service::Service::call(&service, request).await {
        Ok(answer) => answer,
        Err(never) => match never {},
    }
}
