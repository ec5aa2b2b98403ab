//! Photos on their way from a phone, a piece at a time, so that a weak line moves forward; and from a form, where no script runs.
//!
//! The phone asks how much of a photo is here and sends the rest. The answer to a whole photo carries the fingerprint of the bytes that
//! were sent; only then may the phone forget them. A photo whose report is not here is kept, and waits for it.

use super::{
    super::{
        app::App,
        error::{Error, Result},
        form::Shots,
        guard::{Staff, Technician, see_other},
    },
    kept::own,
    outbox::{ahead, check_key},
};
use crate::{
    photo::{self, Picture},
    secrets::{fingerprint, hex, sha256},
    store::{
        phones,
        photos::{
            self, NewPhoto,
            files::{Folder, on_disk},
        },
        reports::{self, Submission},
        sessions::Role,
        submissions,
    },
};
use axum::{
    Json,
    body::Bytes,
    extract::{Path, Query},
    http::{HeaderMap, StatusCode},
    response::{IntoResponse, Response},
};
use serde::Deserialize;
use serde_json::json;
use std::io;
use time::OffsetDateTime;
use uuid::Uuid;

/// Largest piece of a photo.
const PIECE: usize = 65_536;
/// Largest photo from a phone, whose script makes them small.
const SMALL: u64 = 500_000;
/// Largest photo from a form, as cameras make them.
const LARGE: usize = 8 * 1024 * 1024;
/// Photos of one report that a form may bring it to.
const MOST: usize = 4;
/// Largest body of a form with photos.
pub(super) const FORM: usize = MOST * LARGE + 64 * 1024;
/// Letters of a caption.
const CAPTION: usize = 80;

#[derive(Debug, Deserialize)]
pub(super) struct Named {
    sha256: String,
}

fn sum(text: &str) -> Result<[u8; 32]> {
    fingerprint(text).ok_or_else(|| Error::Bad("The photo's fingerprint is missing: 64 hexadecimal digits.".to_owned()))
}

/// The answer to a photo that is here whole.
async fn whole(app: &App, size: u64, sent: &[u8; 32]) -> Result {
    let epoch = phones::epoch(&app.pool).await?;
    Ok(Json(json!({ "have": size, "sha256": hex(sent), "epoch": epoch })).into_response())
}

/// How much of a photo is here.
pub(super) async fn have(_: Technician, app: App, (Path(id), Query(named)): (Path<Uuid>, Query<Named>)) -> Result {
    let sent = sum(&named.sha256)?;
    if photos::sent(&app.pool, id).await? == Some(sent) {
        return whole(&app, 0, &sent).await;
    }
    let folder = app.photos.clone();
    let have = on_disk(move || folder.come(id, &sent)).await.map_err(crate::store::Error::from)?;
    Ok(Json(json!({ "have": have })).into_response())
}

/// What a phone says of a photo with every piece of it.
#[derive(Debug, Deserialize)]
pub(super) struct About {
    sha256: String,
    size: u64,
    /// What was kept with it.
    item: Uuid,
    #[serde(default)]
    visit: Option<Uuid>,
    #[serde(default)]
    caption: String,
    /// Milliseconds since 1970 by the phone's clock.
    #[serde(default)]
    at: i64,
}

/// What came of a piece.
enum Piece {
    /// So much is here now.
    Have(u64),
    Whole(Box<Picture>),
    /// Whole and as it was sent, but no picture.
    Refused(photo::Refused),
}

/// Adds a piece, and looks at the whole when it is the last. What is damaged on the way begins anew.
fn add(folder: &Folder, id: Uuid, sent: &[u8; 32], size: u64, at: u64, piece: &[u8]) -> io::Result<Piece> {
    let have = folder.add(id, sent, at, piece)?;
    if have < size {
        return Ok(Piece::Have(have));
    }
    let bytes = folder.so_far(id, sent)?;
    if have > size || sha256(&bytes) != *sent {
        folder.forget(id, sent)?;
        return Ok(Piece::Have(0));
    }
    match photo::strip(&bytes) {
        Ok(picture) => Ok(Piece::Whole(Box::new(picture))),
        Err(why) => {
            folder.forget(id, sent)?;
            Ok(Piece::Refused(why))
        }
    }
}

/// Nothing that waiting would help: the phone keeps the photo and shows these words.
fn stuck(says: &str) -> Response {
    (StatusCode::UNPROCESSABLE_ENTITY, Json(json!({ "says": says }))).into_response()
}

fn caption(text: &str) -> String {
    text.trim().chars().filter(|c| !c.is_control()).take(CAPTION).collect()
}

/// When it was taken by the phone's clock, where that can be believed.
fn taken_at(millis: i64, now: OffsetDateTime) -> Option<OffsetDateTime> {
    let seconds = u64::try_from(millis / 1000).ok().filter(|s| *s > 0 && !ahead(*s, now))?;
    OffsetDateTime::from_unix_timestamp(i64::try_from(seconds).ok()?).ok()
}

pub(super) async fn take(
    who: Technician,
    app: App,
    (Path((id, at)), Query(about), headers, piece): (Path<(Uuid, u64)>, Query<About>, HeaderMap, Bytes),
) -> Result {
    check_key(id, &headers)?;
    let sent = sum(&about.sha256)?;
    let end = at.checked_add(piece.len() as u64);
    if piece.len() > PIECE || !(1..=SMALL).contains(&about.size) || end.is_none_or(|end| end > about.size) {
        return Ok(stuck("The photo is larger than 500 kB, or a piece of it than 64 kB."));
    }
    let mut tx = app.pool.begin().await?;
    submissions::take_turns(&mut tx, id).await?;
    let folder = app.photos.clone();
    match photos::sent(&mut *tx, id).await? {
        Some(before) if before == sent => return whole(&app, about.size, &sent).await,
        Some(_) => return Ok(stuck("Another photo was kept under this number before.")),
        None => {}
    }
    let added = on_disk(move || add(&folder, id, &sent, about.size, at, &piece)).await.map_err(crate::store::Error::from)?;
    let picture = match added {
        Piece::Have(have) => return Ok(Json(json!({ "have": have })).into_response()),
        Piece::Refused(why) => return Ok(stuck(&why.to_string())),
        Piece::Whole(picture) => picture,
    };
    let now = app.clock.now();
    let new = NewPhoto {
        id,
        item_id: about.item,
        visit_id: about.visit,
        staff_id: who.staff_id,
        is_office: false,
        phone_id: headers.get("phone").and_then(|v| v.to_str().ok()).and_then(|v| v.parse().ok()),
        sent_sha256: sent,
        caption: &caption(&about.caption),
        taken_at: taken_at(about.at, now),
    };
    submissions::take_turns(&mut tx, about.item).await?;
    photos::keep(&mut tx, &app.photos, &new, *picture, now).await?;
    tx.commit().await?;
    let folder = app.photos.clone();
    // Kept whole: what is left of its pieces harms nobody, and goes later where it cannot go now.
    let _ = on_disk(move || folder.forget(id, &sent)).await;
    whole(&app, about.size, &sent).await
}

/// A file of a form, freed from everything but the picture.
fn stripped(n: usize, name: &str, bytes: &Bytes) -> Result<Picture> {
    let name: String = name.chars().filter(|c| !c.is_control()).take(60).collect();
    let refused = |why: &dyn std::fmt::Display| Error::Bad(format!("Photo {}, {name}: {why} Nothing of this was kept.", n + 1));
    if bytes.len() > LARGE {
        return Err(refused(&"It is larger than 8 MB. Take it again with fewer pixels."));
    }
    photo::strip(bytes).map_err(|why| refused(&why))
}

/// A number for the nth photo of a form; the same form gives the same ones (RFC 9562, version 8).
fn number(form: Uuid, n: usize) -> Uuid {
    let mut text = form.as_bytes().to_vec();
    text.extend_from_slice(&(n as u64).to_be_bytes());
    let mut bytes = [0; 16];
    bytes.copy_from_slice(&sha256(&text)[..16]);
    // The form's own time stands first, so that photos stay in their order.
    bytes[..6].copy_from_slice(&form.as_bytes()[..6]);
    bytes[6] = u8::try_from(n).unwrap_or(u8::MAX);
    uuid::Builder::from_custom_bytes(bytes).into_uuid()
}

/// Photos for a report that is here already, by a form: for browsers without script, and for the office.
pub(super) async fn add_to_report(who: Staff, app: App, (Path(report_id), shots): (Path<Uuid>, Shots)) -> Result {
    own(&who, &app, report_id).await?;
    let Shots { id, caption: words, files } = shots;
    if files.is_empty() {
        return Err(Error::Bad("Choose a picture first. Go back; the report is kept as it is.".to_owned()));
    }
    let sums: Vec<[u8; 32]> = files.iter().map(|(_, bytes)| sha256(bytes)).collect();
    let strip = move || files.iter().enumerate().map(|(n, (name, bytes))| stripped(n, name, bytes)).collect::<Result<Vec<_>>>();
    let pictures = tokio::task::spawn_blocking(strip).await.map_err(|e| Error::Inside(e.into()))??;
    let words = caption(&words);
    let body = json!({ "report": report_id, "caption": words, "photos": sums.iter().map(|s| hex(s)).collect::<Vec<_>>() }).to_string();
    let now = app.clock.now();
    let mut tx = app.pool.begin().await?;
    let submission = Submission { id, kind: "photos", staff_id: Some(who.staff_id), body: body.as_bytes() };
    if reports::take_in(&mut tx, &submission, &serde_json::Value::Null, now).await?.is_none() {
        let there = photos::of_report(&mut *tx, report_id).await?.into_iter().filter(|p| p.withdrawn_at.is_none()).count();
        if there + pictures.len() > MOST {
            return Err(Error::Bad(format!("A report has four photos at most, and this one has {there}. Nothing of this was kept.")));
        }
        let mut all: Vec<(usize, [u8; 32], Picture)> = pictures.into_iter().zip(sums).enumerate().map(|(n, (p, s))| (n, s, p)).collect();
        // Always in the order of their files, so that two forms cannot wait for each other.
        all.sort_by_cached_key(|(_, _, picture)| sha256(&picture.bytes));
        for (n, sent_sha256, picture) in all {
            let new = NewPhoto {
                id: number(id, n),
                item_id: report_id,
                visit_id: None,
                staff_id: who.staff_id,
                is_office: who.role != Role::Technician,
                phone_id: None,
                sent_sha256,
                caption: &words,
                taken_at: None,
            };
            photos::keep(&mut tx, &app.photos, &new, picture, now).await?;
        }
        tx.commit().await?;
    }
    Ok(see_other(&format!("/kept/{report_id}?new=photos#photos")))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_same_form_gives_the_same_numbers_in_their_order() {
        let form = Uuid::now_v7();
        let numbers: Vec<Uuid> = (0..4).map(|n| number(form, n)).collect();
        assert_eq!(numbers, (0..4).map(|n| number(form, n)).collect::<Vec<_>>());
        assert!(numbers.is_sorted() && numbers[0] != numbers[1]);
        assert_eq!(numbers[3].get_version_num(), 8);
    }

    #[test]
    fn captions_are_one_short_line() {
        assert_eq!(caption("  the plate\n\u{7}, rusty "), "the plate, rusty");
        assert_eq!(caption(&"é".repeat(200)).chars().count(), 80);
    }
}
