//! The readers against files written here by the formats' own texts, cut
//! anywhere and damaged at random. No file is opened.

mod arrays;
mod damage;
mod dumps;
mod survey;
mod tables;

use super::*;
use crate::clock::BenchInstant;
use crate::seed::Seed;
use crate::track::{Edge, Polarity};
use crate::units::Dimension;
