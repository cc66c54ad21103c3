//! The `bufferstop` command. It only hands its arguments to the library and
//! returns the exit status; it knows nothing of benches or boards.

use std::process::ExitCode;

fn main() -> ExitCode {
    bufferstop::cli::run(std::env::args_os())
}
