//! How a person sees what was found in a capture file: one screen of lines, or a
//! drawing. It reads no file, computes nothing and judges nothing.

mod conclusion;
mod facts;
mod histogram;
mod room;
mod screen;
mod sketch;
mod svg;
mod value;

pub use screen::screen;
pub use svg::svg;
