//! What keeps treated water from running back into a drinking-water line at the fill.

use serde::{Deserialize, Serialize};

/// What stands between the house or well line and the heater while it is filled.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum FillDevice {
    AirGap,
    /// Reduced-pressure assembly, ASSE 1013.
    ReducedPressure,
    /// Backflow preventer with intermediate atmospheric vent, ASSE 1012.
    IntermediateVent,
    /// Dual check, ASSE 1024.
    DualCheck,
    /// Hose connection vacuum breaker, ASSE 1011.
    HoseVacuumBreaker,
    Nothing,
    NotKnown,
}

impl FillDevice {
    pub const ALL: [Self; 7] = [
        Self::AirGap,
        Self::ReducedPressure,
        Self::IntermediateVent,
        Self::DualCheck,
        Self::HoseVacuumBreaker,
        Self::Nothing,
        Self::NotKnown,
    ];

    /// In words, for a list.
    pub const fn words(self) -> &'static str {
        match self {
            Self::AirGap => "air gap",
            Self::ReducedPressure => "reduced-pressure assembly (ASSE 1013)",
            Self::IntermediateVent => "backflow preventer with intermediate vent (ASSE 1012)",
            Self::DualCheck => "dual check (ASSE 1024)",
            Self::HoseVacuumBreaker => "hose vacuum breaker (ASSE 1011)",
            Self::Nothing => "nothing",
            Self::NotKnown => "not known",
        }
    }

    /// The caution for the report; `None` where the device is one that codes accept for this.
    ///
    /// 2018 IRC P2902.3.3: the intermediate vent is for low hazard and prohibited where hazardous chemical additives are
    /// introduced downstream; that a dual check or a hose vacuum breaker is not enough either is from memory.
    pub fn caution(self, hazardous_additive: bool) -> Option<String> {
        const RULE: &str = "Local code governs; ask a licensed plumber. Take the hose off after filling.";
        let why = match (self, hazardous_additive) {
            (Self::AirGap | Self::ReducedPressure, _) | (Self::IntermediateVent, false) => return None,
            (Self::IntermediateVent, true) => {
                "is for low hazard and not allowed where a hazardous additive goes in downstream (2018 IRC P2902.3.3): use a \
                 reduced-pressure assembly (ASSE 1013) or an air gap"
            }
            (Self::DualCheck | Self::HoseVacuumBreaker, true) => {
                "is not enough where a hazardous additive goes in: use a reduced-pressure assembly (ASSE 1013) or an air gap"
            }
            (Self::DualCheck | Self::HoseVacuumBreaker, false) => "may not be enough for a boiler connection",
            (Self::Nothing, _) => {
                "lets treated water run back into the drinking water: use an air gap or a backflow assembly before filling"
            }
            (Self::NotKnown, _) => "must be looked at before filling: treated water must never reach a drinking-water line",
        };
        let what = match self {
            Self::Nothing => "No backflow protection",
            Self::NotKnown => "The backflow protection",
            other => return Some(format!("This {} {why}. {RULE}", other.words())),
        };
        Some(format!("{what} {why}. {RULE}"))
    }
}
