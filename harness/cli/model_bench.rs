//! `bufferstop model-bench`: the model instruments on pseudo-terminals for any
//! client, their bench time tied to the wall's, until stopped.

use super::arguments::ModelBench;
use super::exit::Exit;
use super::files::{Files, complain};
use super::mounting::drawn;
use super::output::Output;
use super::stopping::until_stopped;
use crate::ident::Role;
use crate::model_bench::{self, Pace, Transport, world};
use crate::seed::Seed;
use serde_json::json;

pub(super) fn serve(arguments: &ModelBench, output: Output) -> Exit {
    let mut files = Files::default();
    let bench = files.bench(arguments.bench.as_deref(), arguments.model_board.as_deref());
    if let Some(exit) = complain(&files, true) {
        return exit;
    }
    let Some(bench) = bench else {
        return Exit::File;
    };
    let Some(board) = &bench.board else {
        warn_line!("this bench file has real ports: only a model bench can be served");
        return Exit::Usage;
    };
    let seed = Seed(arguments.seed);
    let world = match world(
        &bench.bench,
        &bench.profiles,
        &drawn(board, seed, 1, None),
        board.identity.as_deref(),
        seed.derived(1),
    ) {
        Ok(world) => world,
        Err(fault) => {
            warn_line!("the model bench cannot be computed: {fault}");
            return Exit::File;
        }
    };
    let roles: Vec<Role> = bench.profiles.keys().copied().collect();
    let served =
        match model_bench::ModelBench::start(Box::new(world), &roles, Transport::Pty, Pace::Wall) {
            Ok(served) => served,
            Err(fault) => {
                warn_line!("the system gives no pseudo-terminals: {fault}");
                return Exit::Bench;
            }
        };
    if output.json {
        let ports: Vec<_> = served
            .paths()
            .iter()
            .map(|(role, path)| json!({"role": role, "path": path}))
            .collect();
        output.line(&json!({ "ports": ports }));
    } else {
        for (role, path) in served.paths() {
            say_line!("{:<12} {path}", role.word());
        }
        say_line!("\nserving until stopped with Ctrl-C");
    }
    until_stopped()
}
