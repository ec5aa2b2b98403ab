//! The photo room: pictures as they come in, freed from everything but the picture.
//!
//! A photo tells more than it shows: where it was taken, when, with which phone, sometimes a second picture or a film behind the first.
//! [`strip`] walks through the file, keeps what is needed to draw it, drops the rest, and refuses what it cannot walk through. It trusts
//! nobody: the yard's own script has dropped the same things before.
//!
//! Pure: bytes in, bytes out. The picture itself (the compressed data of a JPEG) is copied, not decoded.

mod exif;
mod jpeg;
mod png;

/// Most pixels of a picture; more would stall a browser that opens it.
pub const MAX_PIXELS: u64 = 40_000_000;

/// The form of a picture; every browser draws both.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    Jpeg,
    Png,
}

impl Kind {
    /// As the records call it.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Jpeg => "jpeg",
            Self::Png => "png",
        }
    }

    pub fn parse(text: &str) -> Option<Self> {
        [Self::Jpeg, Self::Png].into_iter().find(|k| k.as_str() == text)
    }

    /// How its file's name ends.
    pub fn ending(self) -> &'static str {
        match self {
            Self::Jpeg => "jpg",
            Self::Png => "png",
        }
    }

    /// Its media type.
    pub fn media_type(self) -> &'static str {
        match self {
            Self::Jpeg => "image/jpeg",
            Self::Png => "image/png",
        }
    }
}

/// A picture without anything beside it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Picture {
    pub kind: Kind,
    pub bytes: Vec<u8>,
    /// Pixels, as it is shown: a picture that lies on its side has them exchanged.
    pub width: u16,
    pub height: u16,
}

/// Why a file is not taken as a picture, and what to do.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Refused {
    #[error("This is no JPEG and no PNG picture. Take it with the phone’s camera, or save it as JPEG.")]
    NotAPicture,
    #[error("The picture is not whole or is damaged ({0}). Send it again, or take it anew.")]
    Damaged(&'static str),
    #[error("The picture is of a rare kind that not every browser shows ({0}). Save it as a plain JPEG.")]
    Rare(&'static str),
    #[error("The picture has more than 40 million pixels. Make it smaller.")]
    TooManyPixels,
}

/// Takes everything out of a picture but the picture. What comes out goes through again unchanged.
pub fn strip(bytes: &[u8]) -> Result<Picture, Refused> {
    if bytes.starts_with(&jpeg::START) {
        return jpeg::strip(bytes);
    }
    if bytes.starts_with(&png::START) {
        return png::strip(bytes);
    }
    Err(Refused::NotAPicture)
}

/// Both sides, when they are some and not too many pixels.
fn sides(width: u32, height: u32) -> Result<(u16, u16), Refused> {
    if width == 0 || height == 0 {
        return Err(Refused::Damaged("it has no size"));
    }
    if u64::from(width) * u64::from(height) > MAX_PIXELS {
        return Err(Refused::TooManyPixels);
    }
    u16::try_from(width).ok().zip(u16::try_from(height).ok()).ok_or(Refused::TooManyPixels)
}
