//! `bufferstop shell` and `manual`: what a shell completes and what `man` shows, from
//! the same definitions as the help. They go to standard output and are put nowhere.

use super::arguments::{Arguments, ShellArguments};
use super::exit::Exit;
use super::output::written;
use clap::CommandFactory as _;
use std::io::{self, Write as _};

/// Hands out the completions of a shell.
pub(super) fn completions(arguments: &ShellArguments) -> Exit {
    let mut command = Arguments::command();
    let mut text = Vec::new();
    clap_complete::generate(arguments.shell, &mut command, "bufferstop", &mut text);
    hand_out(&text)
}

/// Hands out the manual's page with every command's own behind it.
pub(super) fn manual() -> Exit {
    let mut text = Vec::new();
    let command = Arguments::command();
    match render(&command, "bufferstop", &mut text) {
        Ok(()) => hand_out(&text),
        Err(fault) => {
            warn_line!("a bug in bufferstop: the manual cannot be made: {fault}");
            Exit::Bug
        }
    }
}

fn render(command: &clap::Command, name: &str, text: &mut Vec<u8>) -> io::Result<()> {
    let named = command
        .clone()
        .display_name(name)
        .disable_help_subcommand(true);
    clap_mangen::Man::new(named).render(text)?;
    for inner in command
        .get_subcommands()
        .filter(|inner| !inner.is_hide_set())
    {
        render(inner, &format!("{name} {}", inner.get_name()), text)?;
    }
    Ok(())
}

fn hand_out(text: &[u8]) -> Exit {
    let mut out = io::stdout().lock();
    written(out.write_all(text).and_then(|()| out.flush()));
    Exit::Pass
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What stands below a command's help is broken by hand, for 80 columns.
    #[test]
    fn what_follows_a_help_fits_80_columns() {
        fn check(command: &clap::Command) -> usize {
            let below = command.get_after_help().map(ToString::to_string);
            for line in below.iter().flat_map(|text| text.lines()) {
                let name = command.get_name();
                assert!(line.chars().count() <= 80, "{name}: {line}");
            }
            let inner = command.get_subcommands().map(check);
            usize::from(below.is_some()) + inner.sum::<usize>()
        }
        assert!(check(&Arguments::command()) > 20);
    }

    /// Every command that help shows has its page, and every shell completes it.
    #[test]
    fn manual_and_completions_know_every_command() {
        let command = Arguments::command();
        let mut manual = Vec::new();
        render(&command, "bufferstop", &mut manual).expect("a page");
        let manual = String::from_utf8(manual).expect("text");
        let mut all = Vec::new();
        let shells = [
            clap_complete::Shell::Bash,
            clap_complete::Shell::Fish,
            clap_complete::Shell::Zsh,
        ];
        for shell in shells {
            let mut text = Vec::new();
            clap_complete::generate(shell, &mut Arguments::command(), "bufferstop", &mut text);
            all.push(String::from_utf8(text).expect("text"));
        }
        let shown = command
            .get_subcommands()
            .filter(|inner| !inner.is_hide_set());
        for name in shown.map(|inner| inner.get_name().to_owned()) {
            let page = format!("bufferstop {name}").replace('-', "\\-");
            assert!(manual.contains(&page), "no page of {name}");
            for text in &all {
                assert!(text.contains(&name), "{name} is not completed");
            }
        }
    }
}
