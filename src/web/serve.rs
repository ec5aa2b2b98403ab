//! The accept loop: a header timeout, a limit on open connections, and a clean end.
//!
//! `axum::serve` waits for ever for a half-sent header, and so cannot end while one is open; hyper's own builder does better.

use axum::{
    Router,
    extract::ConnectInfo,
    http::{Request, Response},
};
use hyper::{body::Incoming, server::conn::http1};
use hyper_util::{
    rt::{TokioIo, TokioTimer},
    server::graceful::GracefulShutdown,
    service::TowerToHyperService,
};
use std::{net::SocketAddr, sync::Arc, time::Duration};
use tokio::{net::TcpListener, sync::Semaphore};
use tokio_util::sync::CancellationToken;
use tower::ServiceExt;

const HEADER_TIMEOUT: Duration = Duration::from_secs(5);
const LAST_REQUESTS: Duration = Duration::from_secs(10);
const OPEN_CONNECTIONS: usize = 2000;

/// Serves until `stop` is cancelled, then lets running requests finish, ten seconds at most.
pub async fn serve(listener: TcpListener, router: Router, stop: CancellationToken) {
    let running = GracefulShutdown::new();
    let room = Arc::new(Semaphore::new(OPEN_CONNECTIONS));
    let mut http = http1::Builder::new();
    http.timer(TokioTimer::new()).header_read_timeout(HEADER_TIMEOUT);
    loop {
        // The stop is heard even while every seat is taken.
        let seat = tokio::select! {
            Ok(seat) = Arc::clone(&room).acquire_owned() => seat,
            () = stop.cancelled() => break,
        };
        let accepted = tokio::select! {
            accepted = listener.accept() => accepted,
            () = stop.cancelled() => break,
        };
        // An error here is the caller's (reset) or passing (out of descriptors): wait a moment, go on.
        let Ok((stream, peer)) = accepted else {
            tokio::time::sleep(Duration::from_millis(50)).await;
            continue;
        };
        let router = router.clone();
        let service = tower::service_fn(move |mut request: Request<Incoming>| {
            request.extensions_mut().insert(ConnectInfo::<SocketAddr>(peer));
            let router = router.clone();
            async move { answer(router, request).await }
        });
        let connection = running.watch(http.serve_connection(TokioIo::new(stream), TowerToHyperService::new(service)));
        tokio::spawn(async move {
            let _ = connection.await;
            drop(seat);
        });
    }
    drop(listener);
    let _ = tokio::time::timeout(LAST_REQUESTS, running.shutdown()).await;
}

async fn answer(router: Router, request: Request<Incoming>) -> Result<Response<axum::body::Body>, std::convert::Infallible> {
    router.oneshot(request.map(axum::body::Body::new)).await
}
