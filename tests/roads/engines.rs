//! Answers of two public road engines, recorded: the house asks in just these words, and reads what they say. See `tests/reference/engines.py`.

use embertide::{
    roads::{Point, Position, Told},
    sources::{
        Kind,
        words::{Block, Useless},
    },
};
use serde_json::Value;
use std::{fs, path::Path};

struct Record {
    kind: Kind,
    name: String,
    from: Vec<Point>,
    to: Vec<Point>,
    json: Value,
}

fn records() -> Vec<Record> {
    let text = fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/reference/engines.json")).unwrap();
    let all: Vec<Value> = serde_json::from_str(&text).unwrap();
    let points = |list: &Value| {
        let one = |p: &Value| Point::from(Position::new(p[0].as_f64().unwrap(), p[1].as_f64().unwrap()).unwrap());
        list.as_array().unwrap().iter().map(one).collect()
    };
    let one = |json: Value| Record {
        kind: if json["kind"] == "table" { Kind::Table } else { Kind::Matrix },
        name: json["name"].as_str().unwrap().to_owned(),
        from: points(&json["from"]),
        to: points(&json["to"]),
        json,
    };
    all.into_iter().map(one).collect()
}

fn read(kind: Kind, name: &str) -> (Result<Block, Useless>, Record) {
    let r = records().into_iter().find(|r| r.kind == kind && r.name == name).unwrap();
    let status = u16::try_from(r.json["status"].as_u64().unwrap()).unwrap();
    (r.kind.read(status, r.json["answer"].as_str().unwrap().as_bytes(), &r.from, &r.to), r)
}

#[test]
fn the_questions_are_those_that_the_engines_answered() {
    let all = records();
    assert_eq!(all.len(), 8);
    for r in all {
        let ask = r.kind.ask(&r.from, &r.to);
        assert_eq!(Some(ask.path.as_str()), r.json["path"].as_str(), "{}", r.name);
        assert_eq!(ask.body.as_deref(), r.json["body"].as_str(), "{}", r.name);
    }
}

fn told(seconds: i32, metres: i32) -> Told {
    Told { seconds, metres }
}

#[test]
fn every_cell_is_read_as_it_was_told() {
    let (block, _) = read(Kind::Table, "not square");
    let block = block.unwrap();
    assert_eq!(block.drives, [Some(told(866, 10_341)), Some(told(1_713, 19_178)), Some(told(1_023, 11_972))]);
    assert_eq!(block.off_m.iter().map(|m| m.round()).collect::<Vec<f64>>(), [398.0, 4.0, 369.0, 10.0]);
    let (block, _) = read(Kind::Matrix, "not square");
    let block = block.unwrap();
    assert_eq!(block.drives, [Some(told(790, 8_269)), Some(told(1_505, 19_574)), Some(told(966, 11_295))]);
    assert!(block.off_m.is_empty(), "it does not say");
    // The third pin lies on a one-way from which this engine knows no way out: null, never nought.
    let (block, _) = read(Kind::Table, "square");
    assert_eq!(block.unwrap().drives[8..12], [None, None, Some(told(0, 0)), None]);
}

#[test]
fn a_pin_put_on_a_road_far_away_and_a_pin_off_the_map_are_not_believed() {
    // The engine says 200 and “Ok”, and has moved the pin by 21 km.
    let (block, r) = read(Kind::Table, "a pin far off");
    assert_eq!(r.json["status"], 200);
    let block = block.unwrap();
    assert!(block.off_m[2] > 20_000.0);
    assert_eq!(block.drives[..3], [Some(told(0, 0)), Some(told(866, 10_341)), None]);
    assert_eq!(block.drives[6..], [None, None, None]);
    let (block, _) = read(Kind::Matrix, "a pin far off");
    assert_eq!(block.unwrap_err(), Useless::OffMap);
}

#[test]
fn too_many_places_are_told_as_such() {
    for kind in [Kind::Table, Kind::Matrix] {
        assert_eq!(read(kind, "too many").0.unwrap_err(), Useless::TooBig);
    }
}

#[test]
fn nothing_odd_is_believed_and_nothing_panics() {
    let (_, table) = read(Kind::Table, "not square");
    let (_, matrix) = read(Kind::Matrix, "not square");
    for r in [&table, &matrix] {
        let good = r.json["answer"].as_str().unwrap();
        for end in 0..good.len() {
            assert!(r.kind.read(200, &good.as_bytes()[..end], &r.from, &r.to).is_err(), "cut after {end} bytes");
        }
        // A row too many was asked for.
        assert!(matches!(r.kind.read(200, good.as_bytes(), &r.to, &r.to), Err(Useless::Odd(_))));
        assert_eq!(r.kind.read(503, good.as_bytes(), &r.from, &r.to), Err(Useless::Status(503)));
        assert_eq!(r.kind.read(301, b"", &r.from, &r.to), Err(Useless::Status(301)));
    }
    // Below nought, past all bounds, and quicker than anything drives: 8 km in nought seconds.
    for odd in ["-1", "1e300", "0"] {
        let said = matrix.json["answer"].as_str().unwrap().replace("[790,", &format!("[{odd},"));
        let block = Kind::Matrix.read(200, said.as_bytes(), &matrix.from, &matrix.to).unwrap();
        assert_eq!(block.drives, [None, Some(told(1_505, 19_574)), Some(told(966, 11_295))], "{odd}");
    }
    let miles = matrix.json["answer"].as_str().unwrap().replace("kilometers", "miles");
    assert!(matches!(Kind::Matrix.read(200, miles.as_bytes(), &matrix.from, &matrix.to), Err(Useless::Odd(_))));
}
