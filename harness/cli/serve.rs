//! `bufferstop serve`: the page at the bench, until somebody ends it. It reads what the
//! server is told and serves nothing itself.

use super::arguments::Serve;
use super::exit::Exit;
use super::hindered::own_workshop;
use super::output::Output;
use super::stopping::{listening, runtime};
use crate::page::{Server, Settings};
use crate::seed::Seed;
use serde_json::json;
use std::net::{IpAddr, Ipv4Addr, SocketAddr};

/// Where it listens unless it is told otherwise.
const PORT: u16 = 8371;

pub(super) fn serve(arguments: &Serve, output: Output) -> Exit {
    match served(arguments, output) {
        Ok(()) => Exit::Pass,
        Err(exit) => exit,
    }
}

fn served(arguments: &Serve, output: Output) -> Result<(), Exit> {
    let at = at(arguments.listen.as_deref())?;
    let files = &arguments.files;
    if !files.is_dir() {
        warn_line!(
            "{}: there is no such folder",
            crate::ident::harmless(&files.display().to_string())
        );
        return Err(Exit::Usage);
    }
    let own = own_workshop()?;
    let settings = Settings {
        names: arguments.name.clone(),
        files: files.clone(),
        records: own.records(arguments.out.as_deref()),
        letterhead: own.letterhead()?,
        operator: own.workshop.defaults.operator.clone(),
        lot: own.lot(),
        stop_key: arguments.stop_key.clone(),
        seed: Seed(arguments.seed),
    };
    let runtime = runtime()?;
    let stop = listening(&runtime)?;
    let server = Server::listen(at, &arguments.name)?;
    let address = server.address();
    if output.json {
        output.line(&json!({ "address": address }));
    } else {
        say_line!("The page at the bench: {address}");
        if at.ip().is_unspecified() {
            say_line!(
                "Elsewhere, put this computer's address in the place of {}.",
                at.ip()
            );
        }
        say_line!("Ctrl-C ends it; a board that runs then ends too, its bench made safe.");
    }
    Ok(runtime.block_on(server.serve(settings, stop))?)
}

/// The address that was typed: with or without a port.
fn at(typed: Option<&str>) -> Result<SocketAddr, Exit> {
    let Some(typed) = typed else {
        return Ok(SocketAddr::new(IpAddr::V4(Ipv4Addr::LOCALHOST), PORT));
    };
    let whole = typed.parse::<SocketAddr>();
    let alone = || typed.parse::<IpAddr>().map(|ip| SocketAddr::new(ip, PORT));
    let port = || {
        let port = typed.parse::<u16>();
        port.map(|port| SocketAddr::new(IpAddr::V4(Ipv4Addr::LOCALHOST), port))
    };
    whole.or_else(|_| alone()).or_else(|_| port()).map_err(|_| {
        warn_line!(
            "--listen {}: write an address, a port or both, as in 192.0.2.7:{PORT}",
            crate::ident::harmless(typed)
        );
        Exit::Usage
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_address_needs_no_port_and_a_port_no_address() {
        let text = |typed| at(typed).expect("an address").to_string();
        assert_eq!(text(None), "127.0.0.1:8371");
        assert_eq!(text(Some("0.0.0.0")), "0.0.0.0:8371");
        assert_eq!(text(Some("0")), "127.0.0.1:0");
        assert_eq!(text(Some("[::1]:99")), "[::1]:99");
        assert_eq!(at(Some("bench.example")), Err(Exit::Usage));
    }
}
