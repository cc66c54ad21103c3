//! The parts that a case hangs on the netlist's node and rail, as behavioural
//! sources written from the parts' own characteristics. It runs nothing.

use bufferstop::model_board::{BoardParameters, FixtureParameters};
use bufferstop::units::Quantity;
use std::fmt::Write as _;

/// What a supply does beyond its limit.
#[derive(Clone, Copy, PartialEq)]
pub(crate) enum Supply {
    Holds,
    /// Least current into nothing, in amperes.
    Folds(f64),
    /// Bears its limit and rests for so long, in seconds.
    Rests(f64, f64),
}

/// What happens at the node.
#[derive(Clone, Copy, PartialEq)]
pub(crate) enum Part {
    NearShort,
    FarShort,
    Bank,
    Resistor,
    /// The electronic load at so many amperes.
    Load(f64),
    /// The near short, and so long after it the board is disabled.
    Disabled(f64),
    /// One gap, crossed, to an upstream source on the board's negative.
    OneGap,
}

/// The supply between its open voltage and the rail.
pub(crate) fn supply(kind: Supply, voltage: f64, limit: f64, resistance: f64) -> String {
    let open = format!("({voltage:e} - V(rail)) / {resistance:e}");
    match kind {
        Supply::Holds => format!("Bsupply 0 rail I = max(0, min({open}, {limit:e}))"),
        Supply::Folds(least) => {
            // I = least + slope (V(rail) + R I), solved for I.
            let slope = (limit - least) / voltage;
            let rest = 1.0 - slope * resistance;
            format!(
                "Bsupply 0 rail I = max(0, min({open}, ({least:e} + {slope:e}*V(rail)) / {rest:e}))"
            )
        }
        Supply::Rests(on, off) => format!(
            "Bsupply 0 rail I = (1 - V(rest))*max(0, min({open}, {limit:e}))\n\
             * patience: fills while it limits, empties at once when it does not\n\
             Bpatience 0 patience I = {fill:e}*(1 - V(rest))*{limiting} - 1e6*V(patience)*max(0, 1 - 2*(1 - V(rest))*{limiting})\n\
             Cpatience patience 0 1 IC=0\n\
             Bpause 0 pause I = {pause:e}*V(rest) - 1e6*V(pause)*max(0, 1 - 2*V(rest))\n\
             Cpause pause 0 1 IC=0\n\
             * a memory: set through one switch, cleared through another\n\
             Vone one 0 1\nSset one rest patience 0 full\nSclear rest 0 pause 0 full\n\
             .model full SW(vt=0.55 vh=0.45 ron=10 roff=1e12)\n\
             Crest rest 0 1n IC=0",
            limiting = format_args!("max(0, min(1, 1e2*({open} - {limit:e})))"),
            fill = 1.0 / on,
            pause = 1.0 / off,
        ),
    }
}

/// Everything that hangs on the node, closed between `close` and `closed`.
pub(crate) fn parts(
    part: Part,
    fixture: &FixtureParameters,
    (close, closed): (f64, f64),
) -> String {
    let mut text = format!("Vclose close 0 PWL(0 0 {close:e} 0 {closed:e} 1)\n");
    let contact = ".model contact SW(vt=0.5 vh=0 ron=100u roff=1e6)";
    let _ = match part {
        Part::NearShort | Part::Disabled(_) | Part::FarShort => {
            let branch = if part == Part::FarShort {
                fixture.far
            } else {
                fixture.near
            };
            writeln!(
                text,
                "Sshort node d close 0 contact\n{contact}\nRshort d e {:e}\nLshort e 0 {:e}",
                branch.resistance.si(),
                branch.inductance.si()
            )
        }
        Part::Resistor => writeln!(
            text,
            "Sresistor node d close 0 contact\n{contact}\nRresistor d 0 {:e}",
            fixture.resistor.si()
        ),
        Part::Bank => {
            let bank = &fixture.bank;
            let flows = format!(
                "V(close)*max(0, (abs(V(node)) - {:e} - V(bank)) / {:e})",
                bank.drop.si(),
                bank.resistance.si()
            );
            writeln!(
                text,
                "Bbank node 0 I = sgn(V(node))*{flows}\nBcharge 0 bank I = {flows}\n\
                 Cbank bank 0 {:e} IC=0\nRdrain bank 0 {:e}",
                bank.capacitance.si(),
                bank.bleeder.si()
            )
        }
        Part::Load(amperes) => load(&mut text, fixture, amperes, close),
        // What the upstream source's wire does is filled in with the edges.
        Part::OneGap => {
            let branch = fixture.upstream.branch;
            writeln!(
                text,
                "Vupstream u 0 PWL({{upstream}})\nSgap node d close 0 contact\n{contact}\n\
                 Rgap d e {:e}\nLgap e f {:e}\nVgap f u 0",
                branch.resistance.si(),
                branch.inductance.si()
            )
        }
    };
    text
}

/// Rectifier, input capacitance, a stage with a least resistance, and a loop
/// that integrates what the stage draws too little, up to its ceiling.
fn load(
    text: &mut String,
    fixture: &FixtureParameters,
    amperes: f64,
    close: f64,
) -> std::fmt::Result {
    let flows = format!(
        "V(close)*max(0, (abs(V(node)) - {:e} - V(lin)) / {:e})",
        fixture.rectifier_drop.si(),
        fixture.rectifier_resistance.si()
    );
    let stage = format!("min(V(ask), V(lin) / {:e})", fixture.load_saturation.si());
    let settled = close + amperes / fixture.load_slew.si();
    writeln!(
        text,
        "Brectifier node 0 I = sgn(V(node))*{flows}\nBinput 0 lin I = {flows}\n\
         Cinput lin 0 {:e} IC=0\nBstage lin 0 I = {stage}\n\
         Vset set 0 PWL(0 0 {close:e} 0 {settled:e} {amperes:e})\n\
         Bloop 0 ask I = (V(ask) >= {:e} && V(set) > {stage}) ? 0 : (V(set) - {stage}) / {:e}\n\
         Cloop ask 0 1 IC=0",
        fixture.load_capacitance.si(),
        fixture.load_ceiling.si(),
        fixture.load_response.si(),
    )
}

/// The output's wires: one loop, or two with the gap's current in the first
/// alone. Names the source that measures what returns, and the node's other
/// side.
pub(crate) fn wires(part: Part) -> (&'static str, &'static str, &'static str) {
    match part {
        Part::OneGap => (
            "Vout first a 0\nRout a b {half_resistance}\n\
             Lout b node {half_inductance} IC={rest_current}\n\
             Lback other g {half_inductance} IC={rest_current}\n\
             Rback g h {half_resistance}\nVback h second 0",
            "I(Vback)",
            "other",
        ),
        _ => (
            "Bbridge bridge 0 V = V(first) - V(second)\nVout bridge a 0\n\
             Rout a b {output_resistance}\nLout b node {output_inductance} IC={rest_current}",
            "I(Vout)",
            "0",
        ),
    }
}

/// Resistance of everything in the loop at rest, the bleeder being its end.
pub(crate) fn at_rest(board: &BoardParameters, fixture: &FixtureParameters) -> f64 {
    fixture.supply_resistance.si()
        + 2.0 * board.switch_resistance.si()
        + board.output_resistance.si()
        + fixture.lead_resistance.si()
        + fixture.bleeder.si()
}
