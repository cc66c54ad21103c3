//! Checks of instruments that take and give whole messages, over pairs of sockets
//! that keep each message apart. No device of the kernel is here: how it behaves
//! where an instrument is silent is not tried.

use super::super::messages::MessageWire;
use super::*;
use rustix::net::{AddressFamily, RecvFlags, SocketFlags, SocketType, recv, socketpair};
use std::os::fd::OwnedFd;
use std::task::{Context, Poll, Waker};
use tokio::io::{AsyncRead as _, ReadBuf};

fn pair() -> (OwnedFd, OwnedFd) {
    let kind = SocketType::SEQPACKET;
    let flags = SocketFlags::CLOEXEC;
    let (host, device) = socketpair(AddressFamily::UNIX, kind, flags, None).expect("a pair");
    rustix::io::ioctl_fionbio(&host, true).expect("it need not block");
    (host, device)
}

/// What the instrument says to one message, message by message.
fn answers(message: &str) -> Vec<Vec<u8>> {
    match message {
        "ERR?\n" => vec![b"0,\"No error\"".to_vec()],
        // A hundred bytes in messages of 64, the first ending in what ends a line.
        "BLOCK?\n" => {
            let mut whole = b"#3100".to_vec();
            whole.extend([b'\n'; 100]);
            whole.chunks(64).map(<[u8]>::to_vec).collect()
        }
        "SLOW?\n" => {
            std::thread::sleep(REPLY + Duration::from_millis(40));
            vec![b"much too late\n".to_vec()]
        }
        "LEAVE\n" => vec![Vec::new()],
        "ENDED?\n" => vec![b"with an ending\n".to_vec()],
        other if other.ends_with("?\n") => {
            vec![format!("answer to {}", other.trim_end()).into_bytes()]
        }
        _ => Vec::new(),
    }
}

/// An instrument on a thread of its own, and the messages that it heard.
fn instrument() -> (OwnedFd, Heard) {
    let (host, device) = pair();
    let heard = Heard::default();
    let notes = Arc::clone(&heard);
    std::thread::spawn(move || {
        let mut room = [0; 1000];
        while let Ok(count) = rustix::io::read(&device, &mut room)
            && count > 0
        {
            let message = String::from_utf8_lossy(&room[..count]).into_owned();
            notes.lock().expect("no panic").push(message.clone());
            for answer in answers(&message) {
                if answer.is_empty() || rustix::io::write(&device, &answer).is_err() {
                    return;
                }
            }
        }
    });
    (host, heard)
}

fn port() -> (Port, Heard) {
    let (host, heard) = instrument();
    (
        Port::of_messages(host, settings()).expect("a thread"),
        heard,
    )
}

#[tokio::test]
async fn a_line_is_a_message_and_the_end_of_a_message_ends_a_line() {
    let (port, heard) = port();
    assert!(port.is_by_messages());
    assert_eq!(asks(&port, "A?").await, Ok("answer to A?".to_owned()));
    port.send("DO 1", Effect::Acts).await.expect("it is taken");
    port.send("DO 2", Effect::Acts).await.expect("it is taken");
    // Longer than what is read at once.
    assert_eq!(port.query_block("BLOCK?", 100).await, Ok(vec![b'\n'; 100]));
    assert_eq!(asks(&port, "ENDED?").await, Ok("with an ending".to_owned()));
    assert_eq!(asks(&port, "B?").await, Ok("answer to B?".to_owned()));
    let heard = heard.lock().expect("no panic").clone();
    assert_eq!(
        heard,
        ["A?\n", "DO 1\n", "DO 2\n", "BLOCK?\n", "ENDED?\n", "B?\n"]
    );
}

#[tokio::test]
async fn a_late_message_is_no_answer_to_the_next_question() {
    let (port, heard) = port();
    let error = asks(&port, "SLOW?").await.expect_err("too late");
    assert_eq!(cause(error), Cause::Silent(REPLY));
    tokio::time::sleep(Duration::from_millis(60)).await;
    assert_eq!(asks(&port, "NEXT?").await, Ok("answer to NEXT?".to_owned()));
    assert_eq!(times(&heard, "ERR?\n"), 1, "it got back in step");
}

#[tokio::test]
async fn spoiled_messages_are_spoiled_answers() {
    for mishap in [Mishap::Drop, Mishap::Cut, Mishap::Garble] {
        let (host, heard) = instrument();
        let (wire, due) = MessageWire::over(host, &settings()).expect("a thread");
        let wire = Faulty::new(wire, Mishaps::listed([Some(mishap)]));
        let port = Port::start(wire, settings(), Some(due));
        let error = port.query("ACT;OPC?", Effect::Acts).await;
        let error = error.expect_err("its confirmation was spoiled");
        assert!(matches!(error, LinkError::Uncertain { .. }), "{error}");
        assert_eq!(asks(&port, "NEXT?").await, Ok("answer to NEXT?".to_owned()));
        assert_eq!(times(&heard, "ACT;OPC?\n"), 1, "{mishap:?}");
    }
}

#[tokio::test]
async fn a_device_that_goes_away_is_gone() {
    let (port, _) = port();
    port.send("LEAVE", Effect::Acts).await.expect("it is taken");
    tokio::time::sleep(Duration::from_millis(20)).await;
    let error = asks(&port, "NEXT?").await.expect_err("nobody is there");
    assert!(error.is_gone(), "{error}");
}

#[tokio::test]
async fn urgent_bytes_pass_a_question_without_an_answer() {
    let (host, device) = pair();
    let port = Port::of_messages(host, settings()).expect("a thread");
    let asked = port.clone();
    let asking = tokio::spawn(async move { asks(&asked, "WAIT?").await });
    tokio::time::sleep(Duration::from_millis(20)).await;
    port.interrupt(b"OFF\n".to_vec()).await.expect("taken");
    let error = asking.await.expect("no panic").expect_err("interrupted");
    assert_eq!(cause(error), Cause::Interrupted);
    for message in [&b"WAIT?\n"[..], b"OFF\n"] {
        let mut room = [0; 100];
        let count = rustix::io::read(&device, &mut room).expect("a message");
        assert_eq!(&room[..count], message);
    }
}

/// To read is to ask the instrument: one that was asked nothing calls it an error.
#[tokio::test]
async fn nothing_is_read_before_an_answer_is_due() {
    let (host, device) = pair();
    let own = host.try_clone().expect("a handle");
    let (mut wire, due) = MessageWire::over(host, &settings()).expect("a thread");
    rustix::io::write(&device, b"unasked\n").expect("it is sent");
    let mut room = [0; 100];
    let mut poll = |wire: &mut MessageWire| {
        let mut buf = ReadBuf::new(&mut room);
        let read = std::pin::Pin::new(wire)
            .poll_read(&mut Context::from_waker(Waker::noop()), &mut buf)
            .map(|result| result.is_ok());
        (read, buf.filled().to_vec())
    };
    assert_eq!(poll(&mut wire), (Poll::Pending, Vec::new()));
    std::thread::sleep(Duration::from_millis(20));
    let mut waiting = [0; 100];
    let (count, _) = recv(&own, &mut waiting, RecvFlags::PEEK).expect("it is there yet");
    assert_eq!(&waiting[..count], b"unasked\n");

    due.store(true, std::sync::atomic::Ordering::Release);
    assert_eq!(poll(&mut wire).0, Poll::Pending);
    std::thread::sleep(Duration::from_millis(50));
    // The end of the message comes as one of a line.
    assert_eq!(
        poll(&mut wire),
        (Poll::Ready(true), b"unasked\n\n".to_vec())
    );
}

#[tokio::test]
async fn what_is_no_device_of_messages_is_refused() {
    let open = |path: &str| Port::open_messages(path, settings()).map(drop);
    let error = open("/dev/no-such-device").expect_err("nothing is there");
    assert!(matches!(error, LinkError::Absent { .. }), "{error}");
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("file");
    std::fs::write(&file, "").expect("a file");
    let error = open(file.to_str().expect("text")).expect_err("a file");
    assert!(error.to_string().contains("neither"), "{error}");
    let pty = rustix::pty::openpt(rustix::pty::OpenptFlags::RDWR).expect("a terminal");
    rustix::pty::grantpt(&pty).expect("granted");
    rustix::pty::unlockpt(&pty).expect("unlocked");
    let name = rustix::pty::ptsname(&pty, Vec::new()).expect("its name");
    let error = open(name.to_str().expect("text")).expect_err("a serial line");
    assert!(error.to_string().contains("`path`"), "{error}");
}

/// One device, one program: the second is told so, and the first may have it again.
#[tokio::test]
async fn a_device_in_use_is_busy_until_it_is_closed() {
    let path = "/dev/null";
    let first = Port::open_messages(path, settings()).expect("it is free");
    let error = Port::open_messages(path, settings()).expect_err("in use");
    assert!(matches!(error, LinkError::Busy { .. }), "{error}");
    first.close().await;
    Port::open_messages(path, settings()).expect("it is free again");
}
