//! Photos on a weak line: in pieces, each sent again whenever its answer was lost; once in the end, and never without their report for long.

use super::{
    scene::{Scene, at_a_stop, count, send, sheet},
    shot::{PIECE, Shot, noise},
    support::{Session, TestApp, encode},
};
use embertide::{
    photo::strip,
    secrets::{fingerprint, sha256},
    store::photos,
};
use serde_json::Value;
use std::path::PathBuf;
use time::Duration;
use uuid::Uuid;

/// Every file below the photos' folder, as its name says.
fn files(t: &TestApp) -> Vec<String> {
    let mut all: Vec<String> =
        t.app.photos.files().unwrap().iter().map(|f| f.path.file_name().unwrap().to_string_lossy().into_owned()).collect();
    all.sort();
    all
}

async fn report_of(t: &TestApp, id: Uuid) -> Option<Uuid> {
    sqlx::query_scalar("SELECT report_id FROM photos WHERE id = $1").bind(id).fetch_one(t.pool()).await.unwrap()
}

/// A kept report, and a photo of it.
async fn reported() -> (Scene, Shot) {
    let s = at_a_stop().await;
    let report = Uuid::now_v7();
    send(&s.t, &s.tech, report, sheet(s.visit, &[("drops", "8")]).as_bytes()).await;
    let shot = Shot::new(report, s.visit);
    (s, shot)
}

fn camera(name: &str) -> Vec<u8> {
    std::fs::read(PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("tests/reference/photos").join(name)).unwrap()
}

async fn all_is_well(t: &TestApp) {
    assert_eq!(t.broken_promises().await, Vec::<String>::new());
    let mut c = t.pool().acquire().await.unwrap();
    assert_eq!(photos::faults(&mut c, &t.app.photos).await.unwrap(), Vec::<String>::new());
}

#[tokio::test]
async fn a_photo_in_pieces_is_one_file_and_one_row() {
    let (Scene { t, tech, .. }, shot) = &reported().await;
    assert!(shot.bytes.len() > 2 * PIECE);
    assert_eq!(shot.have(t, tech).await["have"], 0);
    shot.send_all(t, tech).await;
    let said = shot.have(t, tech).await;
    assert_eq!(said["sha256"], shot.sum(), "the fingerprint of the very bytes that were sent");
    let made = strip(&shot.bytes).unwrap();
    assert_eq!(files(t), [format!("{}.png", embertide::secrets::hex(&sha256(&made.bytes)))]);
    assert_eq!(report_of(t, shot.id).await, Some(shot.item));
    let page = t.get(Some(tech), &format!("/photos/{}", shot.id)).await;
    assert_eq!((page.status, page.headers["content-type"].to_str().unwrap()), (200, "image/png"));
    all_is_well(t).await;
}

#[tokio::test]
async fn lost_answers_half_pieces_and_wrong_places_do_no_harm() {
    let (Scene { t, tech, .. }, shot) = &reported().await;
    // The answer is lost: the same piece comes once more, and is not added twice.
    shot.piece(t, tech, 0).await;
    assert_eq!(shot.piece(t, tech, 0).await["have"], PIECE as u64);
    // The line breaks in the middle of a piece: what came of it counts, and the phone goes on from there.
    let half = shot.send(t, Some(tech), PIECE, &shot.bytes[PIECE..PIECE + 1000], None).await;
    assert_eq!(half.status, 200);
    assert_eq!(shot.have(t, tech).await["have"], PIECE as u64 + 1000);
    // One from further ahead is not taken; the answer says where to go on.
    assert_eq!(shot.piece(t, tech, 2 * PIECE).await["have"], PIECE as u64 + 1000);
    shot.send_all(t, tech).await;
    // And all of it again.
    for at in [0, PIECE, 2 * PIECE] {
        assert_eq!(shot.piece(t, tech, at).await["sha256"], shot.sum());
    }
    assert_eq!((count(t, "photos").await, files(t).len()), (1, 1));
    all_is_well(t).await;
}

#[tokio::test]
async fn pieces_at_once_are_one_photo() {
    let (Scene { t, tech, .. }, shot) = &reported().await;
    let last = shot.bytes.len() / PIECE * PIECE;
    for at in (0..=last).step_by(PIECE) {
        let (a, b, c) = tokio::join!(shot.piece(t, tech, at), shot.piece(t, tech, at), shot.piece(t, tech, at));
        assert_eq!((&a, &b), (&b, &c));
    }
    assert_eq!((count(t, "photos").await, files(t).len()), (1, 1));
    all_is_well(t).await;
}

#[tokio::test]
async fn what_is_damaged_on_the_way_begins_anew() {
    let (Scene { t, tech, .. }, shot) = &reported().await;
    let mut damaged = shot.clone();
    damaged.bytes[PIECE / 2] ^= 1;
    let piece = &damaged.bytes[..PIECE];
    assert_eq!(shot.send(t, Some(tech), 0, piece, None).await.status, 200);
    shot.piece(t, tech, PIECE).await;
    let said = shot.piece(t, tech, 2 * PIECE).await;
    assert_eq!((said["have"].as_u64(), said.get("sha256")), (Some(0), None), "not what the phone holds: no yes");
    assert_eq!(count(t, "photos").await, 0);
    shot.send_all(t, tech).await;
    assert_eq!(count(t, "photos").await, 1);
    all_is_well(t).await;
}

#[tokio::test]
async fn a_photo_that_comes_before_its_report_waits_for_it() {
    let Scene { t, tech, visit, unit, .. } = &at_a_stop().await;
    let report = Uuid::now_v7();
    let shot = Shot::new(report, *visit);
    shot.send_all(t, tech).await;
    assert_eq!(report_of(t, shot.id).await, None);
    let known: Option<Uuid> = sqlx::query_scalar("SELECT unit_id FROM photos").fetch_one(t.pool()).await.unwrap();
    assert_eq!(known, Some(*unit), "its visit says whose it is");
    assert_eq!(photos::waiting(t.pool(), 10).await.unwrap().len(), 1);
    send(t, tech, report, sheet(*visit, &[("drops", "8")]).as_bytes()).await;
    assert_eq!(report_of(t, shot.id).await, Some(report));
    assert!(photos::waiting(t.pool(), 10).await.unwrap().is_empty());
    all_is_well(t).await;
}

#[tokio::test]
async fn a_photo_of_a_report_that_was_put_right_finds_the_right_one() {
    let Scene { t, tech, visit, .. } = &at_a_stop().await;
    let (wrong, right) = (Uuid::now_v7(), Uuid::now_v7());
    let said = send(t, tech, wrong, sheet(*visit, &[("drops", "many")]).as_bytes()).await;
    assert_eq!(said["state"], "to settle");
    let (early, late) = (Shot::new(wrong, *visit), Shot::new(wrong, *visit));
    early.send_all(t, tech).await;
    assert_eq!(report_of(t, early.id).await, None);
    send(t, tech, right, sheet(*visit, &[("drops", "8"), ("instead", &wrong.to_string())]).as_bytes()).await;
    late.send_all(t, tech).await;
    assert_eq!((report_of(t, early.id).await, report_of(t, late.id).await), (Some(right), Some(right)));
    all_is_well(t).await;
}

#[tokio::test]
async fn a_correction_keeps_the_photos() {
    let (Scene { t, tech, .. }, shot) = &reported().await;
    shot.send_all(t, tech).await;
    let body = encode(&[
        ("form", "correct/1"),
        ("report", &shot.item.to_string()),
        ("version", "1"),
        ("job", "water-test"),
        ("drops", "18"),
        ("reason", "slip"),
    ]);
    assert_eq!(send(t, tech, Uuid::now_v7(), body.as_bytes()).await["state"], "kept");
    assert_eq!(photos::of_report(t.pool(), shot.item).await.unwrap().len(), 1);
    all_is_well(t).await;
}

#[tokio::test]
async fn the_same_picture_twice_is_one_file() {
    let (Scene { t, tech, .. }, shot) = &reported().await;
    let again = Shot { id: Uuid::now_v7(), ..shot.clone() };
    shot.send_all(t, tech).await;
    again.send_all(t, tech).await;
    assert_eq!((count(t, "photos").await, files(t).len()), (2, 1));
    all_is_well(t).await;
}

#[tokio::test]
async fn another_photo_under_the_same_number_is_told_and_the_first_stands() {
    let (Scene { t, tech, .. }, shot) = &reported().await;
    shot.send_all(t, tech).await;
    let other = Shot { bytes: noise(7, 20, 20), ..shot.clone() };
    let page = other.send(t, Some(tech), 0, &other.bytes, None).await;
    let said: Value = serde_json::from_str(&page.body).unwrap();
    assert_eq!((page.status, said["says"].as_str().unwrap().contains("under this number")), (422, true));
    assert_eq!(shot.have(t, tech).await["sha256"], shot.sum());
    assert_eq!((count(t, "photos").await, files(t).len()), (1, 1));
}

#[tokio::test]
async fn what_is_no_picture_or_too_large_is_told_in_words_and_nothing_is_left() {
    let (Scene { t, tech, .. }, shot) = &reported().await;
    let page = Shot { bytes: b"<svg onload='alert(1)'/>".to_vec(), ..shot.clone() };
    let answer = page.send(t, Some(tech), 0, &page.bytes, None).await;
    assert!(answer.status == 422 && answer.body.contains("no JPEG and no PNG"), "{}", answer.body);
    let large = Shot { bytes: vec![0xff; 500_001], ..shot.clone() };
    let answer = large.send(t, Some(tech), 0, &large.bytes[..PIECE], None).await;
    assert!(answer.status == 422 && answer.body.contains("500 kB"), "{}", answer.body);
    let answer = shot.send(t, Some(tech), 0, &shot.bytes[..=PIECE], None).await;
    assert_eq!(answer.status, 422, "a piece that is too large");
    assert_eq!((count(t, "photos").await, files(t)), (0, Vec::new()));
}

#[tokio::test]
async fn the_office_takes_place_and_maker_out_again_without_trusting_the_phone() {
    let (Scene { t, tech, .. }, shot) = &reported().await;
    let shot = Shot { bytes: camera("place-6.jpg"), ..shot.clone() };
    shot.send_all(t, tech).await;
    let file = t.app.photos.files().unwrap().pop().unwrap();
    let kept = std::fs::read(file.path).unwrap();
    assert!(shot.bytes.windows(8).any(|w| w == b"INVENTED") && !kept.windows(8).any(|w| w == b"INVENTED"));
    assert_eq!(shot.have(t, tech).await["sha256"], shot.sum(), "the phone is answered with what it sent");
    let sides: (i32, i32) = sqlx::query_as("SELECT width, height FROM photos").fetch_one(t.pool()).await.unwrap();
    assert_eq!(sides, (32, 48), "the way it is shown");
}

#[tokio::test]
async fn a_phone_that_was_shut_out_keeps_its_photos_for_whoever_signs_in() {
    let (Scene { t, tech, d, visit, .. }, shot) = &reported().await;
    shot.piece(t, tech, 0).await;
    sqlx::query("DELETE FROM sessions WHERE staff_id = $1").bind(tech.staff_id).execute(t.pool()).await.unwrap();
    let page = shot.send(t, Some(tech), PIECE, &shot.bytes[PIECE..2 * PIECE], None).await;
    assert!(page.status == 303 && page.location.starts_with("/sign-in"), "{} {}", page.status, page.location);
    // A colleague signs in on that phone: the photo goes on where it stood, and waits, since the report is not the colleague's.
    let other = if tech.staff_id == d.wick.staff_id { &d.juno } else { &d.wick };
    shot.send_all(t, other).await;
    assert_eq!(report_of(t, shot.id).await, None);
    let page = t.get(Some(&d.office), "/phones").await;
    assert!(page.text("main").contains("Photos that wait for their report"), "{}", page.text("main"));
    let put = t.post(&d.office, &format!("/photos/{}/put-with", shot.id), &[("report", &shot.item.to_string())]).await;
    assert_eq!((put.status, put.location), (303, format!("/reports/{}", shot.item)));
    assert_eq!(report_of(t, shot.id).await, Some(shot.item));
    let _ = visit;
    all_is_well(t).await;
}

#[tokio::test]
async fn the_key_has_to_be_the_photos_own_and_an_unknown_phone_is_left_out() {
    let (Scene { t, tech, .. }, shot) = &reported().await;
    let other = Shot { id: Uuid::now_v7(), ..shot.clone() };
    let request = axum::http::Request::post(format!("/photos/{}/from/0?sha256={}&size=9&item={}", shot.id, shot.sum(), shot.item))
        .header("cookie", format!("embertide={}", tech.token))
        .header("idempotency-key", format!("\"{}\"", other.id));
    assert_eq!(t.send(request.body(axum::body::Body::from("x")).unwrap()).await.status, 422);
    let small = Shot { bytes: noise(3, 20, 20), ..shot.clone() };
    assert_eq!(small.send(t, Some(tech), 0, &small.bytes, Some(Uuid::now_v7())).await.status, 200);
    assert_eq!(count(t, "photos WHERE phone_id IS NULL").await, 1);
}

/// Takes a photo out as the office does.
async fn take_out(t: &TestApp, office: &Session, id: Uuid) {
    let page = t.post(office, &format!("/photos/{id}/take-out"), &[("why", "shows a child")]).await;
    assert_eq!(page.status, 303, "{}", page.body);
}

#[tokio::test]
async fn a_photo_that_is_taken_out_leaves_its_row_and_a_reason_and_no_file() {
    let (Scene { t, tech, d, unit, .. }, shot) = &reported().await;
    let again = Shot { id: Uuid::now_v7(), ..shot.clone() };
    shot.send_all(t, tech).await;
    again.send_all(t, tech).await;
    take_out(t, &d.office, shot.id).await;
    assert_eq!(files(t).len(), 1, "another photo still shows this picture");
    assert_eq!(t.get(Some(&d.office), &format!("/photos/{}", shot.id)).await.status, 404);
    assert_eq!(t.get(Some(&d.office), &format!("/photos/{}", again.id)).await.status, 200);
    take_out(t, &d.office, again.id).await;
    assert_eq!(files(t), Vec::<String>::new());
    let page = t.get(Some(&d.office), &format!("/reports/{}", shot.item)).await;
    assert!(page.text("main").contains("shows a child") && page.attrs("main img", "src").is_empty());
    assert!(t.get(Some(&d.office), &format!("/units/{unit}")).await.attrs("main img", "src").is_empty());
    // A phone that offers it again is answered, and nothing comes back.
    assert_eq!(shot.have(t, tech).await["sha256"], shot.sum());
    shot.piece(t, tech, 0).await;
    assert_eq!(files(t), Vec::<String>::new());
    let twice = t.post(&d.office, &format!("/photos/{}/take-out", shot.id), &[("why", "again")]).await;
    assert_eq!(twice.status, 404);
    let without = t.post(&d.office, &format!("/photos/{}/take-out", shot.id), &[("why", " ")]).await;
    assert_eq!(without.status, 422, "not without a reason");
    all_is_well(t).await;
}

#[tokio::test]
async fn rows_stay_as_they_came() {
    let (Scene { t, tech, .. }, shot) = &reported().await;
    shot.send_all(t, tech).await;
    for sql in [
        "DELETE FROM photos",
        "TRUNCATE photos",
        "UPDATE photos SET caption = 'other'",
        "UPDATE photos SET report_id = NULL",
        "UPDATE photos SET sha256 = sent_sha256, bytes = 7",
        "UPDATE photos SET withdrawn_at = now()",
    ] {
        assert!(sqlx::query(sql).execute(t.pool()).await.is_err(), "{sql}");
    }
    sqlx::query("UPDATE photos SET withdrawn_at = now(), withdrawn_why = 'why'").execute(t.pool()).await.unwrap();
    assert!(sqlx::query("UPDATE photos SET withdrawn_at = NULL, withdrawn_why = ''").execute(t.pool()).await.is_err());
}

#[tokio::test]
async fn files_without_a_row_go_after_thirty_days_and_rows_without_a_file_are_told() {
    let (Scene { t, tech, .. }, shot) = &reported().await;
    shot.send_all(t, tech).await;
    let stray = strip(&noise(11, 9, 9)).unwrap();
    let sum = t.app.photos.keep(stray.kind, &stray.bytes).unwrap();
    let half = Shot::new(Uuid::now_v7(), Uuid::now_v7());
    half.piece(t, tech, 0).await;
    assert_eq!(files(t).len(), 3);
    // Times of files are the machine's own.
    let written = t.app.photos.find(&sum, stray.kind).unwrap().unwrap().at;
    assert_eq!(photos::tidy(t.pool(), &t.app.photos, written + Duration::days(29)).await.unwrap(), 0);
    assert_eq!(photos::tidy(t.pool(), &t.app.photos, written + Duration::days(31)).await.unwrap(), 2);
    assert_eq!(files(t).len(), 1);
    all_is_well(t).await;

    let kept = t.app.photos.files().unwrap().pop().unwrap();
    let whole = std::fs::read(&kept.path).unwrap();
    let faults = async || {
        let mut c = t.pool().acquire().await.unwrap();
        photos::faults(&mut c, &t.app.photos).await.unwrap().join(" ")
    };
    let mut damaged = whole.clone();
    damaged[100] ^= 1;
    std::fs::write(&kept.path, damaged).unwrap();
    assert!(faults().await.contains("1 file(s) among the newest photos are damaged"), "{}", faults().await);
    std::fs::write(&kept.path, &whole[..100]).unwrap();
    assert!(faults().await.contains("1 photo(s) have no file"), "{}", faults().await);
    std::fs::remove_file(&kept.path).unwrap();
    assert!(faults().await.contains("1 photo(s) have no file"), "{}", faults().await);
    assert_eq!(t.get(Some(tech), &format!("/photos/{}", shot.id)).await.status, 404);
    assert!(fingerprint("not 64 digits").is_none());
}

/// A file system that takes nothing: the photo stays on the phone, and everything else works.
#[tokio::test]
async fn without_a_folder_photos_wait_on_the_phone_and_reports_are_kept() {
    let (Scene { t, tech, visit, .. }, shot) = &mut reported().await;
    let in_the_way = t.db.data.join("photos");
    std::fs::create_dir_all(&t.db.data).unwrap();
    std::fs::write(&in_the_way, b"a file where the folder should be").unwrap();
    let page = shot.send(t, Some(tech), 0, &shot.bytes[..PIECE], None).await;
    assert_eq!(page.status, 503, "the phone tries again later");
    let said = send(t, tech, Uuid::now_v7(), sheet(*visit, &[("drops", "9")]).as_bytes()).await;
    assert_eq!(said["state"], "kept");
    let mut c = t.pool().acquire().await.unwrap();
    assert!(photos::faults(&mut c, &t.app.photos).await.unwrap().join(" ").contains("stay on the phones"));
    std::fs::remove_file(&in_the_way).unwrap();
    shot.send_all(t, tech).await;
    assert_eq!(count(t, "photos").await, 1);
}
