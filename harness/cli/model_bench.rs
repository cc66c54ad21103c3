//! `bufferstop model-bench`: the model instruments on pseudo-terminals for any
//! client, their bench time tied to the wall's, until stopped. It judges nothing.

use super::arguments;
use super::exit::Exit;
use super::hindered::complain;
use super::output::Output;
use super::records::{Existing, whole};
use super::served_bench::bench_file;
use super::stopping::{Lines, listening, runtime};
use crate::ident::{Role, Serial, harmless};
use crate::model_bench::{Answering, ModelBench, Pace, Transport, world};
use crate::model_board::ModelBoard;
use crate::seed::Seed;
use crate::sitting::{BenchFiles, Files, drawn, place};
use serde_json::json;

pub(super) fn serve(arguments: &arguments::ModelBench, output: Output) -> Exit {
    match served(arguments, output) {
        Ok(()) => Exit::Pass,
        Err(exit) => exit,
    }
}

fn served(arguments: &arguments::ModelBench, output: Output) -> Result<(), Exit> {
    let mut files = Files::default();
    let bench = files.bench(arguments.bench.as_deref(), arguments.model_board.as_deref());
    if let Some(exit) = complain(&files, true) {
        return Err(exit);
    }
    let bench = bench.ok_or(Exit::File)?;
    let Some(board) = &bench.board else {
        warn_line!("this bench file has real ports: only a model bench can be served");
        return Err(Exit::Usage);
    };
    let lot = Lot {
        bench: &bench,
        board,
        seed: Seed(arguments.seed),
    };
    let roles: Vec<Role> = bench.profiles.keys().copied().collect();
    let first = lot.board(arguments.board)?;
    let served = ModelBench::start(first, &roles, Transport::Pty, Pace::Wall).map_err(|fault| {
        warn_line!("the system gives no pseudo-terminals: {fault}");
        Exit::Bench
    })?;
    if let Some(path) = &arguments.write {
        let text = bench_file(files.first_text(), arguments.bench.as_deref(), &served)?;
        whole(path, text.as_bytes(), Existing::MakesWay)?;
    }
    tell(&served, output);
    lot.until_stopped(&served, arguments.board, output)
}

/// The ports, for a client to open.
fn tell(served: &ModelBench, output: Output) {
    if output.json {
        let paths = served.paths().iter();
        let ports: Vec<_> = paths
            .map(|(role, path)| json!({"role": role, "path": path}))
            .collect();
        output.line(&json!({ "ports": ports }));
        return;
    }
    for (role, path) in served.paths() {
        say_line!("{:<12} {path}", role.word());
    }
    say_line!(
        "\nserving until stopped with Ctrl-C; a serial number or an empty line puts the next \
         board on"
    );
}

/// The boards that can be put on the bench.
struct Lot<'a> {
    bench: &'a BenchFiles,
    board: &'a ModelBoard,
    seed: Seed,
}

impl Lot<'_> {
    /// The world around the board at `place`.
    fn board(&self, place: u64) -> Result<Box<dyn Answering>, Exit> {
        let world = world(
            &self.bench.bench,
            &self.bench.profiles,
            &drawn(self.board, self.seed, place, None),
            self.board.identity.as_deref(),
            self.seed.derived(place),
        );
        match world {
            Ok(world) => Ok(Box::new(world)),
            Err(fault) => {
                warn_line!("the model bench cannot be computed: {fault}");
                Err(Exit::File)
            }
        }
    }

    /// Puts on the board that each line of standard input asks for.
    fn until_stopped(
        &self,
        served: &ModelBench,
        mut present: u64,
        output: Output,
    ) -> Result<(), Exit> {
        let runtime = runtime()?;
        let mut stop = listening(&runtime)?;
        let mut lines = Lines::of_attended_input()?;
        while let Some(line) = runtime.block_on(lines.next(&mut stop)) {
            let asked = line.trim();
            let next = if asked.is_empty() {
                present.saturating_add(1)
            } else {
                match asked.parse::<Serial>() {
                    Ok(serial) => place(&serial),
                    Err(fault) => {
                        warn_line!("{}: {fault}", harmless(asked));
                        continue;
                    }
                }
            };
            served.put_on(self.board(next)?);
            present = next;
            if output.json {
                output.line(&json!({ "board": present }));
            } else {
                say_line!("board {present} is on the bench");
            }
        }
        // The input may be closed from the start.
        runtime.block_on(stop.raised());
        Ok(())
    }
}
