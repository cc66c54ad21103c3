//! What a document consists of, whichever form it takes: a head and blocks. It
//! knows no page and no markup.

use crate::drawing::Picture;
use crate::drawing::raster::Raster;
use crate::drawing::vector::Vector;
use crate::judgement::Limit;
use crate::measurement::Finding;
use crate::workshop::Issuer;

/// A document, ready to become a page of HTML or sheets of paper.
#[derive(Clone, Debug, PartialEq)]
pub struct Handout {
    pub(super) head: Head,
    pub(super) blocks: Vec<Block>,
    pub(super) layout: &'static Layout,
}

/// What a document begins with and what tells it from others.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Head {
    /// What it is, in small letters at the top.
    pub(super) kind: &'static str,
    /// What it comes to, in large ones.
    pub(super) headline: String,
    /// What it is about.
    pub(super) about: String,
    /// What a code beside these says, if there is one.
    pub(super) code: Option<String>,
    /// No real board was measured.
    pub(super) model: bool,
    /// What a window shows of it, and what a file does.
    pub(super) titles: [String; 2],
    /// Who issues it.
    pub(super) issuer: Option<Letterhead>,
    /// At the foot of every sheet.
    pub(super) foot: String,
    /// What tells this document from others.
    pub(super) identity: String,
    /// The version of the program whose numbers these are.
    pub(super) version: String,
    /// The end of what it is about: a document knows no clock.
    pub(super) at: jiff::Timestamp,
}

/// Who issues a document.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Letterhead {
    /// The workshop.
    pub issuer: Issuer,
    /// Its logo.
    pub logo: Option<Logo>,
}

/// A logo as its file has it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Logo {
    /// An SVG.
    Svg(Vector),
    /// A PNG.
    Png(Raster),
}

impl Head {
    /// Of a document about many boards, whose numbers are this program's.
    pub(super) fn of_many(kind: &'static str, headline: String, about: String) -> Self {
        Self {
            titles: [
                format!("{headline}: {about}"),
                format!("{kind}: {headline}"),
            ],
            foot: format!("{headline}  |  {about}  |  {kind}"),
            identity: about.clone(),
            kind,
            headline,
            about,
            code: None,
            issuer: None,
            model: true,
            version: env!("CARGO_PKG_VERSION").into(),
            at: jiff::Timestamp::UNIX_EPOCH,
        }
    }
}

/// How much stands on a page.
#[derive(Debug, PartialEq)]
pub(super) struct Layout {
    /// Width of the page on a screen, in its pixels.
    pub(super) screen: u32,
    /// Size of words on paper and from line to line, in points.
    pub(super) text: (f64, f64),
    /// What a row of a table takes besides its lines.
    pub(super) row: f64,
    /// Sheets at most; what finds no room is counted on the last.
    pub(super) sheets: usize,
    /// No gallery goes on beyond that sheet.
    pub(super) gallery: usize,
}

/// One board's document, on few sheets.
pub(super) const DENSE: Layout = Layout {
    screen: 1020,
    text: (8.0, 10.4),
    row: 2.0,
    sheets: 100,
    gallery: 6,
};

/// A document about many boards; a lot of many metrics fills a dozen sheets.
pub(super) const ROOMY: Layout = Layout {
    screen: 1240,
    text: (8.5, 11.2),
    row: 4.0,
    sheets: 60,
    gallery: 60,
};

/// A part of a document.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Block {
    /// A heading.
    Heading(String),
    /// A paragraph.
    Text(String),
    /// A paragraph in small letters, and lines that belong to it.
    Legend(String, Vec<String>),
    /// What a reader must not miss, in a frame.
    Framed(Framed),
    /// Labels with their texts.
    Facts(Vec<Fact>),
    /// Two columns, one below the other where there is no room for both.
    Beside([Vec<Block>; 2]),
    /// Rows below their headings.
    Table(Table),
    /// What a scenario measured.
    Readings(Readings),
    /// Of each scenario the metric that decided it.
    Deciding(Vec<Reading>),
    /// A block that is shown on paper only where it and so much more have room
    /// on the sheet that is begun.
    IfRoom(Box<Block>, f64),
    /// A line to sign on, and what stands below it.
    Signature(String),
    /// What follows begins a sheet of its own, where this one is filled.
    NewSheet,
    /// Pictures, so many beside each other.
    Pictures(usize, Vec<Picture>),
    /// Pictures with whether each can be spared: on paper the end of the
    /// document, as far as there is room.
    Gallery(Vec<(Picture, bool)>),
}

/// A label and its text.
pub(super) type Fact = (&'static str, String);

/// Lines in a frame.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Framed {
    /// What the frame is about.
    pub(super) label: &'static str,
    pub(super) lines: Vec<Line>,
    /// The same for paper where the lines would fill half a sheet.
    pub(super) short: Option<(Vec<Line>, &'static str)>,
}

/// A line in heavy letters and the sentence that follows it, if any does.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Line {
    pub(super) lead: String,
    pub(super) rest: String,
}

/// Rows below their headings, each with whether its column holds numbers and
/// stands to the right. A row of one cell heads those that follow.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Table {
    pub(super) headings: Vec<(&'static str, bool)>,
    pub(super) rows: Vec<Vec<String>>,
}

/// The metrics of a scenario.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Readings {
    /// The scenario and its verdict.
    pub(super) name: String,
    pub(super) rows: Vec<Reading>,
}

/// One metric.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Reading {
    /// What was measured, and where.
    pub(super) label: String,
    /// Whose metric it is.
    pub(super) scenario: String,
    pub(super) value: String,
    pub(super) uncertainty: String,
    /// Value and expanded uncertainty in one.
    pub(super) result: String,
    pub(super) limit: String,
    /// Number of the rule of decision; empty where nothing is judged.
    pub(super) rule: String,
    pub(super) margin: String,
    pub(super) verdict: &'static str,
    pub(super) remarks: Vec<String>,
    /// What is drawn on its limit.
    pub(super) gauge: Option<(Finding, Limit)>,
}

impl Block {
    pub(super) fn heading(text: impl Into<String>) -> Self {
        Self::Heading(text.into())
    }

    pub(super) fn text(text: impl Into<String>) -> Self {
        Self::Text(text.into())
    }

    /// Lines in heavy letters in a frame.
    pub(super) fn framed(lines: impl IntoIterator<Item = String>) -> Self {
        let line = |lead| Line {
            lead,
            rest: String::new(),
        };
        Self::Framed(Framed {
            lines: lines.into_iter().map(line).collect(),
            ..Framed::default()
        })
    }

    /// A table of those headings, with ` | ` between them.
    pub(super) fn table(
        headings: &'static str,
        rows: impl IntoIterator<Item = Vec<String>>,
    ) -> Self {
        Self::Table(Table {
            headings: columns(headings).collect(),
            rows: rows.into_iter().collect(),
        })
    }

    /// Pictures, so many beside each other, row after row.
    pub(super) fn pictures(
        abreast: usize,
        pictures: impl IntoIterator<Item = Picture>,
    ) -> Vec<Self> {
        let mut pictures = pictures.into_iter().peekable();
        let mut rows = Vec::new();
        while pictures.peek().is_some() {
            let row = pictures.by_ref().take(abreast).collect();
            rows.push(Self::Pictures(abreast, row));
        }
        rows
    }
}

impl Reading {
    /// Of a scenario that judged nothing.
    pub(super) fn nothing(scenario: &str, verdict: &'static str) -> Self {
        Self {
            label: "nothing is judged".to_owned(),
            scenario: scenario.to_owned(),
            value: String::new(),
            uncertainty: String::new(),
            result: String::new(),
            limit: String::new(),
            rule: String::new(),
            margin: String::new(),
            verdict,
            remarks: Vec::new(),
            gauge: None,
        }
    }

    /// What its gauge shows, in words.
    pub(super) fn against(&self) -> String {
        format!("{} against {}", self.value, self.limit)
    }
}

impl Table {
    /// Whether that row runs across the table and heads those that follow.
    pub(super) fn across(&self, row: &[String]) -> bool {
        row.len() == 1 && self.headings.len() > 1
    }
}

/// Headings with ` | ` between them; `>` puts a column to the right.
pub(super) fn columns(headings: &'static str) -> impl Iterator<Item = (&'static str, bool)> {
    let headings = headings.split(" | ");
    headings.map(|heading| match heading.strip_prefix('>') {
        Some(heading) => (heading, true),
        None => (heading, false),
    })
}

/// Rows under the name of the scenario that they begin with, said once.
pub(super) fn grouped<'a>(
    rows: impl IntoIterator<Item = (&'a str, Vec<String>)>,
) -> Vec<Vec<String>> {
    let mut grouped = Vec::new();
    let mut scenario = "";
    for (name, row) in rows {
        if name != scenario {
            scenario = name;
            grouped.push(vec![name.to_owned()]);
        }
        grouped.push(row);
    }
    grouped
}

/// Blank that is no place to break a line.
pub(super) const NO_BREAK: char = '\u{a0}';
/// Letters of a unit that may stand below its number.
const LONG_UNIT: usize = 5;

/// A cell with the blanks at which no line is broken: a number keeps to its
/// unit, unless that is long; in a column of numbers, a range may be broken, and
/// what stands in brackets goes below whole.
pub(super) fn bound(cell: &str, number: bool) -> String {
    let mut fixed = String::with_capacity(cell.len() + 8);
    let (mut after_number, mut inside) = (false, false);
    for (index, word) in cell.split(' ').enumerate() {
        inside &= !word.starts_with('(');
        if index > 0 {
            let breaks = match number {
                true => fixed.ends_with("to") || word.starts_with('(') || word.len() > LONG_UNIT,
                false => !after_number || word.len() > LONG_UNIT,
            };
            fixed.push(if breaks && !inside { ' ' } else { NO_BREAK });
        }
        inside |= word.starts_with('(') && number;
        inside &= !word.ends_with(')');
        after_number = word.parse::<f64>().is_ok();
        fixed.push_str(word);
    }
    fixed
}

/// What must be said of boards on the model bench.
pub(super) const MODEL: &str = "MODEL BENCH: no real board was measured";
