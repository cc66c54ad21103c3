//! Where the instrument of a trial is: a role of a bench, or a profile at a port; and
//! whether a contact of that bench may be closed. It tries no command.

use super::row::Heard;
use crate::bench::{Alone, Bench, Connection};
use crate::bench_file::{BranchEntry, Closer, Closes, Port};
use crate::cli::arguments::BenchArguments;
use crate::cli::exit::Exit;
use crate::cli::hindered::complain;
use crate::envelope::BoardFacts;
use crate::ident::{Role, harmless};
use crate::link::{Person, Traffic};
use crate::model_bench::{Transport, world};
use crate::profile::Profile;
use crate::seed::Seed;
use crate::sitting::{BenchFiles, Files, drawn};
use std::path::Path;

/// The contact that is closed where one is: the switch's first.
const FIRST: u32 = 1;

/// What is tried, and where.
pub(super) enum Place {
    /// A profile at a port of which nothing else is known.
    Port(Box<Profile>, Port),
    /// The instrument in a role of a bench.
    Bench(Box<BenchFiles>, Role),
}

impl Place {
    /// What `wanted` names: a role of the bench, or a profile's file.
    ///
    /// # Errors
    /// The status, after saying why.
    pub(super) fn of(arguments: &BenchArguments, wanted: &str) -> Result<Self, Exit> {
        let mut files = Files::default();
        if wanted.ends_with(".toml") {
            let profile = files.profile(Path::new(wanted));
            if let Some(exit) = complain(&files, true) {
                return Err(exit);
            }
            let profile = profile.ok_or(Exit::File)?;
            let Some(port) = &arguments.port else {
                warn_line!(
                    "a profile is tried at a port: add --port /dev/ttyUSB0 or --port host:5025"
                );
                return Err(Exit::Usage);
            };
            return Ok(Self::Port(Box::new(profile), Port::named(port)));
        }
        let bench = files.bench(arguments.bench.as_deref(), None);
        if let Some(exit) = complain(&files, true) {
            return Err(exit);
        }
        let bench = bench.ok_or(Exit::File)?;
        let role = Role::ALL.into_iter().find(|known| known.word() == wanted);
        match role.filter(|role| bench.profiles.contains_key(role)) {
            Some(role) if is_no_instrument(&bench, role) => {
                warn_line!("--try {role}: the bench has no instrument there that could be tried");
                Err(Exit::Usage)
            }
            Some(role) => Ok(Self::Bench(Box::new(bench), role)),
            None => {
                let there: Vec<&str> = bench.profiles.keys().map(|role| role.word()).collect();
                warn_line!(
                    "--try takes a role of the bench or a profile's file: {}",
                    there.join(", ")
                );
                Err(Exit::Usage)
            }
        }
    }

    /// Whether somebody may stand in front of it: it is no model of this program.
    pub(super) fn is_real(&self) -> bool {
        match self {
            Self::Port(..) => true,
            Self::Bench(files, _) => files.board.is_none(),
        }
    }

    /// Opens its port, inside a tokio runtime.
    ///
    /// # Errors
    /// The status, after saying why.
    pub(super) fn opened(&self, heard: &Heard) -> Result<Alone, Exit> {
        match self {
            Self::Port(profile, port) => {
                let alone = Alone::at(port, profile, traffic(profile.role, heard));
                alone.map_err(|fault| unavailable(&fault))
            }
            Self::Bench(files, role) => of_bench(files, *role, heard),
        }
    }

    /// What the contact that may be closed is called.
    pub(super) fn contact(&self) -> String {
        match self {
            Self::Port(..) => "the switch's first contact, whatever that is wired to,".to_owned(),
            Self::Bench(files, _) => match first_branch(files) {
                Some(branch) => format!("the {}", branch.closes.word()),
                None => {
                    "the switch's first contact, of which the bench file says nothing,".to_owned()
                }
            },
        }
    }

    /// Where a contact of a bench, or the load's short, may be closed, the bench's
    /// supply, held off while this is kept; nothing where there is none to hold. Nobody
    /// is to agree to a short on a bench that another program left on.
    ///
    /// # Errors
    /// Why no contact may be closed.
    pub(super) async fn held_off(&self) -> Result<Option<Bench>, String> {
        let Self::Bench(files, role) = self else {
            return Ok(None);
        };
        let load = files.profiles.get(&Role::Load);
        let shorts = match role {
            Role::Switch => true,
            Role::Load => load.is_some_and(|load| load.command("short_pulse").is_some()),
            _ => false,
        };
        if !shorts || !self.is_real() {
            return Ok(None);
        }
        let gap = |branch: &BranchEntry| {
            matches!(branch.closes, Closes::GapStraight | Closes::GapCrossed)
        };
        let beyond = *role == Role::Switch && files.bench.upstream.is_some();
        if beyond && first_branch(files).is_some_and(gap) {
            return Err("not tried: nobody knows whether the booster behind the gap is off".into());
        }
        let mut supply = files.bench.clone();
        supply.instruments.retain(|one| one.role == Role::Supply);
        if supply.instruments.is_empty() {
            return Err(
                "not tried: the bench names no supply, so that nobody knows whether it is off"
                    .into(),
            );
        }
        // The interlock wants a board to think of: the demo's, which nothing is done to.
        let plan = Files::default().demo_plan();
        let board = plan.as_ref().map(|plan| BoardFacts::from(&plan.ratings));
        let board = board.ok_or("not tried: the demo's plan cannot be read")?;
        let opened = Bench::open(
            &supply,
            &files.profiles,
            board,
            Connection::Real(Person::assumed()),
        )
        .await;
        opened.map(Some).map_err(|fault| {
            format!("not tried, since the bench's supply is not known to be off: {fault}")
        })
    }
}

fn is_no_instrument(files: &BenchFiles, role: Role) -> bool {
    let instrument = files.bench.instrument(role);
    instrument.is_some_and(|one| matches!(one.port, Port::Person | Port::External(_)))
}

fn first_branch(files: &BenchFiles) -> Option<&BranchEntry> {
    let mut branches = files.bench.branches.iter();
    branches.find(|branch| branch.closer == Closer::Switch(FIRST))
}

fn of_bench(files: &BenchFiles, role: Role, heard: &Heard) -> Result<Alone, Exit> {
    let connection = match &files.board {
        None => Connection::Real(Person::assumed()),
        Some(board) => {
            let (seed, identity) = (Seed(1), board.identity.as_deref());
            let parameters = drawn(board, seed, 1, None);
            let world = world(&files.bench, &files.profiles, &parameters, identity, seed);
            Connection::Model {
                world: Box::new(world.map_err(|fault| unavailable(&fault))?),
                transport: Transport::Pty,
            }
        }
    };
    let profile = &files.profiles[&role];
    let alone = Alone::of(
        &files.bench,
        role,
        profile,
        connection,
        traffic(role, heard),
    );
    alone.map_err(|fault| unavailable(&fault))
}

fn traffic(role: Role, heard: &Heard) -> Traffic {
    Traffic {
        role: role.word().to_owned(),
        listener: Some(heard.listener()),
    }
}

fn unavailable(fault: &dyn std::fmt::Display) -> Exit {
    warn_line!(
        "the instrument cannot be reached: {}",
        harmless(&fault.to_string())
    );
    Exit::Bench
}
