//! A pass over samples that several look at, one after the other, on two threads:
//! they take turns at reading the file and looking ahead, and at each that follows
//! with what was noticed, so that every piece is looked at where it was read. Two
//! pieces are held, however long the file is; of what is noticed it knows nothing.

use super::Trouble;
use super::arrays::ArrayReader;
use crate::capture_file::Samples;
use std::io::Read;
use std::sync::mpsc::{Receiver, SyncSender, sync_channel};

/// Bytes read at a time: few turns, and yet a piece fits the cache of a core.
const PIECE: usize = 1 << 20;

/// Bytes of a file, and what was noticed in each batch of their samples.
struct Part<N> {
    bytes: Vec<u8>,
    filled: usize,
    /// More than there are batches, where it was used before.
    noticed: Vec<N>,
    batches: usize,
}

impl<N: Default> Part<N> {
    fn new() -> Self {
        Self {
            bytes: vec![0; PIECE],
            filled: 0,
            noticed: Vec::new(),
            batches: 0,
        }
    }

    /// Reads some bytes and looks at their samples; `false` at the end.
    fn fill(
        &mut self,
        looking: &mut Looking<'_, impl Read, impl FnMut(Samples<'_>, &mut N)>,
    ) -> Result<bool, Trouble> {
        self.filled = looking.file.read(&mut self.bytes)?;
        self.batches = 0;
        let (noticed, batches) = (&mut self.noticed, &mut self.batches);
        let bytes = &self.bytes[..self.filled];
        looking.reader.push(bytes, &mut |samples| {
            if noticed.len() == *batches {
                noticed.push(N::default());
            }
            (looking.ahead)(samples, &mut noticed[*batches]);
            *batches += 1;
        })?;
        Ok(self.filled > 0)
    }

    /// The same samples once more, each batch with what was noticed in it.
    fn follow(
        &mut self,
        following: &mut Following<'_, impl FnMut(Samples<'_>, &mut N)>,
    ) -> Result<(), Trouble> {
        let mut noticed = self.noticed[..self.batches].iter_mut();
        let bytes = &self.bytes[..self.filled];
        following.reader.push(bytes, &mut |samples| {
            if let Some(noticed) = noticed.next() {
                (following.behind)(samples, noticed);
            }
        })
    }
}

/// What reads and looks ahead.
struct Looking<'a, R, A> {
    file: R,
    reader: ArrayReader,
    ahead: &'a mut A,
}

/// What follows.
struct Following<'a, B> {
    reader: ArrayReader,
    behind: &'a mut B,
}

/// Hands on the samples of a file of this length, each batch to `ahead` and then,
/// with what that noticed, to all `behind`. All are read from the bytes, which costs
/// nothing where samples lie in a file as they are. A file that fits one piece needs
/// no second thread. One that shrinks meanwhile simply ends, and one that grows is
/// read as far as it went: nothing is mapped.
pub(super) fn abreast<N, A, B>(
    (file, length): (impl Read + Send, u64),
    reader: ArrayReader,
    ahead: &mut A,
    behind: &mut [B],
) -> Result<(), Trouble>
where
    N: Default + Send,
    A: FnMut(Samples<'_>, &mut N) + Send,
    B: FnMut(Samples<'_>, &mut N) + Send,
{
    let mut looking = Looking {
        file: file.take(length),
        reader: reader.clone(),
        ahead,
    };
    let following = behind.iter_mut().map(|behind| Following {
        reader: reader.clone(),
        behind,
    });
    if length <= PIECE as u64 {
        let (mut part, mut following) = (Part::new(), following.collect::<Vec<_>>());
        while part.fill(&mut looking)? {
            for following in &mut following {
                part.follow(following)?;
            }
        }
        return looking.reader.finish();
    }
    let [look, other_look] = Turns::begun_by(looking);
    let follow = following
        .map(Turns::begun_by)
        .map(|[own, other]| (own, other));
    let (follow, other_follow): (Vec<_>, Vec<_>) = follow.unzip();
    std::thread::scope(|scope| {
        let other = scope.spawn(move || take_turns(&other_look, &other_follow));
        let own = take_turns(&look, &follow);
        // Who waits for a turn that never comes must not wait on.
        drop((look, follow));
        let other = other.join();
        own.and(other.unwrap_or_else(|panic| std::panic::resume_unwind(panic)))
    })
}

/// One of two who do something in turn: whose turn it is has what it takes.
struct Turns<T> {
    mine: Receiver<T>,
    others: SyncSender<T>,
}

impl<T> Turns<T> {
    fn begun_by(first: T) -> [Self; 2] {
        let ((here, mine), (there, others)) = (sync_channel(1), sync_channel(1));
        let _ = here.send(first);
        let one = Self {
            mine,
            others: there,
        };
        [
            one,
            Self {
                mine: others,
                others: here,
            },
        ]
    }
}

/// Fills a piece, lets the other fill the next, follows it with each that follows
/// and lets the other follow, until the file ends or the other has come to a bad end.
fn take_turns<N: Default, R: Read, A, B>(
    look: &Turns<Looking<'_, R, A>>,
    follow: &[Turns<Following<'_, B>>],
) -> Result<(), Trouble>
where
    A: FnMut(Samples<'_>, &mut N),
    B: FnMut(Samples<'_>, &mut N),
{
    let mut part = Part::new();
    while let Ok(mut looking) = look.mine.recv() {
        if !part.fill(&mut looking)? {
            return looking.reader.finish();
        }
        let _ = look.others.send(looking);
        for follow in follow {
            let Ok(mut following) = follow.mine.recv() else {
                return Ok(());
            };
            part.follow(&mut following)?;
            let _ = follow.others.send(following);
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests;
