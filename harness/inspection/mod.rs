//! What a capture from anywhere says of the signal in it: samples, edges and
//! currents are pushed in, in pieces of any length; rules with their readings,
//! packets, oddities, stretches worth drawing and a trip come out as values. It
//! opens no file, formats no screen and gives no verdict on a board.

mod audience;
mod channel;
mod decoding;
mod hearing;
mod odd;
mod packets;
mod passing;
mod place;
mod report;
mod rows;
mod rule;
mod shape_rows;
mod shapes;
mod stretches;
mod tallies;
mod trip;
mod unread;
mod view;
mod voltage;

pub use audience::Audience;
pub use channel::recorded_trip;
pub use hearing::{Heard, Hearing, PacketSink};
pub use packets::words;
pub use passing::{Ahead, Noticed, Outlining, Piece, Telling, Timing};
pub use place::Place;
pub use report::Inspection;
pub use rule::{Measure, RuleRow, Standing};
pub use stretches::{Collector, Stretch, wanted};
pub use trip::{CurrentListener, MOST_SAMPLES, Trip, trip};
pub use unread::{CutOff, Unread};
pub use voltage::{Analogue, Closed, Figures, Listened, Listener, SecondListener, Told, numbers};
