//! What is wrong with the store, said to the person, and the exit status for it.
//! It opens no store.

use super::exit::Exit;
use crate::ident::harmless;
use crate::store::StoreError;

/// Says what is wrong with the store.
pub(super) fn store_exit(fault: &StoreError) -> Exit {
    warn_line!("{}", harmless(&fault.to_string()));
    Exit::Store
}
