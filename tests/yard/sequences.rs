//! Sequences of faults by chance, over the model of an office and over the real one. Seeds are printed; two controls show that
//! the test can fail.

use super::{
    album::{Said, Taken},
    model::{Broken, Office, Step, World, steps},
    scene::{Scene, at_a_stop, send_as, sheet},
    shot::{Shot, noise},
    support::encode,
};
use embertide::secrets::sha256;
use proptest::{
    strategy::{Strategy, ValueTree},
    test_runner::{Config, RngAlgorithm, TestRng, TestRunner},
};
use std::collections::{BTreeMap, BTreeSet};
use uuid::Uuid;

const SEED: u64 = 20_261_005;

fn runner(seed: u64) -> TestRunner {
    let mut bytes = [0; 32];
    bytes[..8].copy_from_slice(&seed.to_le_bytes());
    TestRunner::new_with_rng(Config::default(), TestRng::from_seed(RngAlgorithm::ChaCha, &bytes))
}

/// An office that is only its promises.
#[derive(Clone, Default)]
struct Paper {
    first: BTreeMap<Uuid, Vec<u8>>,
    beside: BTreeSet<(Uuid, Vec<u8>)>,
    effects: BTreeMap<Uuid, usize>,
    photos: BTreeMap<Uuid, (Uuid, [u8; 32])>,
    coming: BTreeMap<Uuid, Vec<u8>>,
    epoch: u32,
    saved: Option<Box<Paper>>,
    /// Broken on purpose: every arrival is worked in.
    without_keys: bool,
    /// Broken on purpose: a photo is taken as it comes, and said to be what was sent.
    unchecked: bool,
}

impl Office for Paper {
    async fn take(&mut self, _: usize, id: Uuid, body: &[u8]) -> ([u8; 32], String) {
        match self.first.get(&id) {
            Some(first) if first == body && !self.without_keys => {}
            Some(first) if first != body => drop(self.beside.insert((id, body.to_vec()))),
            _ => {
                self.first.insert(id, body.to_vec());
                *self.effects.entry(id).or_default() += 1;
            }
        }
        (sha256(body), self.epoch.to_string())
    }
    async fn restart(&mut self) {}
    async fn reassign(&mut self) {}
    async fn backup(&mut self) {
        self.saved = None;
        self.saved = Some(Box::new(self.clone()));
    }
    async fn restore(&mut self) {
        let Some(saved) = self.saved.clone() else { return };
        let epoch = self.epoch + 1;
        *self = *saved.clone();
        (self.epoch, self.saved) = (epoch, Some(saved));
    }
    async fn stored(&mut self, ids: &[Uuid]) -> BTreeMap<Uuid, Vec<Vec<u8>>> {
        let mut all: BTreeMap<Uuid, Vec<Vec<u8>>> = self.first.iter().map(|(id, b)| (*id, vec![b.clone()])).collect();
        for (id, body) in &self.beside {
            all.entry(*id).or_default().push(body.clone());
        }
        let wanted: BTreeSet<&Uuid> = ids.iter().collect();
        all.retain(|id, _| wanted.contains(id));
        all
    }
    async fn effects(&mut self, _: &[Uuid]) -> BTreeMap<Uuid, usize> {
        self.effects.clone()
    }
    async fn photo_have(&mut self, taken: &Taken) -> Said {
        let say = |sum: [u8; 32]| if self.unchecked { taken.sum() } else { sum };
        let whole = self.photos.get(&taken.id).map(|(_, sum)| (say(*sum), self.epoch.to_string()));
        (self.coming.get(&taken.id).map_or(0, Vec::len), whole)
    }
    async fn photo_piece(&mut self, taken: &Taken, at: usize, piece: &[u8]) -> Said {
        let come = self.coming.entry(taken.id).or_default();
        if !self.photos.contains_key(&taken.id) && come.len() == at {
            come.extend_from_slice(piece);
            if come.len() >= taken.bytes.len() {
                if self.unchecked || sha256(come) == taken.sum() {
                    self.photos.insert(taken.id, (taken.item, sha256(come)));
                }
                self.coming.remove(&taken.id);
            }
        }
        self.photo_have(taken).await
    }
    async fn photos(&mut self, _: &[Uuid]) -> BTreeMap<Uuid, ([u8; 32], Option<Uuid>)> {
        let home = |item: &Uuid| self.effects.contains_key(item).then_some(*item);
        self.photos.iter().map(|(id, (item, sum))| (*id, (*sum, home(item)))).collect()
    }
    fn photo(&self, seed: u8) -> Vec<u8> {
        (0..500_u32).map(|n| (n.wrapping_mul(u32::from(seed) + 1) >> 3).to_le_bytes()[0]).collect()
    }
    fn body(&self, what: u8, corrects: Option<Uuid>, other_build: bool) -> Vec<u8> {
        format!("{what} {corrects:?} {other_build}").into_bytes()
    }
}

async fn run<O: Office>(world: &mut World<O>, all: &[Step]) -> Result<(), String> {
    for step in all {
        world.step(step).await;
        world.nothing_vanished()?;
    }
    world.settle().await
}

struct Told {
    failed: Vec<(u64, String)>,
    kept: usize,
    photos: usize,
    faults: usize,
}

async fn over_paper(sequences: u64, broken: Broken, office: Paper) -> Told {
    let mut told = Told { failed: Vec::new(), kept: 0, photos: 0, faults: 0 };
    for seed in SEED..SEED + sequences {
        let all = steps(75).new_tree(&mut runner(seed)).unwrap().current();
        let mut world = World::new(office.clone(), broken);
        if let Err(why) = run(&mut world, &all).await {
            told.failed.push((seed, why));
        }
        told.kept += world.kept;
        told.photos += world.photos_taken;
        told.faults += world.faults;
    }
    told
}

#[tokio::test]
async fn ten_thousand_sequences_lose_nothing_and_double_nothing() {
    let told = over_paper(10_000, Broken::No, Paper::default()).await;
    println!(
        "10,000 sequences from seed {SEED}: {} items kept, {} photos taken, {} faults of the line, {} failed",
        told.kept,
        told.photos,
        told.faults,
        told.failed.len()
    );
    assert!(told.failed.is_empty(), "{:?}", &told.failed[..told.failed.len().min(3)]);
    assert!(told.kept > 40_000 && told.photos > 10_000 && told.faults > 20_000, "the sequences do little");
}

#[tokio::test]
async fn without_keys_items_are_doubled_and_the_test_sees_it() {
    let told = over_paper(300, Broken::No, Paper { without_keys: true, ..Paper::default() }).await;
    println!("without keys {} of 300 sequences fail", told.failed.len());
    assert!(told.failed.len() > 100 && told.failed.iter().any(|(_, why)| why.contains("worked in")), "{}", told.failed.len());
}

#[tokio::test]
async fn deleting_before_the_answer_loses_items_and_the_test_sees_it() {
    let told = over_paper(300, Broken::DeletesBeforeTheAnswer, Paper::default()).await;
    println!("deleting before the answer {} of 300 sequences fail", told.failed.len());
    assert!(told.failed.len() > 100 && told.failed.iter().any(|(_, why)| why.contains("vanished")), "{}", told.failed.len());
    assert!(told.failed.iter().any(|(_, why)| why.contains("photo")), "of photos too");
}

#[tokio::test]
async fn an_office_that_does_not_look_at_photos_keeps_damaged_ones_and_the_test_sees_it() {
    let told = over_paper(3000, Broken::No, Paper { unchecked: true, ..Paper::default() }).await;
    println!("with photos unchecked {} of 3000 sequences fail", told.failed.len());
    assert!(told.failed.len() > 10 && told.failed.iter().all(|(_, why)| why.contains("other bytes")), "{}", told.failed.len());
}

/// The real service over a real PostgreSQL.
struct Real<'a> {
    s: &'a Scene,
    saved: BTreeSet<Uuid>,
    mine: BTreeSet<Uuid>,
    photos: BTreeSet<Uuid>,
    saved_photos: BTreeSet<Uuid>,
    off: bool,
}

impl Real<'_> {
    fn shot(&self, taken: &Taken) -> Shot {
        Shot { id: taken.id, item: taken.item, visit: self.s.visit, caption: "by chance".to_owned(), bytes: taken.bytes.clone() }
    }
}

/// An office's answer about a photo.
fn said(v: &serde_json::Value) -> Said {
    let whole = v["sha256"].as_str().map(|sum| (embertide::secrets::fingerprint(sum).unwrap(), v["epoch"].as_str().unwrap().to_owned()));
    (usize::try_from(v["have"].as_u64().unwrap()).unwrap(), whole)
}

impl Office for Real<'_> {
    async fn take(&mut self, _: usize, id: Uuid, body: &[u8]) -> ([u8; 32], String) {
        self.mine.insert(id);
        let page = send_as(&self.s.t, Some(&self.s.tech), id, body, None).await;
        assert_eq!(page.status, 200, "{}", page.body);
        let said: serde_json::Value = serde_json::from_str(&page.body).unwrap();
        let sum = embertide::secrets::fingerprint(said["sha256"].as_str().unwrap()).unwrap();
        (sum, said["epoch"].as_str().unwrap().to_owned())
    }

    async fn restart(&mut self) {
        // The service holds nothing in memory: a new router over the same records is a restart. The other tests kill processes.
        let page = self.s.t.get(None, "/ready").await;
        assert_eq!(page.status, 200);
    }

    async fn reassign(&mut self) {
        self.off ^= true;
        let status = if self.off { "cancelled" } else { "done" };
        sqlx::query("UPDATE visits SET status = $2 WHERE id = $1").bind(self.s.visit).bind(status).execute(self.s.t.pool()).await.unwrap();
    }

    async fn backup(&mut self) {
        self.saved = self.mine.clone();
        self.saved_photos = self.photos.clone();
    }

    /// Older records put back: what came after the backup is gone without a trace.
    async fn restore(&mut self) {
        let lost: Vec<Uuid> = self.mine.difference(&self.saved).copied().collect();
        let mut tx = self.s.t.pool().begin().await.unwrap();
        sqlx::raw_sql("SET LOCAL session_replication_role = replica").execute(&mut *tx).await.unwrap();
        for sql in [
            "DELETE FROM readings WHERE test_id IN (SELECT id FROM water_tests WHERE report_id = ANY($1))",
            "DELETE FROM water_tests WHERE report_id = ANY($1)",
            "DELETE FROM doses WHERE report_id = ANY($1)",
            "DELETE FROM report_jobs WHERE report_id = ANY($1)",
            "DELETE FROM checklist_answers WHERE report_id = ANY($1)",
            "DELETE FROM visit_reports WHERE report_id = ANY($1)",
            "DELETE FROM to_settle WHERE submission_id = ANY($1)",
            "DELETE FROM other_bodies WHERE submission_id = ANY($1)",
            "DELETE FROM submissions WHERE id = ANY($1)",
        ] {
            sqlx::query(sql).bind(&lost).execute(&mut *tx).await.unwrap();
        }
        let lost: Vec<Uuid> = self.photos.difference(&self.saved_photos).copied().collect();
        sqlx::query("DELETE FROM photos WHERE id = ANY($1)").bind(&lost).execute(&mut *tx).await.unwrap();
        // One that was there before its report waits again; the files stay where they are.
        sqlx::query("UPDATE photos SET report_id = NULL WHERE report_id NOT IN (SELECT report_id FROM visit_reports)")
            .execute(&mut *tx)
            .await
            .unwrap();
        tx.commit().await.unwrap();
        self.mine.clone_from(&self.saved);
        self.photos.clone_from(&self.saved_photos);
        embertide::store::phones::new_epoch(self.s.t.pool()).await.unwrap();
    }

    async fn stored(&mut self, ids: &[Uuid]) -> BTreeMap<Uuid, Vec<Vec<u8>>> {
        let rows: Vec<(Uuid, Vec<u8>)> = sqlx::query_as(
            "SELECT id, body FROM submissions WHERE id = ANY($1) UNION ALL SELECT submission_id, body FROM other_bodies WHERE submission_id = ANY($1)",
        )
        .bind(ids)
        .fetch_all(self.s.t.pool())
        .await
        .unwrap();
        let mut all: BTreeMap<Uuid, Vec<Vec<u8>>> = BTreeMap::new();
        for (id, body) in rows {
            all.entry(id).or_default().push(body);
        }
        all
    }

    async fn effects(&mut self, ids: &[Uuid]) -> BTreeMap<Uuid, usize> {
        let rows: Vec<(Uuid, i64)> =
            sqlx::query_as("SELECT report_id, count(*) FROM visit_reports WHERE report_id = ANY($1) AND version = 1 GROUP BY report_id")
                .bind(ids)
                .fetch_all(self.s.t.pool())
                .await
                .unwrap();
        rows.into_iter().map(|(id, n)| (id, usize::try_from(n).unwrap())).collect()
    }

    async fn photo_have(&mut self, taken: &Taken) -> Said {
        said(&self.shot(taken).have(&self.s.t, &self.s.tech).await)
    }

    async fn photo_piece(&mut self, taken: &Taken, at: usize, piece: &[u8]) -> Said {
        let page = self.shot(taken).send(&self.s.t, Some(&self.s.tech), at, piece, None).await;
        assert_eq!(page.status, 200, "{}", page.body);
        let said = said(&serde_json::from_str(&page.body).unwrap());
        if said.1.is_some() {
            self.photos.insert(taken.id);
        }
        said
    }

    async fn photos(&mut self, ids: &[Uuid]) -> BTreeMap<Uuid, ([u8; 32], Option<Uuid>)> {
        let rows: Vec<(Uuid, Vec<u8>, Option<Uuid>)> = sqlx::query_as("SELECT id, sent_sha256, report_id FROM photos WHERE id = ANY($1)")
            .bind(ids)
            .fetch_all(self.s.t.pool())
            .await
            .unwrap();
        rows.into_iter().map(|(id, sum, report)| (id, (sum.try_into().unwrap(), report))).collect()
    }

    fn photo(&self, seed: u8) -> Vec<u8> {
        noise(seed.into(), 12, 12)
    }

    fn body(&self, what: u8, corrects: Option<Uuid>, other_build: bool) -> Vec<u8> {
        if other_build {
            return encode(&[("form", "report/2"), ("visit", &self.s.visit.to_string()), ("what", &what.to_string())]).into_bytes();
        }
        if let Some(of) = corrects {
            let of = of.to_string();
            return encode(&[("form", "correct/1"), ("report", &of), ("job", "water-test"), ("drops", "18"), ("reason", "slip")])
                .into_bytes();
        }
        let drops = (what % 40).to_string();
        sheet(self.s.visit, &[("drops", &drops)]).into_bytes()
    }
}

/// `YARD_SEQUENCES=500 cargo test --test yard real` runs more.
#[tokio::test]
async fn the_real_office_loses_nothing_and_doubles_nothing() {
    let n: u64 = std::env::var("YARD_SEQUENCES").ok().and_then(|n| n.parse().ok()).unwrap_or(60);
    let s = at_a_stop().await;
    let day: time::Date = sqlx::query_scalar("SELECT day FROM visits WHERE id = $1").bind(s.visit).fetch_one(s.t.pool()).await.unwrap();
    super::scene::ask(&s.t, &s.tech, &format!("/pack/{day}"), Uuid::now_v7(), &[]).await;
    let (mut kept, mut photos, mut faults) = (0, 0, 0);
    for seed in SEED..SEED + n {
        let all = steps(30).new_tree(&mut runner(seed)).unwrap().current();
        let mut world = World::new(
            Real {
                s: &s,
                saved: BTreeSet::new(),
                mine: BTreeSet::new(),
                photos: BTreeSet::new(),
                saved_photos: BTreeSet::new(),
                off: false,
            },
            Broken::No,
        );
        let told = run(&mut world, &all).await;
        assert_eq!(told, Ok(()), "seed {seed}: {all:?}");
        kept += world.kept;
        photos += world.photos_taken;
        faults += world.faults;
    }
    println!(
        "{n} sequences from seed {SEED} over the real office: {kept} items kept, {photos} photos taken, {faults} faults of the line, 0 lost, 0 doubled"
    );
    assert_eq!(s.t.broken_promises().await, Vec::<String>::new());
    let mut c = s.t.pool().acquire().await.unwrap();
    assert_eq!(embertide::store::photos::faults(&mut c, &s.t.app.photos).await.unwrap(), Vec::<String>::new());
}
