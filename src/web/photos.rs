//! Photos as the office and the yard see them. No page of a customer's record names one, and no link to a record opens one.

use super::{
    app::App,
    error::{Error, Result},
    form::Posted,
    guard::{Office, Protected, RouteInfo, Staff, see_other},
};
use crate::{
    store::{
        photos::{self, PhotoLine, files::on_disk},
        sessions::Role,
    },
    units::day_with_year,
};
use axum::{
    Router,
    extract::Path,
    http::{HeaderValue, header},
    response::IntoResponse,
};
use serde::Deserialize;
use uuid::Uuid;

pub(super) fn routes() -> (Router<App>, Vec<RouteInfo>) {
    let (shown, mut list) = Protected::<Staff>::default().get("/photos/{id}", picture).into_parts();
    let (office, rest) =
        Protected::<Office>::default().post("/photos/{id}/take-out", take_out).post("/photos/{id}/put-with", put_with).into_parts();
    list.extend(rest);
    (shown.merge(office), list)
}

/// A photo on a page.
pub(super) struct PhotoView {
    pub(super) id: Uuid,
    pub(super) report_id: Option<Uuid>,
    /// The report that it names, which is not here or is somebody else's.
    pub(super) names: String,
    pub(super) unit_id: Option<Uuid>,
    /// For those who do not see it.
    pub(super) alt: String,
    pub(super) caption: String,
    pub(super) day: String,
    pub(super) who: String,
    /// Pixels, so that the page does not jump when it comes.
    pub(super) sides: Option<(i32, i32)>,
    /// Why it is not shown any more; empty while it is.
    pub(super) gone: String,
}

pub(super) fn view(p: PhotoLine) -> PhotoView {
    let who = p.staff_name.unwrap_or_default();
    let gone = p.withdrawn_at.map(|at| {
        let by = p.withdrawn_by.map(|by| format!(" by {by}")).unwrap_or_default();
        format!("Taken out on {}{by}: {}", day_with_year(at.date()), p.withdrawn_why)
    });
    let day = day_with_year(p.visited_on.unwrap_or(p.received_at.date()));
    PhotoView {
        id: p.id,
        report_id: p.report_id,
        names: p.item_id.map(|id| id.to_string()).unwrap_or_default(),
        unit_id: p.unit_id,
        alt: if p.caption.is_empty() { format!("Photo of {day}") } else { p.caption.clone() },
        caption: p.caption,
        day,
        who,
        sides: p.width.zip(p.height),
        gone: gone.unwrap_or_default(),
    }
}

/// The picture itself. A browser may keep it for a day: one that was taken out is not seen for longer than that.
async fn picture(who: Staff, app: App, Path(id): Path<Uuid>) -> Result {
    let file = photos::shown_to(&app.pool, id, who.staff_id, who.role != Role::Technician).await?;
    let folder = app.photos.clone();
    let bytes = on_disk(move || folder.read(&file.sha256, file.kind)).await.map_err(|e| {
        tracing::error!(photo = %id, error = %e, "the file of a photo cannot be read");
        Error::NotFound
    })?;
    let mut answer = bytes.into_response();
    for (name, value) in [
        (header::CONTENT_TYPE, file.kind.media_type()),
        (header::CONTENT_DISPOSITION, "inline"),
        (header::CACHE_CONTROL, "private, max-age=86400, immutable"),
        (header::CONTENT_SECURITY_POLICY, "default-src 'none'; sandbox"),
    ] {
        answer.headers_mut().insert(name, HeaderValue::from_static(value));
    }
    Ok(answer)
}

#[derive(Debug, Deserialize)]
struct Why {
    #[serde(default)]
    why: String,
    /// The page to come back to: a report's or a unit's.
    #[serde(default)]
    back: String,
}

/// Only to pages of this place.
fn back(to: &str) -> &str {
    let own = ["/reports/", "/units/"].iter().any(|start| to.starts_with(start));
    if own && to.bytes().all(|b| b.is_ascii_alphanumeric() || b"/-#".contains(&b)) { to } else { "/phones#photos" }
}

/// Takes a photo out that shows what it must not. The row stays and says why; the file goes.
async fn take_out(who: Office, app: App, (Path(id), posted): (Path<Uuid>, Posted<Why>)) -> Result {
    let why = super::office::need(&posted.form.why, "Say in a few words why it is taken out", 400)?;
    let now = app.clock.now();
    let mut tx = app.pool.begin().await?;
    let first = posted.first_time(&mut tx, &who, "take photo out", now).await?;
    let file = if first { Some(photos::withdraw(&mut tx, id, who.staff_id, &why, now).await?) } else { None };
    tx.commit().await?;
    if let Some(file) = file {
        photos::let_go(&app.pool, &app.photos, file).await?;
    }
    Ok(see_other(back(&posted.form.back)))
}

#[derive(Debug, Deserialize)]
struct Where {
    #[serde(default)]
    report: String,
}

/// Puts a photo that waits with a report.
async fn put_with(who: Office, app: App, (Path(id), posted): (Path<Uuid>, Posted<Where>)) -> Result {
    // The address of the report does as well as its number.
    let named = posted.form.report.trim().trim_end_matches('/');
    let report = named.rsplit('/').next().and_then(|text| text.parse().ok());
    let report: Uuid = report.ok_or_else(|| Error::Bad("Give the address of the report, as its page shows it.".to_owned()))?;
    let now = app.clock.now();
    let mut tx = app.pool.begin().await?;
    if posted.first_time(&mut tx, &who, "put photo with report", now).await? {
        photos::place(&mut *tx, id, report).await?;
    }
    tx.commit().await?;
    Ok(see_other(&format!("/reports/{report}")))
}

#[cfg(test)]
mod tests {
    use super::back;

    #[test]
    fn nobody_is_sent_elsewhere() {
        assert_eq!(back("/reports/0190-ab#photos"), "/reports/0190-ab#photos");
        for other in ["", "//elsewhere.example", "/\\elsewhere", "https://elsewhere.example/units/", "/units/../x?y=\r\n"] {
            assert_eq!(back(other), "/phones#photos", "{other}");
        }
    }
}
