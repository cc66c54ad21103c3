//! The world follows its present only when somebody looks: when that is changes no
//! reply. It asks for no value.

use super::tests::{next_error, powered, world};
use crate::clock::BenchSpan;
use crate::ident::Role;

#[test]
fn who_looks_in_between_changes_no_reply() {
    let mut seldom = world();
    powered(&mut seldom);
    let mut often = seldom.clone();
    // A trigger that is looked for and found between two lines, a pulse that ends there.
    let lines = [
        (Role::Load, "FUNC:MODE CURR;:CURR 1.5;:INP ON"),
        (Role::Supply, "MEAS:CURR?"),
        (Role::Capture, "SWE:TINT 1E-6;POIN 20000;OFFS:POIN -2000"),
        (Role::Capture, "TRIG:SOUR DIG3;SLOP POS;:INIT"),
        (Role::Switch, "ROUT:CLOS:PULS (@1),0.02"),
        (Role::Console, "sense"),
        (Role::Capture, "TRAC? CHAN1,0,20000"),
        (Role::Load, "MEAS:VOLT?"),
        (Role::Supply, "OUTP OFF"),
        (Role::Supply, "MEAS:VOLT?"),
        (Role::Thermometer, "MEAS:TEMP?"),
    ];
    let pause = BenchSpan::from_microseconds(50_000);
    let piece = BenchSpan::from_microseconds(400);
    for (role, line) in lines {
        let reply = seldom.exchange(role, line.as_bytes());
        let asked = line.contains('?') || role == Role::Console;
        assert_eq!(!reply.is_empty(), asked, "{line}");
        assert_eq!(often.exchange(role, line.as_bytes()), reply, "{line}");
        seldom.advance(pause);
        for _ in 0..125 {
            often.circuit();
            often.advance(piece);
        }
        assert_eq!(often.now(), seldom.now(), "{line}");
        for world in [&mut seldom, &mut often] {
            assert_eq!(next_error(world, role), 0, "{line}");
        }
    }
    assert_eq!(often.circuit().energy(), seldom.circuit().energy());
}
