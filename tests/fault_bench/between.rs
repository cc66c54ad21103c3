//! Stands between a run and the model bench and spoils what passes, by one
//! trick and a seed; and it watches the circuit itself, which no trick reaches.
//! It knows no verdict.

use super::trick::{Mishap, Told, Trick};
use bufferstop::clock::{BenchInstant, BenchSpan};
use bufferstop::ident::Role;
use bufferstop::model_bench::Answering;
use bufferstop::model_instruments::World;
use bufferstop::physics::{Action, Energy, Probe, SwitchBranch};
use bufferstop::seed::Stream;
use bufferstop::units::Seconds;
use std::collections::BTreeMap;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;
use tokio::time::Instant;

/// What the circuit itself showed.
#[derive(Clone, Debug, Default)]
pub(crate) struct Truth {
    /// When the trick first changed something, by both clocks.
    begun: Option<(BenchInstant, Instant)>,
    /// From then until nothing fed or loaded the board.
    pub(crate) until_dead: Option<f64>,
    /// Times the supply came on again into a contact that had welded before.
    pub(crate) into_weld: u32,
    /// The largest output current at the end of an exchange or wait, in amperes.
    pub(crate) worst_current: f64,
    /// Lines exchanged, by role.
    pub(crate) lines: BTreeMap<Role, u64>,
    was_on: bool,
}

impl Truth {
    /// Lines exchanged with all of them.
    pub(crate) fn exchanges(&self) -> u64 {
        self.lines.values().sum()
    }

    /// Whether the trick changed anything.
    pub(crate) fn touched(&self) -> bool {
        self.begun.is_some()
    }
}

/// The world with its trick.
pub(crate) struct Spoiled {
    world: World,
    trick: Trick,
    /// The trick begins at this line of its role.
    onset: u64,
    chance: Stream,
    truth: Truth,
    /// Answers by the words of their question.
    seen: BTreeMap<Vec<u8>, Vec<u8>>,
    late: Vec<u8>,
    /// Lines that a port stays away for.
    away: u64,
    pending: u32,
}

/// How a bench is found that somebody left on.
const FOUND_ON: [(Role, &str); 3] = [
    (Role::Supply, "VOLT 18;:CURR 5;:OUTP ON"),
    (Role::Drive, "SIGN:HOLD POS;:CONT:ENAB 1"),
    (Role::Load, "FUNC:MODE CURR;:CURR 2;:INP ON"),
];

/// A handle for the bench; another stays with the test.
#[derive(Clone)]
pub(crate) struct Between(Arc<Mutex<Spoiled>>);

impl Between {
    pub(crate) fn new(mut world: World, trick: Trick, onset: u64, chance: Stream) -> Self {
        let mut truth = Truth::default();
        if matches!(trick, Trick::Beforehand | Trick::Missing(_)) {
            for (role, line) in FOUND_ON {
                world.exchange(role, line.as_bytes());
            }
            truth.begun = Some((world.now(), Instant::now()));
        }
        if let Trick::Welded(branch) = trick
            && onset == 0
        {
            world.befall(Action::Weld(branch));
            truth.begun = Some((world.now(), Instant::now()));
        }
        Self(Arc::new(Mutex::new(Spoiled {
            world,
            trick,
            onset,
            chance,
            truth,
            seen: BTreeMap::new(),
            late: Vec::new(),
            away: 0,
            pending: 0,
        })))
    }

    pub(crate) fn truth(&self) -> Truth {
        self.inside(|spoiled| spoiled.truth.clone())
    }

    /// What really feeds or loads the board now.
    pub(crate) fn energy(&self) -> Energy {
        self.inside(|spoiled| spoiled.world.circuit().energy())
    }

    fn inside<T>(&self, act: impl FnOnce(&mut Spoiled) -> T) -> T {
        act(&mut self.0.lock().unwrap_or_else(PoisonError::into_inner))
    }
}

impl Answering for Between {
    fn now(&self) -> BenchInstant {
        self.inside(|spoiled| spoiled.world.now())
    }

    fn advance(&mut self, span: BenchSpan) {
        self.inside(|spoiled| {
            spoiled.world.advance(span);
            spoiled.look();
        });
    }

    fn exchange(&mut self, role: Role, line: &[u8]) -> Vec<u8> {
        self.inside(|spoiled| {
            let answer = spoiled.exchange(role, line);
            spoiled.look();
            answer
        })
    }

    fn is_reachable(&self, role: Role) -> bool {
        self.inside(|spoiled| {
            let away = spoiled.is_away(role);
            if away && (1..u64::MAX).contains(&spoiled.away) {
                spoiled.away -= 1;
            }
            !away
        })
    }
}

impl Spoiled {
    fn begin(&mut self) {
        let now = (self.world.now(), Instant::now());
        self.truth.begun.get_or_insert(now);
    }

    fn look(&mut self) {
        let circuit = self.world.circuit();
        let energy = circuit.energy();
        let current = circuit.probe(Probe::OutputCurrent).abs();
        self.truth.worst_current = self.truth.worst_current.max(current);
        let welded = matches!(self.trick, Trick::Welded(_)) && self.truth.touched();
        let shorted = energy.short || energy.gap;
        if energy.supply && !self.truth.was_on && welded && shorted {
            self.truth.into_weld += 1;
        }
        self.truth.was_on = energy.supply;
        if let Some((bench, wall)) = self.truth.begun
            && !energy.is_there()
            && self.truth.until_dead.is_none()
        {
            let bench = (self.world.now() - bench).seconds();
            self.truth.until_dead = Some(f64::from(bench) + wall.elapsed().as_secs_f64());
        }
    }

    fn is_away(&self, role: Role) -> bool {
        match self.trick {
            Trick::Missing(gone) => gone == role,
            Trick::Vanishes(gone, _) => gone == role && self.away > 0,
            _ => false,
        }
    }

    fn exchange(&mut self, role: Role, line: &[u8]) -> Vec<u8> {
        let count = self.truth.lines.entry(role).or_default();
        *count += 1;
        let count = *count;
        let due = match self.trick {
            Trick::Mishap(..) | Trick::Stall(_) => self.truth.exchanges() > self.onset,
            _ => count > self.onset,
        };
        match self.trick {
            Trick::Tells(told) if told.role() == role && due => self.told(told, role, line),
            Trick::Mishap(kind, probability) if due => {
                let once = probability >= 1.0;
                let hit = if once {
                    self.pending == 0
                } else {
                    self.chance.uniform() < probability
                };
                if hit {
                    self.pending += 1;
                    self.begin();
                    return self.mishap(kind, role, line);
                }
                self.late_then(role, line)
            }
            Trick::Vanishes(gone, lines) if gone == role => {
                if count == self.onset + 1 {
                    self.begin();
                    self.away = lines;
                    return Vec::new();
                }
                self.world.exchange(role, line)
            }
            Trick::Missing(gone) => {
                self.begin();
                if gone == role {
                    return Vec::new();
                }
                self.world.exchange(role, line)
            }
            Trick::Other(instead, real) if instead == role && due => {
                self.begin();
                self.world.exchange(real, line)
            }
            Trick::Restarts(which, lines) if which == role && count == self.onset + 1 => {
                self.begin();
                for line in lines {
                    self.world.exchange(role, line.as_bytes());
                }
                self.world.exchange(role, line)
            }
            Trick::Welded(branch) if role == Role::Switch && self.onset > 0 => {
                let pulse = pulse_of(branch);
                let answer = self.world.exchange(role, line);
                if line.starts_with(pulse.as_bytes()) && !self.truth.touched() && due {
                    self.begin();
                    self.world.befall(Action::Weld(branch));
                }
                answer
            }
            Trick::Befalls(action, after) => self.befalls(role, line, (action, after)),
            Trick::Slow(which, seconds) if which == role && due => {
                self.begin();
                self.world
                    .advance(BenchSpan::from_seconds(Seconds::new(seconds)));
                self.world.exchange(role, line)
            }
            Trick::Stall(seconds) if due && self.pending == 0 => {
                if !self.world.circuit().energy().supply {
                    return self.world.exchange(role, line);
                }
                self.pending = 1;
                self.begin();
                self.world
                    .advance(BenchSpan::from_seconds(Seconds::new(seconds)));
                self.world.exchange(role, line)
            }
            _ => self.world.exchange(role, line),
        }
    }

    /// The supply does something by itself, some lines after it was told off
    /// or, where it counts down from on, while it feeds.
    fn befalls(&mut self, role: Role, line: &[u8], (on, after): (bool, u32)) -> Vec<u8> {
        let answer = self.world.exchange(role, line);
        let energised = self.world.circuit().energy().supply;
        let armed = if on {
            self.truth.was_on && !energised
        } else {
            energised && self.pending == 0
        };
        if armed && !self.truth.touched() {
            self.pending = after;
        }
        if self.pending > 0 {
            self.pending -= 1;
            if self.pending == 0 && energised != on {
                self.begin();
                let line: &[u8] = if on { b"OUTP ON" } else { b"OUTP OFF" };
                self.world.exchange(Role::Supply, line);
            }
        }
        answer
    }

    /// The instrument lies or does not obey.
    fn told(&mut self, told: Told, role: Role, line: &[u8]) -> Vec<u8> {
        let text = String::from_utf8_lossy(line).into_owned();
        let asked = told.request(&text, &mut self.chance);
        if asked != text {
            self.begin();
        }
        let answer = self.world.exchange(role, asked.as_bytes());
        let said = told.answer(&text, &answer, &mut self.seen, self.world.now());
        if said != answer {
            self.begin();
        }
        said
    }

    /// What is late arrives before the next answer.
    fn late_then(&mut self, role: Role, line: &[u8]) -> Vec<u8> {
        let mut late = std::mem::take(&mut self.late);
        late.extend(self.world.exchange(role, line));
        late
    }

    fn mishap(&mut self, kind: Mishap, role: Role, line: &[u8]) -> Vec<u8> {
        let mut line = line.to_vec();
        if kind == Mishap::LoseRequest {
            return Vec::new();
        }
        if kind == Mishap::SpoilRequest {
            flip(&mut line, &mut self.chance, 7);
        }
        let mut answer = self.late_then(role, &line);
        match kind {
            Mishap::Drop => answer.clear(),
            Mishap::Garble => flip(&mut answer, &mut self.chance, 8),
            Mishap::Cut => answer.truncate(answer.len() / 2),
            Mishap::Junk => drop(answer.splice(0..0, *b"\0\xff~?")),
            Mishap::Double => answer.extend(answer.clone()),
            Mishap::Late => {
                self.late = answer;
                return Vec::new();
            }
            Mishap::LoseRequest | Mishap::SpoilRequest => {}
        }
        answer
    }
}

/// One bit of one byte, the line's ending left alone.
fn flip(bytes: &mut [u8], chance: &mut Stream, bits: u64) {
    let Some(most) = bytes.len().checked_sub(1) else {
        return;
    };
    let at = (chance.next_u64() % most.max(1) as u64) as usize;
    bytes[at] ^= 1 << (chance.next_u64() % bits);
}

fn pulse_of(branch: SwitchBranch) -> String {
    let channel = match branch {
        SwitchBranch::Near => 1,
        SwitchBranch::Far => 2,
        SwitchBranch::GapStraight => 3,
        _ => 4,
    };
    format!("ROUT:CLOS:PULS (@{channel})")
}

/// Wall and virtual time that one run may take before it counts as endless.
pub(crate) const ENDLESS: Duration = Duration::from_secs(6 * 3600);
