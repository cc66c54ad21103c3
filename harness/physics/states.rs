//! Where each voltage and current stands in the state of the circuit. What they
//! do is decided elsewhere. Those that most circuits move come first, so that a step
//! need not look at the others: see `propagator`.

/// Voltage across the bulk capacitance.
pub(super) const V_BULK: usize = 0;
/// Current out of the board, through output and leads.
pub(super) const I_OUT: usize = 1;
/// Voltage across the snubber's capacitance.
pub(super) const V_SNUB: usize = 2;
/// Filtered sensor voltage without its offset.
pub(super) const V_SENSE: usize = 3;
/// Voltage across the load's input capacitance.
pub(super) const V_LOAD: usize = 4;
/// What the load's current loop asks of its stage.
pub(super) const I_LOAD: usize = 5;
/// Set current of the load.
pub(super) const I_SET: usize = 6;
/// Current through the near short.
pub(super) const I_NEAR: usize = 7;
/// Current through the far short.
pub(super) const I_FAR: usize = 8;
/// Current from the node into the upstream source.
pub(super) const I_GAP: usize = 9;
/// Voltage across the capacitor bank.
pub(super) const V_BANK: usize = 10;
