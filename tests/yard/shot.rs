//! A photo as a phone holds it, and its way to the office: ask how much is there, send the rest a piece at a time.

use super::support::{Page, Session, TestApp, encode};
use axum::{
    body::Body,
    http::{Request, header},
};
use embertide::secrets::{hex, sha256};
use flate2::{Compression, Crc, write::ZlibEncoder};
use serde_json::Value;
use std::io::Write;
use uuid::Uuid;

/// The largest piece, as in `static/photos.js`.
pub(crate) const PIECE: usize = 65_536;

#[derive(Clone, Debug)]
pub(crate) struct Shot {
    pub(crate) id: Uuid,
    pub(crate) item: Uuid,
    pub(crate) visit: Uuid,
    pub(crate) caption: String,
    pub(crate) bytes: Vec<u8>,
}

/// A PNG of so many pixels of noise, which does not get smaller when it is packed: about three bytes a pixel.
pub(crate) fn noise(seed: u64, width: u32, height: u32) -> Vec<u8> {
    let mut state = seed | 1;
    let mut next = || {
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        state.to_le_bytes()[3]
    };
    let row = usize::try_from(width).unwrap() * 3 + 1;
    let raw: Vec<u8> = (0..row * usize::try_from(height).unwrap()).map(|at| if at % row == 0 { 0 } else { next() }).collect();
    let mut packed = ZlibEncoder::new(Vec::new(), Compression::fast());
    packed.write_all(&raw).unwrap();
    let mut all = b"\x89PNG\r\n\x1a\n".to_vec();
    let head = [&width.to_be_bytes()[..], &height.to_be_bytes(), &[8, 2, 0, 0, 0]].concat();
    for (kind, content) in [(b"IHDR", head), (b"IDAT", packed.finish().unwrap()), (b"IEND", Vec::new())] {
        let mut crc = Crc::new();
        crc.update(kind);
        crc.update(&content);
        all.extend_from_slice(&u32::try_from(content.len()).unwrap().to_be_bytes());
        all.extend_from_slice(kind);
        all.extend_from_slice(&content);
        all.extend_from_slice(&crc.sum().to_be_bytes());
    }
    all
}

impl Shot {
    /// One of three pieces.
    pub(crate) fn new(item: Uuid, visit: Uuid) -> Self {
        let id = Uuid::now_v7();
        Self { id, item, visit, caption: "the plate".to_owned(), bytes: noise(id.as_u64_pair().1, 240, 200) }
    }

    pub(crate) fn sum(&self) -> String {
        hex(&sha256(&self.bytes))
    }

    fn about(&self) -> String {
        encode(&[
            ("sha256", &self.sum()),
            ("size", &self.bytes.len().to_string()),
            ("item", &self.item.to_string()),
            ("visit", &self.visit.to_string()),
            ("caption", &self.caption),
            ("at", "1790000000000"),
        ])
    }

    /// How much is there, as the office says.
    pub(crate) async fn have(&self, t: &TestApp, who: &Session) -> Value {
        let page = t.get(Some(who), &format!("/photos/{}/sent?{}", self.id, self.about())).await;
        assert_eq!(page.status, 200, "{}", page.body);
        serde_json::from_str(&page.body).unwrap()
    }

    /// Sends these bytes as the piece that begins there.
    pub(crate) async fn send(&self, t: &TestApp, who: Option<&Session>, at: usize, piece: &[u8], phone: Option<Uuid>) -> Page {
        let mut request = Request::post(format!("/photos/{}/from/{at}?{}", self.id, self.about()))
            .header(header::CONTENT_TYPE, "application/octet-stream")
            .header("idempotency-key", format!("\"{}\"", self.id));
        if let Some(s) = who {
            request = request.header(header::COOKIE, format!("embertide={}", s.token));
        }
        if let Some(p) = phone {
            request = request.header("phone", p.to_string());
        }
        t.send(request.body(Body::from(piece.to_vec())).unwrap()).await
    }

    /// The piece that begins there, whole; the answer must be a yes.
    pub(crate) async fn piece(&self, t: &TestApp, who: &Session, at: usize) -> Value {
        let end = self.bytes.len().min(at + PIECE);
        let page = self.send(t, Some(who), at, &self.bytes[at..end], None).await;
        assert_eq!(page.status, 200, "{}", page.body);
        serde_json::from_str(&page.body).unwrap()
    }

    /// All of it that is not there yet, as a phone does.
    pub(crate) async fn send_all(&self, t: &TestApp, who: &Session) {
        let mut said = self.have(t, who).await;
        while said["sha256"] != self.sum() {
            let at = usize::try_from(said["have"].as_u64().unwrap()).unwrap();
            said = self.piece(t, who, at).await;
            assert!(said["have"].as_u64().unwrap() > at as u64, "no step forward: {said}");
        }
    }
}
