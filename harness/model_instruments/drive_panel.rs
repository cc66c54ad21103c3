//! The signal source's commands, and what each does to pattern, polarity and
//! lines. It knows no packet.

use super::drive::Drive;
use super::scene::Scene;
use crate::clock::BenchSpan;
use crate::physics::{Action, InputLine, Pattern, Phase, Polarity, Stretch};
use crate::protocol::{
    Bounds, CommandTree, Conditions, Device, ErrorCode, Match, Parameter, Parameters, Response,
    UnitOf,
};
use crate::units::{Quantity, Seconds};

/// One half-bit.
const HALF: Bounds = Bounds::new(UnitOf::Second, 1e-6, 0.1, 58e-6);

/// The source's own commands.
#[derive(Clone, Copy, Debug)]
pub(super) enum Command {
    Pattern,
    Break,
    Hold,
    Signal,
    Enable,
    Brake,
}

pub(super) fn tree() -> CommandTree<Command> {
    CommandTree::new(&[
        ("SIGNal:PATTern[?]", Command::Pattern),
        ("SIGNal:BREak[?]", Command::Break),
        ("SIGNal:HOLD[?]", Command::Hold),
        ("SIGNal[:STATe][?]", Command::Signal),
        ("CONTrol:ENABle[?]", Command::Enable),
        ("CONTrol:BRAKe[?]", Command::Brake),
    ])
}

/// The source with its hands on the scene.
pub(super) struct Panel<'a>(pub(super) &'a mut Scene);

impl Panel<'_> {
    fn settle(&mut self) {
        let output = self.0.drive.output();
        self.0.circuit.apply(Action::Drive(output));
    }

    fn answer(&self, command: Command) -> Response {
        let drive = &self.0.drive;
        match command {
            Command::Pattern => {
                drive
                    .pattern
                    .stretches()
                    .iter()
                    .fold(Response::new(), |answer, stretch| {
                        let answer = match stretch.phase {
                            Phase::Cutout => answer.word("CUT"),
                            Phase::Half(_) => answer,
                        };
                        answer.scientific(stretch.span.seconds().si())
                    })
            }
            Command::Break => Response::new().word(match drive.broken {
                None => "NONE",
                Some(InputLine::A) => "A",
                Some(InputLine::B) => "B",
            }),
            Command::Hold => Response::new().word(match drive.held {
                None => "NONE",
                Some(Polarity::Positive) => "POS",
                Some(Polarity::Negative) => "NEG",
            }),
            Command::Signal => Response::new().boolean(drive.signal),
            Command::Enable => Response::new().boolean(drive.enabled),
            Command::Brake => Response::new().boolean(drive.braked),
        }
    }
}

/// A pattern as it is written: `ONES`, or half-bits in seconds, each with or
/// without a unit, the first one positive. `CUT` before a span makes it a
/// cutout, and the half after it is positive again
/// (`58US,58US,CUT,454US,100US,100US`).
fn pattern(parameters: &mut Parameters<'_>) -> Result<Pattern, ErrorCode> {
    let mut stretches = Vec::new();
    let mut next = Some(parameters.required()?);
    let mut polarity = Polarity::Positive;
    while let Some(parameter) = next {
        let mut stretch = |span, phase| stretches.push(Stretch { span, phase });
        if let Parameter::Word(_) = parameter {
            let (index, _) = parameter.choice(&["ONES", "CUT"])?;
            if index == 0 {
                parameters.end()?;
                return if stretches.is_empty() {
                    Ok(Pattern::ones())
                } else {
                    Err(ErrorCode::InvalidCharacterData)
                };
            }
            stretch(half(parameters.required()?)?, Phase::Cutout);
            polarity = Polarity::Positive;
        } else {
            stretch(half(parameter)?, Phase::Half(polarity));
            polarity = polarity.opposite();
        }
        next = parameters.optional();
    }
    let plain = stretches
        .iter()
        .all(|stretch| stretch.phase != Phase::Cutout);
    if plain && stretches.len() % 2 == 1 {
        let halves: Vec<BenchSpan> = stretches.iter().map(|stretch| stretch.span).collect();
        return Pattern::of_half_bits(&halves).ok_or(ErrorCode::OutOfRange);
    }
    Pattern::new(stretches).ok_or(ErrorCode::OutOfRange)
}

fn half(parameter: &Parameter) -> Result<BenchSpan, ErrorCode> {
    let seconds = parameter.number(HALF)?;
    Ok(BenchSpan::from_seconds(Seconds::new(seconds)))
}

impl Device for Panel<'_> {
    type Command = Command;

    fn execute(
        &mut self,
        command: Match<Command>,
        mut parameters: Parameters<'_>,
    ) -> Result<Option<Response>, ErrorCode> {
        let parameters = &mut parameters;
        if command.query {
            parameters.end()?;
            return Ok(Some(self.answer(command.value)));
        }
        match command.value {
            Command::Pattern => {
                self.0.drive.pattern = pattern(parameters)?;
                self.0.drive.held = None;
                self.settle();
                return Ok(None);
            }
            Command::Break => {
                let word = parameters.required()?;
                parameters.end()?;
                let (index, _) = word.choice(&["NONE", "A", "B"])?;
                let broken = [None, Some(InputLine::A), Some(InputLine::B)][index];
                self.0.drive.broken = broken;
                self.0.circuit.apply(Action::Break(broken));
                return Ok(None);
            }
            Command::Hold => {
                let word = parameters.required()?;
                parameters.end()?;
                let (index, _) = word.choice(&["POSitive", "NEGative"])?;
                let polarities = [Polarity::Positive, Polarity::Negative];
                self.0.drive.held = Some(polarities[index]);
                self.settle();
                return Ok(None);
            }
            Command::Signal | Command::Enable | Command::Brake => {}
        }
        let on = parameters.required()?.boolean()?;
        parameters.end()?;
        match command.value {
            Command::Enable => {
                self.0.drive.enabled = on;
                self.0.circuit.apply(Action::Enable(on));
            }
            Command::Brake => {
                self.0.drive.braked = on;
                self.0.circuit.apply(Action::Brake(on));
            }
            _ => {
                self.0.drive.signal = on;
                self.settle();
            }
        }
        Ok(None)
    }

    fn reset(&mut self) {
        self.0.drive = Drive {
            enabled: false,
            ..Drive::new()
        };
        self.settle();
        self.0.circuit.apply(Action::Break(None));
        self.0.circuit.apply(Action::Enable(false));
        self.0.circuit.apply(Action::Brake(false));
    }

    fn conditions(&mut self) -> Conditions {
        Conditions::default()
    }
}
