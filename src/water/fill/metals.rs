//! What the metals of a loop ask of its water, beside the limits.
//!
//! Sources stand with each sentence; where none stands it is common practice, no source.

use super::FillTest;

/// Metals that the water touches besides steel.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Metals {
    /// As the plates of a brazed exchanger.
    pub stainless: bool,
    pub aluminium: bool,
    pub copper: bool,
}

/// Chloride in mg/L that 304 stainless bears at neutral pH and 35 °C, clean and flowing (a trade engineering article of
/// 2019, quoted); 316 bears 400. Less when hotter.
pub const CHLORIDE_304: f64 = 150.0;
pub const CHLORIDE_316: f64 = 400.0;

/// Sentences for these metals and this water; none where a metal asks for nothing.
pub fn cautions(test: &FillTest, metals: Metals) -> Vec<String> {
    let mut says = Vec::new();
    if metals.stainless {
        says.push(stainless(test.chloride));
    }
    if metals.aluminium {
        says.push(
            "Aluminium in the loop: the pH must stay in the programme's narrower band for aluminium (8.2 to 9.0: VDI 2035 (2021), quoted \
             second-hand). Check that the product's label allows aluminium."
                .to_owned(),
        );
    }
    if metals.copper {
        says.push(
            "Copper in the loop: the product should hold a copper inhibitor, 10 mg/L tolyltriazole or more (UFC 3-240-13FN, 2005). \
             Ammonium attacks copper and brass."
                .to_owned(),
        );
    }
    says
}

fn stainless(chloride: Option<f64>) -> String {
    let bears = format!(
        "304 bears about {CHLORIDE_304:.0} mg/L and 316 about {CHLORIDE_316:.0} at 35 °C, clean and flowing, and less when hotter (a trade \
         engineering article of 2019, quoted)"
    );
    match chloride {
        None => format!("Stainless exchanger: test chloride before filling; {bears}."),
        Some(mg) if mg > CHLORIDE_304 => {
            format!("Stainless exchanger: {mg:.0} mg/L of chloride is too much for 304 stainless; {bears}. Use another source.")
        }
        Some(mg) if mg > 50.0 => format!("Stainless exchanger: {mg:.0} mg/L of chloride on hot plates is a risk; {bears}."),
        Some(_) => format!("Stainless exchanger: the chloride is low; {bears}."),
    }
}
