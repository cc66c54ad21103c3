//! Pages of the commands that a profile states. Which role needs which stands in
//! `profile::needs`.

use super::page::{Page, page};

pub(super) const PAGES: &[Page] = &[
    page(
        "commands.identify",
        "asks who the instrument is; the answer must match `profile.identifies_as`. Every \
         role needs it. In any command `\\x41` names a byte by its number.",
        "[commands]\nidentify = \"*IDN?\"",
    ),
    page(
        "commands.clear",
        "forgets errors of before. Without it they are read first.",
        "[commands]\nclear = \"*CLS\"",
    ),
    page(
        "commands.error",
        "asks for the oldest error, as SCPI-1999 has it: a number and a quoted text, 0 for none. \
         Another form stands in `[reply.error]`. Without it settings are read back instead, where \
         the profile can.",
        "[commands]\nerror = \"SYST:ERR?\"",
    ),
    page(
        "commands.complete",
        "asks whether the action before is over; see `completion.answer`. Without it an action is \
         given `completion.wait`.",
        "[commands]\ncomplete = \"*OPC?\"",
    ),
    page(
        "commands.event_status",
        "asks for the standard event status register of IEEE 488.2; its bit 128 shows an \
         instrument that was switched on since. Without it a restart is not found by this.",
        "[commands]\nevent_status = \"*ESR?\"",
    ),
    page(
        "commands.condition",
        "asks what the instrument says of its own protection; the bits are named in `[condition]`. \
         Without it only what is measured shows that it protects itself.",
        "[commands]\ncondition = \"STAT:QUES:COND?\"",
    ),
    page(
        "commands.operation",
        "asks whether a pulse, a ramp, a closure or a capture goes on; the bits are named in \
         `[operation]`.",
        "[commands]\noperation = \"STAT:OPER:COND?\"",
    ),
    page(
        "commands.set_voltage",
        "sets a supply's voltage.",
        "[commands]\nset_voltage = \"VOLT {volts}\"",
    ),
    page(
        "commands.set_current_limit",
        "sets the current that a supply gives at most.",
        "[commands]\nset_current_limit = \"CURR {amperes}\"",
    ),
    page(
        "commands.voltage_setting",
        "asks what voltage a supply is set to: shows whether a setting was taken, and one that \
         restarted.",
        "[commands]\nvoltage_setting = \"VOLT?\"",
    ),
    page(
        "commands.limit_setting",
        "asks what current a supply is limited to, likewise.",
        "[commands]\nlimit_setting = \"CURR?\"",
    ),
    page(
        "commands.output_on",
        "switches a supply's output on.",
        "[commands]\noutput_on = \"OUTP ON\"",
    ),
    page(
        "commands.output_off",
        "switches a supply's output off.",
        "[commands]\noutput_off = \"OUTP OFF\"",
    ),
    page(
        "commands.measure_voltage",
        "asks for the voltage at a supply's or a load's terminals.",
        "[commands]\nmeasure_voltage = \"MEAS:VOLT?\"",
    ),
    page(
        "commands.measure_current",
        "asks for the current that a supply gives or a load draws: by it is proven that they are \
         off.",
        "[commands]\nmeasure_current = \"MEAS:CURR?\"",
    ),
    page(
        "commands.constant_current",
        "lets a load hold a current. Without it that is all it can.",
        "[commands]\nconstant_current = \"FUNC:MODE CURR\"",
    ),
    page(
        "commands.constant_resistance",
        "lets a load hold a resistance.",
        "[commands]\nconstant_resistance = \"FUNC:MODE RES\"",
    ),
    page(
        "commands.set_current",
        "sets the current that a load draws.",
        "[commands]\nset_current = \"CURR {amperes}\"",
    ),
    page(
        "commands.current_setting",
        "asks what current a load is set to: shows whether a setting was taken, and one that \
         restarted.",
        "[commands]\ncurrent_setting = \"CURR?\"",
    ),
    page(
        "commands.set_resistance",
        "sets the resistance that a load stands for.",
        "[commands]\nset_resistance = \"RES {ohms}\"",
    ),
    page(
        "commands.resistance_setting",
        "asks what resistance a load is set to, likewise.",
        "[commands]\nresistance_setting = \"RES?\"",
    ),
    page(
        "commands.input_on",
        "switches a load's input on.",
        "[commands]\ninput_on = \"INP ON\"",
    ),
    page(
        "commands.input_off",
        "switches a load's input off.",
        "[commands]\ninput_off = \"INP OFF\"",
    ),
    page(
        "commands.pulse",
        "starts a pulse that the instrument ends by itself: of a load a current, of a switch a \
         closure. A load or a switch without one cannot run scenarios that need it; `check` says \
         which.",
        "[commands]\npulse = \"ROUT:CLOS:PULS (@{channel}),{seconds}\"",
    ),
    page(
        "commands.ramp",
        "starts a ramp of a load's current that it ends by itself.",
        "[commands]\nramp = \"CURR:STAR {from_amperes};STOP {to_amperes};:SWE:TIME {seconds};:INIT:SWE\"",
    ),
    page(
        "commands.short_pulse",
        "shorts a load's input for a time that the load keeps by itself, also when this program \
         is dead. With it `short` runs on a bench without a switch, its branch `closed_by = \
         \"load\"`; a short that somebody must end is no such command. `stop` and what makes the \
         load safe must end it. A trip time starts where the current crosses the onset level, \
         since no contact shows when it closed. It needs `operation`, `stop`, `shorted` and \
         `range.short_resistance`.",
        "[commands]\nshort_pulse = \"INP:SHOR:PULS {seconds}\"",
    ),
    page(
        "commands.shorted",
        "asks whether a load shorts its input now: nought where it does not. After each short it \
         is asked, beside the supply's current, and a load that says yes ends the run with its \
         supply off.",
        "[commands]\nshorted = \"INP:SHOR?\"",
    ),
    page(
        "commands.stop",
        "ends a load's pulse, ramp or short, or a capture.",
        "[commands]\nstop = \"ABOR\"",
    ),
    page(
        "commands.set_period",
        "sets the time between two samples.",
        "[commands]\nset_period = \"SWE:TINT {seconds}\"",
    ),
    page(
        "commands.period_setting",
        "asks for that time: without `error` it shows whether it was taken.",
        "[commands]\nperiod_setting = \"SWE:TINT?\"",
    ),
    page(
        "commands.set_length",
        "sets the number of samples.",
        "[commands]\nset_length = \"SWE:POIN {count}\"",
    ),
    page(
        "commands.length_setting",
        "asks for that number, likewise.",
        "[commands]\nlength_setting = \"SWE:POIN?\"",
    ),
    page(
        "commands.set_before_trigger",
        "sets how many of the samples lie before the trigger.",
        "[commands]\nset_before_trigger = \"SWE:OFFS:POIN -{count}\"",
    ),
    page(
        "commands.enable_channel",
        "switches a channel of a capture device on, before its range is set. Without it all are \
         on.",
        "[commands]\nenable_channel = \"CH{channel}:SHOW ON\"",
    ),
    page(
        "commands.probe_factor",
        "tells a capture device which probe is on a channel. It is sent with the factor 1, since \
         the bench file's `scale` says what stands before the input.",
        "[commands]\nprobe_factor = \"CH{channel}:PROBE {factor}\"",
    ),
    page(
        "commands.set_range",
        "sets the largest voltage, either side, that a channel shows. Where it is set by \
         divisions, `[argument.set_range.volts]` has the scale and the steps.",
        "[commands]\nset_range = \"VOLT{channel}:RANG {volts}\"",
    ),
    page(
        "commands.set_offset",
        "moves a channel's range. It is sent with 0 V.",
        "[commands]\nset_offset = \"CH{channel}:OFFS {volts}\"",
    ),
    page(
        "commands.trigger_line",
        "starts a capture at an edge of a logic line: {slope} is POS or NEG.",
        "[commands]\ntrigger_line = \"TRIG:SOUR DIG{line};SLOP {slope}\"",
    ),
    page(
        "commands.trigger_channel",
        "starts a capture where a channel crosses a level.",
        "[commands]\ntrigger_channel = \"TRIG:SOUR CHAN{channel};LEV {volts};SLOP {slope}\"",
    ),
    page(
        "commands.trigger_now",
        "starts a capture as soon as it is armed.",
        "[commands]\ntrigger_now = \"TRIG:SOUR IMM\"",
    ),
    page(
        "commands.arm",
        "lets a capture device wait for its trigger.",
        "[commands]\narm = \"INIT\"",
    ),
    page(
        "commands.select_channel",
        "selects the channel of which preamble, scales and samples are asked next. Without it \
         they name it themselves.",
        "[commands]\nselect_channel = \"DATA:SOURCE CH{channel}\"",
    ),
    page(
        "commands.preamble",
        "asks for what a channel's samples mean; see `waveform.volts_per_code`.",
        "[commands]\npreamble = \"TRAC:PRE? CHAN{channel}\"",
    ),
    page(
        "commands.read_channel",
        "asks for a channel's samples: {count} of them from {start} on, or from {start} to {last}, \
         counted from nought. Without any of these it hands out all at once.",
        "[commands]\nread_channel = \"TRAC? CHAN{channel},{start},{count}\"",
    ),
    page(
        "commands.read_lines",
        "asks for the words of the logic lines, a bit a line, likewise. Without logic lines it is \
         not needed.",
        "[commands]\nread_lines = \"TRAC? DIG,{start},{count}\"",
    ),
    page(
        "commands.close",
        "closes a contact until it is opened. No scenario uses it.",
        "[commands]\nclose = \"ROUT:CLOS (@{channel})\"",
    ),
    page(
        "commands.open",
        "opens a contact.",
        "[commands]\nopen = \"ROUT:OPEN (@{channel})\"",
    ),
    page(
        "commands.open_all",
        "opens every contact.",
        "[commands]\nopen_all = \"ROUT:OPEN:ALL\"",
    ),
    page(
        "commands.closed",
        "asks whether a contact is closed: by it is proven that a short has ended.",
        "[commands]\nclosed = \"ROUT:CLOS? (@{channel})\"",
    ),
    page(
        "commands.continuity",
        "asks whether the fuse behind a contact conducts. Without it a blown fuse shows only by \
         what is measured.",
        "[commands]\ncontinuity = \"ROUT:CONT? (@{channel})\"",
    ),
    page(
        "commands.pattern",
        "repeats a pattern of packets on the board's inputs.",
        "[commands]\npattern = \"SIGN:PATT {pattern}\"",
    ),
    page(
        "commands.break_line",
        "breaks one of the board's input lines: {input} is A, B or NONE.",
        "[commands]\nbreak_line = \"SIGN:BRE {input}\"",
    ),
    page(
        "commands.hold",
        "holds the board's inputs in a polarity: {polarity} is POS or NEG.",
        "[commands]\nhold = \"SIGN:HOLD {polarity}\"",
    ),
    page(
        "commands.signal_on",
        "lets the signal through to the board.",
        "[commands]\nsignal_on = \"SIGN ON\"",
    ),
    page(
        "commands.signal_off",
        "stops the signal.",
        "[commands]\nsignal_off = \"SIGN OFF\"",
    ),
    page(
        "commands.set_enable",
        "drives the board's enable line: {state} is 1 or 0.",
        "[commands]\nset_enable = \"CONT:ENAB {state}\"",
    ),
    page(
        "commands.enable_setting",
        "asks whether a signal source drives the board's enable line, as 1 or 0: shows one that \
         restarted.",
        "[commands]\nenable_setting = \"CONT:ENAB?\"",
    ),
    page(
        "commands.signal_setting",
        "asks whether a signal source lets the signal through, likewise.",
        "[commands]\nsignal_setting = \"SIGN?\"",
    ),
    page(
        "commands.set_brake",
        "drives the board's brake line: {state} is 1 or 0.",
        "[commands]\nset_brake = \"CONT:BRAK {state}\"",
    ),
    page(
        "commands.sense",
        "asks the board's console for its own reading of the current, in counts.",
        "[commands]\nsense = \"sense\"",
    ),
    page(
        "commands.state",
        "asks the board's console for its state, in its own words.",
        "[commands]\nstate = \"state\"",
    ),
    page(
        "commands.measure_temperature",
        "asks for the temperature at the thermometer's probe, in degrees Celsius.",
        "[commands]\nmeasure_temperature = \"MEAS:TEMP?\"",
    ),
];
