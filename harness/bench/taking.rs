//! Taking captures: armed and known to wait for their trigger before anything
//! is provoked, and fetched when they are over.

use super::Bench;
use super::fault::BenchError;
use crate::ident::Role;
use crate::instruments::{CaptureDevice, CaptureStatus};
use crate::scenario::acquisition::{CaptureRequest, Trigger};
use crate::units::Seconds;
use crate::waveform::Capture;

/// How often the capture is asked while it fills up.
const POLLS: u32 = 64;

/// What a capture is given beyond its own length.
const GRACE: Seconds = Seconds::new(0.05);

impl Bench {
    /// Arms a capture and waits until it waits for its trigger; one that
    /// starts at once is only started.
    ///
    /// # Errors
    /// A [`BenchError`]; [`BenchError::NotReady`] when it does not come to wait.
    pub async fn arm(&mut self, request: &CaptureRequest) -> Result<(), BenchError> {
        self.armed = None;
        self.capture()?.arm(request).await?;
        self.armed = Some(request.clone());
        if request.trigger == Trigger::Now {
            return Ok(());
        }
        let within = request.before() * 2.0 + GRACE;
        let step = within / f64::from(POLLS);
        for _ in 0..POLLS {
            if self.capture()?.status().await? == CaptureStatus::Waiting {
                return Ok(());
            }
            self.wait(step).await?;
        }
        Err(BenchError::NotReady { within })
    }

    /// Whether the armed capture was triggered.
    ///
    /// # Errors
    /// A [`BenchError`].
    pub async fn triggered(&self) -> Result<bool, BenchError> {
        let status = self.capture()?.status().await?;
        Ok(self.armed.is_some() && status != CaptureStatus::Waiting)
    }

    /// Gives up a capture that is armed; nothing where none is.
    ///
    /// # Errors
    /// A [`BenchError`].
    pub async fn disarm(&mut self) -> Result<(), BenchError> {
        match self.armed.take() {
            Some(_) => Ok(self.capture()?.stop().await?),
            None => Ok(()),
        }
    }

    /// Waits until the armed capture is over and reads it out.
    ///
    /// # Errors
    /// A [`BenchError`]; [`BenchError::NotTriggered`] when it still waits for
    /// its trigger, in which case it is given up.
    pub async fn fetch(&mut self, label: &str) -> Result<Capture, BenchError> {
        self.fetch_within(label, GRACE).await
    }

    /// As [`Bench::fetch`], for a trigger that may come as late as `trigger`
    /// from now.
    ///
    /// # Errors
    /// As for [`Bench::fetch`].
    pub async fn fetch_within(
        &mut self,
        label: &str,
        trigger: Seconds,
    ) -> Result<Capture, BenchError> {
        let request = self.armed.take().ok_or(BenchError::NotArmed)?;
        let device = self.capture()?;
        self.until(device, trigger, |status| status != CaptureStatus::Waiting)
            .await?;
        let rest = request.after_trigger() + request.before() + GRACE;
        self.until(device, rest, |status| status == CaptureStatus::Idle)
            .await?;
        // One that restarted while it was set up has taken another capture.
        self.kept(Role::Capture, device.read_out(&request, label).await)
    }

    async fn until(
        &self,
        device: CaptureDevice<'_>,
        within: Seconds,
        done: impl Fn(CaptureStatus) -> bool,
    ) -> Result<(), BenchError> {
        let step = within / f64::from(POLLS);
        let mut status = device.status().await?;
        for _ in 0..POLLS {
            if done(status) {
                return Ok(());
            }
            self.wait(step).await?;
            status = device.status().await?;
        }
        if done(status) {
            return Ok(());
        }
        device.stop().await?;
        Err(match status {
            CaptureStatus::Waiting => BenchError::NotTriggered { within },
            _ => BenchError::Unfinished {
                role: Role::Capture,
                within,
            },
        })
    }

    /// Whether the capture device sees `signal` and up to which magnitude.
    pub fn sees(&self, signal: crate::waveform::Signal) -> Option<f64> {
        let device = self.capture().ok()?;
        device.wiring().channel(signal).map(|channel| channel.range)
    }
}
