//! Checks of ports over wires in memory and pseudo-terminals.
