//! What has flowed by what was measured: how long there has been energy in the
//! board, and the let-through and energy of a fault, each against the envelope. It
//! foresees nothing, asks no instrument and takes no setting for what happened.

use crate::bench_file::Envelope;
use crate::clock::BenchInstant;
use crate::units::{AmpereSquareSeconds, Amperes, Joules, Quantity, Seconds, Volts};

/// One look at the meters of supply and load.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Look {
    /// When.
    pub at: BenchInstant,
    /// The supply's voltage, at least; `None` where this look has none.
    pub voltage: Option<Volts>,
    /// What the supply delivers or the load draws, whichever is more, at least.
    pub current: Amperes,
    /// What the present settings let flow for as long as they stay.
    pub settled: Amperes,
}

/// What a look comes to.
#[derive(Clone, Copy, Debug)]
struct Seen {
    at: BenchInstant,
    voltage: Volts,
    current: Amperes,
    /// More flows than was asked for.
    beyond: bool,
}

/// Something measured beyond the envelope.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
pub enum Overrun {
    /// Too much current.
    #[error("{measured} flow, and the envelope allows {most}")]
    Current {
        /// What was measured.
        measured: Amperes,
        /// The envelope.
        most: Amperes,
    },
    /// Too high a voltage.
    #[error("{measured} stand there, and the envelope allows {most}")]
    Voltage {
        /// What was measured.
        measured: Volts,
        /// The envelope.
        most: Volts,
    },
    /// Too large a let-through.
    #[error(
        "more flows than was asked for, now {current} instead of {settled}: {measured} have \
         passed, and the envelope allows {most}"
    )]
    LetThrough {
        /// The integral of what was measured.
        measured: AmpereSquareSeconds,
        /// The envelope.
        most: AmpereSquareSeconds,
        /// What flows.
        current: Amperes,
        /// What was asked for.
        settled: Amperes,
    },
    /// Too much energy.
    #[error(
        "more flows than was asked for, now {current} instead of {settled}: {measured} were \
         freed, and the envelope allows {most}"
    )]
    Energy {
        /// The integral of what was measured.
        measured: Joules,
        /// The envelope.
        most: Joules,
        /// What flows.
        current: Amperes,
        /// What was asked for.
        settled: Amperes,
    },
    /// Too long without a pause that was measured.
    #[error(
        "{measured} with energy in the board and no pause that the meters show, and the envelope \
         allows {most}"
    )]
    Time {
        /// How long.
        measured: Seconds,
        /// The envelope.
        most: Seconds,
    },
}

/// What has flowed since the board was seen without energy.
#[derive(Clone, Copy, Debug)]
pub struct Account {
    envelope: Envelope,
    /// What a board may take beyond what its settings say before that is a fault.
    own: Amperes,
    since: Option<BenchInstant>,
    last: Option<Seen>,
    /// Ampere squared seconds and joules of the fault that goes on.
    let_through: f64,
    energy: f64,
}

/// Less than this is no energy: too little to start a board.
const REST_VOLTAGE: Volts = Volts::new(2.0);
const REST_CURRENT: Amperes = Amperes::new(0.02);

/// A supply that was switched off has lost this part of its voltage soon: one that
/// keeps it feeds the board.
const PAUSE_LOSS: f64 = 0.02;

impl Account {
    /// An account against `envelope`, of a board that takes up to `own` beyond
    /// what its load draws.
    pub const fn new(envelope: Envelope, own: Amperes) -> Self {
        Self {
            envelope,
            own,
            since: None,
            last: None,
            let_through: 0.0,
            energy: 0.0,
        }
    }

    /// The board was proven to be without energy.
    pub fn close(&mut self) {
        *self = Self::new(self.envelope, self.own);
    }

    /// Takes the pause of a supply that was switched off, where `voltage` and
    /// `current`, just measured, show one. Whether they do.
    pub fn pause(&mut self, voltage: Volts, current: Amperes) -> bool {
        let before = self.voltage();
        let fell = voltage < REST_VOLTAGE || voltage < before * (1.0 - PAUSE_LOSS);
        let paused = self.since.is_none() || (fell && current <= REST_CURRENT);
        if paused {
            self.close();
        }
        paused
    }

    /// Whether energy was measured that no measurement has shown to be gone.
    pub fn is_open(&self) -> bool {
        self.since.is_some()
    }

    /// Takes one look in. The integrals go over the trapezia between looks, from
    /// the last one at which no more flowed than was asked for until the next such.
    ///
    /// # Errors
    /// The first [`Overrun`].
    pub fn enter(&mut self, look: Look) -> Result<(), Overrun> {
        let voltage = look.voltage.unwrap_or(self.voltage());
        if voltage < REST_VOLTAGE && look.current <= REST_CURRENT {
            self.close();
            return Ok(());
        }
        let since = *self.since.get_or_insert(look.at);
        let beyond = look.current > look.settled + self.own;
        let seen = Seen {
            at: look.at,
            voltage,
            current: look.current,
            beyond,
        };
        match self.last.replace(seen) {
            Some(last) if beyond || last.beyond => self.add(&last, &seen),
            _ => {}
        }
        let found = self.overrun(&seen, look.settled, since);
        if !beyond {
            (self.let_through, self.energy) = (0.0, 0.0);
        }
        found
    }

    fn voltage(&self) -> Volts {
        self.last.map_or(Volts::ZERO, |last| last.voltage)
    }

    fn add(&mut self, last: &Seen, seen: &Seen) {
        let (a, b) = (last.current.si(), seen.current.si());
        let (p, q) = (a * last.voltage.si(), b * seen.voltage.si());
        let time = (seen.at - last.at).seconds().si();
        self.let_through += time * (a * a + b * b) / 2.0;
        self.energy += time * (p + q) / 2.0;
    }

    fn overrun(&self, seen: &Seen, settled: Amperes, since: BenchInstant) -> Result<(), Overrun> {
        let envelope = &self.envelope;
        let current = seen.current;
        if current > envelope.current {
            let (measured, most) = (current, envelope.current);
            return Err(Overrun::Current { measured, most });
        }
        if seen.voltage > envelope.voltage {
            let (measured, most) = (seen.voltage, envelope.voltage);
            return Err(Overrun::Voltage { measured, most });
        }
        let most = envelope.let_through;
        if self.let_through > most.si() {
            let measured = AmpereSquareSeconds::from_si(self.let_through);
            let measured = measured.unwrap_or(most);
            return Err(Overrun::LetThrough {
                measured,
                most,
                current,
                settled,
            });
        }
        let most = envelope.energy;
        if self.energy > most.si() {
            let measured = Joules::from_si(self.energy).unwrap_or(most);
            return Err(Overrun::Energy {
                measured,
                most,
                current,
                settled,
            });
        }
        let (measured, most) = ((seen.at - since).seconds(), envelope.seconds);
        if measured > most {
            return Err(Overrun::Time { measured, most });
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::clock::BenchSpan;

    const ENVELOPE: Envelope = Envelope {
        current: Amperes::new(20.0),
        let_through: AmpereSquareSeconds::new(500.0),
        voltage: Volts::new(24.0),
        energy: Joules::new(1000.0),
        seconds: Seconds::new(60.0),
    };

    fn account() -> Account {
        Account::new(ENVELOPE, Amperes::new(0.75))
    }

    fn look(seconds: f64, volts: f64, amperes: f64, settled: f64) -> Look {
        Look {
            at: BenchInstant::ZERO + BenchSpan::from_seconds(Seconds::new(seconds)),
            voltage: Some(Volts::new(volts)),
            current: Amperes::new(amperes),
            settled: Amperes::new(settled),
        }
    }

    /// A constant 10 A at 18 V: 100 A2s and 180 J each second, so the let-through
    /// is beyond after 5 s and the energy after 5.6 s.
    #[test]
    fn a_current_that_nobody_asked_for_ends_at_the_envelopes_let_through() {
        let mut account = account();
        account.enter(look(0.0, 18.0, 10.0, 3.0)).expect("begins");
        for second in 1..=5 {
            let found = account.enter(look(f64::from(second), 18.0, 10.0, 3.0));
            assert_eq!(found, Ok(()), "{second}");
        }
        let found = account.enter(look(5.5, 18.0, 10.0, 3.0));
        let Err(Overrun::LetThrough { measured, .. }) = found else {
            panic!("{found:?}");
        };
        assert!((measured.si() - 550.0).abs() < 1e-9, "{measured}");
    }

    /// 4 A at 20 V: 16 A2s, 80 J a second. 1000 J are passed after 12.5 s.
    #[test]
    fn its_energy_ends_it_where_that_comes_first() {
        let mut account = account();
        let mut found = Ok(());
        let mut at = 0.0;
        while found.is_ok() {
            found = account.enter(look(at, 20.0, 4.0, 0.0));
            at += 0.5;
        }
        assert!(matches!(found, Err(Overrun::Energy { .. })), "{found:?}");
        assert!((at - 0.5 - 13.0).abs() < 1e-9, "{at}");
    }

    #[test]
    fn what_was_asked_for_passes_as_long_as_the_envelope_lasts() {
        let mut account = account();
        for second in 0..=60 {
            let found = account.enter(look(f64::from(second), 18.0, 3.4, 3.0));
            assert_eq!(found, Ok(()), "{second}");
        }
        let found = account.enter(look(60.5, 18.0, 3.4, 3.0));
        assert!(matches!(found, Err(Overrun::Time { .. })), "{found:?}");
    }

    /// A fault that ends is forgotten: the envelope bounds each for itself.
    #[test]
    fn a_fault_that_is_over_counts_no_more() {
        let mut account = account();
        let mut at = 0.0;
        for _ in 0..4 {
            for amperes in [10.0, 10.0, 10.0, 0.1] {
                let found = account.enter(look(at, 18.0, amperes, 0.0));
                assert_eq!(found, Ok(()), "{at}");
                at += 1.0;
            }
        }
    }

    #[test]
    fn too_much_at_once_is_found_by_the_first_look() {
        let found = account().enter(look(0.0, 18.0, 20.5, 20.5));
        assert!(matches!(found, Err(Overrun::Current { .. })), "{found:?}");
        let found = account().enter(look(0.0, 24.5, 0.0, 0.0));
        assert!(matches!(found, Err(Overrun::Voltage { .. })), "{found:?}");
    }

    /// A pause is one only where the meters show it.
    #[test]
    fn a_supply_that_keeps_its_voltage_makes_no_pause() {
        let mut account = account();
        account.enter(look(0.0, 18.0, 0.1, 0.0)).expect("on");
        assert!(!account.pause(Volts::new(17.99), Amperes::new(0.012)));
        account.enter(look(55.0, 18.0, 0.1, 0.0)).expect("on");
        let found = account.enter(look(61.0, 18.0, 0.1, 0.0));
        assert!(matches!(found, Err(Overrun::Time { .. })), "{found:?}");
        assert!(account.pause(Volts::new(9.0), Amperes::new(0.0)));
        account.enter(look(62.0, 18.0, 0.1, 0.0)).expect("anew");
        assert!(!account.pause(Volts::new(9.0), Amperes::new(0.5)));
    }
}
