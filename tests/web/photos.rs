//! Photos of a report: by a form where no script runs, for those who may see them, and never for a customer.

use super::{
    path::issued_week,
    support::{Page, Session, TestApp, dealership, dealership::Dealership},
};
use axum::{
    body::Body,
    http::{Request, header},
};
use embertide::store::links;
use std::path::PathBuf;
use uuid::Uuid;

/// A small picture by another program, with the notes of a camera; 7 and 8 lie on their side.
fn camera(name: &str) -> Vec<u8> {
    std::fs::read(PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("tests/reference/photos").join(name)).unwrap()
}

/// A form with files, as browsers post it (RFC 7578).
async fn post_files(t: &TestApp, who: &Session, path: &str, id: Uuid, files: &[&[u8]]) -> Page {
    let mut body = Vec::new();
    let id = id.to_string();
    for (name, value) in [("form_token", who.form_token.as_str()), ("id", &id), ("caption", "the plate")] {
        body.extend_from_slice(format!("--edge\r\nContent-Disposition: form-data; name=\"{name}\"\r\n\r\n{value}\r\n").as_bytes());
    }
    for file in files {
        let head = "--edge\r\nContent-Disposition: form-data; name=\"photo\"; filename=\"p.jpg\"\r\nContent-Type: image/jpeg\r\n\r\n";
        body.extend_from_slice(head.as_bytes());
        body.extend_from_slice(file);
        body.extend_from_slice(b"\r\n");
    }
    body.extend_from_slice(b"--edge--\r\n");
    let request = Request::post(path)
        .header(header::CONTENT_TYPE, "multipart/form-data; boundary=edge")
        .header(header::COOKIE, format!("embertide={}", who.token));
    t.send(request.body(Body::from(body)).unwrap()).await
}

struct Scene {
    t: TestApp,
    d: Dealership,
    tech: Session,
    other: Session,
    report: Uuid,
    unit: Uuid,
}

async fn reported() -> Scene {
    let t = TestApp::start().await;
    let d = dealership::open(&t).await;
    let (visit, unit, staff) = issued_week(&t, &d).await[0];
    let (tech, other) = if staff == d.wick.staff_id { (&d.wick, &d.juno) } else { (&d.juno, &d.wick) };
    let (tech, other) = (tech.clone(), other.clone());
    let report = Uuid::now_v7();
    let form = [("job", "fall-start-up"), ("job", "water-test"), ("drops", "20"), ("ph", "8.9")];
    assert_eq!(t.post_as(&tech, &format!("/stop/{visit}"), report, &form).await.status, 303);
    Scene { t, d, tech, other, report, unit }
}

async fn rows(t: &TestApp) -> i64 {
    sqlx::query_scalar("SELECT count(*) FROM photos").fetch_one(t.pool()).await.unwrap()
}

#[tokio::test]
async fn photos_come_by_a_form_once_and_are_shown_to_office_and_technician() {
    let Scene { t, d, tech, report, unit, .. } = &reported().await;
    let kept = format!("/kept/{report}");
    let form = t.get(Some(tech), &kept).await;
    assert_eq!(form.attrs("form[enctype='multipart/form-data']", "action"), [format!("{kept}/photos")]);
    let id = Uuid::now_v7();
    let (one, two) = (camera("place-6.jpg"), camera("place.png"));
    for _ in 0..3 {
        let page = post_files(t, tech, &format!("{kept}/photos"), id, &[&one, b"", &two]).await;
        assert_eq!((page.status, page.location), (303, format!("{kept}?new=photos#photos")), "{}", page.body);
    }
    assert_eq!(rows(t).await, 2, "the same form three times is two photos");
    let shown = t.get(Some(tech), &kept).await.attrs("a[data-photo]", "href");
    assert_eq!(shown.len(), 2);
    for page in [format!("/reports/{report}"), format!("/units/{unit}")] {
        let page = t.get(Some(&d.office), &page).await;
        assert_eq!(page.attrs("main img", "src").len(), 2);
        assert!(page.attrs("main img", "alt").iter().all(|alt| alt == "the plate"));
        assert!(page.text(".shots").contains("Oct 5, 2026"), "{}", page.text(".shots"));
    }
    let other = post_files(t, tech, &format!("{kept}/photos"), id, &[&two]).await;
    assert_eq!(other.status, 422, "the same form with other pictures");
    assert_eq!(t.broken_promises().await, Vec::<String>::new());
}

#[tokio::test]
async fn a_picture_is_sent_with_what_keeps_it_a_picture() {
    let Scene { t, tech, report, .. } = &reported().await;
    post_files(t, tech, &format!("/kept/{report}/photos"), Uuid::now_v7(), &[&camera("place-6.jpg")]).await;
    let path = t.get(Some(tech), &format!("/kept/{report}")).await.attrs("a[data-photo]", "href").remove(0);
    let page = t.get(Some(tech), &path).await;
    let header = |name: &str| page.headers.get(name).and_then(|v| v.to_str().ok()).unwrap_or_default().to_owned();
    assert_eq!(header("content-type"), "image/jpeg");
    assert_eq!(header("x-content-type-options"), "nosniff");
    assert_eq!(header("content-disposition"), "inline");
    assert_eq!(header("cache-control"), "private, max-age=86400, immutable");
    assert_eq!(header("content-security-policy"), "default-src 'none'; sandbox");
    assert!(!page.body.contains("INVENTED"), "no place, no maker, no second picture");
}

#[tokio::test]
async fn five_too_large_and_no_pictures_are_refused_in_words_and_nothing_is_kept() {
    let Scene { t, tech, report, .. } = &reported().await;
    let (path, one) = (format!("/kept/{report}/photos"), camera("grey.jpg"));
    let mut large = one.clone();
    large.resize(8 * 1024 * 1024 + 1, 0);
    for (files, says) in [
        (vec![], "Choose a picture first"),
        (vec![&one[..], b"%PDF-1.7 and so on"], "Photo 2, p.jpg: This is no JPEG and no PNG"),
        (vec![&one[..], &large], "larger than 8 MB"),
        (vec![&one[..]; 5], "four photos at most"),
    ] {
        let page = post_files(t, tech, &path, Uuid::now_v7(), &files).await;
        assert!(page.status == 422 && page.text("main").contains(says), "{says}: {} {}", page.status, page.text("main"));
        assert_eq!(rows(t).await, 0);
    }
    let whole = post_files(t, tech, &path, Uuid::now_v7(), &[&one[..]; 3]).await;
    assert_eq!((whole.status, rows(t).await), (303, 3));
    let more = post_files(t, tech, &path, Uuid::now_v7(), &[&one[..]; 2]).await;
    assert!(more.status == 422 && more.text("main").contains("this one has 3"), "{}", more.text("main"));
}

#[tokio::test]
async fn a_form_needs_the_sessions_own_token() {
    let Scene { t, tech, d, report, .. } = &reported().await;
    let mixed = Session { form_token: d.owner.form_token.clone(), ..tech.clone() };
    let page = post_files(t, &mixed, &format!("/kept/{report}/photos"), Uuid::now_v7(), &[&camera("grey.jpg")]).await;
    assert_eq!((page.status, rows(t).await), (422, 0));
}

#[tokio::test]
async fn nobody_else_sees_a_photo() {
    let Scene { t, d, tech, other, report, unit } = &reported().await;
    let path = format!("/kept/{report}/photos");
    assert_eq!(post_files(t, other, &path, Uuid::now_v7(), &[&camera("grey.jpg")]).await.status, 404, "another's report");
    post_files(t, tech, &path, Uuid::now_v7(), &[&camera("grey.jpg")]).await;
    let photo = t.get(Some(tech), &format!("/kept/{report}")).await.attrs("a[data-photo]", "href").remove(0);
    for (who, status) in [(Some(tech), 200), (Some(&d.office), 200), (Some(&d.owner), 200), (None, 303)] {
        assert_eq!(t.get(who, &photo).await.status, status);
    }
    // The other technician, before and after being sent to this unit.
    sqlx::query("UPDATE visits SET status = 'cancelled' WHERE unit_id = $1 AND staff_id = $2")
        .bind(unit)
        .bind(other.staff_id)
        .execute(t.pool())
        .await
        .unwrap();
    let absent = t.get(Some(other), &format!("/photos/{}", Uuid::now_v7())).await;
    let foreign = t.get(Some(other), &photo).await;
    assert_eq!((foreign.status, foreign.body), (404, absent.body), "nothing there and not yours look alike");
    sqlx::query("INSERT INTO phones (id, staff_id, label, made_at) VALUES ($1, $2, 'x', now())")
        .bind(d.alder)
        .bind(other.staff_id)
        .execute(t.pool())
        .await
        .unwrap();
    sqlx::query("INSERT INTO packed_stops (phone_id, visit_id, unit_id, staff_id, packed_at) VALUES ($1, $1, $2, $3, now())")
        .bind(d.alder)
        .bind(unit)
        .bind(other.staff_id)
        .execute(t.pool())
        .await
        .unwrap();
    assert_eq!(t.get(Some(other), &photo).await.status, 200);
}

#[tokio::test]
async fn a_customers_record_never_names_or_shows_a_photo() {
    let Scene { t, tech, report, unit, .. } = &reported().await;
    post_files(t, tech, &format!("/kept/{report}/photos"), Uuid::now_v7(), &[&camera("grey.jpg"), &camera("place.png")]).await;
    assert_eq!(rows(t).await, 2);
    let token = links::make(t.pool(), *unit, "mail", None, t.app.clock.now()).await.unwrap();
    let record = t.get(None, &format!("/w/{token}")).await;
    assert!(record.status == 200 && record.body.contains("Oct 5") || record.body.contains("October 5"), "{}", record.text("main"));
    assert!(!record.body.contains("photo") && !record.body.contains("Photo") && !record.body.contains("the plate"), "{}", record.body);
    assert!(record.attrs("img", "src").is_empty());
    let photo = t.get(Some(tech), &format!("/kept/{report}")).await.attrs("a[data-photo]", "href").remove(0);
    let id = photo.rsplit('/').next().unwrap();
    for path in [photo.clone(), format!("/w/{token}{photo}"), format!("/w/{token}/photos/{id}"), format!("/assets/{id}")] {
        let page = t.get(None, &path).await;
        assert_ne!(page.status, 200, "{path}");
    }
    // The token is no session either.
    let request = Request::get(&photo).header(header::COOKIE, format!("embertide={token}"));
    assert_eq!(t.send(request.body(Body::empty()).unwrap()).await.status, 303);
}
