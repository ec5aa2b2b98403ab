//! Photos in the model: the phone does what `static/photos.js` does. It asks how much of a photo is there, sends the rest a piece at a time
//! once its outbox is empty, and takes a photo for sent only on an answer with the fingerprint of its bytes.

use super::model::{Broken, Line, Office, World};
use embertide::secrets::sha256;
use std::collections::{BTreeMap, BTreeSet};
use uuid::Uuid;

/// A piece in the model; a photo has three of them or so.
const PIECE: usize = 200;
/// No sequence needs more requests for the photos of one phone.
const MOST_REQUESTS: usize = 400;

/// A photo on a phone.
#[derive(Clone, Debug)]
pub(crate) struct Taken {
    pub(crate) id: Uuid,
    /// What it was kept with.
    pub(crate) item: Uuid,
    pub(crate) bytes: Vec<u8>,
    had: Option<usize>,
    tried: bool,
    /// The office's epoch when it said that it has it.
    pub(crate) sent: Option<String>,
}

/// What the office says of a photo: how much is there; for a whole one its fingerprint and the epoch.
pub(crate) type Said = (usize, Option<([u8; 32], String)>);

impl Taken {
    pub(crate) fn sum(&self) -> [u8; 32] {
        sha256(&self.bytes)
    }
}

impl<O: Office> World<O> {
    pub(crate) fn add_photo(&mut self, phone: usize, seed: u8) {
        let p = &mut self.phones[phone];
        let newest = p.out.iter().chain(&p.sent).filter(|(_, i)| !i.corrects).max_by_key(|(n, _)| **n).map(|(_, i)| i.id);
        let Some(item) = newest else { return };
        let bytes = self.office.photo(seed);
        let taken = Taken { id: Uuid::now_v7(), item, bytes, had: None, tried: false, sent: None };
        self.photos_taken += 1;
        self.album.insert(taken.id, (item, taken.sum()));
        self.phones[phone].photos.push(taken);
    }

    /// One that was never on its way is gone for good.
    pub(crate) fn take_off(&mut self, phone: usize) {
        let photos = &mut self.phones[phone].photos;
        if let Some(at) = photos.iter().rposition(|t| !t.tried) {
            self.album.remove(&photos.remove(at).id);
        }
    }

    /// The first that is not with the office as this phone knows it.
    fn next_photo(&self, phone: usize) -> Option<usize> {
        let p = &self.phones[phone];
        let held: BTreeSet<Uuid> = p.out.values().chain(p.sent.values()).map(|i| i.id).collect();
        p.photos.iter().position(|t| (t.sent.is_none() || t.sent != p.epoch) && held.contains(&t.item))
    }

    /// One request on this line; `None` when no answer comes.
    async fn ask(&mut self, phone: usize, at: usize, line: Line) -> Option<Said> {
        self.faults += usize::from(line != Line::Good);
        let taken = self.phones[phone].photos[at].clone();
        if self.phones[phone].signed_out || matches!(line, Line::RequestLost | Line::Trouble) {
            return None;
        }
        let Some(from) = taken.had else {
            let said = self.office.photo_have(&taken).await;
            return (line != Line::ReplyLost).then_some(said);
        };
        let mut piece = taken.bytes[from.min(taken.bytes.len())..taken.bytes.len().min(from + PIECE)].to_vec();
        if line == Line::Damaged
            && let Some(byte) = piece.first_mut()
        {
            *byte ^= 0x55;
        }
        let said = self.office.photo_piece(&taken, from, &piece).await;
        (line != Line::ReplyLost).then_some(said)
    }

    /// Sends photos until none is left or something stops it; a fault befalls one of the requests.
    pub(crate) async fn send_photos(&mut self, phone: usize, line: Line, nth: usize) {
        for request in 0..MOST_REQUESTS {
            let Some(at) = self.next_photo(phone).filter(|_| self.phones[phone].out.is_empty()) else { return };
            let now = if request == nth { line } else { Line::Good };
            let before = self.phones[phone].photos[at].had;
            self.phones[phone].photos[at].tried |= before.is_some();
            let said = self.ask(phone, at, now).await;
            if self.broken == Broken::DeletesBeforeTheAnswer && before.is_some() {
                self.phones[phone].photos.remove(at);
                return;
            }
            let Some((have, whole)) = said else { return };
            let p = &mut self.phones[phone];
            p.photos[at].had = Some(have);
            match whole {
                Some((sum, epoch)) if sum == p.photos[at].sum() => {
                    p.photos[at].sent = Some(epoch.clone());
                    self.hear(phone, epoch);
                }
                _ if before.is_some_and(|from| have <= from) => return,
                _ => {}
            }
        }
        panic!("photos without end");
    }

    pub(crate) fn no_photo_vanished(&self) -> Result<(), String> {
        let held: BTreeSet<Uuid> = self.phones.iter().flat_map(|p| &p.photos).map(|t| t.id).collect();
        self.album.keys().find(|id| !held.contains(id)).map_or(Ok(()), |id| Err(format!("the photo {id} vanished from its phone")))
    }

    /// Every photo is with the office once, with its bytes, and at its report where that was worked in.
    pub(crate) async fn photos_are_home(&mut self, effects: &BTreeMap<Uuid, usize>) -> Result<(), String> {
        let ids: Vec<Uuid> = self.album.keys().copied().collect();
        let kept = self.office.photos(&ids).await;
        for (id, (item, sum)) in &self.album {
            let Some((there, report)) = kept.get(id) else {
                return Err(format!("the photo {id} was taken, and the office does not have it"));
            };
            if there != sum {
                return Err(format!("the photo {id} has other bytes"));
            }
            let wanted = effects.get(item).is_some_and(|n| *n > 0).then_some(*item);
            if *report != wanted {
                return Err(format!("the photo {id} is at {report:?}, not at {wanted:?}"));
            }
        }
        Ok(())
    }
}
