//! What was typed about the boards of an acceptance, checked before a port is opened.
//! It runs nothing.

use super::arguments::Accept;
use super::exit::Exit;
use super::guided::pattern;
use crate::ident::{LotName, Serial, harmless};
use crate::model_board::Defect;
use crate::plan::Plan;
use crate::sitting::{BenchFiles, Files, is_lot_file, of_one_family, serial};
use crate::units::{Celsius, parse};
use std::path::Path;
use std::str::FromStr;

/// Which boards are run.
pub(super) enum Boards {
    /// This one.
    One(Serial),
    /// Those whose serial numbers come in, one a line.
    Scanned,
    /// These, one after another.
    Numbered(Vec<Serial>),
}

impl Boards {
    /// Those that `text` names.
    ///
    /// # Errors
    /// The status, after saying what is wrong with it.
    pub(super) fn of(text: &str) -> Result<Self, Exit> {
        if text == "-" {
            return Ok(Self::Scanned);
        }
        match pattern(text) {
            Ok(Some(serials)) => Ok(Self::Numbered(serials)),
            Ok(None) => Ok(Self::One(serial("--serial: the serial number", text)?)),
            Err(fault) => {
                warn_line!("--serial {}: {}", harmless(text), harmless(&fault));
                Err(Exit::Usage)
            }
        }
    }
}

fn name<N: FromStr<Err: std::fmt::Display>>(what: &str, text: &str) -> Result<N, Exit> {
    text.parse().map_err(|fault: N::Err| {
        warn_line!("{what} cannot be used: {fault}");
        Exit::Usage
    })
}

pub(super) fn ambient(text: &str) -> Result<Celsius, Exit> {
    parse::<Celsius>(text).map_err(|fault| {
        warn_line!(
            "--ambient {}: {fault}; write it as \"23 degC\"",
            harmless(text)
        );
        Exit::Usage
    })
}

/// The lot of that name, or of the file of that name.
pub(super) fn named_lot(
    text: &str,
    plan: Option<&Plan>,
    files: &mut Files,
) -> Result<Option<LotName>, Exit> {
    let path = Path::new(text);
    if is_lot_file(path) {
        // A fault in it is among the files' faults, which end the command.
        let lot = files.lot(path);
        if let (Some(lot), Some(plan)) = (&lot, plan) {
            of_one_family(lot, plan)?;
        }
        return Ok(lot.map(|lot| lot.name));
    }
    name::<LotName>("--lot: the name", text).map(Some)
}

pub(super) fn defect(
    arguments: &Accept,
    bench: &BenchFiles,
) -> Result<Option<&'static Defect>, Exit> {
    let Some(wanted) = &arguments.defect else {
        return Ok(None);
    };
    if bench.board.is_none() {
        warn_line!("--defect: only a model board can be given a defect");
        return Err(Exit::Usage);
    }
    if let Some(defect) = Defect::named(wanted) {
        return Ok(Some(defect));
    }
    let known: Vec<&str> = crate::model_board::DEFECTS
        .iter()
        .map(|defect| defect.name)
        .collect();
    warn_line!(
        "--defect {}: known defects are {}",
        harmless(wanted),
        known.join(", ")
    );
    Err(Exit::Usage)
}
