//! Bringing in a list from the command line.
use anyhow::{Result, bail};
use embertide::settings::{ListKind, Place};
use std::path::Path;
pub(super) async fn import(_: &Place, _: &Path, _: ListKind, _: Option<&Path>) -> Result<()> {
    bail!("not built in yet")
}
