//! A road engine of ours for tests: it speaks both protocols on invented times, and fails as it is told to.

use embertide::{
    roads::{Point, Position},
    sources::{Base, Client, Engine, Kind},
};
use serde_json::{Value, json};
use std::{
    sync::{
        Arc,
        atomic::{AtomicUsize, Ordering},
    },
    time::Duration,
};
use tokio::{
    io::{AsyncReadExt, AsyncWriteExt},
    net::{TcpListener, TcpStream},
};

/// What the engine does with a request.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Act {
    Answer,
    Hang,
    Close,
    Status(u16),
    Junk,
    /// The head promises more than comes.
    Short,
    Endless,
    Redirect,
    /// A row is missing.
    RowMissing,
    /// Each cell is null.
    Nulls,
}

pub(crate) struct Server {
    port: u16,
    asked: Arc<AtomicUsize>,
}

/// Its drives: 20 m a second along the great circle, and one more.
pub(crate) fn seconds(a: Point, b: Point) -> f64 {
    if a == b { 0.0 } else { (a.metres_to(b) / 20.0).round() + 1.0 }
}

/// North of this the matrix engine has no map.
pub(crate) const MAP_ENDS: f64 = 45.0;

impl Server {
    /// Does `act(n)` with the n-th request.
    pub(crate) async fn new(kind: Kind, act: impl Fn(usize) -> Act + Send + Sync + 'static) -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
        let port = listener.local_addr().unwrap().port();
        let asked = Arc::new(AtomicUsize::new(0));
        let (count, act) = (Arc::clone(&asked), Arc::new(act));
        tokio::spawn(async move {
            while let Ok((stream, _)) = listener.accept().await {
                let (count, act) = (Arc::clone(&count), Arc::clone(&act));
                tokio::spawn(serve(stream, kind, count, act));
            }
        });
        Self { port, asked }
    }

    pub(crate) fn asked(&self) -> usize {
        self.asked.load(Ordering::SeqCst)
    }

    /// An engine of the house that asks it, and waits no longer than half a second.
    pub(crate) fn engine(&self, kind: Kind) -> Engine {
        let base: Base = format!("http://127.0.0.1:{}", self.port).parse().unwrap();
        Engine::new(kind, Client::new(base, false).unwrap().waiting(Duration::from_millis(500)))
    }
}

async fn serve(mut stream: TcpStream, kind: Kind, count: Arc<AtomicUsize>, act: Arc<impl Fn(usize) -> Act>) {
    while let Some((target, body)) = request(&mut stream).await {
        let act = act(count.fetch_add(1, Ordering::SeqCst));
        let (status, text) = answer(kind, act, &target, &body);
        let sent = match act {
            Act::Hang => return tokio::time::sleep(Duration::from_mins(1)).await,
            Act::Close => return,
            Act::Short => stream.write_all(b"HTTP/1.1 200 OK\r\ncontent-length: 1000\r\n\r\n{").await,
            Act::Endless => {
                let _ = stream.write_all(b"HTTP/1.1 200 OK\r\ntransfer-encoding: chunked\r\n\r\n").await;
                let piece = format!("10000\r\n{}\r\n", " ".repeat(0x10000));
                while stream.write_all(piece.as_bytes()).await.is_ok() {}
                return;
            }
            _ => {
                let head = format!("HTTP/1.1 {status} X\r\nlocation: http://127.0.0.1:1/\r\ncontent-length: {}\r\n\r\n", text.len());
                stream.write_all(format!("{head}{text}").as_bytes()).await
            }
        };
        if sent.is_err() || act == Act::Short {
            return;
        }
    }
}

/// Target and body of the next request on the line.
async fn request(stream: &mut TcpStream) -> Option<(String, String)> {
    let mut bytes = Vec::new();
    let mut some = [0; 4096];
    loop {
        let text = String::from_utf8_lossy(&bytes).into_owned();
        if let Some((head, body)) = text.split_once("\r\n\r\n") {
            let length = head.lines().find_map(|l| l.to_ascii_lowercase().strip_prefix("content-length: ")?.parse().ok()).unwrap_or(0);
            if body.len() >= length {
                return Some((head.split(' ').nth(1)?.to_owned(), body.to_owned()));
            }
        }
        match stream.read(&mut some).await {
            Ok(0) | Err(_) => return None,
            Ok(n) => bytes.extend_from_slice(&some[..n]),
        }
    }
}

fn answer(kind: Kind, act: Act, target: &str, body: &str) -> (u16, String) {
    match act {
        Act::Status(status) => return (status, "{}".to_owned()),
        Act::Redirect => return (302, String::new()),
        Act::Junk => return (200, "<html>busy</html>".to_owned()),
        _ => {}
    }
    let (from, to) = if kind == Kind::Table { places(target) } else { locations(body) };
    let cell = |a: &Point, b: &Point| if act == Act::Nulls { Value::Null } else { json!(seconds(*a, *b)) };
    let rows = from.iter().skip(usize::from(act == Act::RowMissing));
    let rows: Vec<Vec<Value>> = rows.map(|a| to.iter().map(|b| cell(a, b)).collect()).collect();
    let near = |points: &[Point]| points.iter().map(|_| json!({ "distance": 0.0 })).collect::<Vec<_>>();
    let said = match kind {
        Kind::Table => {
            json!({ "code": "Ok", "durations": rows, "distances": rows, "sources": near(&from), "destinations": near(&to) })
        }
        Kind::Matrix if from.iter().chain(&to).any(|p| f64::from(p.lat()) / 1e7 > MAP_ENDS) => {
            return (400, json!({ "error_code": 171 }).to_string());
        }
        Kind::Matrix => json!({ "sources_to_targets": { "durations": rows, "distances": rows }, "units": "kilometers" }),
    };
    (200, said.to_string())
}

fn point(lat: f64, lon: f64) -> Point {
    Position::new(lat, lon).unwrap().into()
}

fn places(target: &str) -> (Vec<Point>, Vec<Point>) {
    let (path, query) = target.strip_prefix("/table/v1/driving/").unwrap().split_once('?').unwrap();
    let one = |p: &str| p.split_once(',').map(|(lon, lat)| point(lat.parse().unwrap(), lon.parse().unwrap())).unwrap();
    let all: Vec<Point> = path.split(';').map(one).collect();
    let chosen = |key: &str| -> Vec<Point> {
        let list = query.split('&').find_map(|pair| pair.strip_prefix(key)).unwrap();
        list.split(';').map(|n| all[n.parse::<usize>().unwrap()]).collect()
    };
    (chosen("sources="), chosen("destinations="))
}

fn locations(body: &str) -> (Vec<Point>, Vec<Point>) {
    let json: Value = serde_json::from_str(body).unwrap();
    let list = |key: &str| {
        let one = |p: &Value| point(p["lat"].as_f64().unwrap(), p["lon"].as_f64().unwrap());
        json[key].as_array().unwrap().iter().map(one).collect()
    };
    (list("sources"), list("targets"))
}
