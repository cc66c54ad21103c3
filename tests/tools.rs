//! Programs of others that tests ask: a machine that lacks one may pass over
//! the test, a run of `scripts/check` may not. It starts none of them.

/// Says that a test asks nothing for want of `what`.
///
/// # Panics
/// Where `scripts/check` runs: it installs them all, so a lack is a fault.
pub(crate) fn absent(what: &str) {
    assert!(
        std::env::var_os("BUFFERSTOP_EVERY_TOOL").is_none(),
        "{what}: scripts/check passes over no test"
    );
    println!("skipped: {what}");
}
