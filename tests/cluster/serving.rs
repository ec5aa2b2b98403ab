//! The accept loop ends in time whatever callers leave half done, and finishes what is under way.

use axum::{Router, routing::get};
use embertide::web::serve::serve;
use std::{net::SocketAddr, sync::Arc, time::Duration};
use tokio::{
    io::{AsyncReadExt, AsyncWriteExt},
    net::{TcpListener, TcpStream},
    sync::Notify,
    task::JoinHandle,
    time::timeout,
};
use tokio_util::sync::CancellationToken;

struct Running {
    address: SocketAddr,
    stop: CancellationToken,
    serving: JoinHandle<()>,
    /// Rung when the slow page has begun; and to let it end.
    begun: Arc<Notify>,
    go_on: Arc<Notify>,
}

async fn start() -> Running {
    let (begun, go_on) = (Arc::new(Notify::new()), Arc::new(Notify::new()));
    let (slow_begun, slow_go_on) = (Arc::clone(&begun), Arc::clone(&go_on));
    let slow = async move || {
        slow_begun.notify_one();
        slow_go_on.notified().await;
        "done after all"
    };
    let router = Router::new().route("/", get(async || "here")).route("/slow", get(slow));
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let address = listener.local_addr().unwrap();
    let stop = CancellationToken::new();
    let serving = tokio::spawn(serve(listener, router, stop.clone()));
    Running { address, stop, serving, begun, go_on }
}

async fn say(address: SocketAddr, text: &str) -> TcpStream {
    let mut stream = TcpStream::connect(address).await.unwrap();
    stream.write_all(text.as_bytes()).await.unwrap();
    stream
}

async fn rest(mut stream: TcpStream) -> String {
    let mut text = Vec::new();
    // A reset is an end as well.
    let _ = stream.read_to_end(&mut text).await;
    String::from_utf8(text).unwrap()
}

#[tokio::test]
async fn a_stop_ends_under_half_sent_headers_and_finishes_the_running_request() {
    let running = start().await;
    let mut half = Vec::new();
    for n in 0..100 {
        let text = ["", "G", "GET / HTTP/1.1\r\n", "GET / HTTP/1.1\r\nHost: a\r\nX: "][n % 4];
        half.push(say(running.address, text).await);
    }
    let kept_alive = {
        let mut stream = say(running.address, "GET / HTTP/1.1\r\nHost: a\r\n\r\n").await;
        let mut first = [0; 12];
        stream.read_exact(&mut first).await.unwrap();
        assert_eq!(&first, b"HTTP/1.1 200");
        stream
    };
    let slow = say(running.address, "GET /slow HTTP/1.1\r\nHost: a\r\n\r\n").await;
    running.begun.notified().await;

    running.stop.cancel();
    running.go_on.notify_one();
    // The loop gives up after ten seconds by itself; it must not need them.
    timeout(Duration::from_secs(9), running.serving).await.expect("it must end by itself").unwrap();
    assert!(rest(slow).await.contains("done after all"));
    rest(kept_alive).await;
    for stream in half {
        timeout(Duration::from_secs(5), rest(stream)).await.expect("a half-sent request is cut off");
    }
    assert!(TcpStream::connect(running.address).await.is_err(), "nobody is let in any more");
}

#[tokio::test]
async fn half_sent_headers_do_not_keep_others_out_and_are_cut_off_without_a_stop() {
    let running = start().await;
    let half = say(running.address, "GET / HTTP/1.1\r\nHost: a\r\nX: ").await;
    let fine = say(running.address, "GET / HTTP/1.1\r\nHost: a\r\nConnection: close\r\n\r\n").await;
    assert!(rest(fine).await.ends_with("here"));
    timeout(Duration::from_secs(30), rest(half)).await.expect("cut off");
    running.stop.cancel();
    running.serving.await.unwrap();
}

#[tokio::test]
async fn a_request_that_never_ends_does_not_hold_up_the_stop() {
    let running = start().await;
    let _slow = say(running.address, "GET /slow HTTP/1.1\r\nHost: a\r\n\r\n").await;
    running.begun.notified().await;
    running.stop.cancel();
    timeout(Duration::from_secs(30), running.serving).await.expect("it gives up").unwrap();
}
