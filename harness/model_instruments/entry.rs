//! The one number of a setting, asked for or taken. What the number does is the
//! instrument's matter.

use crate::protocol::{Bounds, ErrorCode, Parameters, Response};

/// Answers a query of a setting: its value, or the bound asked for by name.
pub(super) fn setting(
    value: f64,
    bounds: Bounds,
    parameters: &mut Parameters<'_>,
) -> Result<Option<Response>, ErrorCode> {
    let value = match parameters.optional() {
        None => value,
        Some(word) => word.number(bounds)?,
    };
    parameters.end()?;
    Ok(Some(Response::new().scientific(value)))
}

/// Takes the one number of a setting.
pub(super) fn only(bounds: Bounds, parameters: &mut Parameters<'_>) -> Result<f64, ErrorCode> {
    let value = parameters.required()?.number(bounds)?;
    parameters.end()?;
    Ok(value)
}
