//! What can hurt a person at the bench, in sentences: shown before a board is
//! energised, in the guide, and where a bench is looked at. They replace no rule
//! of a trade and no local code.

use super::Screen;
use super::fold::folded;
use super::row::style;
use crate::judgement::Verdict;
use crate::scenario::ScenarioKind;
use std::fmt::Write as _;

/// The usual cautions of a real bench.
pub const CAUTIONS: &[&str] = &[
    "This test puts shorts and tens of amperes through the board. Keep your hands out of the fixture, and take off rings, bracelets and other jewellery.",
    "Capacitors stay charged when everything is off: wait, and measure before you touch them.",
    "A short can draw an arc and weld a contact, and parts can burst: wear eye protection.",
    "Wires, contacts and the heat sink get hot, and the heat sink stays hot after a soak. Keep nothing near that burns, and an extinguisher for electrical fires within reach.",
    "Have the emergency stop within reach and a fuse in the supply. A battery needs its fuse at the terminal and is never charged here. This program is not a safety device.",
    "Never leave the bench unattended while it runs, and never work at it alone.",
    "Neither output rail is ground. An earthed clip on a rail shorts a bridge switch.",
    "Mains work is for licensed people, under your local codes.",
];

/// The one line on the model bench, where nothing can be hurt.
pub const MODEL_CAUTION: &str =
    "CAUTION  On a real bench the cautions of `bufferstop accept --help` apply.";

/// The one line beside a bench or a plan that is only looked at.
pub const BENCH_CAUTION: &str = "\
Caution: such a bench carries tens of amperes. Wait and measure before you
touch a capacitor, keep the emergency stop within reach, and never work alone.";

/// Said when a soak on a real bench has ended.
pub const AFTER_SOAK: &str =
    "The heat sink is hot and stays so for minutes: let it cool before you touch it.";

/// The cautions of a real bench as a person is shown them.
pub fn cautions(screen: Screen) -> String {
    let caution = style(Verdict::Inconclusive);
    let mut shown = String::new();
    for text in CAUTIONS {
        for (index, part) in folded(text, screen.width.min(100) - 12, 0)
            .iter()
            .enumerate()
        {
            let head = if index == 0 { "CAUTION" } else { "       " };
            let _ = writeln!(shown, "  {caution}{head}{caution:#}  {part}");
        }
    }
    shown
}

/// What hurts in one scenario above all; `None` where nothing is particular.
pub const fn caution_of(kind: ScenarioKind) -> Option<&'static str> {
    match kind {
        ScenarioKind::Short => Some(
            "A short can draw an arc and weld the contact: hands out of the fixture, eye protection on.",
        ),
        ScenarioKind::Overload => {
            Some("Leads, contacts and the load get hot: keep clear, and nothing near that burns.")
        }
        ScenarioKind::Inrush => Some(
            "The capacitor bank stays charged: wait for its bleeder, and measure before you touch it.",
        ),
        ScenarioKind::Soak => {
            Some("The heat sink gets hot and stays hot afterwards; never leave a soak unattended.")
        }
        ScenarioKind::Supply => {
            Some("A battery as the supply needs a fuse at its terminal, and is never charged here.")
        }
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Each thing that hurts is named, and each line is a whole sentence.
    #[test]
    fn every_hazard_of_the_bench_is_named() {
        let all = CAUTIONS.join(" ").to_lowercase();
        for word in [
            "hands",
            "capacitors",
            "arc",
            "weld",
            "heat sink",
            "battery",
            "charged",
            "jewellery",
            "burns",
            "extinguisher",
            "unattended",
            "alone",
            "mains",
            "licensed",
            "local codes",
            "eye protection",
            "emergency stop",
            "fuse",
            "not a safety device",
        ] {
            assert!(all.contains(word), "{word}");
        }
        assert!(BENCH_CAUTION.lines().all(|line| line.len() <= 80));
        let of_kinds = ScenarioKind::ALL.into_iter().filter_map(caution_of);
        let all = CAUTIONS.iter().copied().chain(of_kinds);
        for line in all.chain([AFTER_SOAK]) {
            assert!(line.ends_with('.'), "{line}");
        }
    }
}
