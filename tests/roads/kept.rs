//! The road file, and roads that follow it.

use crate::world::{Dice, county, county_network, network};
use embertide::roads::{
    Network, Parts, RoadFileError, Roads, decode, encode,
    file::{Current, FileError, load, save},
    import,
    invent::County,
};
use std::{
    fs,
    io::Cursor,
    path::PathBuf,
    sync::{
        Arc,
        atomic::{AtomicBool, Ordering},
    },
};

fn folder(name: &str) -> PathBuf {
    let folder = PathBuf::from(env!("CARGO_TARGET_TMPDIR")).join(format!("roads-{name}-{}", std::process::id()));
    fs::create_dir_all(&folder).unwrap();
    folder
}

fn small() -> Network {
    import(Cursor::new(County { wide: 5, high: 5, ..county() }.extract()), None).unwrap().0
}

#[test]
fn what_is_written_is_read() {
    let network = county_network();
    let bytes = encode(&network);
    assert_eq!(decode(&bytes).unwrap().parts(), network.parts());
    assert_eq!(encode(&decode(&bytes).unwrap()), bytes);
    assert!(bytes.len() < network.bytes() / 2, "{} in the file, {} in memory", bytes.len(), network.bytes());
}

#[test]
fn a_damaged_road_file_is_refused() {
    let bytes = encode(&small());
    for end in (0..bytes.len()).step_by(97).chain([8, 9, 20, 21, bytes.len() - 1]) {
        assert!(decode(&bytes[..end]).is_err(), "cut after {end}");
    }
    let mut dice = Dice(3);
    for _ in 0..400 {
        let mut wrong = bytes.clone();
        let i = dice.below(wrong.len());
        wrong[i] ^= 1 << dice.below(8);
        assert!(decode(&wrong).is_err(), "a turned bit in byte {i}");
    }
    let mut newer = bytes.clone();
    newer[8] = 9;
    assert!(matches!(decode(&newer), Err(RoadFileError::Version { found: 9 })));
    assert!(matches!(decode(b"<html>"), Err(RoadFileError::Other)));
    let more = [bytes.as_slice(), b"x"].concat();
    assert!(decode(&more).is_err(), "something after the end");
}

/// The check sum is right and the body is nonsense: only the checks of every step hold now.
#[test]
fn nonsense_with_a_right_check_sum_never_brings_it_down() {
    let bytes = encode(&small());
    let mut dice = Dice(4);
    let mut refused = 0;
    for _ in 0..600 {
        let mut wrong = bytes.clone();
        for _ in 0..=dice.below(3) {
            let i = 21 + dice.below(wrong.len() - 21);
            wrong[i] = u8::try_from(dice.below(256)).unwrap();
        }
        let mut crc = flate2::Crc::new();
        crc.update(&wrong[21..]);
        wrong[17..21].copy_from_slice(&crc.sum().to_le_bytes());
        match decode(&wrong) {
            Err(_) => refused += 1,
            // A wrong coordinate or name may be a good network still; it must be one that can be searched.
            Ok(network) => drop(Roads::new(network)),
        }
    }
    assert!(refused > 200, "{refused}");
}

#[test]
fn parts_that_do_not_fit_together_are_refused() {
    let good = network(&[(44.0, -90.0), (44.1, -90.0)], &[(0, 1, Some(5), Some(5), 1)]).parts().clone();
    assert!(Network::new(good.clone()).is_ok());
    let wrong: [fn(&mut Parts); 9] = [
        |p| p.edges[0].a = 2,
        |p| p.edges[0].b = 7,
        |p| p.edges[0].b = 0,
        |p| p.edges[0].name = 1,
        |p| p.edges[0].shape = 1,
        |p| p.edges[0].forward_ms = Some(0),
        |p| p.edges[0].backward_ms = Some(u32::MAX),
        |p| p.shape.truncate(1),
        |p| p.names.clear(),
    ];
    for (i, spoil) in wrong.iter().enumerate() {
        let mut parts = good.clone();
        spoil(&mut parts);
        assert!(Network::new(parts).is_err(), "fault {i}");
    }
}

#[test]
fn the_old_file_stays_until_the_new_one_is_whole() {
    let folder = folder("swap");
    let path = folder.join("roads.net");
    save(&path, &small()).unwrap();
    let before = fs::read(&path).unwrap();
    assert!(save(&folder.join("no such folder/roads.net"), &small()).is_err());
    assert_eq!(fs::read(&path).unwrap(), before);
    assert_eq!(fs::read_dir(&folder).unwrap().count(), 1, "nothing is left beside it");
    assert_eq!(load(&path).unwrap().parts(), small().parts());
    fs::remove_dir_all(&folder).unwrap();
}

#[test]
fn roads_follow_their_file() {
    let folder = folder("follow");
    let path = folder.join("roads.net");
    let current = Current::new(path.clone());
    assert!(!current.refresh().unwrap() && current.roads().is_none(), "no file, no roads");
    save(&path, &small()).unwrap();
    assert!(current.refresh().unwrap());
    let first = current.roads().unwrap();
    assert!(!current.refresh().unwrap() && Arc::ptr_eq(&first, &current.roads().unwrap()), "the same file is not read again");
    fs::write(folder.join("wrong"), b"not a road file").unwrap();
    fs::rename(folder.join("wrong"), &path).unwrap();
    assert!(matches!(current.refresh(), Err(FileError::Content { .. })));
    assert!(Arc::ptr_eq(&first, &current.roads().unwrap()), "the old roads stay");
    assert!(!current.refresh().unwrap(), "and the wrong file is not tried again");
    save(&path, &network(&[(44.0, -90.0), (44.1, -90.0)], &[(0, 1, Some(5), Some(5), 1)])).unwrap();
    assert!(current.refresh().unwrap());
    assert_eq!(current.roads().unwrap().network().edges().len(), 1);
    assert!(first.network().edges().len() > 1, "who had the old ones still has them");
    fs::remove_file(&path).unwrap();
    assert!(current.refresh().unwrap() && current.roads().is_none());
    fs::remove_dir_all(&folder).unwrap();
}

/// Readers never see half a file, however often it is replaced.
#[test]
fn readers_see_the_old_or_the_new() {
    let folder = folder("readers");
    let path = folder.join("roads.net");
    let networks = [small(), network(&[(44.0, -90.0), (44.1, -90.0)], &[(0, 1, Some(5), Some(5), 1)])];
    save(&path, &networks[0]).unwrap();
    let current = Current::new(path.clone());
    let done = AtomicBool::new(false);
    std::thread::scope(|scope| {
        let reader = scope.spawn(|| {
            let mut seen = 0;
            while !done.load(Ordering::Relaxed) || seen == 0 {
                current.refresh().unwrap();
                let edges = current.roads().unwrap().network().edges().len();
                assert!(networks.iter().any(|n| n.edges().len() == edges), "{edges}");
                seen += 1;
            }
        });
        for i in 0..40 {
            save(&path, &networks[i % 2]).unwrap();
        }
        done.store(true, Ordering::Relaxed);
        reader.join().unwrap();
    });
    fs::remove_dir_all(&folder).unwrap();
}
