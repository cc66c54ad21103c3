//! The bench file of a served model bench: the file it was made from, with the
//! served ports in the place of its models. It serves nothing.

use super::exit::Exit;
use crate::model_bench::ModelBench;
use std::path::Path;
use toml::{Table, Value};

const HEAD: &str = "\
# The ports of a model bench that another program serves. Whatever is measured
# there is a model's: every verdict reads MODEL.
";

/// The bench file in `text`, which was read at `path`, for the ports of `served`.
/// Profiles and boards that it names beside itself are named by their whole path.
pub(super) fn bench_file(
    text: &str,
    path: Option<&Path>,
    served: &ModelBench,
) -> Result<String, Exit> {
    let bug = |fault: &dyn std::fmt::Display| {
        warn_line!("a bug in bufferstop: the bench file cannot be written: {fault}");
        Exit::Bug
    };
    let mut bench: Table = text.parse().map_err(|fault| bug(&fault))?;
    bench.remove("model");
    let folder = path.and_then(Path::parent);
    let instruments = bench.get_mut("instrument").and_then(Value::as_array_mut);
    for instrument in instruments.into_iter().flatten() {
        let Some(instrument) = instrument.as_table_mut() else {
            continue;
        };
        let role = instrument.get("role").and_then(Value::as_str);
        let mut ports = served.paths().iter();
        let Some((_, port)) = ports.find(|(served, _)| Some(served.word()) == role) else {
            continue;
        };
        instrument.remove("model");
        instrument.insert("path".to_owned(), port.clone().into());
        if let (Some(folder), Some(Value::String(profile))) =
            (folder, instrument.get_mut("profile"))
            && profile.ends_with(".toml")
        {
            let whole = std::path::absolute(folder.join(&*profile)).map_err(|fault| bug(&fault))?;
            *profile = whole.display().to_string();
        }
    }
    let written = toml::to_string(&bench).map_err(|fault| bug(&fault))?;
    Ok(format!("{HEAD}{written}"))
}
