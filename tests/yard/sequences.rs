//! Sequences of faults by chance, over the model of an office and over the real one. Seeds are printed; two controls show that
//! the test can fail.

use super::{
    model::{Broken, Office, Step, World, steps},
    scene::{Scene, at_a_stop, send_as, sheet},
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
    epoch: u32,
    saved: Option<Box<Paper>>,
    /// Broken on purpose: every arrival is worked in.
    without_keys: bool,
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
    faults: usize,
}

async fn over_paper(sequences: u64, broken: Broken, without_keys: bool) -> Told {
    let mut told = Told { failed: Vec::new(), kept: 0, faults: 0 };
    for seed in SEED..SEED + sequences {
        let all = steps(60).new_tree(&mut runner(seed)).unwrap().current();
        let mut world = World::new(Paper { without_keys, ..Paper::default() }, broken);
        if let Err(why) = run(&mut world, &all).await {
            told.failed.push((seed, why));
        }
        told.kept += world.kept;
        told.faults += world.faults;
    }
    told
}

#[tokio::test]
async fn ten_thousand_sequences_lose_nothing_and_double_nothing() {
    let told = over_paper(10_000, Broken::No, false).await;
    println!(
        "10,000 sequences from seed {SEED}: {} items kept, {} faults of the line, {} failed",
        told.kept,
        told.faults,
        told.failed.len()
    );
    assert!(told.failed.is_empty(), "{:?}", &told.failed[..told.failed.len().min(3)]);
    assert!(told.kept > 50_000 && told.faults > 20_000, "the sequences do little");
}

#[tokio::test]
async fn without_keys_items_are_doubled_and_the_test_sees_it() {
    let told = over_paper(300, Broken::No, true).await;
    println!("without keys {} of 300 sequences fail", told.failed.len());
    assert!(told.failed.len() > 100 && told.failed.iter().any(|(_, why)| why.contains("worked in")), "{}", told.failed.len());
}

#[tokio::test]
async fn deleting_before_the_answer_loses_items_and_the_test_sees_it() {
    let told = over_paper(300, Broken::DeletesBeforeTheAnswer, false).await;
    println!("deleting before the answer {} of 300 sequences fail", told.failed.len());
    assert!(told.failed.len() > 100 && told.failed.iter().any(|(_, why)| why.contains("vanished")), "{}", told.failed.len());
}

/// The real service over a real PostgreSQL.
struct Real<'a> {
    s: &'a Scene,
    saved: BTreeSet<Uuid>,
    mine: BTreeSet<Uuid>,
    off: bool,
}

impl Office for Real<'_> {
    async fn take(&mut self, _: usize, id: Uuid, body: &[u8]) -> ([u8; 32], String) {
        self.mine.insert(id);
        let page = send_as(&self.s.t, Some(&self.s.tech), id, body, None).await;
        assert_eq!(page.status, 200, "{}", page.body);
        let said: serde_json::Value = serde_json::from_str(&page.body).unwrap();
        let hash = said["sha256"].as_str().unwrap();
        let mut sum = [0; 32];
        for (at, byte) in sum.iter_mut().enumerate() {
            *byte = u8::from_str_radix(&hash[2 * at..2 * at + 2], 16).unwrap();
        }
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
        tx.commit().await.unwrap();
        self.mine.clone_from(&self.saved);
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
    let (mut kept, mut faults) = (0, 0);
    for seed in SEED..SEED + n {
        let all = steps(30).new_tree(&mut runner(seed)).unwrap().current();
        let mut world = World::new(Real { s: &s, saved: BTreeSet::new(), mine: BTreeSet::new(), off: false }, Broken::No);
        let told = run(&mut world, &all).await;
        assert_eq!(told, Ok(()), "seed {seed}: {all:?}");
        kept += world.kept;
        faults += world.faults;
    }
    println!("{n} sequences from seed {SEED} over the real office: {kept} items kept, {faults} faults of the line, 0 lost, 0 doubled");
    assert_eq!(s.t.broken_promises().await, Vec::<String>::new());
}
