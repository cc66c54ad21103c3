//! Pages of the keys of a plan. How it is read stands in `plan`; scenarios, their
//! settings and metrics have pages of their own.

use super::page::{Page, page};

pub(super) const PAGES: &[Page] = &[
    page(
        "format",
        "the format of the file: 2. Format 1, in which stored runs keep their plans, goes \
         on being read.",
        "format = 2",
    ),
    page(
        "extends",
        "another plan, of which this one says only what differs. Scenarios are matched by \
         their name.",
        "extends = \"plan.toml\"",
    ),
    page(
        "plan.name",
        "what a person calls the plan.",
        "[plan]\nname = \"booster, acceptance\"",
    ),
    page(
        "plan.family",
        "the family of boards that it is for. Lots and model boards of another are a \
         fault.",
        "[plan]\nfamily = \"garden booster\"",
    ),
    page(
        "plan.revision",
        "the revision of the boards. Where the board's console says another, nothing is \
         energised.",
        "[plan]\nrevision = \"2\"",
    ),
    page(
        "plan.overdue_calibration",
        "why instruments may be used whose calibration is overdue. The record keeps the \
         reason. Without it they make a run inconclusive.",
        "[plan]\noverdue_calibration = \"compared with the check standard on 2026-11-02\"",
    ),
    page(
        "ratings.rated_current",
        "the current that a board must carry for ever.",
        "[ratings]\nrated_current = \"3 A\"",
    ),
    page(
        "ratings.trip_current",
        "the current at which it trips, nominal.",
        "[ratings]\ntrip_current = \"4 A\"",
    ),
    page(
        "ratings.supply_voltage",
        "the voltage at which it is tested.",
        "[ratings]\nsupply_voltage = \"18 V\"",
    ),
    page(
        "ratings.lowest_supply",
        "the lowest voltage at which it still works. Without it the supply voltage.",
        "[ratings]\nlowest_supply = \"12 V\"",
    ),
    page(
        "ratings.highest_supply",
        "the highest voltage that it withstands. Without it the supply voltage.",
        "[ratings]\nhighest_supply = \"22 V\"",
    ),
    page(
        "ratings.bulk_capacitance",
        "the capacitance on its supply rail: what is stored there flows into a short.",
        "[ratings]\nbulk_capacitance = \"1000 uF\"",
    ),
    page(
        "ratings.source_resistance",
        "bulk capacitors, bridge and terminals together, the lowest that a board may have: \
         it bounds the current of a short. Without it 0.",
        "[ratings]\nsource_resistance = \"100 mohm\"",
    ),
    page(
        "configuration.signal_lines",
        "input lines of the board: one, or two that change by turns.",
        "[configuration]\nsignal_lines = 2",
    ),
    page(
        "configuration.reversing",
        "whether it turns its output where a reversing section asks for it. Without it \
         false.",
        "[configuration]\nreversing = true",
    ),
    page(
        "configuration.on_signal_loss",
        "what it does when its signal stops: `hold` its last state, or switch off. \
         Scenarios that hold an output take it from here.",
        "[configuration]\non_signal_loss = \"hold\"",
    ),
    page(
        "configuration.longest_hold",
        "how long it holds its output without a signal. Without it for ever.",
        "[configuration]\nlongest_hold = \"30 ms\"",
    ),
    page(
        "defaults.rule",
        "how limits decide in the face of uncertainty (JCGM 106): guarded acceptance or \
         simple acceptance.",
        "[defaults]\nrule = \"guarded acceptance\"",
    ),
    page(
        "defaults.guard",
        "the guard band, in expanded uncertainties. Without it 1.",
        "[defaults]\nguard = 1.0",
    ),
    page(
        "defaults.source",
        "where limits come from that name no source of their own.",
        "[defaults]\nsource = \"data sheet, revision 3\"",
    ),
    page(
        "scenario.kind",
        "what is provoked: `bufferstop guide` lists all.",
        "[[scenario]]\nkind = \"short\"",
    ),
    page(
        "scenario.name",
        "what it is called, where a plan has two of a kind. Without it its kind.",
        "[[scenario]]\nname = \"short, warm\"\nkind = \"short\"",
    ),
    page(
        "scenario.required",
        "false where a bench that cannot run it leaves it out; every paper says so. \
         Without it true.",
        "[[scenario]]\nkind = \"short\"\nrequired = false",
    ),
    page(
        "scenario.SETTING",
        "how it is provoked. Each scenario has settings of its own with what holds \
         without them: `bufferstop guide short` lists them.",
        "[[scenario]]\nkind = \"short\"\npulse = \"60 ms\"",
    ),
    page(
        "scenario.limits.METRIC.min",
        "the lowest value that the metric may have. `bufferstop guide short.trip_time` is the page \
         of a metric.",
        "[scenario.limits]\noutput_voltage = { min = \"16.5 V\", max = \"18.6 V\", source = \"data sheet\" }",
    ),
    page(
        "scenario.limits.METRIC.max",
        "the largest value that the metric may have.",
        "[scenario.limits]\ntrip_time = { max = \"25 ms\", source = \"data sheet\" }",
    ),
    page(
        "scenario.limits.METRIC.source",
        "where the limit comes from. Without it the plan's default, and without that a \
         fault.",
        "[scenario.limits]\ntrip_time = { max = \"25 ms\", source = \"data sheet, section 4\" }",
    ),
    page(
        "scenario.limits.METRIC.rule",
        "the rule for this limit. Without it the plan's default.",
        "[scenario.limits]\nretries = { min = 1, source = \"data sheet\", rule = \"simple acceptance\" }",
    ),
    page(
        "scenario.limits.METRIC.guard",
        "the guard band for this limit. Without it the plan's default.",
        "[scenario.limits]\ntrip_time = { max = \"25 ms\", source = \"data sheet\", guard = 0.5 }",
    ),
    page(
        "comparison.key",
        "the metrics that decide whether two lots are equivalent. Without it every one.",
        "[comparison]\nkey = [\"short.trip_time\", \"load.output_voltage\"]",
    ),
    page(
        "comparison.share",
        "how much of the way from the baseline's mean to the nearer limit a lot may move. \
         Without it 25 %.",
        "[comparison]\nshare = \"25 %\"",
    ),
    page(
        "comparison.power",
        "how sure the number of boards makes it that lots which are equivalent are found \
         so. Without it 90 %.",
        "[comparison]\npower = \"90 %\"",
    ),
    page(
        "comparison.margin.SCENARIO.METRIC",
        "a margin of its own: by how much this metric's mean may move, or `below` and \
         `above` apart.",
        "[comparison.margin]\nshort.trip_time = \"2 ms\"\nload.output_voltage = { below = \"100 mV\", above = \"300 mV\" }",
    ),
];
