//! A conductor's resistance from its cross-section, for buses stated by their
//! length. Temperature and contacts are not in it: 20 degC copper alone.

use crate::units::{Ohms, Quantity};
use std::str::FromStr;

/// A copper conductor.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Conductor {
    /// Solid annealed wire by gauge number; 0 stands for 1/0, -1 for 2/0, down
    /// to -3 for 4/0.
    Awg(i8),
    /// Fine-stranded flexible wire by nominal cross-section, an index into
    /// the table below.
    Flexible(usize),
}

/// IEC 60228:2004, table 3: nominal cross-section in mm2 and largest
/// resistance in ohms per kilometre at 20 degC of plain class 5 copper.
pub(super) const CLASS_5: [(f64, f64); 6] = [
    (0.5, 39.0),
    (0.75, 26.0),
    (1.0, 19.5),
    (1.5, 13.3),
    (2.5, 7.98),
    (4.0, 4.95),
];

/// Resistivity of annealed copper at 20 degC, 1/58 ohm mm2/m (IEC 60028).
const RESISTIVITY: f64 = 1.0 / 58.0;

/// Why a text names no conductor.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum ConductorFault {
    /// Neither form.
    #[error("this names no conductor")]
    Form,
    /// A gauge beyond the table.
    #[error("the gauge must lie between AWG 4/0 and AWG 40")]
    Gauge,
    /// A cross-section that is not in the table.
    #[error("this cross-section is not in IEC 60228's table for flexible conductors")]
    CrossSection,
}

impl Conductor {
    /// Resistance of one metre of one wire, at 20 degC.
    pub fn ohms_per_metre(self) -> f64 {
        match self {
            Self::Awg(gauge) => {
                // ASTM B258: d = 0.127 mm * 92^((36 - n) / 39).
                let power = (36.0 - f64::from(gauge)) / 39.0;
                let diameter_mm = 0.127 * libm::pow(92.0, power);
                let area_mm2 = std::f64::consts::PI / 4.0 * diameter_mm * diameter_mm;
                RESISTIVITY / area_mm2
            }
            Self::Flexible(index) => CLASS_5[index.min(CLASS_5.len() - 1)].1 / 1000.0,
        }
    }

    /// Resistance of a bus of two such wires, `metres` long, there and back.
    pub fn loop_resistance(self, metres: f64) -> Ohms {
        Ohms::from_si(2.0 * metres * self.ohms_per_metre()).unwrap_or(Ohms::ZERO)
    }
}

impl FromStr for Conductor {
    type Err = ConductorFault;

    fn from_str(text: &str) -> Result<Self, ConductorFault> {
        let text = text.trim();
        if let Some(gauge) = text.strip_prefix("AWG") {
            let gauge = gauge.trim();
            let number = match gauge.strip_suffix("/0") {
                Some(noughts) => noughts
                    .parse::<i8>()
                    .ok()
                    .and_then(|n| 1_i8.checked_sub(n))
                    .filter(|n| *n <= 0),
                None => gauge.parse().ok().filter(|number: &i8| *number >= 0),
            };
            return match number {
                Some(number @ -3..=40) => Ok(Self::Awg(number)),
                Some(_) => Err(ConductorFault::Gauge),
                None => Err(ConductorFault::Form),
            };
        }
        let Some(area) = text.strip_suffix("mm2").or(text.strip_suffix("mm²")) else {
            return Err(ConductorFault::Form);
        };
        let area: f64 = area.trim().parse().map_err(|_| ConductorFault::Form)?;
        CLASS_5
            .iter()
            .position(|(nominal, _)| *nominal == area)
            .map(Self::Flexible)
            .ok_or(ConductorFault::CrossSection)
    }
}
