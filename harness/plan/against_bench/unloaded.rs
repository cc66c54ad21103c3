//! What idle and loss scenarios need of a bench: lines, and commands of the
//! signal source. Their energy is weighed beside this file.

use super::{Against, At};
use crate::bench_file::Carries;
use crate::ident::Role;
use crate::scenario::Polarity;
use crate::scenario::idle::OutputState;
use crate::scenario::idle::Settings as Idle;
use crate::scenario::loss::LossCause;
use crate::scenario::loss::Settings as Loss;

impl Against<'_> {
    pub(super) fn idle(&mut self, at: At<'_>, idle: &Idle) {
        if at.has_limit("fault_line_quiet") {
            self.line(at, Carries::Fault);
        }
        if at.has_limit("polarity_right") && idle.polarities.contains(&Polarity::Alternating) {
            self.line(at, Carries::InputA);
        }
        if idle.has(OutputState::Braked) {
            self.drive_command(at, "states", "set_brake", "drives no brake line");
        }
    }

    pub(super) fn loss(&mut self, at: At<'_>, loss: &Loss) {
        if loss.causes.iter().any(|cause| *cause != LossCause::LineB) {
            self.line(at, Carries::InputA);
        }
        if loss.causes.contains(&LossCause::LineB) {
            self.line(at, Carries::InputB);
        }
        if loss.causes.iter().any(|cause| cause.breaks()) {
            self.drive_command(at, "causes", "break_line", "breaks no line");
        }
    }

    /// The signal source has `command`.
    fn drive_command(&mut self, at: At<'_>, key: &str, command: &str, lacks: &str) {
        let Some(profile) = self.profile(Role::Drive) else {
            return;
        };
        if profile.command(command).is_none() {
            self.plan_fault(
                &at.path(key),
                format!("the bench's signal source {lacks}"),
                format!("`{command}` among the commands of its profile"),
            );
        }
    }
}
