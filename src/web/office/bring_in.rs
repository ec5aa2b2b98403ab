//! Bringing in a list.

use super::super::{
    app::App,
    error::{Error, Result},
    form::Upload,
    guard::Office,
};

pub(super) async fn page(_: Office, _: App, (): ()) -> Result {
    Err(Error::NotFound)
}

pub(super) async fn check(_: Office, _: App, _: Upload) -> Result {
    Err(Error::NotFound)
}

pub(super) async fn keep(_: Office, _: App, _: Upload) -> Result {
    Err(Error::NotFound)
}
