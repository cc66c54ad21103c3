//! How long a calibration still holds. It knows no clock: the day is given.

use super::parts::{Calibration, Port};
use crate::document::Fault;
use crate::ident::Role;
use jiff::civil::Date;

/// So many days before its end a calibration is spoken of: a house value.
const NOTICE: i32 = 30;

/// A calibration as it stands on a day.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Standing {
    /// It holds for a good while.
    Holds,
    /// It holds for so many more days, the present one not counted.
    EndsIn(i32),
    /// It ended so many days ago.
    Overdue(i32),
}

impl Standing {
    /// How a calibration that is due on `due` stands on `today`; its last day is
    /// the day it is due.
    pub fn of(due: Date, today: Date) -> Self {
        // Two dates of the calendar are within a span of days of each other.
        let days = today.until(due).map_or(0, |span| span.get_days());
        match days {
            ..0 => Self::Overdue(-days),
            0..=NOTICE => Self::EndsIn(days),
            _ => Self::Holds,
        }
    }

    /// In words, where there is something to say.
    pub fn words(self) -> Option<String> {
        match self {
            Self::Holds => None,
            Self::EndsIn(0) => Some("due today".to_owned()),
            Self::EndsIn(1) => Some("due tomorrow".to_owned()),
            Self::EndsIn(days) => Some(format!("due in {days} days")),
            Self::Overdue(1) => Some("overdue since yesterday".to_owned()),
            Self::Overdue(days) => Some(format!("overdue for {days} days")),
        }
    }
}

impl super::Bench {
    /// How the calibration of each real instrument stands on `today`. What a
    /// model's file states of one is part of the model.
    pub fn calibrations(&self, today: Date) -> impl Iterator<Item = (Role, Standing)> + '_ {
        let real = self.instruments.iter().filter(|i| i.port != Port::Model);
        real.filter_map(move |instrument| {
            let Calibration { due, .. } = instrument.calibration.as_ref()?;
            Some((instrument.role, Standing::of(*due, today)))
        })
    }

    /// What there is to say of them, at the line of each.
    pub fn calibration_warnings(&self, today: Date) -> Vec<Fault> {
        let told = self.calibrations(today).filter_map(|(role, standing)| {
            let words = standing.words()?;
            let place = self.places.find(&format!("instrument.{role}.due"))?;
            let said = format!("the {role}'s calibration is {words}");
            let warning = Fault::warning(place, said);
            Some(match standing {
                Standing::Overdue(_) => warning.hint(
                    "boards come out inconclusive unless the plan gives a reason in \
                     `[plan] overdue_calibration`",
                ),
                _ => warning,
            })
        });
        told.collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use jiff::civil::date;

    #[test]
    fn a_calibration_holds_to_the_end_of_its_last_day() {
        let due = date(2027, 3, 2);
        let on = |month, day| Standing::of(due, date(2027, month, day));
        assert_eq!(on(1, 30), Standing::Holds);
        assert_eq!(on(1, 31), Standing::EndsIn(30));
        assert_eq!(on(3, 2), Standing::EndsIn(0));
        assert_eq!(on(3, 3), Standing::Overdue(1));
        // A year with a leap day between, counted by hand.
        assert_eq!(
            Standing::of(date(2027, 3, 2), date(2028, 3, 2)),
            Standing::Overdue(366)
        );
    }
}
