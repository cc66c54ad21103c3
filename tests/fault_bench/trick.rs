//! What can be wrong between a run and its bench: lies of one instrument,
//! mishaps of a line, ports, restarts, welds. It changes text; what follows
//! from that is the circuit's matter.

use bufferstop::clock::BenchInstant;
use bufferstop::ident::Role;
use bufferstop::physics::SwitchBranch;
use bufferstop::seed::Stream;
use std::collections::BTreeMap;

/// What happens to one line or its answer.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Mishap {
    Drop,
    Garble,
    Cut,
    Junk,
    Double,
    Late,
    LoseRequest,
    SpoilRequest,
}

/// One thing that is wrong in a run.
#[derive(Clone, Copy, Debug)]
pub(crate) enum Trick {
    None,
    Tells(Told),
    /// With a probability for each line; once where that is one.
    Mishap(Mishap, f64),
    /// The port goes, for good or until it was looked for so many times.
    Vanishes(Role, u64),
    /// The port was never there, and the bench was found on.
    Missing(Role),
    /// Another instrument answers on the port.
    Other(Role, Role),
    /// The instrument restarts, and then is as after these lines.
    Restarts(Role, &'static [&'static str]),
    /// A contact welds, at once or at its next pulse.
    Welded(SwitchBranch),
    /// The supply comes on or goes off by itself, so many lines later.
    Befalls(bool, u32),
    /// The bench was found on.
    Beforehand,
    /// Each exchange takes so much longer.
    Slow(Role, f64),
    /// One exchange while energised takes so many seconds.
    Stall(f64),
    /// The store takes so many commits and then none.
    StoreFails,
    /// The person stops the run.
    Stopped,
    /// The wall clock jumps.
    ClockJumps,
}

/// How an instrument lies.
#[derive(Clone, Copy, Debug)]
pub(crate) enum Told {
    /// Commands that begin so are not obeyed; the state asked for is claimed.
    Ignores(Role, &'static str),
    /// Numbers behind these words are taken as so many times what they are.
    Scales(Role, &'static [&'static str], f64),
    /// Two words are taken for each other, in questions too.
    Swaps(Role, &'static str, &'static str),
    /// Answers to questions that begin so.
    Reads(Role, &'static str, Reading),
    /// Sample blocks.
    Blocks(Block),
    /// Both meters and the switch of the supply at once.
    Conspires,
}

/// What a meter says.
#[derive(Clone, Copy, Debug)]
pub(crate) enum Reading {
    /// Its first value, for ever.
    Stuck,
    Gain(f64),
    /// So much more each second.
    Drift(f64),
    Says(&'static str),
    Comma,
    /// Renewed every so many seconds.
    Renewed(f64),
}

/// What a capture device hands out.
#[derive(Clone, Copy, Debug)]
pub(crate) enum Block {
    /// The first block of that length and channel again.
    Replayed,
    Zero,
    /// Its first sample for ever.
    Frozen,
    /// Bytes of each sample swapped.
    Swapped,
    /// Half of each code.
    Halved,
    /// One bit of the converter stands.
    StuckBit,
    /// The node's voltage and current have the other sign: the track leads are
    /// swapped in the fixture.
    Inverted,
    /// The first sample of the node's voltage for ever; the other channels go on.
    OneFrozen,
    /// Each block is a thousandth larger than the one before.
    Drifting,
}

impl Block {
    /// The channels whose samples it spoils.
    fn spoils(self, line: &str) -> bool {
        match self {
            Self::Inverted => line.starts_with("TRAC? CHAN1") || line.starts_with("TRAC? CHAN2"),
            Self::OneFrozen => line.starts_with("TRAC? CHAN1"),
            _ => true,
        }
    }
}

impl Told {
    pub(crate) fn role(self) -> Role {
        match self {
            Self::Ignores(role, _)
            | Self::Scales(role, ..)
            | Self::Swaps(role, ..)
            | Self::Reads(role, ..) => role,
            Self::Blocks(_) => Role::Capture,
            Self::Conspires => Role::Supply,
        }
    }

    /// The line that the instrument acts on.
    pub(crate) fn request(self, line: &str, _: &mut Stream) -> String {
        let parts = line.split(';').map(|part| match self {
            Self::Ignores(_, words) if part.starts_with(words) => "*CLS".to_owned(),
            Self::Conspires if part.starts_with("OUTP OFF") => "*CLS".to_owned(),
            Self::Scales(_, words, factor) => scaled(part, words, factor),
            Self::Swaps(_, one, other) => part
                .replace(one, "\u{1}")
                .replace(other, one)
                .replace('\u{1}', other),
            _ => part.to_owned(),
        });
        parts.collect::<Vec<_>>().join(";")
    }

    /// What is heard instead of `answer`.
    pub(crate) fn answer(
        self,
        line: &str,
        answer: &[u8],
        seen: &mut BTreeMap<Vec<u8>, Vec<u8>>,
        now: BenchInstant,
    ) -> Vec<u8> {
        let questions = line.split(';').filter(|part| part.contains('?'));
        match self {
            Self::Blocks(block) if line.starts_with("TRAC? CHAN") && block.spoils(line) => {
                spoiled_block(block, line, answer, seen)
            }
            Self::Reads(..) | Self::Scales(..) | Self::Ignores(..) | Self::Conspires => {
                let text = String::from_utf8_lossy(answer);
                let answers = text.trim_end_matches('\n').split(';');
                if answer.is_empty() || answers.clone().count() != questions.clone().count() {
                    return answer.to_vec();
                }
                let said = questions.zip(answers).map(|(question, answer)| {
                    self.said(question.trim_start_matches(':'), answer, seen, now)
                });
                let mut said = said.collect::<Vec<_>>().join(";").into_bytes();
                said.push(b'\n');
                said
            }
            _ => answer.to_vec(),
        }
    }

    fn said(
        self,
        question: &str,
        answer: &str,
        seen: &mut BTreeMap<Vec<u8>, Vec<u8>>,
        now: BenchInstant,
    ) -> String {
        match self {
            Self::Ignores(Role::Supply, _) if question.starts_with("OUTP?") => "0".to_owned(),
            Self::Ignores(Role::Load, _) if question.starts_with("INP?") => "0".to_owned(),
            Self::Conspires if question.starts_with("OUTP?") => "0".to_owned(),
            Self::Conspires if question.starts_with("MEAS:") => "0.000".to_owned(),
            Self::Scales(_, words, factor) => {
                let asks = words
                    .iter()
                    .any(|word| question == format!("{}?", word.trim_end()));
                let value = answer.parse::<f64>().ok().filter(|_| asks);
                value.map_or_else(|| answer.to_owned(), |value| (value / factor).to_string())
            }
            Self::Reads(_, words, reading) if question.starts_with(words) => {
                reading.of(question, answer, seen, now)
            }
            _ => answer.to_owned(),
        }
    }
}

impl Reading {
    fn of(
        self,
        question: &str,
        answer: &str,
        seen: &mut BTreeMap<Vec<u8>, Vec<u8>>,
        now: BenchInstant,
    ) -> String {
        let value = answer.parse::<f64>();
        match (self, value) {
            (Self::Stuck, _) => {
                let key = question.as_bytes().to_vec();
                let first = seen.entry(key).or_insert_with(|| answer.into());
                String::from_utf8_lossy(first).into_owned()
            }
            (Self::Gain(gain), Ok(value)) => format!("{:.4}", value * gain),
            (Self::Drift(rate), Ok(value)) => {
                let seconds = now.picoseconds() as f64 * 1e-12;
                format!("{:.4}", value + rate * seconds)
            }
            (Self::Renewed(seconds), _) => {
                let turn = (now.picoseconds() as f64 * 1e-12 / seconds) as u64;
                let kept = seen.entry(question.as_bytes().to_vec()).or_default();
                let words = format!("{turn} ");
                if !kept.starts_with(words.as_bytes()) {
                    *kept = (words.clone() + answer).into_bytes();
                }
                String::from_utf8_lossy(&kept[words.len()..]).into_owned()
            }
            (Self::Says(words), _) => words.to_owned(),
            (Self::Comma, _) => answer.replace('.', ","),
            _ => answer.to_owned(),
        }
    }
}

/// `part` with the number behind one of `words` times `factor`.
fn scaled(part: &str, words: &[&str], factor: f64) -> String {
    let bare = part.trim_start_matches(':');
    for word in words {
        if let Some(number) = bare.strip_prefix(word)
            && let Ok(value) = number.trim().parse::<f64>()
        {
            let lead = &part[..part.len() - bare.len()];
            return format!("{lead}{word}{}", value * factor);
        }
    }
    part.to_owned()
}

/// IEEE 488.2 8.7.9: `#`, the number of digits, the length, the data.
fn spoiled_block(
    block: Block,
    line: &str,
    answer: &[u8],
    seen: &mut BTreeMap<Vec<u8>, Vec<u8>>,
) -> Vec<u8> {
    let Some(digits) = answer.get(1).map(|digit| usize::from(digit - b'0')) else {
        return answer.to_vec();
    };
    if answer[0] != b'#' || answer.len() < digits + 4 {
        return answer.to_vec();
    }
    if let Block::Replayed = block {
        return seen
            .entry(line.as_bytes().to_vec())
            .or_insert_with(|| answer.to_vec())
            .clone();
    }
    let before = seen.entry(b"blocks".to_vec()).or_default();
    before.push(0);
    let factor = 1.0 + 1e-3 * before.len() as f64;
    let mut said = answer.to_vec();
    let end = said.len() - 1;
    let data = &mut said[digits + 2..end];
    let first = [data[0], data[1]];
    for pair in data.chunks_exact_mut(2) {
        let code = i16::from_be_bytes([pair[0], pair[1]]);
        let new = match block {
            Block::Replayed => code,
            Block::Zero => 0,
            Block::Frozen | Block::OneFrozen => i16::from_be_bytes(first),
            Block::Inverted => code.saturating_neg(),
            // A cast saturates, as a converter does.
            Block::Drifting => (f64::from(code) * factor) as i16,
            Block::Swapped => code.swap_bytes(),
            Block::Halved => code / 2,
            Block::StuckBit => code | 64,
        };
        pair.copy_from_slice(&new.to_be_bytes());
    }
    said
}
