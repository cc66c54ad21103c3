//! The status registers of IEEE 488.2 clause 11 and SCPI-1999 volume 1, clause
//! 9, kept as numbers. What the bits mean for a device is the device's own.

use super::error::EsrBit;

/// A condition register with its event and enable registers; events latch on
/// rising conditions, the standard's preset.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Register {
    condition: u16,
    event: u16,
    enable: u16,
}

/// Bit 15 is never used in SCPI.
const USABLE: u16 = 0x7FFF;

impl Register {
    /// Takes in the device's present condition.
    pub fn observe(&mut self, condition: u16) {
        let condition = condition & USABLE;
        self.event |= condition & !self.condition;
        self.condition = condition;
    }

    /// The present condition.
    pub const fn condition(&self) -> u16 {
        self.condition
    }

    /// The latched events, cleared by reading.
    pub fn take_event(&mut self) -> u16 {
        std::mem::take(&mut self.event)
    }

    /// Which events reach the status byte.
    pub const fn enable(&self) -> u16 {
        self.enable
    }

    /// Sets which events reach the status byte.
    pub fn set_enable(&mut self, enable: u16) {
        self.enable = enable & USABLE;
    }

    const fn summary(&self) -> bool {
        self.event & self.enable != 0
    }
}

/// All status of one device.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct StatusModel {
    event: u8,
    event_enable: u8,
    service_enable: u8,
    /// OPERation.
    pub operation: Register,
    /// QUEStionable.
    pub questionable: Register,
}

/// Weights in the standard event register and the status byte.
const OPERATION_COMPLETE: u8 = 1;
const POWER_ON: u8 = 128;
const ERRORS_WAITING: u8 = 4;
const QUESTIONABLE: u8 = 8;
const MESSAGE_AVAILABLE: u8 = 16;
const EVENT_SUMMARY: u8 = 32;
const MASTER_SUMMARY: u8 = 64;
const OPERATION: u8 = 128;

impl Default for StatusModel {
    /// A device just switched on.
    fn default() -> Self {
        Self {
            event: POWER_ON,
            event_enable: 0,
            service_enable: 0,
            operation: Register::default(),
            questionable: Register::default(),
        }
    }
}

impl StatusModel {
    /// Latches the class of an error.
    pub fn raise(&mut self, bit: EsrBit) {
        self.event |= bit as u8;
    }

    /// Latches that every operation is complete.
    pub fn complete(&mut self) {
        self.event |= OPERATION_COMPLETE;
    }

    /// `*ESR?`: the standard events, cleared by reading.
    pub fn take_event(&mut self) -> u8 {
        std::mem::take(&mut self.event)
    }

    /// `*ESE?`
    pub const fn event_enable(&self) -> u8 {
        self.event_enable
    }

    /// `*ESE`
    pub fn set_event_enable(&mut self, enable: u8) {
        self.event_enable = enable;
    }

    /// `*SRE?`
    pub const fn service_enable(&self) -> u8 {
        self.service_enable
    }

    /// `*SRE`; its bit 6 is ignored (IEEE 488.2 clause 11.3.2).
    pub fn set_service_enable(&mut self, enable: u8) {
        self.service_enable = enable & !MASTER_SUMMARY;
    }

    /// `*CLS`, its part here: events go, enables and conditions stay.
    pub fn clear(&mut self) {
        self.event = 0;
        self.operation.event = 0;
        self.questionable.event = 0;
    }

    /// `STATus:PRESet`
    pub fn preset(&mut self) {
        self.operation.enable = 0;
        self.questionable.enable = 0;
    }

    /// `*STB?`: the status byte, with the master summary in bit 6.
    pub const fn byte(&self, message_available: bool, errors_waiting: bool) -> u8 {
        let mut byte = 0;
        if errors_waiting {
            byte |= ERRORS_WAITING;
        }
        if self.questionable.summary() {
            byte |= QUESTIONABLE;
        }
        if message_available {
            byte |= MESSAGE_AVAILABLE;
        }
        if self.event & self.event_enable != 0 {
            byte |= EVENT_SUMMARY;
        }
        if self.operation.summary() {
            byte |= OPERATION;
        }
        if byte & self.service_enable != 0 {
            byte |= MASTER_SUMMARY;
        }
        byte
    }
}
