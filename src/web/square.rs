//! An address as a square that a phone's camera reads.

use super::error::{Error, Result};
use std::fmt::Write;

/// A QR code (ISO/IEC 18004), `side` pixels wide: dark fields as one path, with the four light fields round it that the standard wants.
pub(super) fn draw(text: &str, side: u16, label: &str) -> Result<String> {
    let code = qrcode::QrCode::new(text.as_bytes()).map_err(|e| Error::Inside(anyhow::anyhow!("no square can be drawn: {e}")))?;
    let width = code.width();
    let mut path = String::new();
    for (n, color) in code.to_colors().into_iter().enumerate() {
        if color == qrcode::Color::Dark {
            let _ = write!(path, "M{} {}h1v1h-1z", n % width + 4, n / width + 4);
        }
    }
    let fields = width + 8;
    Ok(format!(
        r##"<svg viewBox="0 0 {fields} {fields}" width="{side}" height="{side}" role="img" aria-label="{label}"><path fill="#fff" d="M0 0h{fields}v{fields}H0z"/><path fill="#000" d="{path}"/></svg>"##
    ))
}
