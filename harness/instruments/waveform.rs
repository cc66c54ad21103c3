//! Waveforms read out as the profile says that they come: their scales from a
//! preamble or by questions, their samples as blocks or lists. It sets nothing up.

use super::fault::InstrumentError;
use super::session::Session;
use super::table::rows;
use crate::profile::{Data, Place};
use crate::protocol;
use crate::template::Argument;

/// Samples asked for in one answer: 1 MiB of data at two bytes each.
const SAMPLES_A_READ: u32 = 524_288;

/// Characters that a sample in ASCII takes, with its comma.
const CHARACTERS_A_SAMPLE: usize = 16;

/// What is above zero in words of 16 bits without a sign, so that they fit ones
/// with a sign.
const HALF: i32 = 32_768;

/// What the samples of a channel mean, in volts at the input.
#[derive(Clone, Copy, Debug)]
pub(super) struct Scales {
    pub(super) count: Option<f64>,
    /// None where the samples are volts.
    volts_per_code: Option<f64>,
    volts_at_zero: f64,
    zero_code: f64,
    pub(super) clipped: Option<bool>,
    bits: u32,
    /// The range that the device chose, which may be wider than was asked.
    pub(super) full_scale: f64,
    /// Seconds between samples, and from the trigger to the first.
    pub(super) period: Option<f64>,
    pub(super) first: Option<f64>,
}

/// The codes of a converter.
#[derive(Clone, Copy, Debug)]
struct Range {
    signed: bool,
    least: i32,
    largest: i32,
}

impl Range {
    const fn of(signed: bool, bits: u32) -> Self {
        let codes = 1_i32 << bits;
        let least = if signed { -codes / 2 } else { 0 };
        Self {
            signed,
            least,
            largest: least + codes - 1,
        }
    }

    const fn ends_at(self, code: i32) -> bool {
        code <= self.least || code >= self.largest
    }
}

/// A straight line from codes to volts at the input.
#[derive(Clone, Copy, Debug)]
pub(super) struct Meaning {
    pub(super) volts_per_code: f64,
    pub(super) volts_at_zero: f64,
}

impl Scales {
    /// Those of logic lines, whose words mean what their bits do.
    pub(super) const fn none() -> Self {
        Self {
            count: None,
            volts_per_code: Some(1.0),
            volts_at_zero: 0.0,
            zero_code: 0.0,
            clipped: None,
            bits: 16,
            full_scale: 0.0,
            period: None,
            first: None,
        }
    }

    /// Asks for those of the channel `number`, of which `range` volts were asked.
    pub(super) async fn read(
        session: &Session,
        number: u32,
        range: f64,
    ) -> Result<Self, InstrumentError> {
        let profile = session.profile();
        let waveform = &profile.waveform;
        let channel = [("channel", Argument::Integer(number.into()))];
        if profile.command("select_channel").is_some() {
            session.act("select_channel", &channel).await?;
        }
        let preamble = if waveform.has_preamble() {
            session.ask("preamble", &channel).await?
        } else {
            String::new()
        };
        let scales = Asked {
            session,
            preamble: &preamble,
            number,
        };
        let volts_per_code = scales.value(&waveform.volts_per_code).await?;
        let own_bits = match waveform.data {
            Data::Block { bytes: 1, .. } => 8,
            _ => profile.capture_range().map_or(16, |range| range.bits),
        };
        let bits = scales.value(&waveform.bits).await?;
        let bits = bits.unwrap_or(f64::from(own_bits));
        if !(2.0..=24.0).contains(&bits) || volts_per_code.is_some_and(|volts| volts <= 0.0) {
            return Err(scales.unfit());
        }
        // At most 24: exact.
        let bits = bits as u32;
        let by_code = volts_per_code.map(|volts| volts * f64::from(1_u32 << (bits - 1)));
        let forms = profile.forms.get("set_range");
        let form = forms.and_then(|forms| forms.get("volts"));
        let set = form.and_then(|form| form.set_for(range)).unwrap_or(range);
        let stated = scales.value(&waveform.full_scale).await?;
        Ok(Self {
            count: scales.value(&waveform.count).await?,
            volts_per_code,
            volts_at_zero: scales.value(&waveform.volts_at_zero).await?.unwrap_or(0.0),
            zero_code: scales.value(&waveform.zero_code).await?.unwrap_or(0.0),
            clipped: scales.value(&waveform.clipped).await?.map(|v| v != 0.0),
            bits,
            full_scale: stated.or(by_code).unwrap_or(set),
            period: scales.value(&waveform.period).await?,
            first: scales.value(&waveform.first).await?,
        })
    }
}

/// Where scales are looked for.
struct Asked<'a> {
    session: &'a Session,
    preamble: &'a str,
    number: u32,
}

impl Asked<'_> {
    async fn value(&self, place: &Option<Place>) -> Result<Option<f64>, InstrumentError> {
        let text = match place {
            None => return Ok(None),
            Some(Place::Always(value)) => return Ok(Some(*value)),
            Some(Place::Asked(query)) => {
                let channel = [("channel", Argument::Integer(self.number.into()))];
                let answer = self.session.ask_by(query, &channel).await?;
                let read = protocol::number(answer.as_bytes());
                let value = read.ok().and_then(|reading| reading.value());
                return match value {
                    Some(value) => Ok(Some(value)),
                    None => Err(self.session.data(format!(
                        "`{}` was answered with `{}`, which is not a number",
                        query.source(),
                        answer.escape_debug()
                    ))),
                };
            }
            Some(Place::Field(field)) => items(self.preamble).nth(field - 1),
            Some(Place::Named(name)) => {
                let mut named = items(self.preamble).filter_map(|item| value_of(item, name));
                named.next()
            }
        };
        let read = text.and_then(|text| protocol::number(text.as_bytes()).ok());
        match read.and_then(|reading| reading.value()) {
            Some(value) => Ok(Some(value)),
            None => Err(self.unfit()),
        }
    }

    fn unfit(&self) -> InstrumentError {
        let cut: String = self.preamble.chars().take(200).collect();
        self.session.data(format!(
            "`{}` is no preamble as its profile describes it",
            cut.escape_debug()
        ))
    }
}

/// The parts of a preamble, parted by commas or semicolons outside quotes.
fn items(preamble: &str) -> impl Iterator<Item = &str> {
    let mut quoted = false;
    preamble
        .split(move |c| {
            quoted ^= c == '"';
            !quoted && matches!(c, ',' | ';')
        })
        .map(str::trim)
}

/// What stands behind `name` in `item`: after blanks, `=` or `:`, whatever path is
/// written before it.
fn value_of<'a>(item: &'a str, name: &str) -> Option<&'a str> {
    let at = item.find([' ', '=']).or_else(|| item.rfind(':'))?;
    let (head, value) = item.split_at(at);
    let own = head.rsplit(':').next().unwrap_or(head);
    let same = own.trim().eq_ignore_ascii_case(name) || head.trim().eq_ignore_ascii_case(name);
    same.then(|| value.trim_start_matches([' ', '=', ':']).trim())
}

/// Samples as codes, and what was made of them so that they fit 16 bits.
#[derive(Clone, Debug, Default)]
pub(super) struct Codes {
    pub(super) codes: Vec<i16>,
    /// What was taken from each.
    shift: i32,
    /// Volts that a code stands for, where the samples are volts themselves.
    volts_per_code: Option<f64>,
    /// Whether one is the least or the largest that there is.
    pub(super) at_the_end: bool,
}

impl Codes {
    /// Reads `length` samples by `command`, in parts where it can ask for parts.
    pub(super) async fn read(
        session: &Session,
        command: &'static str,
        number: Option<u32>,
        length: u32,
        scales: &Scales,
    ) -> Result<Self, InstrumentError> {
        let profile = session.profile();
        let template = profile.command(command);
        let parts = template.is_some_and(|template| {
            let mut gaps = template.placeholders();
            gaps.any(|gap| matches!(gap, "start" | "count" | "last"))
        });
        let most = if parts { SAMPLES_A_READ } else { length };
        let mut read = Self::default();
        let mut volts: Vec<f64> = Vec::new();
        let mut start = 0;
        while start < length {
            let count = most.min(length - start);
            let mut arguments = vec![
                ("start", Argument::Integer(start.into())),
                ("count", Argument::Integer(count.into())),
                ("last", Argument::Integer(i64::from(start + count) - 1)),
            ];
            if let Some(number) = number {
                arguments.push(("channel", Argument::Integer(number.into())));
            }
            match profile.waveform.data {
                Data::Block { .. } => {
                    let request = (command, arguments.as_slice());
                    read.take_block(session, request, count, scales.bits)
                        .await?;
                }
                Data::Table { .. } => {
                    let list = rows(session, (command, arguments.as_slice()), count).await?;
                    match number {
                        Some(_) => volts.extend(list),
                        None => read.take_codes(session, &list, Range::of(false, 16))?,
                    }
                }
                data @ (Data::Codes { .. } | Data::Volts) => {
                    let bytes = CHARACTERS_A_SAMPLE * count as usize;
                    let answer = session.long_line(command, &arguments, bytes).await?;
                    let list = numbers(session, &answer, count)?;
                    match (data, number) {
                        (Data::Volts, Some(_)) => volts.extend(list),
                        // Words of logic lines have no sign, whatever channels have.
                        (_, None) => read.take_codes(session, &list, Range::of(false, 16))?,
                        (_, Some(_)) => {
                            let signed = data == Data::Codes { signed: true };
                            read.take_codes(session, &list, Range::of(signed, scales.bits))?;
                        }
                    }
                }
            }
            start += count;
        }
        if !volts.is_empty() {
            read.take_volts(&volts, scales.full_scale);
        }
        Ok(read)
    }

    async fn take_block(
        &mut self,
        session: &Session,
        (command, arguments): (&'static str, &[(&str, Argument<'_>)]),
        count: u32,
        bits: u32,
    ) -> Result<(), InstrumentError> {
        let Data::Block {
            bytes,
            signed,
            high_first,
        } = session.profile().waveform.data
        else {
            return Ok(());
        };
        let wanted = bytes * count as usize;
        let block = session.block(command, arguments, wanted).await?;
        if block.len() != wanted {
            let found = block.len();
            return Err(session.data(format!("{wanted} bytes asked for, {found} came")));
        }
        let range = Range::of(signed, bits.min(8 * bytes as u32));
        self.shift = if signed { 0 } else { HALF };
        let code = |sample: &[u8]| -> i32 {
            match (sample, signed) {
                ([one], true) => i32::from(one.cast_signed()),
                ([one], false) => i32::from(*one),
                (pair, _) => {
                    let pair = [pair[0], pair[1]];
                    let word = if high_first {
                        u16::from_be_bytes(pair)
                    } else {
                        u16::from_le_bytes(pair)
                    };
                    if signed {
                        i32::from(word.cast_signed())
                    } else {
                        i32::from(word)
                    }
                }
            }
        };
        let codes = block.chunks_exact(bytes).map(code);
        let (shift, mut at_the_end) = (self.shift, self.at_the_end);
        self.codes.extend(codes.map(|code| {
            at_the_end |= range.ends_at(code);
            // Within 16 bits by the shift.
            (code - shift) as i16
        }));
        self.at_the_end = at_the_end;
        Ok(())
    }

    fn take_codes(
        &mut self,
        session: &Session,
        list: &[f64],
        range: Range,
    ) -> Result<(), InstrumentError> {
        self.shift = if range.signed { 0 } else { HALF };
        let most = Range::of(range.signed, 16);
        for &code in list {
            let held = f64::from(most.least)..=f64::from(most.largest);
            if code.fract() != 0.0 || !held.contains(&code) {
                let sign = if range.signed { "a" } else { "no" };
                let what = format!("{code} is not a code of 16 bits with {sign} sign");
                return Err(session.data(what));
            }
            let code = code as i32;
            self.at_the_end |= range.ends_at(code);
            self.codes.push((code - self.shift) as i16);
        }
        Ok(())
    }

    /// Volts as codes of a 32767th of the larger of range and samples: finer than any
    /// converter that hands out ASCII.
    fn take_volts(&mut self, volts: &[f64], full_scale: f64) {
        let largest = volts
            .iter()
            .fold(full_scale, |most, volts| most.max(volts.abs()));
        let step = largest / f64::from(HALF - 1);
        self.at_the_end = volts.iter().any(|volts| volts.abs() >= full_scale);
        self.volts_per_code = Some(step);
        let code = |volts: &f64| libm::round(volts / step) as i16;
        self.codes = volts.iter().map(code).collect();
    }

    /// What these codes mean.
    pub(super) fn meaning(&self, scales: &Scales) -> Meaning {
        if let Some(volts_per_code) = self.volts_per_code {
            return Meaning {
                volts_per_code,
                volts_at_zero: 0.0,
            };
        }
        let volts_per_code = scales.volts_per_code.unwrap_or(1.0);
        let from_zero = f64::from(self.shift) - scales.zero_code;
        Meaning {
            volts_per_code,
            volts_at_zero: scales.volts_at_zero + volts_per_code * from_zero,
        }
    }

    /// The smallest difference in volts that the device can show.
    pub(super) fn step(&self, scales: &Scales) -> f64 {
        let by_bits = scales.full_scale / f64::from(1_u32 << (scales.bits - 1));
        match scales.volts_per_code {
            Some(volts) if self.volts_per_code.is_none() => by_bits.max(volts),
            _ => by_bits,
        }
    }

    /// As the words of logic lines.
    pub(super) fn words(&self) -> Vec<u16> {
        let word = |code: &i16| (i32::from(*code) + self.shift) as u16;
        self.codes.iter().map(word).collect()
    }
}

/// A list of `count` numbers, parted by commas or blanks.
fn numbers(session: &Session, answer: &str, count: u32) -> Result<Vec<f64>, InstrumentError> {
    let items = answer
        .split([',', ' ', ';'])
        .filter(|item| !item.is_empty());
    let mut list = Vec::with_capacity(count as usize);
    for item in items {
        let read = protocol::number(item.as_bytes());
        let Some(value) = read.ok().and_then(|reading| reading.value()) else {
            let shown: String = item.chars().take(40).collect();
            return Err(session.data(format!("`{}` is no sample", shown.escape_debug())));
        };
        list.push(value);
        if list.len() > count as usize {
            break;
        }
    }
    if list.len() != count as usize {
        let found = list.len();
        let more = if found > count as usize {
            " or more"
        } else {
            ""
        };
        return Err(session.data(format!("{count} samples asked for, {found}{more} came")));
    }
    Ok(list)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By hand, from how programmable scopes head their answers: with or without the
    /// path, as pairs or as a bare list.
    #[test]
    fn a_preamble_is_read_by_name_or_by_field() {
        let named = ":WAV:XINC 1.0E-6;YMULT 4.0E-2;YOFF:128;NAME \"a,b;c\";yzero=-1.5";
        let find = |name| items(named).find_map(|item| value_of(item, name));
        assert_eq!(find("YMULT"), Some("4.0E-2"));
        assert_eq!(find("XINC"), Some("1.0E-6"));
        assert_eq!(find("YOFF"), Some("128"));
        assert_eq!(find("YZERO"), Some("-1.5"));
        assert_eq!(find("MULT"), None);
        let fields: Vec<&str> = items("2, 1E-6 ,0").collect();
        assert_eq!(fields, ["2", "1E-6", "0"]);
    }

    /// A converter ends where its bits do, whatever the words are that carry its
    /// codes; by hand, two's complement and plain binary.
    #[test]
    fn codes_end_where_the_converter_does() {
        for (signed, bits, least, largest) in [
            (true, 12, -2048, 2047),
            (false, 12, 0, 4095),
            (true, 16, -32_768, 32_767),
            (false, 8, 0, 255),
        ] {
            let range = Range::of(signed, bits);
            for end in [least, largest] {
                assert!(range.ends_at(end), "{end} of {bits} bits");
            }
            for inside in [least + 1, largest - 1] {
                assert!(!range.ends_at(inside), "{inside} of {bits} bits");
            }
        }
    }

    #[test]
    fn volts_keep_more_than_any_converter_tells() {
        let mut codes = Codes::default();
        codes.take_volts(&[0.5, -1.9, 0.0], 2.0);
        let meaning = codes.meaning(&Scales::none());
        for (code, volts) in codes.codes.iter().zip([0.5, -1.9, 0.0]) {
            let read = f64::from(*code) * meaning.volts_per_code;
            assert!((read - volts).abs() <= 2.0 / 32_767.0 / 2.0 + 1e-12);
        }
        assert!(!codes.at_the_end);
    }
}
