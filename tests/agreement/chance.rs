//! Sound cases by chance, from a seed: changes are tried one after the other
//! and stay where `check` still calls the files sound, and then one bound is
//! drawn so tight that it just does. What the cases come to is not asked here.

use super::case::{Case, Change, Edit, File, Files};
use super::outcome::Checked;
use bufferstop::ident::Role;
use bufferstop::seed::{Seed, Stream};

/// Scenarios that a plan can have.
pub(super) const KINDS: [&str; 11] = [
    "idle", "load", "sense", "overload", "short", "reversal", "signal", "loss", "inrush", "soak",
    "supply",
];

/// Settings that the demo leaves at their defaults, or changes of word.
const SETTINGS: [(&str, &str, &[&str]); 39] = [
    (
        "idle",
        "current_limit",
        &["\"50 mA\"", "\"2 A\"", "\"40 A\""],
    ),
    ("idle", "settle", &["\"0 s\"", "\"1 ms\"", "\"3 s\""]),
    ("idle", "length", &["\"1 ms\"", "\"200 ms\""]),
    ("idle", "states", &["[\"off\"]", "[\"on\"]", "[\"braked\"]"]),
    (
        "idle",
        "polarities",
        &["[\"positive\"]", "[\"negative\"]", "[\"alternating\"]"],
    ),
    (
        "idle",
        "supply_steps",
        &["[\"18 V\"]", "[\"1 V\", \"18 V\"]"],
    ),
    (
        "load",
        "steps",
        &["[\"3 A\"]", "[\"0 A\"]", "[\"10 mA\", \"20 mA\", \"3 A\"]"],
    ),
    ("load", "settle", &["\"0 s\"", "\"2 s\""]),
    ("load", "hold", &["\"1 ms\"", "\"5 ms\"", "\"1 s\""]),
    (
        "load",
        "polarities",
        &["[\"positive\"]", "[\"negative\"]", "[\"alternating\"]"],
    ),
    (
        "sense",
        "steps",
        &[
            "[\"1 A\", \"2 A\", \"3 A\"]",
            "[\"0 A\", \"1 mA\", \"3 A\"]",
        ],
    ),
    ("sense", "settle", &["\"0 s\"", "\"1 s\""]),
    ("sense", "hold", &["\"1 ms\"", "\"1 s\""]),
    ("sense", "readings", &["1", "100"]),
    (
        "sense",
        "polarities",
        &["[\"positive\"]", "[\"alternating\"]"],
    ),
    ("overload", "pulse", &["\"1 s\"", "\"5 s\""]),
    ("overload", "ramp_to", &["\"12 A\"", "\"30 A\""]),
    ("overload", "ramp_time", &["\"1 ms\"", "\"5 s\""]),
    ("overload", "hold_time", &["\"1 ms\"", "\"5 s\""]),
    ("overload", "multiples", &["[1.5]", "[1.5, 5]", "[7]"]),
    ("short", "places", &["[\"near\"]", "[\"far\"]"]),
    ("short", "pulse", &["\"2 s\"", "\"200 ms\""]),
    (
        "short",
        "recovery_pulse",
        &["\"2 s\"", "\"5 s\"", "\"9 s\""],
    ),
    ("short", "repeats", &["2", "3"]),
    (
        "reversal",
        "directions",
        &[
            "[\"forward\"]",
            "[\"back\"]",
            "[\"forward\", \"back\", \"forward\"]",
        ],
    ),
    ("reversal", "gap_pulse", &["\"10 ms\"", "\"90 ms\""]),
    ("reversal", "short_pulse", &["\"400 ms\"", "\"2 s\""]),
    ("reversal", "pulse", &["\"300 ms\"", "\"1 s\""]),
    (
        "signal",
        "loads",
        &["[\"none\"]", "[\"rated\"]", "[\"rated\", \"none\"]"],
    ),
    ("signal", "cutouts", &["[\"none\"]"]),
    (
        "signal",
        "packets",
        &["[\"idle\"]", "[\"speed\", \"reset\"]"],
    ),
    ("signal", "length", &["\"100 ms\"", "\"300 ms\""]),
    (
        "loss",
        "causes",
        &[
            "[\"line a breaks\"]",
            "[\"line b breaks\"]",
            "[\"signal stops\", \"line b breaks\"]",
        ],
    ),
    ("loss", "length", &["\"1 ms\"", "\"1 s\""]),
    ("inrush", "length", &["\"100 ms\"", "\"5 s\"", "\"8.9 s\""]),
    ("inrush", "repeats", &["2"]),
    (
        "soak",
        "polarities",
        &["[\"positive\"]", "[\"positive\", \"negative\"]"],
    ),
    ("soak", "interval", &["\"100 ms\"", "\"5 s\"", "\"100 s\""]),
    (
        "supply",
        "steps",
        &["[\"1 A\"]", "[\"10 A\"]", "[\"4.4 A\", \"16 A\"]"],
    ),
];

/// Words of the plan and the bench that change what flows where.
const WORDS: [(File, &str, &str); 11] = [
    (File::Bench, "wiring.rectifier_drop", "\"0 V\""),
    (
        File::Bench,
        "upstream.isolation",
        "\"common negative, one gap\"",
    ),
    (File::Bench, "upstream.trip_time", "\"500 ms\""),
    (File::Bench, "upstream.trip_current", "\"50 A\""),
    (File::Bench, "branch[near short].proof", "\"none\""),
    (File::Bench, "branch[near short].proof", "\"marker\""),
    (File::Plan, "configuration.signal_lines", "1"),
    (File::Plan, "configuration.reversing", "false"),
    (File::Plan, "configuration.on_signal_loss", "\"off\""),
    (File::Plan, "configuration.on_signal_loss", "\"own signal\""),
    (File::Plan, "configuration.longest_hold", "\"300 ms\""),
];

/// Bounds that are drawn tight, and whether tight is less.
const BOUNDS: [(File, &str, bool); 24] = [
    (File::Bench, "envelope.current", true),
    (File::Bench, "envelope.let_through", true),
    (File::Bench, "envelope.voltage", true),
    (File::Bench, "envelope.energy", true),
    (File::Bench, "envelope.seconds", true),
    (File::Bench, "channel[node voltage].range", true),
    (File::Bench, "channel[output current].range", true),
    (File::Bench, "channel[board supply].range", true),
    (File::Bench, "channel[gap current].range", true),
    (File::Bench, "channel[upstream voltage].range", true),
    (File::Bench, "upstream.trip_current", true),
    (File::Profile(Role::Supply), "range.voltage", true),
    (File::Profile(Role::Supply), "range.current", true),
    (File::Profile(Role::Load), "range.current", true),
    (File::Profile(Role::Load), "range.power", true),
    (File::Profile(Role::Load), "range.voltage", true),
    (File::Profile(Role::Load), "range.minimum_voltage", false),
    (File::Profile(Role::Switch), "range.longest_pulse", true),
    (File::Profile(Role::Switch), "range.shortest_pulse", false),
    (File::Profile(Role::Capture), "range.voltage", true),
    (File::Profile(Role::Capture), "range.samples", true),
    (File::Profile(Role::Capture), "range.period", false),
    (File::Profile(Role::Capture), "range.lines", true),
    (File::Profile(Role::Capture), "range.channels", true),
];

/// What any number may be multiplied by.
const FACTORS: [f64; 14] = [
    0.01, 0.1, 0.3, 0.5, 0.8, 0.95, 1.05, 1.2, 1.5, 2.0, 3.0, 5.0, 10.0, 100.0,
];

/// How a bound is drawn tight: by halves, on a logarithmic scale, as often.
const HALVINGS: u32 = 10;

/// One sound case by chance.
pub(super) struct Chance<'a> {
    demo: &'a Files,
    stream: Stream,
}

impl<'a> Chance<'a> {
    /// The `index`-th case from `seed`.
    pub(super) fn case(demo: &'a Files, seed: Seed, index: u64) -> Case {
        let stream = seed.stream(&[index]);
        Chance { demo, stream }.drawn()
    }

    fn below(&mut self, end: usize) -> usize {
        (self.stream.next_u64() % end.max(1) as u64) as usize
    }

    fn one_of<'b, T>(&mut self, items: &'b [T]) -> Option<&'b T> {
        let at = self.below(items.len());
        items.get(at)
    }

    fn drawn(mut self) -> Case {
        let mut case = Case {
            kept: Vec::new(),
            edits: Vec::new(),
        };
        for _ in 0..=self.below(3) {
            let kind = KINDS[self.below(KINDS.len())].to_owned();
            if !case.kept.contains(&kind) {
                case.kept.push(kind);
            }
        }
        for kind in case.kept.clone() {
            if self.below(3) == 0 {
                let path = format!("scenario[{kind}].limits");
                self.try_out(&mut case, vec![edit(File::Plan, path, Change::Drop)]);
            }
        }
        for _ in 0..self.below(10) {
            if let Some(change) = self.change(&case) {
                self.try_out(&mut case, vec![change]);
            }
        }
        for _ in 0..self.below(3) {
            let (file, path, less) = BOUNDS[self.below(BOUNDS.len())];
            self.draw_tight(&mut case, file, path, less);
        }
        case
    }

    /// Keeps the changes where the files stay sound.
    fn try_out(&self, case: &mut Case, edits: Vec<Edit>) -> bool {
        let before = case.edits.len();
        case.edits.extend(edits);
        let sound = Checked::of(&self.demo.with(case).texts()).is_ok();
        if !sound {
            case.edits.truncate(before);
        }
        sound
    }

    fn change(&mut self, case: &Case) -> Option<Edit> {
        let files = self.demo.with(case);
        Some(match self.below(10) {
            // Something of the bench is not there.
            0..=2 => {
                let mut parts = files.paths(File::Bench, false);
                parts.retain(|path| left_out(path));
                edit(File::Bench, self.one_of(&parts)?.clone(), Change::Drop)
            }
            3..=4 => {
                let kind = self.one_of(&case.kept)?.clone();
                let those: Vec<_> = SETTINGS.iter().filter(|s| s.0 == kind).collect();
                let &&(_, key, values) = self.one_of(&those)?;
                let value = (*self.one_of(values)?).to_owned();
                let path = format!("scenario[{kind}].{key}");
                edit(File::Plan, path, Change::Set(value))
            }
            5 => {
                let &(file, path, value) = self.one_of(&WORDS)?;
                edit(file, path.to_owned(), Change::Set(value.to_owned()))
            }
            6 => {
                let paths = files.paths(File::Bench, true);
                let path = self.one_of(&paths)?.clone();
                edit(File::Bench, path, self.factor())
            }
            7 => {
                let paths = files.paths(File::Plan, true);
                let path = self.one_of(&paths)?.clone();
                edit(File::Plan, path, self.factor())
            }
            8 => {
                let paths = files.paths(File::Plan, false);
                let path = self.one_of(&paths)?.clone();
                edit(File::Plan, path, Change::Drop)
            }
            _ => {
                let role = *self.one_of(&Role::ALL)?;
                let file = File::Profile(role);
                if self.below(3) == 0 {
                    let mut paths = files.paths(file, false);
                    paths.retain(|path| path.contains('.'));
                    edit(file, self.one_of(&paths)?.clone(), Change::Drop)
                } else {
                    // Weights of status bits are the instrument's own.
                    let mut paths = files.paths(file, true);
                    paths.retain(|path| {
                        ["range", "line", "accuracy"]
                            .iter()
                            .any(|table| path.starts_with(table))
                    });
                    edit(file, self.one_of(&paths)?.clone(), self.factor())
                }
            }
        })
    }

    fn factor(&mut self) -> Change {
        Change::Scale(FACTORS[self.below(FACTORS.len())])
    }

    /// The tightest bound that `check` still calls sound.
    fn draw_tight(&self, case: &mut Case, file: File, path: &str, less: bool) {
        let end: f64 = if less { 1e-3 } else { 1e3 };
        let scale = |part: f64| {
            let factor: f64 = format!("{:.3e}", end.powf(part)).parse().unwrap_or(1.0);
            edit(file, path.to_owned(), Change::Scale(factor))
        };
        let (mut sound, mut unsound) = (0.0, 1.0);
        let mut tightest = None;
        for _ in 0..HALVINGS {
            let part = 0.5 * (sound + unsound);
            let mut tried = case.clone();
            if self.try_out(&mut tried, vec![scale(part)]) {
                sound = part;
                tightest = Some(tried);
            } else {
                unsound = part;
            }
        }
        if let Some(tightest) = tightest {
            *case = tightest;
        }
    }
}

/// Whether a bench may come without it: an instrument, a channel, a line, a
/// branch, the upstream source, or a key of one.
fn left_out(path: &str) -> bool {
    let tables = ["branch", "channel", "upstream", "wiring"];
    match path.split_once('.') {
        Some((table, _)) => tables.iter().any(|name| table.starts_with(name)),
        None => path.ends_with(']') || path == "upstream" || path == "safety",
    }
}

fn edit(file: File, path: String, change: Change) -> Edit {
    Edit { file, path, change }
}
