//! Source water before a fill, for a customer on the telephone: nothing is kept. A unit's own fill has its own page.

use super::super::super::{
    app::App,
    error::Result,
    fill_view::{self, Answer, Asked},
    guard::Office,
    html::{Frame, html},
};
use crate::store::catalogue;
use askama::Template;
use axum::extract::Query;

#[derive(Template)]
#[template(path = "office/source_water.html")]
struct SourceWaterPage {
    f: Frame,
    asked: Asked,
    tested: bool,
    devices: Vec<(String, &'static str)>,
    answer: Answer,
    wrong: String,
}

pub(in crate::web::office) async fn page(who: Office, app: App, Query(asked): Query<Asked>) -> Result {
    let mut c = app.pool.acquire().await?;
    let profiles = catalogue::profiles(&mut c).await?;
    let tested = asked.tested();
    let asked = asked.with_usual(None, who.dealer.units);
    let (answer, wrong) = match tested.then(|| fill_view::answer(&asked, &profiles, None, &who.dealer)) {
        Some(Ok(answer)) => (answer, String::new()),
        Some(Err(wrong)) => (Answer::default(), wrong),
        None => (Answer::default(), String::new()),
    };
    html(&SourceWaterPage { f: Frame::of(&who, "answers"), tested, devices: fill_view::devices(), asked, answer, wrong })
}
