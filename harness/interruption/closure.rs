//! Whether a branch was closed, as its own line shows it. What the current
//! says about that is left to others.

use crate::waveform::Edge;

/// The line of a branch in a capture.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Line {
    /// Its level at the first sample; `None` where no line shows the branch.
    pub initial: Option<bool>,
    /// Its changes in order.
    pub edges: Vec<Edge>,
    /// Time of the first sample, in seconds.
    pub first: f64,
    /// Whether it follows the contact, and not only the command.
    pub follows: bool,
    /// Whether it proves closure while the rails are dead.
    pub proves: bool,
}

/// The branch that was closed, as its own line shows it.
#[derive(Clone, Debug, PartialEq)]
pub struct Closure {
    edges: Vec<Edge>,
    initial: bool,
    /// Whether there is a line that shows it at all.
    pub seen: bool,
    /// Whether the line proves closure while the rails are dead.
    pub proves: bool,
    /// First closing, in seconds.
    pub closed_at: Option<f64>,
    /// The opening after which it stays open for longer than bounce.
    pub opened_at: Option<f64>,
}

impl Closure {
    /// What `line` shows of a contact that bounces for up to `bounce` seconds.
    pub fn of(line: Line, bounce: f64) -> Self {
        let edges = line.edges;
        let closed_at = match line.initial {
            Some(true) => Some(line.first),
            Some(false) => edges.first().map(|edge| edge.at),
            None => None,
        };
        Self {
            initial: line.initial == Some(true),
            seen: line.initial.is_some() && line.follows,
            proves: line.initial.is_some() && line.proves,
            opened_at: opened_for_good(&edges, bounce),
            edges,
            closed_at,
        }
    }

    /// Whether the line is low anywhere from `from` to `to`, a sample wide
    /// either side.
    pub fn apart(&self, from: f64, to: f64) -> bool {
        let mut level = self.initial;
        let mut low = false;
        for edge in &self.edges {
            if edge.at > to {
                break;
            }
            if edge.at < from {
                level = edge.rising;
            } else if !edge.rising {
                low = true;
            }
        }
        low || !level
    }
}

/// The falling edge after which a line stays low for longer than `bounce`.
pub fn opened_for_good(edges: &[Edge], bounce: f64) -> Option<f64> {
    edges.iter().enumerate().find_map(|(index, edge)| {
        let again = edges.get(index + 1).map(|next| next.at - edge.at);
        (!edge.rising && again.is_none_or(|gap| gap > bounce)).then_some(edge.at)
    })
}
