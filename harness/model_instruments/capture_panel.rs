//! What the model capture device understands: its commands, obeyed on the
//! settings and the acquisition that stand beside this file.

use super::acquisition::{Phase, Slope};
use super::capture::Source;
use super::entry::{only, setting};
use super::scene::Scene;
use crate::protocol::{CommandTree, Conditions, Device, ErrorCode, Match, Parameters, Response};
use crate::units::Quantity;

/// Operation bits.
const RUNNING: u16 = 16;
const WAITING: u16 = 32;

/// The capture's own commands.
#[derive(Clone, Copy, Debug)]
pub(super) enum Command {
    Period,
    Count,
    Offset,
    Range,
    Source,
    Level,
    Slope,
    Arm,
    Abort,
    Preamble,
    Data,
}

pub(super) fn tree() -> CommandTree<Command> {
    CommandTree::new(&[
        ("[SENSe]:SWEep:TINTerval[?]", Command::Period),
        ("[SENSe]:SWEep:POINts[?]", Command::Count),
        ("[SENSe]:SWEep:OFFSet:POINts[?]", Command::Offset),
        ("[SENSe]:VOLTage#[:DC]:RANGe[:UPPer][?]", Command::Range),
        ("TRIGger[:SEQuence]:SOURce[?]", Command::Source),
        ("TRIGger[:SEQuence]:LEVel[?]", Command::Level),
        ("TRIGger[:SEQuence]:SLOPe[?]", Command::Slope),
        ("INITiate[:IMMediate]", Command::Arm),
        ("ABORt", Command::Abort),
        ("TRACe:PREamble?", Command::Preamble),
        ("TRACe[:DATA]?", Command::Data),
    ])
}

/// The capture with its hands on the scene.
pub(super) struct Panel<'a>(pub(super) &'a mut Scene);

/// A whole number of a setting: answered, or taken.
fn whole(
    value: &mut i64,
    (least, most): (i64, i64),
    query: bool,
    parameters: &mut Parameters<'_>,
) -> Result<Option<Response>, ErrorCode> {
    if query {
        let shown = match parameters.optional() {
            None => *value,
            Some(word) => word.whole(least, most)?,
        };
        parameters.end()?;
        return Ok(Some(Response::new().integer(shown)));
    }
    let wanted = parameters.required()?.whole(least, most)?;
    parameters.end()?;
    *value = wanted;
    Ok(None)
}

impl Panel<'_> {
    fn range(
        &mut self,
        command: Match<Command>,
        parameters: &mut Parameters<'_>,
    ) -> Result<Option<Response>, ErrorCode> {
        let index = command.instance as usize - 1;
        let bounds = self.0.capture.range_bounds();
        let mut full_scales = self.0.capture.rating.full_scales();
        let range = self.0.capture.ranges.get_mut(index);
        let range = range.ok_or(ErrorCode::HeaderSuffix)?;
        if command.query {
            return setting(*range, bounds, parameters);
        }
        let wanted = only(bounds, parameters)?;
        let fitting = full_scales.find(|full| *full >= wanted);
        *range = fitting.ok_or(ErrorCode::OutOfRange)?;
        Ok(None)
    }

    fn source(
        &mut self,
        query: bool,
        parameters: &mut Parameters<'_>,
    ) -> Result<Option<Response>, ErrorCode> {
        let capture = &mut self.0.capture;
        if query {
            parameters.end()?;
            let word = match capture.source {
                Source::Immediate => "IMM".to_owned(),
                Source::Logic(index) => format!("DIG{index}"),
                Source::Channel(index) => format!("INT{}", index + 1),
            };
            return Ok(Some(Response::new().word(&word)));
        }
        let word = parameters.required()?;
        parameters.end()?;
        let choices = ["IMMediate", "DIGital", "INTernal"];
        capture.source = match word.choice(&choices)? {
            (0, None) => Source::Immediate,
            (1, number) => {
                let index = number.unwrap_or(0) as usize;
                if index >= capture.logic.len() {
                    return Err(ErrorCode::OutOfRange);
                }
                Source::Logic(index)
            }
            (2, number) => Source::Channel(channel_index(number, capture.wiring.len())?),
            _ => return Err(ErrorCode::InvalidCharacterData),
        };
        Ok(None)
    }

    fn slope(
        &mut self,
        query: bool,
        parameters: &mut Parameters<'_>,
    ) -> Result<Option<Response>, ErrorCode> {
        let slopes = [
            ("POSitive", "POS", Slope::Rising),
            ("NEGative", "NEG", Slope::Falling),
            ("EITHer", "EITH", Slope::Either),
        ];
        let current = &mut self.0.capture.slope;
        if query {
            parameters.end()?;
            let known = slopes.iter().find(|(_, _, slope)| slope == current);
            let word = known.map_or("POS", |(_, short, _)| *short);
            return Ok(Some(Response::new().word(word)));
        }
        let word = parameters.required()?;
        parameters.end()?;
        let (index, _) = word.choice(&slopes.map(|(notation, _, _)| notation))?;
        *current = slopes[index].2;
        Ok(None)
    }

    fn arm(&mut self) -> Result<(), ErrorCode> {
        let busy = matches!(
            self.0.capture.phase,
            Phase::Waiting { .. } | Phase::Running { .. }
        );
        if busy {
            return Err(ErrorCode::InitIgnored);
        }
        let plan = self.0.capture.plan()?;
        self.0.capture.acquisitions += 1;
        self.0.capture.phase = Phase::armed(plan, self.0.circuit.now());
        self.0.keep_history();
        Ok(())
    }

    fn preamble(&mut self, parameters: &mut Parameters<'_>) -> Result<Response, ErrorCode> {
        let source = parameters.required()?;
        parameters.end()?;
        let count = self.0.capture.wiring.len();
        let record = self.0.capture.record()?;
        let (_, number) = source.choice(&["CHANnel"])?;
        let index = channel_index(number, count)?;
        let clipped = record.codes(index).ok_or(ErrorCode::Stale)?.clipped;
        let plan = &record.plan;
        let period = plan.period.seconds().si();
        Ok(Response::new()
            .integer(plan.count as i64)
            .scientific(period)
            .scientific(-(plan.before as f64) * period)
            .scientific(plan.volts_per_code(&plan.inputs[index]))
            .scientific(0.0)
            .boolean(clipped)
            .integer(plan.bits.into()))
    }

    /// Samples `start` to `start + count` of a channel or of the logic lines,
    /// all of them when neither is given, big-endian.
    fn data(&mut self, parameters: &mut Parameters<'_>) -> Result<Response, ErrorCode> {
        let source = parameters.required()?;
        let channels = self.0.capture.wiring.len();
        let record = self.0.capture.record()?;
        let most = record.plan.count as i64;
        let start = match parameters.optional() {
            None => 0,
            Some(parameter) => parameter.whole(0, most - 1)?,
        };
        let count = match parameters.optional() {
            None => most - start,
            Some(parameter) => parameter.whole(1, most - start)?,
        };
        parameters.end()?;
        let part = start as usize..(start + count) as usize;
        let bytes: Vec<u8> = match source.choice(&["CHANnel", "DIGital"])? {
            (0, number) => {
                let index = channel_index(number, channels)?;
                let codes = &record.codes(index).ok_or(ErrorCode::Stale)?.codes;
                let codes = codes.get(part).ok_or(ErrorCode::Stale)?;
                in_pairs(codes, |code| code.to_be_bytes())
            }
            (_, None) => {
                let words = record.words.get(part).ok_or(ErrorCode::Stale)?;
                in_pairs(words, |word| word.to_be_bytes())
            }
            _ => return Err(ErrorCode::InvalidCharacterData),
        };
        Ok(Response::new().block(&bytes))
    }
}

/// Two bytes of each of `samples`.
fn in_pairs<T: Copy>(samples: &[T], bytes_of: impl Fn(T) -> [u8; 2]) -> Vec<u8> {
    let mut bytes = vec![0; 2 * samples.len()];
    let (pairs, _) = bytes.as_chunks_mut();
    for (pair, sample) in pairs.iter_mut().zip(samples) {
        *pair = bytes_of(*sample);
    }
    bytes
}

/// The index of a channel written as a number from one.
fn channel_index(number: Option<u32>, count: usize) -> Result<usize, ErrorCode> {
    let index = (number.unwrap_or(1) as usize).checked_sub(1);
    index
        .filter(|index| *index < count)
        .ok_or(ErrorCode::OutOfRange)
}

impl Device for Panel<'_> {
    type Command = Command;

    fn execute(
        &mut self,
        command: Match<Command>,
        mut parameters: Parameters<'_>,
    ) -> Result<Option<Response>, ErrorCode> {
        let parameters = &mut parameters;
        let query = command.query;
        let capture = &mut self.0.capture;
        let (period, level) = (capture.period_bounds(), capture.level_bounds());
        let most = capture.rating.samples;
        match command.value {
            Command::Period if query => setting(capture.period, period, parameters),
            Command::Period => {
                capture.period = only(period, parameters)?;
                Ok(None)
            }
            Command::Count => whole(&mut capture.count, (1, most), query, parameters),
            Command::Offset => whole(&mut capture.offset, (-most, 0), query, parameters),
            Command::Range => self.range(command, parameters),
            Command::Source => self.source(query, parameters),
            Command::Level if query => setting(capture.level, level, parameters),
            Command::Level => {
                capture.level = only(level, parameters)?;
                Ok(None)
            }
            Command::Slope => self.slope(query, parameters),
            Command::Arm => {
                parameters.end()?;
                self.arm().map(|()| None)
            }
            Command::Abort => {
                parameters.end()?;
                let finished = matches!(capture.phase, Phase::Done(_));
                if !finished {
                    capture.phase = Phase::Idle;
                    self.0.keep_history();
                }
                Ok(None)
            }
            Command::Preamble => self.preamble(parameters).map(Some),
            Command::Data => self.data(parameters).map(Some),
        }
    }

    fn reset(&mut self) {
        let capture = &mut self.0.capture;
        let range = capture.range_bounds();
        capture.ranges.fill(range.default);
        capture.period = capture.period_bounds().default;
        (capture.count, capture.offset) = (1000, 0);
        capture.source = Source::Immediate;
        capture.level = capture.level_bounds().default;
        capture.slope = Slope::Rising;
        capture.phase = Phase::Idle;
        self.0.keep_history();
    }

    fn conditions(&mut self) -> Conditions {
        let operation = match self.0.capture.phase {
            Phase::Idle | Phase::Done(_) => 0,
            Phase::Waiting { .. } => WAITING,
            Phase::Running { .. } => RUNNING,
        };
        Conditions {
            operation,
            questionable: 0,
        }
    }
}
