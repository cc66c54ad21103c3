//! Work on several threads whose results are handed out in order, as soon as the
//! order allows, so that few are held. It knows nothing of the work.

use std::collections::BTreeMap;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::mpsc::{SyncSender, sync_channel};

/// As many threads as this machine has cores.
pub fn cores() -> usize {
    std::thread::available_parallelism().map_or(1, usize::from)
}

/// Does `items` pieces of work on `threads` threads and hands each result to
/// `each`, in the order of the items. A thread begins with a state of its own
/// from `begin`; it ends early where `work` gives `None`. Once `each` says
/// `false` no further item is begun.
///
/// A panic in `work` goes on as one here.
///
/// ```
/// let mut squares = Vec::new();
/// bufferstop::parallel::in_order(2, 5, || (), |(), item| Some(item * item), |_, square| {
///     squares.push(square);
///     true
/// });
/// assert_eq!(squares, [0, 1, 4, 9, 16]);
/// ```
pub fn in_order<S, T: Send>(
    threads: usize,
    items: usize,
    begin: impl Fn() -> S + Sync,
    work: impl Fn(&mut S, usize) -> Option<T> + Sync,
    mut each: impl FnMut(usize, T) -> bool,
) {
    let threads = threads.clamp(1, items.max(1));
    let next = AtomicUsize::new(0);
    // Each thread may wait with one result until it is its turn.
    let (tell, told) = sync_channel(threads);
    let lane = |tell: SyncSender<(usize, T)>| {
        let mut state = begin();
        loop {
            let item = next.fetch_add(1, Ordering::Relaxed);
            if item >= items {
                return;
            }
            let Some(result) = work(&mut state, item) else {
                return;
            };
            if tell.send((item, result)).is_err() {
                return;
            }
        }
    };
    let lane = &lane;
    std::thread::scope(|scope| {
        for _ in 0..threads {
            let tell = tell.clone();
            scope.spawn(move || lane(tell));
        }
        drop(tell);
        let mut early = BTreeMap::new();
        let mut due = 0;
        for (item, result) in told {
            early.insert(item, result);
            while let Some(result) = early.remove(&due) {
                if !each(due, result) {
                    next.store(items, Ordering::Relaxed);
                }
                due += 1;
            }
        }
    });
}
