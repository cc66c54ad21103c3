//! What the lines above or beside a table's data say of its rows: where they
//! begin, how far apart they are, in what units. Where they contradict each
//! other, that is a fault.

use super::encoding::lettered;
use super::fault::{CsvAsk, CsvFault};
use super::records::{Class, Record, Run};
use super::words::{Said, parted, said, unit_of};
use crate::units::{Dimension, parse_si};

/// What was said, by whom, in which line.
#[derive(Clone, Debug, Default)]
pub(super) struct Told {
    found: Vec<(Said, String, u64)>,
}

/// Lines that are kept.
const MOST: usize = 64;

/// Reads lines of keys and values: `key,value`, `key,value,unit`, `key: value`,
/// `key = value`.
pub(super) fn told<'a>(
    block: &'a [Record],
    beside: impl Iterator<Item = &'a Record>,
) -> Result<Told, CsvFault> {
    let mut told = Told::default();
    for record in block.iter().chain(beside) {
        let first = lettered(record.field(0));
        let first = first.trim_start_matches(['#', '%', '/']).trim().to_owned();
        let pair = first
            .split_once([':', '='])
            .map(|(key, value)| (key.trim(), value.trim()));
        let (key, value) = match pair {
            Some((key, value)) if !value.is_empty() => (key, value.to_owned()),
            Some((key, _)) => (key, lettered(record.field(1))),
            None => (first.as_str(), lettered(record.field(1))),
        };
        let Some(said) = said(key) else { continue };
        let value = value.trim_start_matches([':', '=']).trim().to_owned();
        if value.is_empty() || told.found.len() == MOST {
            continue;
        }
        // The unit in brackets behind the key, or in a field of its own.
        let value = match (parted(key).1, record.class(2)) {
            (Some(unit), _) => format!("{value} {unit}"),
            (None, Class::Text) if unit_or_rate(&lettered(record.field(2))) => {
                format!("{value} {}", lettered(record.field(2)).trim())
            }
            _ => value,
        };
        told.found.push((said, value, record.line));
    }
    Ok(told)
}

fn unit_or_rate(text: &str) -> bool {
    unit_of(text).is_some() || parse_si(&format!("1 {}", text.trim()), Dimension::Frequency).is_ok()
}

impl Told {
    /// Takes `key=value` out of fields of the line of names and of the data.
    pub(super) fn cells(&mut self, records: &[Record]) {
        let texts = records.iter().flat_map(|record| {
            let fields = record.fields.iter().zip(&record.classes);
            let texts = fields.filter(|(_, class)| **class == Class::Text);
            texts.map(move |(field, _)| (lettered(field), record.line))
        });
        for (text, line) in texts {
            let Some((key, value)) = text.split_once('=') else {
                continue;
            };
            let Some(said) = said(key).filter(|_| self.found.len() < MOST) else {
                continue;
            };
            let value = match (value.trim(), parted(key).1) {
                ("", _) => continue,
                (value, Some(unit)) => format!("{value} {unit}"),
                (value, None) => value.to_owned(),
            };
            self.found.push((said, value, line));
        }
    }

    /// Takes what stands below the names of columns that speak of the rows.
    pub(super) fn columns(
        &mut self,
        names: &[String],
        records: &[Record],
        run: &Run,
    ) -> Result<(), CsvFault> {
        let from = run.first.saturating_sub(1);
        for (index, name) in names.iter().enumerate() {
            let Some(said) = said(name).filter(|s| matches!(s, Said::Increment | Said::Start))
            else {
                continue;
            };
            let below = records[from..run.end].iter();
            let mut below = below.filter(|record| record.class(index) == Class::Number);
            if let (Some(record), None) = (below.next(), below.next()) {
                let value = lettered(record.field(index));
                let value = match parted(name).1 {
                    Some(unit) => format!("{value} {unit}"),
                    None => value,
                };
                self.found.push((said, value, record.line));
            }
        }
        Ok(())
    }

    /// Whether it says enough of the rows to do without names.
    pub(super) fn describes(&self) -> bool {
        self.found
            .iter()
            .any(|(said, ..)| matches!(said, Said::Increment | Said::Rate | Said::TimeUnit))
    }

    /// Seconds from row to row.
    pub(super) fn increment(&self) -> Result<Option<f64>, CsvFault> {
        let of = |(said, text, line): &(Said, String, u64)| match said {
            Said::Increment => Some((seconds(text), *line)),
            Said::Rate => Some((hertz(text).map(|rate| 1.0 / rate), *line)),
            _ => None,
        };
        let step = agreed(self.found.iter().filter_map(of), CsvAsk::Rate)?;
        Ok(step.filter(|step| *step > 0.0))
    }

    /// The instant of the first row, s.
    pub(super) fn start(&self) -> Result<Option<f64>, CsvFault> {
        let of = |(said, text, line): &(Said, String, u64)| {
            (*said == Said::Start).then(|| (seconds(text), *line))
        };
        let starts = self.found.iter().filter_map(of);
        // A start that is a date or a time of day is none of the rows'.
        agreed(starts.filter(|(value, _)| value.is_some()), CsvAsk::Rate)
    }

    /// Seconds of one unit of time.
    pub(super) fn time_unit(&self) -> Result<Option<f64>, CsvFault> {
        let of = |(said, text, line): &(Said, String, u64)| {
            let unit = unit_of(text).filter(|(_, d)| *d == Dimension::Time);
            (*said == Said::TimeUnit).then(|| (unit.map(|unit| unit.0), *line))
        };
        agreed(self.found.iter().filter_map(of), CsvAsk::TimeUnit)
    }

    /// What the values are in, where all lines say the same.
    pub(super) fn value_unit(&self) -> Option<(f64, Dimension)> {
        let mut units = self.found.iter().filter_map(|(said, text, _)| {
            let unit = unit_of(text).filter(|(_, d)| *d != Dimension::Time);
            (*said == Said::ValueUnit).then_some(unit)
        });
        let first = units.next()??;
        units.all(|unit| unit == Some(first)).then_some(first)
    }
}

/// The one value of all lines that say it.
fn agreed(
    mut values: impl Iterator<Item = (Option<f64>, u64)>,
    ask: CsvAsk,
) -> Result<Option<f64>, CsvFault> {
    let Some((first, _)) = values.next() else {
        return Ok(None);
    };
    match values.find(|(value, _)| *value != first) {
        None => Ok(first),
        Some((_, line)) => Err(CsvFault::Unclear {
            line,
            what: "the header contradicts itself here".to_owned(),
            ask,
        }),
    }
}

/// A number as a header has it, with a decimal point or comma.
fn number(text: &str) -> Option<f64> {
    let text = match (text.matches(',').count(), text.contains('.')) {
        (1, false) => text.replace(',', "."),
        _ => text.to_owned(),
    };
    let first = text.trim_start_matches(['-', '+']).bytes().next()?;
    let text = text.replace(['d', 'D'], "e");
    let value: f64 = (first.is_ascii_digit() || first == b'.').then(|| text.parse().ok())??;
    value.is_finite().then_some(value)
}

/// Number and unit, which stand apart or not.
fn halves(text: &str) -> (&str, &str) {
    let at = text.char_indices().find(|&(at, c)| {
        let exponent = matches!(c, 'e' | 'E' | 'd' | 'D') && at > 0 && {
            let rest = text[at + 1..].trim_start_matches(['+', '-']);
            rest.starts_with(|c: char| c.is_ascii_digit())
        };
        !(c.is_ascii_digit() || matches!(c, '.' | ',' | '+' | '-') || exponent)
    });
    match at {
        Some((at, _)) => (text[..at].trim(), text[at..].trim()),
        None => (text, ""),
    }
}

fn seconds(text: &str) -> Option<f64> {
    let (digits, unit) = halves(text);
    let value = number(digits)?;
    if unit.is_empty() {
        return Some(value);
    }
    let (factor, dimension) = unit_of(unit)?;
    (dimension == Dimension::Time).then_some(value * factor)
}

fn hertz(text: &str) -> Option<f64> {
    let (digits, unit) = halves(text);
    let value = number(digits)?;
    let factor = match unit {
        "" | "S/s" | "Sa/s" | "sps" | "SPS" => 1.0,
        "kS/s" | "kSa/s" | "KSa/s" => 1e3,
        "MS/s" | "MSa/s" => 1e6,
        "GS/s" | "GSa/s" => 1e9,
        unit => parse_si(&format!("1 {unit}"), Dimension::Frequency).ok()?,
    };
    let rate = value * factor;
    (rate > 0.0 && rate.is_finite()).then_some(rate)
}
