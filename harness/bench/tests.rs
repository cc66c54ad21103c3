//! Checks of interlock, make-safe and clock over a model bench in memory.
