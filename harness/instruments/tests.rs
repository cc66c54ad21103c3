//! Checks of the typed instruments over a wire in memory.

