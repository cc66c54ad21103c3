//! Whether supply and load say the same of one current: a load that stays as it is set
//! draws from the supply whatever it draws, through the board or past it. It judges
//! neither the board's own appetite nor anything that changes.

use super::Bench;
use super::fault::BenchError;
use crate::instruments::Measured;
use crate::scenario::GIVEN_BACK;
use crate::units::{Amperes, Quantity as _};

/// Below this nothing is compared: a house allowance for what moves between readings.
const LEAST: Amperes = Amperes::new(0.1);

/// A board that trips and restarts by itself may let each meter see another moment of it:
/// so many readings in a row it does not.
const LOOKS: u32 = 4;

impl Bench {
    /// The supply delivers what the load draws. More than that is the board's own, and the
    /// board may be a hungry one; less can come from nowhere. Meters that disagree are read
    /// again.
    pub(super) async fn prove_meters_agree(
        &self,
        mut delivers: Measured,
        mut draws: Measured,
    ) -> Result<(), BenchError> {
        if self.told.load.is_none() || self.told.closes_a_gap(self.now()) {
            return Ok(());
        }
        let (Ok(supply), Ok(load)) = (self.supply(), self.load()) else {
            return Ok(());
        };
        for look in 0.. {
            if !is_short(delivers, draws) {
                return Ok(());
            }
            if look == LOOKS {
                break;
            }
            delivers = supply.measure_current().await?;
            draws = load.measure_current().await?;
        }
        let shown = |measured: Measured| {
            let value = measured.reading.value().and_then(Amperes::from_si);
            value.unwrap_or(Amperes::ZERO)
        };
        Err(BenchError::Disagree {
            delivers: shown(delivers),
            draws: shown(draws),
        })
    }
}

/// Whether less is delivered than drawn, by more than both meters are stated to err.
fn is_short(delivers: Measured, draws: Measured) -> bool {
    let (Some(delivers), Some(draws)) = (delivers.estimate(), draws.estimate()) else {
        return false;
    };
    let most = delivers.value.abs() + delivers.expanded();
    let least = draws.value.abs() - draws.expanded();
    most < least * (1.0 - GIVEN_BACK) - LEAST.si()
}
