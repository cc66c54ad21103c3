//! SCPI error numbers and the queue a device keeps them in (SCPI-1999 volume
//! 2, clause 21.8). It decides no error, it only names and stores them.

use std::collections::VecDeque;

/// How many errors a device keeps.
pub const QUEUE_LENGTH: usize = 16;

/// The longest description with its device-dependent part, in characters.
const LONGEST_TEXT: usize = 255;

/// The bit of the standard event status register an error class sets (IEEE
/// 488.2 clause 11.5.1).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum EsrBit {
    /// Query error.
    Query = 4,
    /// Device-specific error.
    Device = 8,
    /// Execution error.
    Execution = 16,
    /// Command error.
    Command = 32,
}

macro_rules! codes {
    ($($(#[$doc:meta])* $name:ident = $code:literal, $text:literal;)*) => {
        /// A standard error of SCPI-1999, as far as a device here raises it.
        #[derive(Clone, Copy, Debug, PartialEq, Eq)]
        pub enum ErrorCode {
            $($(#[$doc])* $name,)*
        }

        impl ErrorCode {
            /// Every error, in the order of the standard.
            pub const ALL: &'static [Self] = &[$(Self::$name,)*];

            /// The standard's number, negative.
            pub const fn number(self) -> i32 {
                match self { $(Self::$name => $code,)* }
            }

            /// The standard's text.
            pub const fn text(self) -> &'static str {
                match self { $(Self::$name => $text,)* }
            }
        }
    };
}

codes! {
    /// A byte that belongs in no program message.
    InvalidCharacter = -101, "Invalid character";
    /// Not a program message at all.
    SyntaxError = -102, "Syntax error";
    /// Something else stands where a separator should.
    InvalidSeparator = -103, "Invalid separator";
    /// Data of another type than the command takes.
    DataType = -104, "Data type error";
    /// More parameters than the command takes.
    ParameterNotAllowed = -108, "Parameter not allowed";
    /// Fewer parameters than the command takes.
    MissingParameter = -109, "Missing parameter";
    /// A header that is not built from mnemonics.
    CommandHeader = -110, "Command header error";
    /// No white space after the header.
    HeaderSeparator = -111, "Header separator error";
    /// More than twelve characters in a mnemonic.
    MnemonicTooLong = -112, "Program mnemonic too long";
    /// A header nobody knows.
    UndefinedHeader = -113, "Undefined header";
    /// An instance that is not there.
    HeaderSuffix = -114, "Header suffix out of range";
    /// A number with a stray character.
    InvalidCharacterInNumber = -121, "Invalid character in number";
    /// An exponent beyond 32000.
    ExponentTooLarge = -123, "Exponent too large";
    /// A mantissa beyond 255 digits.
    TooManyDigits = -124, "Too many digits";
    /// A number where another type stands.
    NumericNotAllowed = -128, "Numeric data not allowed";
    /// A unit that is not the wanted one.
    InvalidSuffix = -131, "Invalid suffix";
    /// More than twelve characters of unit.
    SuffixTooLong = -134, "Suffix too long";
    /// A unit on a pure number.
    SuffixNotAllowed = -138, "Suffix not allowed";
    /// A word that is none of the choices.
    InvalidCharacterData = -141, "Invalid character data";
    /// A word where another type stands.
    CharacterNotAllowed = -148, "Character data not allowed";
    /// A string that does not end, or holds what it must not.
    StringData = -150, "String data error";
    /// A block that is not what its head says.
    InvalidBlock = -161, "Invalid block data";
    /// A block where another type stands.
    BlockNotAllowed = -168, "Block data not allowed";
    /// An expression that cannot be read.
    InvalidExpression = -171, "Invalid expression";
    /// An expression where another type stands.
    ExpressionNotAllowed = -178, "Expression data not allowed";
    /// A command that cannot be obeyed.
    Execution = -200, "Execution error";
    /// A start while the device was running already.
    InitIgnored = -213, "Init ignored";
    /// Settings that contradict each other.
    SettingsConflict = -221, "Settings conflict";
    /// A number outside its range.
    OutOfRange = -222, "Data out of range";
    /// More data than fits.
    TooMuchData = -223, "Too much data";
    /// Results that are not there, or no longer.
    Stale = -230, "Data corrupt or stale";
    /// Something in the device does not work.
    Hardware = -240, "Hardware error";
    /// Errors were lost.
    QueueOverflow = -350, "Queue overflow";
    /// More input than the device holds.
    Communication = -360, "Communication error";
}

impl ErrorCode {
    /// The class of the error, as its event bit.
    pub const fn esr_bit(self) -> EsrBit {
        match -self.number() {
            100..=199 => EsrBit::Command,
            200..=299 => EsrBit::Execution,
            300..=399 => EsrBit::Device,
            _ => EsrBit::Query,
        }
    }
}

/// One error as queued.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ErrorEntry {
    /// What.
    pub code: ErrorCode,
    /// What the device adds, empty for nothing.
    pub detail: String,
}

impl ErrorEntry {
    /// The text with its device-dependent part, bounded.
    pub fn description(&self) -> String {
        let mut text = self.code.text().to_owned();
        if !self.detail.is_empty() {
            text.push(';');
            text.push_str(&self.detail);
        }
        // Characters a reply could not carry would break its framing.
        text.chars()
            .map(|c| if matches!(c, ' '..='~') { c } else { '?' })
            .take(LONGEST_TEXT)
            .collect()
    }
}

/// The bounded error queue: oldest first; when it is full the newest entry is
/// replaced by "Queue overflow" and later errors are lost.
#[derive(Clone, Debug, Default)]
pub struct ErrorQueue {
    entries: VecDeque<ErrorEntry>,
}

impl ErrorQueue {
    /// Puts an error at the end.
    pub fn push(&mut self, code: ErrorCode, detail: &str) {
        if self.entries.len() >= QUEUE_LENGTH {
            self.entries.truncate(QUEUE_LENGTH - 1);
            self.entries.push_back(ErrorEntry {
                code: ErrorCode::QueueOverflow,
                detail: String::new(),
            });
            return;
        }
        let detail = detail.chars().take(LONGEST_TEXT).collect();
        self.entries.push_back(ErrorEntry { code, detail });
    }

    /// Takes the oldest error.
    pub fn pop(&mut self) -> Option<ErrorEntry> {
        self.entries.pop_front()
    }

    /// How many wait.
    pub fn len(&self) -> usize {
        self.entries.len()
    }

    /// Whether none waits.
    pub fn is_empty(&self) -> bool {
        self.entries.is_empty()
    }

    /// Forgets all.
    pub fn clear(&mut self) {
        self.entries.clear();
    }
}
