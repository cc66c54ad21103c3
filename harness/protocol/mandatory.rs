//! The commands every SCPI-1999 device must know (volume 1, clause 4.2; IEEE
//! 488.2 clause 10), named once. What they do stands in the interpreter.

use super::tree::CommandTree;

/// A mandatory command; where both forms exist the match says which.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Mandatory {
    ClearStatus,
    EventEnable,
    EventStatus,
    Identify,
    OperationComplete,
    Reset,
    ServiceEnable,
    StatusByte,
    SelfTest,
    Wait,
    NextError,
    ErrorCount,
    Version,
    Preset,
    OperationEvent,
    OperationCondition,
    OperationEnable,
    QuestionableEvent,
    QuestionableCondition,
    QuestionableEnable,
}

/// Their headers.
const DECLARATIONS: [(&str, Mandatory); 20] = [
    ("*CLS", Mandatory::ClearStatus),
    ("*ESE[?]", Mandatory::EventEnable),
    ("*ESR?", Mandatory::EventStatus),
    ("*IDN?", Mandatory::Identify),
    ("*OPC[?]", Mandatory::OperationComplete),
    ("*RST", Mandatory::Reset),
    ("*SRE[?]", Mandatory::ServiceEnable),
    ("*STB?", Mandatory::StatusByte),
    ("*TST?", Mandatory::SelfTest),
    ("*WAI", Mandatory::Wait),
    ("SYSTem:ERRor[:NEXT]?", Mandatory::NextError),
    ("SYSTem:ERRor:COUNt?", Mandatory::ErrorCount),
    ("SYSTem:VERSion?", Mandatory::Version),
    ("STATus:PRESet", Mandatory::Preset),
    ("STATus:OPERation[:EVENt]?", Mandatory::OperationEvent),
    ("STATus:OPERation:CONDition?", Mandatory::OperationCondition),
    ("STATus:OPERation:ENABle[?]", Mandatory::OperationEnable),
    ("STATus:QUEStionable[:EVENt]?", Mandatory::QuestionableEvent),
    (
        "STATus:QUEStionable:CONDition?",
        Mandatory::QuestionableCondition,
    ),
    (
        "STATus:QUEStionable:ENABle[?]",
        Mandatory::QuestionableEnable,
    ),
];

pub(super) fn tree() -> CommandTree<Mandatory> {
    CommandTree::new(&DECLARATIONS)
}
