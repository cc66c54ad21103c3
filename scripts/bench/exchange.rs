//! One query over a pseudo-terminal through the port's owner task, against a
//! bare write and read on a like pseudo-terminal with the same echo at its far
//! end. The two alternate, since bare times fall into modes.

use super::median;
use bufferstop::link::{Deadlines, Effect, Habits, Port, PortSettings, Traffic};
use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};
use rustix::termios::{OptionalActions, tcgetattr, tcsetattr};
use std::fs::{File, OpenOptions};
use std::io::{Read, Write};
use std::process::Command;
use std::time::Instant;

const ROUNDS: usize = 4000;
/// Nineteen bytes with their ending.
const QUESTION: &str = "MEAS:CURR:DC? MAX1";

pub(crate) fn run() {
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .expect("a runtime");
    let (bare, queried) = runtime.block_on(alternated());
    let ours = median(queried.clone());
    let differences: Vec<f64> = queried
        .iter()
        .zip(&bare)
        .map(|(query, bare)| query - bare)
        .collect();
    println!(
        "bare exchange of 19 bytes, median of {ROUNDS}: {:.1} us",
        median(bare) * 1e6
    );
    println!(
        "query through the port's task:            {:.1} us",
        ours * 1e6
    );
    println!(
        "difference, median of pairs:              {:.1} us",
        median(differences) * 1e6
    );
    match visa() {
        Some(visa) => println!(
            "PyVISA-py's query, median of 500: {:.1} us, ours is {:.2} of it",
            visa * 1e6,
            ours / visa
        ),
        None => println!("PyVISA-py was not measured: run scripts/check first"),
    }
}

/// The median of PyVISA-py's queries on an echo of its own, in seconds; `None`
/// without the environment that `scripts/check` makes.
fn visa() -> Option<f64> {
    let done = Command::new(".venv/bin/python")
        .arg("scripts/bench/visa_exchange.py")
        .args([&echo(), "500", QUESTION])
        .output()
        .ok()?;
    String::from_utf8_lossy(&done.stdout).trim().parse().ok()
}

async fn alternated() -> (Vec<f64>, Vec<f64>) {
    let mut plain = OpenOptions::new()
        .read(true)
        .write(true)
        .open(echo())
        .expect("a pseudo-terminal opens");
    let settings = PortSettings {
        name: "echo".to_owned(),
        speed: 115_200,
        message_size: 1 << 16,
        block_tail: 0,
        ending: "\n".to_owned(),
        habits: Habits::default(),
        traffic: Traffic::default(),
        dtr: false,
        deadlines: Deadlines::REAL,
        abandon: String::new(),
        probe: None,
    };
    let port = Port::open(&echo(), settings).expect("the port opens");
    let (mut bare, mut queried) = (Vec::new(), Vec::new());
    for _ in 0..ROUNDS {
        bare.push(exchange(&mut plain));
        let begun = Instant::now();
        let answer = port
            .query(QUESTION, Effect::Asks)
            .await
            .expect("the echo answers");
        queried.push(begun.elapsed().as_secs_f64());
        assert_eq!(answer, QUESTION);
    }
    (bare, queried)
}

/// One bare exchange, in seconds.
fn exchange(plain: &mut File) -> f64 {
    let mut answer = [0; 64];
    let mut length = 0;
    let begun = Instant::now();
    plain
        .write_all(format!("{QUESTION}\n").as_bytes())
        .expect("the question goes out");
    while answer[..length].last() != Some(&b'\n') {
        length += plain.read(&mut answer[length..]).expect("the echo answers");
    }
    begun.elapsed().as_secs_f64()
}

/// A raw pseudo-terminal whose far end sends back what comes; the path of the
/// near end.
fn echo() -> String {
    let far = openpt(OpenptFlags::RDWR | OpenptFlags::NOCTTY | OpenptFlags::CLOEXEC)
        .expect("a pseudo-terminal");
    grantpt(&far).expect("granted");
    unlockpt(&far).expect("unlocked");
    let path = ptsname(&far, Vec::new())
        .expect("a name")
        .into_string()
        .expect("a plain name");
    let near = OpenOptions::new()
        .read(true)
        .write(true)
        .open(&path)
        .expect("it opens");
    let mut raw = tcgetattr(&near).expect("its settings");
    raw.make_raw();
    tcsetattr(&near, OptionalActions::Now, &raw).expect("raw mode");
    std::thread::spawn(move || {
        // The near end is kept open, so that the far end never hangs up.
        let _near = near;
        let mut far = File::from(far);
        let mut bytes = [0; 256];
        while let Ok(count) = far.read(&mut bytes) {
            if far.write_all(&bytes[..count]).is_err() {
                return;
            }
        }
    });
    path
}
