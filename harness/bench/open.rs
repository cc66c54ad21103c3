//! Opening a bench: every port its file names, every instrument identified,
//! and the whole brought into the state that the interlock starts from.

use super::Bench;
use super::clock::BenchClock;
use super::fault::BenchError;
use super::interlock::Interlock;
use super::told::Told;
use crate::bench_file::{self, CaptureWiring};
use crate::envelope::{BoardFacts, Surroundings};
use crate::event::Event;
use crate::ident::Role;
use crate::instruments::Session;
use crate::link::{Deadlines, Habits, Person, Port, PortSettings, Probe, Traffic};
use crate::model_bench::{Answering, ModelBench, Pace, Transport};
use crate::profile::{BlockCheck, Profile};
use crate::protocol::Expect;
use crate::template;
use crate::units::{Quantity as _, Seconds};
use jiff::civil::Date;
use std::collections::BTreeMap;
use std::sync::{Arc, Mutex};
use std::time::Duration;

/// What the ports of a bench lead to.
pub enum Connection {
    /// Instruments on the ports that the bench file names, and a person for what has
    /// none.
    Real(Person),
    /// The embedded model bench.
    Model {
        /// Its world.
        world: Box<dyn Answering>,
        /// What carries the lines.
        transport: Transport,
    },
}

/// An instrument as it identified itself.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Identified {
    /// What it is on the bench.
    pub role: Role,
    /// Its own words.
    pub identity: String,
    /// The board's revision, where this is its console and says so.
    pub revision: Option<String>,
    /// The profile it is driven by.
    pub profile: String,
    /// Where its port is.
    pub port: String,
    /// Calibration date as the bench file states it.
    pub calibrated: Option<String>,
    /// The day after which that no longer holds.
    pub due: Option<Date>,
    /// Number of the calibration's certificate.
    pub certificate: Option<String>,
}

impl Identified {
    /// The same as an event.
    pub fn event(&self) -> Event {
        Event::Identified {
            role: self.role,
            identity: self.identity.clone(),
            profile: self.profile.clone(),
            port: self.port.clone(),
            calibrated: self.calibrated.clone(),
            due: self.due,
            certificate: self.certificate.clone(),
        }
    }
}

impl Bench {
    /// Opens every port that `file` names, identifies each instrument, and
    /// switches everything off.
    ///
    /// # Errors
    /// The first [`BenchError`]; nothing was energised then.
    ///
    /// # Panics
    /// Outside a tokio runtime.
    pub async fn open(
        file: &bench_file::Bench,
        profiles: &BTreeMap<Role, Profile>,
        board: BoardFacts,
        connection: Connection,
    ) -> Result<Self, BenchError> {
        let surroundings = Surroundings::new(file, profiles, board);
        let roles: Vec<Role> = file.instruments.iter().map(|i| i.role).collect();
        let mut person = None;
        let model = match connection {
            Connection::Real(at_bench) => {
                person = Some(at_bench);
                None
            }
            Connection::Model { world, transport } => {
                let started = ModelBench::start(world, &roles, transport, Pace::Bench);
                Some(started.map_err(|error| BenchError::Model(error.to_string()))?)
            }
        };
        let clock = match &model {
            Some(model) => BenchClock::model(model.time()),
            None => BenchClock::real(),
        };
        let mut bench = Self {
            file: file.clone(),
            clock,
            account: Mutex::new(surroundings.account()),
            interlock: Interlock::new(surroundings),
            sessions: BTreeMap::new(),
            wiring: CaptureWiring::of(file),
            identified: Vec::new(),
            armed: None,
            told: Told::default(),
            person,
            shown: None,
            model,
        };
        // A bench that was left energised is switched off before anything else,
        // instrument by instrument as each is known for itself; one that is missing
        // keeps no other from that.
        let mut fault = None;
        for role in roles {
            let taken = match profiles.get(&role) {
                Some(profile) => bench.take_in(role, profile),
                None => Err(BenchError::NoProfile(role)),
            };
            fault = fault.or(taken.err());
        }
        fault = fault.or(bench.identify().await.err());
        let begun = match fault {
            Some(fault) => Err(fault),
            None => bench.start_at_rest().await,
        };
        if let Err(fault) = begun {
            // What can still be switched off is off before anybody is told.
            bench.make_safe().await;
            return Err(bench.left_with(fault));
        }
        Ok(bench)
    }

    /// `fault`, and where what feeds the board or draws from it never said who it is,
    /// that.
    fn left_with(&self, fault: BenchError) -> BenchError {
        let unknown = |role: &Role| {
            let named = self.file.instrument(*role).is_some();
            named && !self.identified.iter().any(|found| found.role == *role)
        };
        match [Role::Supply, Role::Load].into_iter().find(unknown) {
            Some(role) => BenchError::NotReached {
                role,
                fault: Box::new(fault),
            },
            None => fault,
        }
    }

    fn take_in(&mut self, role: Role, profile: &Profile) -> Result<(), BenchError> {
        let port = self.connect(role, profile)?;
        let session = Session::new(port, Arc::new(profile.clone()));
        self.sessions.insert(role, session);
        Ok(())
    }

    /// A fresh port to the instrument in `role`.
    pub(super) fn connect(&self, role: Role, profile: &Profile) -> Result<Port, BenchError> {
        let traffic = Traffic {
            role: role.word().to_owned(),
            listener: None,
        };
        let far = Far::of(self.model.as_ref(), self.person.as_ref());
        connect(far, &self.file, role, profile, traffic)
    }

    /// Lets every instrument say who it is, and switches off each that is known for
    /// itself, whatever the others do.
    ///
    /// # Errors
    /// The first [`BenchError`].
    pub(super) async fn identify(&mut self) -> Result<(), BenchError> {
        let mut all = Ok(());
        for role in Role::ALL {
            let off = match self.identify_one(role).await {
                Ok(()) => self.switch_off(role).await,
                Err(error) => Err(error),
            };
            all = all.and(off);
        }
        all
    }

    async fn identify_one(&mut self, role: Role) -> Result<(), BenchError> {
        let Some(session) = self.session(role) else {
            return Ok(());
        };
        let identity = session.identify().await?;
        let instrument = self.file.instrument(role);
        let calibration = instrument.and_then(|i| i.calibration.as_ref());
        let revision = session.profile().revision_in(&identity);
        let found = Identified {
            role,
            revision: revision.map(str::to_owned),
            identity,
            profile: session.profile().name.clone(),
            port: session.port().settings().name.clone(),
            calibrated: calibration.map(|calibration| calibration.on.to_string()),
            due: calibration.map(|calibration| calibration.due),
            certificate: calibration.map(|calibration| calibration.certificate.clone()),
        };
        tracing::info!(%role, identity = %found.identity, port = %found.port, "identified");
        self.identified.push(found);
        Ok(())
    }
}

/// One instrument without the rest of its bench: nothing is known of it yet, and
/// nothing is switched off.
pub struct Alone {
    /// The instrument.
    pub session: Session,
    /// Kept last: its wires serve the instrument.
    _model: Option<ModelBench>,
}

impl Alone {
    /// The instrument in `role` of a bench.
    ///
    /// # Errors
    /// A [`BenchError`] of its port.
    ///
    /// # Panics
    /// Outside a tokio runtime.
    pub fn of(
        file: &bench_file::Bench,
        role: Role,
        profile: &Profile,
        connection: Connection,
        traffic: Traffic,
    ) -> Result<Self, BenchError> {
        let (model, person) = match connection {
            Connection::Real(person) => (None, Some(person)),
            Connection::Model { world, transport } => {
                let started = ModelBench::start(world, &[role], transport, Pace::Bench);
                let started = started.map_err(|error| BenchError::Model(error.to_string()))?;
                (Some(started), None)
            }
        };
        let far = Far::of(model.as_ref(), person.as_ref());
        let port = connect(far, file, role, profile, traffic)?;
        Ok(Self {
            session: Session::new(port, Arc::new(profile.clone())),
            _model: model,
        })
    }

    /// The instrument of `profile` at a port that no bench file names.
    ///
    /// # Errors
    /// A [`BenchError`] of its port.
    ///
    /// # Panics
    /// Outside a tokio runtime.
    pub fn at(
        port: &bench_file::Port,
        profile: &Profile,
        traffic: Traffic,
    ) -> Result<Self, BenchError> {
        let port = real_port(port, profile, &Person::assumed(), traffic)?;
        Ok(Self {
            session: Session::new(port, Arc::new(profile.clone())),
            _model: None,
        })
    }
}

/// What the ports of a bench lead to, while they are opened.
enum Far<'a> {
    Model(&'a ModelBench),
    /// And who is asked where there is no instrument.
    Real(Option<&'a Person>),
}

impl<'a> Far<'a> {
    fn of(model: Option<&'a ModelBench>, person: Option<&'a Person>) -> Self {
        model.map_or(Self::Real(person), Self::Model)
    }
}

/// A fresh port to the instrument in `role`.
fn connect(
    far: Far<'_>,
    file: &bench_file::Bench,
    role: Role,
    profile: &Profile,
    traffic: Traffic,
) -> Result<Port, BenchError> {
    let model = match far {
        Far::Model(model) => model,
        Far::Real(person) => {
            let instrument = file.instrument(role).ok_or(BenchError::Missing(role))?;
            let nobody = Person::assumed();
            let person = person.unwrap_or(&nobody);
            return real_port(&instrument.port, profile, person, traffic);
        }
    };
    let settings = |name: &str| PortSettings {
        traffic: traffic.clone(),
        ..port_settings(name, profile, Deadlines::MODEL)
    };
    let opened = match model.path(role) {
        Some(path) => Port::open(path, settings(path)),
        None => {
            let wire = model.wire(role).ok_or(BenchError::Missing(role))?;
            Ok(Port::over(wire, settings(&format!("model {role}"))))
        }
    };
    opened.map_err(|error| BenchError::Port { role, error })
}

fn real_port(
    port: &bench_file::Port,
    profile: &Profile,
    person: &Person,
    traffic: Traffic,
) -> Result<Port, BenchError> {
    let role = profile.role;
    let name = port_name(role, port)?;
    let usual = match port {
        bench_file::Port::Person => Deadlines::PERSON,
        _ => Deadlines::REAL,
    };
    let settings = PortSettings {
        traffic,
        ..port_settings(&name, profile, real_deadlines(profile, usual))
    };
    let opened = match port {
        bench_file::Port::Tcp(_) => Port::connect(&name, settings),
        bench_file::Port::Usbtmc(_) => Port::open_messages(&name, settings),
        bench_file::Port::Person => Ok(Port::of_person(person, settings)),
        bench_file::Port::External(sends) => Ok(Port::of_source(sends, settings)),
        _ => Port::open(&name, settings),
    };
    tracing::info!(%role, port = %name, opened = opened.is_ok(), "port");
    opened.map_err(|error| BenchError::Port { role, error })
}

/// How the port called `name` to an instrument of `profile` is used.
pub(super) fn port_settings(name: &str, profile: &Profile, deadlines: Deadlines) -> PortSettings {
    let line = |command: &str| profile.line(command, &[])?.ok();
    let identity = profile.replies.get("identify");
    let bytes = identity.and_then(|reply| reply.bytes);
    let own_words = profile.replies.contains_key("error");
    let probe = match (line("error"), line("identify")) {
        (Some(line), _) if !own_words => Some(Probe::ErrorQueue { line }),
        (_, Some(line)) => Some(Probe::Identity {
            line,
            pattern: profile.identifies_as.clone(),
            expect: bytes.map_or(Expect::Line, Expect::Bytes),
        }),
        (_, None) => None,
    };
    let gap = profile.line.gap.unwrap_or(Seconds::ZERO);
    let habits = Habits {
        echo: profile.line.echo,
        prompt: template::bytes(&profile.line.prompt),
        check: profile.line.check.clone(),
        gap: Duration::try_from_secs_f64(gap.si()).unwrap_or_default(),
    };
    PortSettings {
        name: name.to_owned(),
        speed: profile.line.speed,
        message_size: profile.line.message_size,
        block_tail: profile.waveform.check.as_ref().map_or(0, BlockCheck::tail),
        ending: profile.line.ending.clone(),
        habits,
        traffic: Traffic::default(),
        dtr: profile.line.dtr,
        deadlines,
        abandon: profile.safety.abandon.clone(),
        probe,
    }
}

/// The bounds on exchanges with a real instrument of `profile`, the `usual` ones where
/// it states none.
fn real_deadlines(profile: &Profile, usual: Deadlines) -> Deadlines {
    let of = |stated: Option<Seconds>, usual| {
        stated.map_or(usual, |time| Duration::from_secs_f64(time.si()))
    };
    Deadlines {
        write: usual.write,
        reply: of(profile.line.reply, usual.reply),
        quiet: of(profile.line.quiet, usual.quiet),
    }
}

/// The device path or the socket's address of a port that a bench file names.
fn port_name(role: Role, port: &bench_file::Port) -> Result<String, BenchError> {
    match port {
        bench_file::Port::Path(name)
        | bench_file::Port::Tcp(name)
        | bench_file::Port::Usbtmc(name) => Ok(name.clone()),
        bench_file::Port::Person => Ok(format!("the person ({role})")),
        bench_file::Port::External(_) => Ok("an external source".to_owned()),
        bench_file::Port::Model => Err(BenchError::Model(format!(
            "the {role} is a model, but no model bench was given"
        ))),
        bench_file::Port::Usb {
            vendor,
            product,
            serial,
        } => {
            let mut ports = serialport::available_ports().unwrap_or_default();
            ports.sort_by(|a, b| a.port_name.cmp(&b.port_name));
            let matching = ports.into_iter().find(|found| match &found.port_type {
                serialport::SerialPortType::UsbPort(usb) => {
                    usb.vid == *vendor
                        && usb.pid == *product
                        && (serial.is_none() || usb.serial_number == *serial)
                }
                _ => false,
            });
            matching
                .map(|found| found.port_name)
                .ok_or(BenchError::NoAdapter {
                    role,
                    vendor: *vendor,
                    product: *product,
                })
        }
    }
}
