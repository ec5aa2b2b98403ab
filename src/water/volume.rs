//! Water volume: jacket plus loop, always with how it was found and its ±.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};
use thiserror::Error;

use crate::units::{Millilitres, UnitsFirst};

/// What a jacket holds lies within, millilitres: 40 to 20,000 L. A mistyped unit falls outside. Common practice, no source.
pub const JACKET_ML: std::ops::RangeInclusive<i64> = 40_000..=20_000_000;

/// How a water volume was found.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Method {
    /// The jacket's label.
    Label,
    /// Label plus the sum of the piping.
    Piping,
    /// Read on a water meter while filling; the best way.
    WaterMeter,
    /// From the rise of a measured dose.
    Tracer,
    Guess,
}

impl Method {
    /// Every method, best first.
    pub const ALL: [Self; 5] = [Self::WaterMeter, Self::Tracer, Self::Piping, Self::Label, Self::Guess];

    /// The standard uncertainty taken when none is given, in ‰ of the volume: meter 2 %, tracer 5 %,
    /// label or label and piping 5 %, guess 20 % (common practice, no source).
    pub const fn default_per_mille(self) -> u16 {
        match self {
            Self::WaterMeter => 20,
            Self::Label | Self::Piping | Self::Tracer => 50,
            Self::Guess => 200,
        }
    }

    /// The text kept in the database.
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Label => "label",
            Self::Piping => "piping",
            Self::WaterMeter => "water_meter",
            Self::Tracer => "tracer",
            Self::Guess => "guess",
        }
    }

    /// In words, for a page.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Label => "from the label",
            Self::Piping => "from the label and the piping",
            Self::WaterMeter => "by water meter at filling",
            Self::Tracer => "from the rise of a measured dose",
            Self::Guess => "a guess",
        }
    }
}

impl fmt::Display for Method {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.words())
    }
}

impl FromStr for Method {
    type Err = VolumeError;
    fn from_str(text: &str) -> Result<Self, VolumeError> {
        let found = Self::ALL.into_iter().find(|method| method.as_str() == text);
        found.ok_or_else(|| VolumeError::UnknownMethod(text.chars().take(40).collect()))
    }
}

/// Why a water volume is refused.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum VolumeError {
    #[error("A water volume must be at least 1 L.")]
    TooSmall,
    #[error("The ± must be smaller than the volume itself.")]
    TooUncertain,
    #[error("“{0}” is not a way to find a volume.")]
    UnknownMethod(String),
    #[error("The parts add up to more than 1,000,000 L. Check the lengths.")]
    TooLarge,
}

/// The water one unit's jacket and loop hold.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct WaterVolume {
    volume: Millilitres,
    plus_minus: Millilitres,
    method: Method,
}

impl WaterVolume {
    /// A volume with its own standard uncertainty.
    pub fn new(volume: Millilitres, plus_minus: Millilitres, method: Method) -> Result<Self, VolumeError> {
        if volume.get() < 1_000 {
            return Err(VolumeError::TooSmall);
        }
        if plus_minus >= volume {
            return Err(VolumeError::TooUncertain);
        }
        Ok(Self { volume, plus_minus, method })
    }

    /// A volume with the uncertainty usual for its method.
    pub fn by(volume: Millilitres, method: Method) -> Result<Self, VolumeError> {
        let share = volume.get() * i64::from(method.default_per_mille()) / 1_000;
        let plus_minus = Millilitres::new(share).map_err(|_| VolumeError::TooLarge)?;
        Self::new(volume, plus_minus, method)
    }

    pub const fn volume(self) -> Millilitres {
        self.volume
    }

    /// One standard uncertainty.
    pub const fn plus_minus(self) -> Millilitres {
        self.plus_minus
    }

    pub const fn method(self) -> Method {
        self.method
    }

    /// "400 gal ± 20 (1,514 L)".
    pub fn text(self, first: UnitsFirst) -> String {
        let short = self.volume.plus_minus(self.plus_minus, first);
        let both = self.volume.both(first);
        match both.split_once(" (") {
            Some((_, other)) => format!("{short} ({other}"),
            None => short,
        }
    }
}
