//! A model of phones, line and office, driven by chance. The phone here does what `static/outbox.js` does: keep, mark as tried, post,
//! take away only on an answer with the fingerprint of the bytes, offer again what was sent when the office's epoch changes.

use super::album::{Said, Taken};
use embertide::secrets::sha256;
use proptest::prelude::*;
use std::collections::{BTreeMap, BTreeSet};
use uuid::Uuid;

/// What may happen on the way of one request.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Line {
    Good,
    /// The request never arrives.
    RequestLost,
    /// It arrives, its answer does not.
    ReplyLost,
    /// A byte is changed on the way there.
    Damaged,
    /// The office answers, but with an error of its own.
    Trouble,
}

#[derive(Clone, Debug)]
pub(crate) enum Step {
    Keep {
        phone: usize,
        what: u8,
    },
    TakeBack {
        phone: usize,
    },
    Correct {
        phone: usize,
    },
    Send {
        phone: usize,
        line: Line,
    },
    /// Bytes that were acknowledged come once more, as from a line that repeats itself.
    Repeat {
        phone: usize,
    },
    /// A photo, of the sheet that was kept last.
    Photo {
        phone: usize,
        seed: u8,
    },
    TakeOff {
        phone: usize,
    },
    /// The fault befalls the nth request.
    SendPhotos {
        phone: usize,
        line: Line,
        nth: usize,
    },
    /// A changed body under a number that was used.
    RepeatChanged {
        phone: usize,
    },
    SignOut {
        phone: usize,
    },
    SignIn {
        phone: usize,
    },
    Wipe {
        phone: usize,
    },
    Clock {
        phone: usize,
        by: i64,
    },
    /// The next items of this phone are of a form that the office does not know.
    OtherBuild {
        phone: usize,
    },
    /// The office moves the visit to somebody else, or takes it off.
    Reassign,
    Restart,
    Backup,
    Restore,
}

pub(crate) fn steps(most: usize) -> impl Strategy<Value = Vec<Step>> {
    let phone = 0..PHONES;
    let line = prop_oneof![
        4 => Just(Line::Good),
        2 => Just(Line::RequestLost),
        3 => Just(Line::ReplyLost),
        1 => Just(Line::Damaged),
        1 => Just(Line::Trouble),
    ];
    let piece_line = prop_oneof![2 => line.clone(), 1 => Just(Line::Damaged)];
    let step = prop_oneof![
        8 => (phone.clone(), any::<u8>()).prop_map(|(phone, what)| Step::Keep { phone, what }),
        8 => (phone.clone(), line.clone()).prop_map(|(phone, line)| Step::Send { phone, line }),
        4 => (phone.clone(), any::<u8>()).prop_map(|(phone, seed)| Step::Photo { phone, seed }),
        1 => phone.clone().prop_map(|phone| Step::TakeOff { phone }),
        6 => (phone.clone(), piece_line, 0..6_usize).prop_map(|(phone, line, nth)| Step::SendPhotos { phone, line, nth }),
        2 => phone.clone().prop_map(|phone| Step::TakeBack { phone }),
        2 => phone.clone().prop_map(|phone| Step::Correct { phone }),
        2 => phone.clone().prop_map(|phone| Step::Repeat { phone }),
        1 => phone.clone().prop_map(|phone| Step::RepeatChanged { phone }),
        1 => phone.clone().prop_map(|phone| Step::SignOut { phone }),
        1 => phone.clone().prop_map(|phone| Step::SignIn { phone }),
        1 => phone.clone().prop_map(|phone| Step::Wipe { phone }),
        1 => (phone.clone(), -100_000_000_000_i64..100_000_000_000).prop_map(|(phone, by)| Step::Clock { phone, by }),
        1 => phone.prop_map(|phone| Step::OtherBuild { phone }),
        1 => Just(Step::Reassign),
        1 => Just(Step::Restart),
        1 => Just(Step::Backup),
        1 => Just(Step::Restore),
    ];
    prop::collection::vec(step, 1..most)
}

pub(crate) const PHONES: usize = 3;
/// No fault at all.
const MOST: usize = usize::MAX;

/// Words of an item for the office at hand.
pub(crate) trait Office {
    /// Takes bytes in; `Some` is its answer: fingerprint and epoch.
    async fn take(&mut self, phone: usize, id: Uuid, body: &[u8]) -> ([u8; 32], String);
    async fn restart(&mut self);
    async fn reassign(&mut self);
    async fn backup(&mut self);
    async fn restore(&mut self);
    /// Every stored body under an id, the first one first.
    async fn stored(&mut self, ids: &[Uuid]) -> BTreeMap<Uuid, Vec<Vec<u8>>>;
    /// How often an item under this id was worked into the records.
    async fn effects(&mut self, ids: &[Uuid]) -> BTreeMap<Uuid, usize>;
    /// How much of a photo is there.
    async fn photo_have(&mut self, taken: &Taken) -> Said;
    /// Takes a piece of a photo in.
    async fn photo_piece(&mut self, taken: &Taken, at: usize, piece: &[u8]) -> Said;
    /// The fingerprints of these photos as they were sent, and the report that each is at.
    async fn photos(&mut self, ids: &[Uuid]) -> BTreeMap<Uuid, ([u8; 32], Option<Uuid>)>;
    /// The bytes of some picture.
    fn photo(&self, seed: u8) -> Vec<u8>;
    /// The bytes of a sheet, of a correction of another item, or of a form from another build.
    fn body(&self, what: u8, corrects: Option<Uuid>, other_build: bool) -> Vec<u8>;
}

#[derive(Clone, Debug)]
pub(crate) struct Item {
    pub(crate) id: Uuid,
    body: Vec<u8>,
    tried: bool,
    pub(crate) corrects: bool,
}

#[derive(Debug, Default)]
pub(crate) struct Phone {
    n: u64,
    pub(crate) out: BTreeMap<u64, Item>,
    pub(crate) sent: BTreeMap<u64, Item>,
    pub(crate) photos: Vec<Taken>,
    pub(crate) epoch: Option<String>,
    pub(crate) signed_out: bool,
    other_build: bool,
    clock: i64,
}

/// Ways to break the phone on purpose, so that the test can be seen to fail.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) enum Broken {
    #[default]
    No,
    DeletesBeforeTheAnswer,
}

/// The world, and beside it the truth: what was kept by hands and has to be with the office in the end.
pub(crate) struct World<O> {
    pub(crate) office: O,
    pub(crate) phones: [Phone; PHONES],
    truth: BTreeMap<Uuid, Vec<u8>>,
    /// Photos that were taken and not taken off: what each was kept with, and its fingerprint.
    pub(crate) album: BTreeMap<Uuid, (Uuid, [u8; 32])>,
    /// Bytes that left some phone, damaged ones too: nothing else may be stored.
    left: BTreeSet<(Uuid, Vec<u8>)>,
    pub(crate) broken: Broken,
    pub(crate) faults: usize,
    pub(crate) kept: usize,
    pub(crate) photos_taken: usize,
}

impl<O: Office> World<O> {
    pub(crate) fn new(office: O, broken: Broken) -> Self {
        Self {
            office,
            phones: Default::default(),
            truth: BTreeMap::new(),
            album: BTreeMap::new(),
            left: BTreeSet::new(),
            broken,
            faults: 0,
            kept: 0,
            photos_taken: 0,
        }
    }

    /// Another copy of the records answers: what was sent lately goes back into the outbox.
    pub(crate) fn hear(&mut self, phone: usize, epoch: String) {
        let p = &mut self.phones[phone];
        if p.epoch.as_ref().is_some_and(|before| *before != epoch) {
            p.out.append(&mut p.sent);
        }
        p.epoch = Some(epoch);
    }

    fn keep(&mut self, phone: usize, body: Vec<u8>, corrects: bool) {
        let p = &mut self.phones[phone];
        p.n += 1;
        let seconds = (1_790_000_000_i64 + p.clock).clamp(0, 9_000_000_000).unsigned_abs();
        let id = Uuid::new_v7(uuid::Timestamp::from_unix(uuid::NoContext, seconds, 0));
        self.truth.insert(id, body.clone());
        self.kept += 1;
        p.out.insert(p.n, Item { id, body, tried: false, corrects });
    }

    async fn post(&mut self, phone: usize, item: &Item, line: Line) -> Option<([u8; 32], String)> {
        self.faults += usize::from(line != Line::Good);
        if self.phones[phone].signed_out || matches!(line, Line::RequestLost | Line::Trouble) {
            return None;
        }
        let mut body = item.body.clone();
        if line == Line::Damaged {
            body.push(b'!');
        }
        self.left.insert((item.id, body.clone()));
        let answer = self.office.take(phone, item.id, &body).await;
        (line != Line::ReplyLost).then_some(answer)
    }

    /// Sends until the outbox is empty or something stops it; a fault befalls the first request.
    async fn send(&mut self, phone: usize, mut line: Line) {
        while let Some((n, item)) = self.phones[phone].out.iter().next().map(|(n, i)| (*n, i.clone())) {
            self.phones[phone].out.get_mut(&n).unwrap().tried = true;
            if self.broken == Broken::DeletesBeforeTheAnswer {
                self.phones[phone].out.remove(&n);
            }
            let Some((hash, epoch)) = self.post(phone, &item, line).await else { return };
            line = Line::Good;
            if hash != sha256(&item.body) {
                return;
            }
            let p = &mut self.phones[phone];
            p.out.remove(&n);
            p.sent.insert(n, item);
            self.hear(phone, epoch);
        }
    }

    pub(crate) async fn step(&mut self, step: &Step) {
        match *step {
            Step::Keep { phone, what } => {
                let body = self.office.body(what, None, self.phones[phone].other_build);
                self.keep(phone, body, false);
            }
            Step::TakeBack { phone } => {
                let p = &self.phones[phone];
                let last =
                    p.out.iter().next_back().filter(|(_, i)| !i.tried && p.photos.iter().all(|t| t.item != i.id)).map(|(n, i)| (*n, i.id));
                if let Some((n, id)) = last {
                    self.phones[phone].out.remove(&n);
                    self.truth.remove(&id);
                }
            }
            Step::Correct { phone } => {
                let p = &self.phones[phone];
                if let Some(of) = p.out.values().chain(p.sent.values()).next().map(|i| i.id) {
                    let body = self.office.body(1, Some(of), p.other_build);
                    self.keep(phone, body, true);
                }
            }
            Step::Send { phone, line } => self.send(phone, line).await,
            Step::Photo { phone, seed } => self.add_photo(phone, seed),
            Step::TakeOff { phone } => self.take_off(phone),
            Step::SendPhotos { phone, line, nth } => self.send_photos(phone, line, nth).await,
            Step::Repeat { phone } | Step::RepeatChanged { phone } => {
                if let Some(mut item) = self.phones[phone].sent.values().next().cloned() {
                    if matches!(step, Step::RepeatChanged { .. }) {
                        item.body.extend_from_slice(b"&changed=1");
                    }
                    let _ = self.post(phone, &item, Line::Good).await;
                }
            }
            Step::SignOut { phone } => self.phones[phone].signed_out = true,
            Step::SignIn { phone } => self.phones[phone].signed_out = false,
            Step::Wipe { phone } => {
                let gone = std::mem::take(&mut self.phones[phone]);
                for item in gone.out.values().chain(gone.sent.values()) {
                    self.truth.remove(&item.id);
                }
                for taken in gone.photos {
                    self.album.remove(&taken.id);
                }
            }
            Step::Clock { phone, by } => self.phones[phone].clock = by,
            Step::OtherBuild { phone } => self.phones[phone].other_build ^= true,
            Step::Reassign => self.office.reassign().await,
            Step::Restart => self.office.restart().await,
            Step::Backup => self.office.backup().await,
            Step::Restore => self.office.restore().await,
        }
    }

    /// Nothing that is not with the office has left its phone.
    pub(crate) fn nothing_vanished(&self) -> Result<(), String> {
        for id in self.truth.keys() {
            let held = self.phones.iter().any(|p| p.out.values().chain(p.sent.values()).any(|i| i.id == *id));
            if !held {
                return Err(format!("{id} vanished from its phone"));
            }
        }
        self.no_photo_vanished()
    }

    /// Everybody signs in and has a signal: in three rounds at most all is with the office, once, with its bytes.
    pub(crate) async fn settle(&mut self) -> Result<(), String> {
        for _ in 0..3 {
            for phone in 0..PHONES {
                self.phones[phone].signed_out = false;
                // A phone hears the epoch whenever it is heard, with an empty outbox too.
                if let Some(item) = self.phones[phone].sent.values().next_back().cloned()
                    && let Some((_, epoch)) = self.post(phone, &item, Line::Good).await
                {
                    self.hear(phone, epoch);
                }
                self.send(phone, Line::Good).await;
                // Twice: what was damaged in the middle begins anew only when its end was tried.
                for _ in 0..2 {
                    self.send_photos(phone, Line::Good, MOST).await;
                }
            }
        }
        let ids: Vec<Uuid> = self.truth.keys().copied().collect();
        let (stored, effects) = (self.office.stored(&ids).await, self.office.effects(&ids).await);
        for (id, body) in &self.truth {
            let bodies = stored.get(id).ok_or_else(|| format!("{id} was kept, and the office does not have it"))?;
            let times = bodies.iter().filter(|b| *b == body).count();
            if times != 1 {
                return Err(format!("{id} is stored {times} times with its bytes"));
            }
            if let Some(strange) = bodies.iter().find(|b| !self.left.contains(&(*id, (*b).clone()))) {
                return Err(format!("{id}: stored bytes that no phone sent: {}", String::from_utf8_lossy(strange)));
            }
            let worked = effects.get(id).copied().unwrap_or(0);
            if worked > 1 {
                return Err(format!("{id} was worked in {worked} times"));
            }
        }
        self.photos_are_home(&effects).await?;
        let left: usize = self.phones.iter().map(|p| p.out.len()).sum();
        if left == 0 { Ok(()) } else { Err(format!("{left} items did not leave their phones")) }
    }
}
