//! Reads the files a command names, follows what they refer to, and collects
//! every fault of all of them before anything else happens. It checks nothing
//! itself: each kind of file has a module of its own.

use super::file_kind::Kind;
use super::plain_file;
use crate::bench_file::{self, Bench, ProfileRef};
use crate::clock::{SystemClock, WallClock as _};
use crate::digest::Digest;
use crate::document::{Fault, LARGEST_FILE, Place, Severity, Source, render};
use crate::event::FileFacts;
use crate::ident::Role;
use crate::model_bench::world;
use crate::model_board::{self, ModelBoard};
use crate::physics::PhysicsFault;
use crate::plan;
use crate::plan::{LONGEST_CHAIN, Lot, Omitted, Plan, demo};
use crate::preflight::Preflight;
use crate::profile::{self, Profile};
use crate::seed::Seed;
use crate::units::{Quantity as _, Seconds};
use crate::workshop::{self, Workshop};
use jiff::tz::TimeZone;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// Files read so far and everything wrong with them.
#[derive(Debug, Default)]
pub struct Files {
    /// In the order in which they were read.
    sources: Vec<Source>,
    faults: Vec<Fault>,
}

/// A bench with everything its file refers to.
#[derive(Clone, Debug)]
pub struct BenchFiles {
    /// The bench.
    pub bench: Bench,
    /// The profile of each instrument.
    pub profiles: BTreeMap<Role, Profile>,
    /// The model board, on a model bench.
    pub board: Option<ModelBoard>,
}

/// A plan and a bench that can run it.
pub struct Sound {
    /// Every scenario that is run.
    pub plan: Plan,
    /// The bench.
    pub bench: BenchFiles,
    /// What the plan does not require and the bench cannot run.
    pub omitted: Vec<Omitted>,
    /// The bench time that a good board takes.
    pub expected: Seconds,
}

impl Files {
    /// What there is to say about the files.
    pub fn faults(&self) -> &[Fault] {
        &self.faults
    }

    /// Whether anything forbids going on.
    pub fn any_error(&self) -> bool {
        self.faults
            .iter()
            .any(|fault| fault.severity == Severity::Error)
    }

    /// A plan and a bench that were read, compared with each other; nothing where
    /// any fault of any file forbids going on.
    pub fn sound(&mut self, plan: Option<Plan>, bench: Option<BenchFiles>) -> Option<Sound> {
        let sound = plan.zip(bench).map(|(mut plan, bench)| {
            let found = Preflight::of(&plan, &bench.bench, &bench.profiles);
            self.add(found.faults);
            self.add(Vec::from_iter(bench.board.as_ref().and_then(|board| {
                other_family(&plan, "model board", board.family.as_deref()?)
            })));
            let expected = found.steps.iter().map(|step| step.bench_time.si());
            let expected = Seconds::new(expected.sum());
            let omitted = found.omitted;
            plan.leave_out(|scenario| omitted.iter().any(|o| o.scenario == scenario.name));
            Sound {
                plan,
                bench,
                omitted,
                expected,
            }
        });
        sound.filter(|_| !self.any_error())
    }

    /// Every fault with its place in the text.
    pub fn rendered(&self, colour: bool) -> String {
        render(&self.faults, &self.sources, colour)
    }

    /// The text of the file that was read first.
    pub fn first_text(&self) -> &str {
        self.sources.first().map_or("", |source| &source.text)
    }

    /// What the record keeps of the files.
    pub fn facts(&self) -> Vec<FileFacts> {
        let facts = |source: &Source| FileFacts {
            name: source.name.clone(),
            digest: Digest::of(source.text.as_bytes()),
            text: source.text.clone(),
        };
        self.sources.iter().map(facts).collect()
    }

    /// Adds what comparing files has found.
    pub fn add(&mut self, faults: Vec<Fault>) {
        self.faults.extend(faults);
    }

    /// The plan at `path` with all that it extends.
    pub fn plan(&mut self, path: &Path) -> Option<Plan> {
        let first = self.of_kind(path, Kind::Plan)?;
        self.plan_of(first, path)
    }

    /// The plan that `path` would hold with `text` in it, with all that it extends.
    pub fn plan_with(&mut self, path: &Path, text: &str) -> Option<Plan> {
        let name = path.display().to_string();
        let source = match Source::from_bytes(&name, text.as_bytes()) {
            Ok(source) => self.keep(source),
            Err(not_text) => {
                self.keep(not_text.source);
                self.faults.push(not_text.fault);
                return None;
            }
        };
        match Kind::Plan.fault_of(&source) {
            None => self.plan_of(source, path),
            Some(fault) => {
                self.faults.push(fault);
                None
            }
        }
    }

    fn plan_of(&mut self, first: Source, path: &Path) -> Option<Plan> {
        let mut chain = vec![first];
        let mut folder = parent(path);
        while let Some(base) = self.base_of(&chain[0])? {
            if chain.len() == LONGEST_CHAIN {
                self.unreadable(
                    &chain[0].name,
                    &format!("it extends more than {LONGEST_CHAIN} plans in a row"),
                );
                return None;
            }
            let path = folder.join(base);
            let source = self.of_kind(&path, Kind::Plan)?;
            folder = parent(&path);
            chain.insert(0, source);
        }
        self.take(plan::parse(&chain))
    }

    /// What the plan in `source` extends; `None` outside when its text cannot
    /// be read at all.
    fn base_of(&mut self, source: &Source) -> Option<Option<String>> {
        match plan::extends(source) {
            Ok(base) => Some(base),
            Err(faults) => {
                self.faults.extend(faults);
                None
            }
        }
    }

    /// The demo's plan.
    pub fn demo_plan(&mut self) -> Option<Plan> {
        let source = self.keep(demo::plan());
        self.take(plan::parse(&[source]))
    }

    /// The demo's lot.
    pub fn demo_lot(&mut self) -> Option<Lot> {
        let source = self.keep(demo::lot());
        self.take(plan::parse_lot(&source))
    }

    /// A lot and the board of its boards, which come with the program.
    pub fn embedded_lot(&mut self, files: demo::LotFiles) -> Option<(Lot, ModelBoard)> {
        let (lot, board) = (self.keep(files.lot), self.keep(files.board));
        let lot = self.take(plan::parse_lot(&lot));
        let board = self.take(model_board::parse(&board));
        lot.zip(board)
    }

    /// The lot file at `path`.
    pub fn lot(&mut self, path: &Path) -> Option<Lot> {
        let source = self.of_kind(path, Kind::Lot)?;
        self.take(plan::parse_lot(&source))
    }

    /// The workshop's file at `path`.
    pub fn workshop(&mut self, path: &Path) -> Option<Workshop> {
        let source = self.read(path)?;
        self.take(workshop::parse(&source))
    }

    /// The model board at `path`.
    pub fn board(&mut self, path: &Path) -> Option<ModelBoard> {
        let source = self.of_kind(path, Kind::Board)?;
        self.take(model_board::parse(&source))
    }

    /// The bench at `path`, or the embedded one, with its profiles and model
    /// board; `board` takes the place of the model board it names.
    pub fn bench(&mut self, path: Option<&Path>, board: Option<&Path>) -> Option<BenchFiles> {
        let (source, folder) = match path {
            Some(path) => (self.of_kind(path, Kind::Bench)?, Some(parent(path))),
            None => (self.keep(demo::bench()), None),
        };
        self.bench_of(&source, folder, board)
    }

    /// The same bench with models in place of its instruments, and `board` or
    /// the demo's on it. They answer the shipped profiles' language at the speed
    /// and with the ranges and accuracies that the bench's own profiles state.
    pub fn modelled(&mut self, real: BenchFiles, board: Option<&Path>) -> Option<BenchFiles> {
        if real.bench.is_model() {
            return Some(real);
        }
        let bench = real.bench.modelled();
        let mut profiles = BTreeMap::new();
        for (role, own) in real.profiles {
            let shipped = ProfileRef::Shipped(role.word().to_owned());
            let mut profile = self.profile_of(&shipped, None)?;
            profile.line.speed = own.line.speed;
            profile.line.processing = own.line.processing;
            (profile.range, profile.accuracy) = (own.range, own.accuracy);
            profiles.insert(role, profile);
        }
        let board = match board {
            Some(path) => self.board(path)?,
            None => self.board_standing_in()?,
        };
        let sound = self.circuit_of(&bench, &profiles, Some(&board));
        sound.then_some(BenchFiles {
            bench,
            profiles,
            board: Some(board),
        })
    }

    /// The demo's board in place of one that no file names. It stands for
    /// whatever board the plan is for, so its console claims no revision.
    fn board_standing_in(&mut self) -> Option<ModelBoard> {
        let source = self.keep(demo::board());
        let board = self.take(model_board::parse(&source))?;
        Some(ModelBoard {
            identity: None,
            family: None,
            ..board
        })
    }

    /// The embedded bench with instruments that hardly err from run to run.
    pub fn steady_bench(&mut self) -> Option<BenchFiles> {
        let source = self.keep(demo::steady_bench());
        self.bench_of(&source, None, None)
    }

    fn bench_of(
        &mut self,
        source: &Source,
        folder: Option<PathBuf>,
        board: Option<&Path>,
    ) -> Option<BenchFiles> {
        let bench = self.take(bench_file::parse(source))?;
        let today = TimeZone::UTC.to_datetime(SystemClock.now()).date();
        self.add(bench.calibration_warnings(today));
        let mut profiles = BTreeMap::new();
        let mut complete = true;
        for instrument in &bench.instruments {
            match self.profile_of(&instrument.profile, folder.as_deref()) {
                Some(profile) => {
                    profiles.insert(instrument.role, profile);
                }
                None => complete = false,
            }
        }
        let bench = bench.with_profiles(&profiles);
        let board = match (&bench.model, board) {
            (None, _) => None,
            (Some(_), Some(path)) => Some(self.board(path)?),
            (Some(model), None) => match (&model.board, &folder) {
                (Some(name), Some(folder)) => Some(self.board(&folder.join(name))?),
                (None, _) => Some(self.board_standing_in()?),
                (Some(_), None) => {
                    let source = self.keep(demo::board());
                    Some(self.take(model_board::parse(&source))?)
                }
            },
        };
        let sound = self.circuit_of(&bench, &profiles, board.as_ref());
        (complete && sound).then_some(BenchFiles {
            bench,
            profiles,
            board,
        })
    }

    /// Whether the model bench and its board make a circuit that can be
    /// computed; each part alone was checked when it was read.
    fn circuit_of(
        &mut self,
        bench: &Bench,
        profiles: &BTreeMap<Role, Profile>,
        board: Option<&ModelBoard>,
    ) -> bool {
        let Some(board) = board else {
            return true;
        };
        let made = world(bench, profiles, &board.nominal, None, Seed(0));
        let Err(PhysicsFault::Parameter {
            parameter,
            expected,
            value,
        }) = made
        else {
            return true;
        };
        let written = parameter.replace('.', "_").replace("branch_", "");
        let place = ["model.fixture", "wiring", "model"]
            .into_iter()
            .find_map(|table| {
                let words = written.split(" + ");
                let mut paths = words.map(|word| format!("{table}.{word}"));
                let exact = paths.find(|path| bench.places.holds(path));
                exact.and_then(|path| bench.places.find(&path))
            })
            .or_else(|| bench.places.find("model"))
            .or_else(|| bench.places.find(""));
        if let Some(place) = place {
            let message =
                format!("the model makes no circuit: {parameter} is {value:e} in SI units");
            self.faults
                .push(Fault::error(place, message).expected(expected));
        }
        false
    }

    fn profile_of(&mut self, wanted: &ProfileRef, folder: Option<&Path>) -> Option<Profile> {
        match (wanted, folder) {
            (ProfileRef::Shipped(name), _) => {
                let source = profile::shipped_source(name);
                let Some(source) = source else {
                    self.unreadable(name, "no profile of that name comes with the program");
                    return None;
                };
                let source = self.keep(source);
                self.take(profile::parse(&source))
            }
            (ProfileRef::Path(name), folder) => {
                let path = folder.map_or_else(|| PathBuf::from(name), |folder| folder.join(name));
                self.profile(&path)
            }
        }
    }

    /// The profile at `path`.
    pub fn profile(&mut self, path: &Path) -> Option<Profile> {
        let source = self.of_kind(path, Kind::Profile)?;
        self.take(profile::parse(&source))
    }

    fn keep(&mut self, source: Source) -> Source {
        // One profile may serve two instruments; its text is kept once.
        if !self.sources.contains(&source) {
            self.sources.push(source.clone());
        }
        source
    }

    fn take<T>(&mut self, parsed: Result<(T, Vec<Fault>), Vec<Fault>>) -> Option<T> {
        match parsed {
            Ok((value, warnings)) => {
                self.faults.extend(warnings);
                Some(value)
            }
            Err(faults) => {
                self.faults.extend(faults);
                None
            }
        }
    }

    /// The text of the file at `path`.
    pub fn read(&mut self, path: &Path) -> Option<Source> {
        let name = path.display().to_string();
        match plain_file::read(path, LARGEST_FILE) {
            Ok(bytes) => match Source::from_bytes(&name, &bytes) {
                Ok(source) => Some(self.keep(source)),
                Err(not_text) => {
                    self.keep(not_text.source);
                    self.faults.push(not_text.fault);
                    None
                }
            },
            Err(trouble) => {
                self.unreadable(&name, &format!("the file cannot be read: {trouble}"));
                None
            }
        }
    }

    /// The text of the file at `path`, which must not be of another kind.
    fn of_kind(&mut self, path: &Path, kind: Kind) -> Option<Source> {
        let source = self.read(path)?;
        match kind.fault_of(&source) {
            None => Some(source),
            Some(fault) => {
                self.faults.push(fault);
                None
            }
        }
    }

    fn unreadable(&mut self, name: &str, message: &str) {
        let place = Place::new(&Arc::new(Source::new(name, "")), 0..0);
        self.faults.push(Fault::error(&place, message));
    }
}

/// What is wrong where what a `plan` is used with is of another family of boards.
pub fn other_family(plan: &Plan, what: &str, family: &str) -> Option<Fault> {
    if family == plan.family {
        return None;
    }
    let place = plan.places.find("plan.family")?;
    let message = format!(
        "the plan is for boards called \"{}\", the {what} is of \"{family}\"",
        plan.family
    );
    Some(Fault::error(place, message).expected("files of one family of boards"))
}

fn parent(path: &Path) -> PathBuf {
    path.parent().map(Path::to_path_buf).unwrap_or_default()
}
