//! Listens, and keeps connections that say nothing from keeping others out.

use std::collections::VecDeque;
use std::convert::Infallible;
use std::net::SocketAddr;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

use axum::Router;
use axum::body::Body;
use axum::http::{Request, Response};
use hyper_util::rt::{TokioIo, TokioTimer};
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::{OwnedSemaphorePermit, Semaphore, oneshot, watch};

/// Connections at a time; together with files and feeds well under the usual limit of 1,024 descriptors.
pub const MOST_CONNECTIONS: usize = 512;
/// How long a connection may take to say what it wants, and stay idle between two requests.
const HEADER_TIME: Duration = Duration::from_secs(10);

/// A connection that has not asked for anything yet; it goes first when room is needed.
struct Silent {
    spoke: Arc<AtomicBool>,
    close: oneshot::Sender<()>,
}

/// Serves `router` until `closing` turns true, then lets answers under way end for a moment.
///
/// # Errors
/// What the listener says, except of single connections.
pub async fn serve(
    listener: TcpListener,
    router: Router,
    mut closing: watch::Receiver<bool>,
) -> std::io::Result<()> {
    let room = Arc::new(Semaphore::new(MOST_CONNECTIONS));
    let silent: Arc<Mutex<VecDeque<Silent>>> = Arc::default();
    loop {
        let accepted = tokio::select! {
            accepted = listener.accept() => accepted,
            _ = closing.changed() => return Ok(()),
        };
        let (stream, _peer): (TcpStream, SocketAddr) = match accepted {
            Ok(accepted) => accepted,
            // Out of descriptors or memory, or a peer that left already: the listener itself is well.
            Err(_) => {
                make_room(&silent);
                tokio::time::sleep(Duration::from_millis(20)).await;
                continue;
            }
        };
        let permit = match Arc::clone(&room).try_acquire_owned() {
            Ok(permit) => permit,
            Err(_) => {
                make_room(&silent);
                let wait = tokio::time::timeout(Duration::from_secs(1), Arc::clone(&room).acquire_owned());
                match wait.await {
                    Ok(Ok(permit)) => permit,
                    // Everyone is busy: this one is turned away.
                    _ => continue,
                }
            }
        };
        let (close, closed) = oneshot::channel();
        let spoke = Arc::new(AtomicBool::new(false));
        {
            let mut silent = silent.lock().unwrap_or_else(PoisonError::into_inner);
            silent.retain(|one| !one.spoke.load(Ordering::Relaxed) && !one.close.is_closed());
            silent.push_back(Silent { spoke: Arc::clone(&spoke), close });
        }
        tokio::spawn(connection(stream, router.clone(), spoke, closed, closing.clone(), permit));
    }
}

/// Closes the connection that has been silent for longest.
fn make_room(silent: &Mutex<VecDeque<Silent>>) {
    let mut silent = silent.lock().unwrap_or_else(PoisonError::into_inner);
    while let Some(one) = silent.pop_front() {
        if !one.spoke.load(Ordering::Relaxed) && one.close.send(()).is_ok() {
            return;
        }
    }
}

async fn connection(
    stream: TcpStream,
    router: Router,
    spoke: Arc<AtomicBool>,
    closed: oneshot::Receiver<()>,
    mut closing: watch::Receiver<bool>,
    permit: OwnedSemaphorePermit,
) {
    let _permit = permit;
    // Events are small and wanted at once.
    let _ = stream.set_nodelay(true);
    let service = hyper::service::service_fn(move |request: Request<hyper::body::Incoming>| {
        spoke.store(true, Ordering::Relaxed);
        let answer = tower_call(router.clone(), request.map(Body::new));
        async move { Ok::<_, Infallible>(answer.await) }
    });
    let serving = hyper::server::conn::http1::Builder::new()
        .timer(TokioTimer::new())
        .header_read_timeout(HEADER_TIME)
        .max_buf_size(64 * 1024)
        .serve_connection(TokioIo::new(stream), service);
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

async fn tower_call(router: Router, request: Request<Body>) -> Response<Body> {
    use hyper_util::service::TowerToHyperService;
    let service = TowerToHyperService::new(router);
    match hyper::service::Service::call(&service, request).await {
        Ok(answer) => answer,
        Err(never) => match never {},
    }
}
