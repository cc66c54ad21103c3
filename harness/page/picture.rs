//! What a scenario saw last, drawn beside the run by a thread of its own: a run waits
//! for no picture. It keeps nothing: the record has every capture whole.

use super::desk::Desk;
use super::markup::Markup;
use super::plot::{self, Window};
use crate::record::from_bytes;
use std::sync::Arc;
use tokio::sync::mpsc;

/// Draws the last capture of each observation that comes, until nobody sends any.
pub(super) fn drawn_beside(desk: Arc<Desk>, waiting: usize) -> mpsc::Sender<(String, Vec<u8>)> {
    let (send, mut seen) = mpsc::channel::<(String, Vec<u8>)>(waiting);
    let draws = move || {
        while let Some((scenario, bytes)) = seen.blocking_recv() {
            let Ok(observation) = from_bytes(&bytes) else {
                continue;
            };
            let takes = observation.takes();
            let Some(take) = takes.last() else {
                continue;
            };
            let capture = &take.capture;
            let mut out = Markup::default();
            out.put(
                "<figure><figcaption>{}: {}</figcaption>",
                &[&scenario, &capture.label],
            );
            out.add(&plot::drawn(capture, Window::whole(capture)));
            out.raw("</figure>");
            desk.saw(&out);
        }
    };
    // Without a thread nothing is drawn; the run goes on.
    if let Err(fault) = std::thread::Builder::new()
        .name("pictures".to_owned())
        .spawn(draws)
    {
        tracing::warn!(%fault, "captures are not drawn");
    }
    send
}
