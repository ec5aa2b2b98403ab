//! Units for which no dose can be worked out, and what has to be seen to first.

use super::super::{
    app::App,
    error::Result,
    guard::Office,
    html::{Frame, html},
};
use crate::store::water::{self, HeldUnit};
use askama::Template;

#[derive(Template)]
#[template(path = "office/held.html")]
struct HeldPage {
    f: Frame,
    /// The last test asks for a dose.
    low: Vec<HeldUnit>,
    others: Vec<HeldUnit>,
    full: bool,
}

/// Units listed at most.
const LISTED: i64 = 200;

pub(super) async fn page(who: Office, app: App, (): ()) -> Result {
    let found = water::held(&app.pool, LISTED).await?;
    let full = i64::try_from(found.len()).unwrap_or(LISTED) >= LISTED;
    let (low, others) = found.into_iter().partition(|u| u.low);
    html(&HeldPage { f: Frame::of(&who, "due"), low, others, full })
}
