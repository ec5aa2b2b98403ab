//! Bringing in a list: check it, mend the matching of its columns, keep it; the rows to fix come back as a list.

use super::super::{
    app::App,
    error::{Error, Result},
    form::{Posted, Upload},
    guard::{Office, see_other},
    html::{Frame, html, html_with},
};
use crate::{
    listing::{Column, Complaint, Kind, List, Matching, rest},
    store::{
        events::Actor,
        lists::{self, Brought, Plan, Waiting},
    },
    units::thousands,
};
use askama::Template;
use axum::{
    extract::Path,
    http::{StatusCode, header},
    response::IntoResponse,
};
use serde::Deserialize;
use std::borrow::Borrow;
use uuid::Uuid;

/// Complaints that the page shows; the list of rows to fix has them all.
const SHOWN: usize = 200;

#[derive(Template)]
#[template(path = "office/bring_in.html")]
struct StartPage {
    f: Frame,
    kinds: [Kind; 3],
    chosen: Kind,
    /// Why the file that was just sent is no list; empty before.
    wrong: String,
}

fn start(who: &Office, status: StatusCode, chosen: Kind, wrong: String) -> Result {
    html_with(status, &StartPage { f: Frame::of(who, "bring-in"), kinds: Kind::ALL, chosen, wrong })
}

pub(super) async fn page(who: Office, _: App, (): ()) -> Result {
    start(&who, StatusCode::OK, Kind::Customers, String::new())
}

/// Takes a file in, or a file that waits with other columns matched. Keeps nothing of what is in it.
pub(super) async fn check(who: Office, app: App, upload: Upload) -> Result {
    if let Some(first) = upload.fields.get("list") {
        return match_again(&who, &app, first, &upload).await;
    }
    let kind =
        upload.fields.get("kind").and_then(|k| Kind::parse(k)).ok_or_else(|| Error::Bad("Choose what the list holds.".to_owned()))?;
    let wrong = |says: String| start(&who, StatusCode::UNPROCESSABLE_ENTITY, kind, says);
    if upload.file_name.is_empty() && upload.file.is_empty() {
        return wrong("Choose a file.".to_owned());
    }
    let list = match List::by_name(kind, &upload.file) {
        Ok(list) => list,
        Err(e) => return wrong(e.to_string()),
    };
    let mut tx = app.pool.begin().await?;
    let id = Waiting::put(&mut tx, who.staff_id, &upload.file_name, &upload.file, &list, app.clock.now()).await?;
    tx.commit().await?;
    Ok(see_other(&format!("/bring-in/{id}")))
}

async fn match_again(who: &Office, app: &App, first: &str, upload: &Upload) -> Result {
    let first: Uuid = first.parse().map_err(|_| Error::NotFound)?;
    let now = app.clock.now();
    let list = Waiting::get(&app.pool, who.staff_id, first, now).await?.list;
    let chosen = |name: &str| upload.fields.get(&field(name)).and_then(|v| v.parse().ok());
    let matching = Matching::chosen(list.kind, list.sheet.header.len(), chosen);
    let id = Waiting::put_again(&app.pool, who.staff_id, first, &matching, now).await?;
    Ok(see_other(&format!("/bring-in/{id}")))
}

/// Name of the field in which a column is chosen.
fn field(name: &str) -> String {
    format!("column-{}", name.replace(' ', "-"))
}

/// One column of the list, and which of the file serves as it.
struct ColumnView {
    column: &'static Column,
    field: String,
    /// Place in the file; past its last column when none serves.
    chosen: usize,
}

#[derive(Template)]
#[template(path = "office/bring_in_report.html")]
struct ReportPage {
    f: Frame,
    id: Uuid,
    file_name: String,
    list: List,
    columns: Vec<ColumnView>,
    /// Columns of the file, each with what its first row says.
    titles: Vec<String>,
    unused: String,
    plan: Plan,
    /// What keeping would bring in now.
    now: Brought,
    kept: Option<Brought>,
    shown: Vec<Complaint>,
    more: usize,
}

impl ReportPage {
    fn count(n: impl Borrow<usize>) -> String {
        thousands(i64::try_from(*n.borrow()).unwrap_or(i64::MAX))
    }

    /// "1 row", "12 rows".
    fn rows(n: impl Borrow<usize>) -> String {
        let n = *n.borrow();
        format!("{} {}", Self::count(n), if n == 1 { "row" } else { "rows" })
    }
}

/// What is in the file, what is wrong with it, and what keeping it would change.
pub(super) async fn report(who: Office, app: App, Path(id): Path<Uuid>) -> Result {
    let (waiting, plan) = look(&who, &app, id).await?;
    let list = waiting.list;
    let columns = list.kind.columns().iter().map(|column| ColumnView {
        column,
        field: field(column.name),
        chosen: list.matching.place(list.kind, column.name).unwrap_or(list.sheet.header.len()),
    });
    let first = list.sheet.rows.first();
    let titles = list.sheet.header.iter().enumerate().map(|(i, title)| {
        let says = first.and_then(|r| r.cells.get(i)).filter(|c| !c.is_empty());
        let says = says.map(|c| format!(", as “{}”", c.chars().take(24).collect::<String>())).unwrap_or_default();
        format!("{} {title}{says}", i + 1)
    });
    html(&ReportPage {
        f: Frame::of(&who, "bring-in"),
        id,
        file_name: waiting.file_name,
        columns: columns.collect(),
        titles: titles.collect(),
        unused: list.matching.unused(&list.sheet.header).join(", "),
        now: plan.brought(),
        kept: waiting.kept,
        shown: plan.complaints.iter().take(SHOWN).cloned().collect(),
        more: plan.complaints.len().saturating_sub(SHOWN),
        plan,
        list,
    })
}

async fn look(who: &Office, app: &App, id: Uuid) -> Result<(Waiting, Plan)> {
    let waiting = Waiting::get(&app.pool, who.staff_id, id, app.clock.now()).await?;
    let mut c = app.pool.acquire().await?;
    let plan = lists::plan(&mut c, &waiting.list, who.dealer.today).await?;
    Ok((waiting, plan))
}

/// The rows to fix, as a list.
pub(super) async fn to_fix(who: Office, app: App, Path(id): Path<Uuid>) -> Result {
    let (waiting, plan) = look(&who, &app, id).await?;
    let name = format!("attachment; filename=\"to-fix-{}.csv\"", waiting.list.kind.as_str());
    let headers = [(header::CONTENT_TYPE, "text/csv; charset=utf-8".to_owned()), (header::CONTENT_DISPOSITION, name)];
    Ok((headers, rest(&waiting.list.sheet, &plan.complaints)).into_response())
}

#[derive(Debug, Deserialize)]
pub(super) struct KeepForm {
    list: Uuid,
    /// `yes`: leave out the rows that need fixing.
    #[serde(default)]
    only_good_rows: String,
}

/// Keeps the list, unless something is wrong with it that was not agreed to.
pub(super) async fn keep(who: Office, app: App, posted: Posted<KeepForm>) -> Result {
    let id = posted.form.list;
    let now = app.clock.now();
    let page = format!("/bring-in/{id}");
    let waiting = Waiting::get(&app.pool, who.staff_id, id, now).await?;
    let mut tx = app.pool.begin().await?;
    if posted.first_time(&mut tx, &who, "bring in a list", now).await? {
        let actor = Actor { id: Some(who.staff_id), words: who.name.clone() };
        let only_good = posted.form.only_good_rows == "yes";
        let (_, brought) = lists::keep(&mut tx, &waiting.list, only_good, &actor, who.dealer.today, now).await?;
        let Some(brought) = brought else {
            // Nothing was done, so the form may be sent again; the page shows what is wrong by now.
            tx.rollback().await?;
            return Ok(see_other(&page));
        };
        Waiting::note_kept(&mut *tx, who.staff_id, id, &brought).await?;
    }
    tx.commit().await?;
    Ok(see_other(&page))
}
