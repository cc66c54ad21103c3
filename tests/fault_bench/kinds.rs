//! The kinds of fault, each with what is known of it: held, open, or such that
//! no reading could show it. One line a kind.

use super::trick::Block::{
    Drifting, Frozen, Halved, Inverted, OneFrozen, Replayed, StuckBit, Swapped, Zero,
};
use super::trick::Reading::{Comma, Drift, Gain, Renewed, Says, Stuck};
use super::trick::Told::{Blocks, Conspires, Ignores, Reads, Scales, Swaps};
use super::trick::{Mishap, Trick};
use bufferstop::ident::Role::{Capture, Console, Drive, Load, Supply, Switch, Thermometer};
use bufferstop::physics::SwitchBranch;

/// What is known of a kind.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Standing {
    /// No run of it may go wrong.
    Held,
    /// Runs of it go wrong, for this reason.
    Open(&'static str),
    /// A verdict may be wrong: no reading of this bench could show the fault.
    Unseen(&'static str),
}

/// When it begins.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Onset {
    /// With the first line.
    First,
    /// Somewhere in the run, by the seed.
    Somewhere,
}

/// A kind of fault.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Kind {
    pub(crate) name: &'static str,
    pub(crate) trick: Trick,
    pub(crate) onset: Onset,
    pub(crate) standing: Standing,
}

use Onset::{First, Somewhere};
use Standing::{Held, Open, Unseen};

const fn kind(name: &'static str, trick: Trick, onset: Onset, standing: Standing) -> Kind {
    Kind {
        name,
        trick,
        onset,
        standing,
    }
}

const LOAD_WORDS: &[&str] = &["CURR ", "CURR:TRIG ", "CURR:STAR ", "STOP "];
/// Every kind.
pub(crate) static KINDS: &[Kind] = &include!("list.rs");
