//! Checks of ports at which a person or nobody answers: what is asked once, what is
//! kept, and that nobody's answer is taken for another's.

use super::*;

const PATIENCE: Duration = Duration::from_millis(80);

fn by_hand() -> PortSettings {
    let deadlines = Deadlines {
        reply: PATIENCE,
        ..settings().deadlines
    };
    PortSettings {
        deadlines,
        abandon: String::new(),
        probe: None,
        ..settings()
    }
}

/// A person who types these, and nothing for a pause.
fn typing(typed: &'static [Option<&str>]) -> (Port, Person, Heard) {
    let (person, mut asked) = Person::at_the_bench();
    let heard = Heard::default();
    let notes = Arc::clone(&heard);
    tokio::spawn(async move {
        let mut typed = typed.iter();
        while let Some(mut asking) = asked.recv().await {
            notes.lock().expect("no panic").push(asking.what.clone());
            match typed.next() {
                Some(Some(text)) => drop(asking.answer.send(Some((*text).to_owned()))),
                Some(None) => asking.answer.closed().await,
                None => drop(asking.answer.send(None)),
            }
        }
    });
    (Port::of_person(&person, by_hand()), person, heard)
}

#[tokio::test]
async fn a_step_is_asked_for_once_while_it_is_so() {
    let (port, person, heard) = typing(&[Some(""), Some("yes"), Some("y")]);
    assert!(port.is_attended());
    for line in ["Output: on", "Output: on", "Output: off", "Output: on"] {
        let done = port.query(line, Effect::Acts).await;
        assert_eq!(done, Ok("done".to_owned()), "{line}");
    }
    let heard = heard.lock().expect("no panic").clone();
    assert_eq!(heard, ["Output: on", "Output: off", "Output: on"]);
    let told = person.told();
    assert_eq!(told.len(), 3);
    assert_eq!(told[0], "Output: on - done (0 s, the person at the bench)");
    assert!(person.told().is_empty(), "it is told once");
}

#[tokio::test]
async fn what_is_not_done_is_asked_for_again() {
    let (port, person, _) = typing(&[Some("n, the knob is stuck"), Some("")]);
    let refused = port.query("Knob: turn it", Effect::Acts).await;
    assert_eq!(refused, Ok("not done: n, the knob is stuck".to_owned()));
    let done = port.query("Knob: turn it", Effect::Acts).await;
    assert_eq!(done, Ok("done".to_owned()));
    assert!(person.told()[0].contains("the knob is stuck"));
}

#[tokio::test]
async fn a_reading_is_typed_and_a_late_one_is_nobodys() {
    let (port, person, _) = typing(&[Some(" 18.02 V "), None, Some("0.5 A")]);
    assert_eq!(asks(&port, "Volts?").await, Ok("18.02 V".to_owned()));
    let error = asks(&port, "Amperes?").await.expect_err("too late");
    assert_eq!(cause(error), Cause::Silent(PATIENCE));
    assert_eq!(asks(&port, "And now?").await, Ok("0.5 A".to_owned()));
    let told = person.told();
    assert_eq!(told[1], "Amperes? - not answered in time");
    // Nobody is there any more.
    assert_eq!(
        asks(&port, "Volts?").await,
        Ok("nobody answered".to_owned())
    );
}

/// As a person types them who is used to a decimal comma, or slips.
#[tokio::test]
async fn a_mistyped_reading_is_asked_for_again() {
    let typed = &[Some("18,02 V"), Some(""), Some("1.8.0"), Some("-18.02 V")];
    let (port, person, heard) = typing(typed);
    assert_eq!(asks(&port, "Volts?").await, Ok("-18.02 V".to_owned()));
    let heard = heard.lock().expect("no panic").clone();
    assert_eq!(heard[0], "Volts?");
    assert_eq!(
        heard[1],
        "'18,02 V' cannot be read: type it as in 23.5. Volts?"
    );
    assert_eq!(heard.len(), 4);
    let told = person.told();
    assert_eq!(told[0], "Volts? - '18,02 V' typed, asked again");
    assert!(told[3].starts_with("Volts? - -18.02 V"), "{told:?}");
}

#[tokio::test]
async fn what_is_assumed_says_so_and_reads_nothing() {
    let person = Person::assumed();
    let port = Port::of_person(&person, by_hand());
    let who = asks(&port, "who").await.expect("an answer");
    assert!(who.starts_with("nobody"), "{who}");
    let done = port.query("Output: on", Effect::Acts).await;
    assert_eq!(done, Ok("done".to_owned()));
    assert_eq!(person.told(), ["Output: on - assumed, nobody was asked"]);
    let read = asks(&port, "Volts?").await;
    assert_eq!(read, Ok("nobody to read it".to_owned()));
}

#[tokio::test]
async fn a_source_that_always_sends_is_told_nothing() {
    let port = Port::of_source("idle packets", by_hand());
    let who = asks(&port, "who").await.expect("an answer");
    assert!(who.contains("idle packets"), "{who}");
    for (line, answer) in [
        ("on", "done"),
        ("enable 1", "done"),
        ("send ONES", "done"),
        ("send 5000 0101", "it always sends idle packets"),
    ] {
        let heard = port.query(line, Effect::Acts).await;
        assert_eq!(heard, Ok(answer.to_owned()), "{line}");
    }
}
