//! What a bench file states of everything around the board, as the fixture of a
//! model bench. It reads no text.

use super::bench::{Bench, ModelBench};
use super::parts::*;
use crate::model_board::{Branch, CapacitorBank, FixtureParameters, GapReturn};
use crate::units::{Henries, Ohms};

impl Bench {
    /// The same bench with a model in place of each instrument, what is around
    /// the board as the file states it. A model bench stays as it is.
    pub fn modelled(&self) -> Self {
        let mut bench = self.clone();
        if bench.model.is_none() {
            bench.model = Some(ModelBench {
                fixture: stated_fixture(self),
                board: None,
            });
            for instrument in &mut bench.instruments {
                instrument.port = Port::Model;
            }
        }
        bench
    }
}

/// What the file states of everything around the board.
pub(super) fn stated_fixture(bench: &Bench) -> FixtureParameters {
    let mut fixture = FixtureParameters {
        supply_resistance: bench.wiring.supply_resistance,
        lead_resistance: bench.wiring.lead_resistance,
        lead_inductance: bench.wiring.lead_inductance,
        bleeder: bench.wiring.bleeder,
        rectifier_drop: bench.wiring.rectifier_drop,
        ..FixtureParameters::default()
    };
    let loop_of = |closes| {
        bench.branch(closes).map(|entry| Branch {
            resistance: entry.resistance,
            inductance: entry.inductance,
        })
    };
    fixture.near = loop_of(Closes::NearShort).unwrap_or(fixture.near);
    fixture.far = loop_of(Closes::FarShort).unwrap_or(fixture.far);
    if let Some(entry) = bench.branch(Closes::CapacitorBank)
        && let Some(bank) = entry.bank
    {
        fixture.bank = CapacitorBank {
            capacitance: bank.capacitance,
            resistance: entry.resistance,
            bleeder: bank.bleeder,
            drop: bank.drop,
        };
    }
    if let Some(entry) = bench.branch(Closes::ResistorBank) {
        fixture.resistor = entry.resistance;
    }
    if let Some(upstream) = &bench.upstream {
        let gap = loop_of(Closes::GapCrossed).or(loop_of(Closes::GapStraight));
        let (resistance, inductance) = gap.map_or((Ohms::ZERO, Henries::ZERO), |gap| {
            (gap.resistance, gap.inductance)
        });
        fixture.upstream.voltage = upstream.voltage;
        fixture.upstream.branch.resistance = upstream.resistance + resistance;
        fixture.upstream.branch.inductance = upstream.inductance + inductance;
        fixture.upstream.returns = match upstream.isolation {
            Isolation::IsolatedBothGaps => GapReturn::OtherGap,
            Isolation::CommonNegativeOneGap => GapReturn::CommonNegative,
            Isolation::IsolatedOneGap => GapReturn::Nowhere,
        };
        fixture.upstream.trip_current = upstream.trip_current;
        fixture.upstream.trip_time = upstream.trip_time;
    }
    fixture
}
