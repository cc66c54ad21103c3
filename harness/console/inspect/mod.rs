//! How a person sees what was found in a capture file: one screen of lines, or a
//! drawing. It reads no file, computes nothing and judges nothing.

mod conclusion;
mod histogram;
mod screen;
mod sketch;
mod svg;

pub use screen::screen;
pub use svg::svg;
