//! Pages of a profile's keys beside its commands. How a file is read stands in
//! `profile`.

use super::page::{Page, page};

pub(super) const PAGES: &[Page] = &[
    page(
        "format",
        "the format of the file. There is one.",
        "format = 1",
    ),
    page(
        "profile.name",
        "what a person calls this model of instrument. It stands in records and on papers.",
        "[profile]\nname = \"electronic load, SCPI\"",
    ),
    page(
        "profile.role",
        "what the instrument is on the bench: supply, load, capture, switch, drive, console or \
         thermometer. It decides which commands, ranges and accuracies the profile states.",
        "[profile]\nrole = \"load\"",
    ),
    page(
        "profile.identifies_as",
        "a regular expression that the answer to `identify` must match, so that no other \
         instrument is taken for this one. In a console's, the group `revision` is what the board \
         says of its own revision.",
        "[profile]\nidentifies_as = '^MAKER,LOAD 3,'",
    ),
    page(
        "line.speed",
        "bits a second, with 8 data bits, no parity and one stop bit. Behind a socket it only \
         serves to estimate how long an exchange takes.",
        "[line]\nspeed = 115200",
    ),
    page(
        "line.ending",
        "what ends a line, both ways: \"\\n\", \"\\r\" or \"\\r\\n\". With \"\" nothing does; then \
         `[reply]` states for each question how many `bytes` its answer has.",
        "[line]\nending = \"\\r\\n\"",
    ),
    page(
        "line.message_size",
        "how many bytes are asked for at once where the instrument gives whole messages \
         (`usbtmc` in the bench file), from 64 to 16777216; an answer may be longer and \
         comes in parts. Without it 1048576.",
        "[line]\nmessage_size = 65536",
    ),
    page(
        "line.processing",
        "what the instrument takes for one command, for estimates.",
        "[line]\nprocessing = \"5 ms\"",
    ),
    page(
        "line.dtr",
        "what the line data-terminal-ready should be while the port is open: true or false. \
         Raising it resets some boards.",
        "[line]\ndtr = false",
    ),
    page(
        "line.reply",
        "the longest that a whole answer may take, beside the time of its bytes on the line. \
         Without it 3 s.",
        "[line]\nreply = \"8 s\"",
    ),
    page(
        "line.quiet",
        "no byte for so long means that nothing more comes; after trouble both ends wait for it. \
         Without it 50 ms. For an instrument that forgets half a line after some time: more than \
         that time.",
        "[line]\nquiet = \"400 ms\"",
    ),
    page(
        "line.gap",
        "the minimum time between an answer and the next line, for instruments that lose what comes \
         sooner: 500 ms at most. Without it none.",
        "[line]\ngap = \"20 ms\"",
    ),
    page(
        "line.echo",
        "whether the instrument says each line back, byte by byte with its ending, before it \
         answers. What comes back otherwise is a fault of the line. Without it false.",
        "[line]\necho = true",
    ),
    page(
        "line.prompt",
        "what the instrument sends after each line, answered or not, when it is ready for the \
         next. Without it nothing is awaited.",
        "[line]\nprompt = \"> \"",
    ),
    page(
        "line.acknowledgement",
        "what every command that asks nothing is answered with when it is taken; any other answer \
         is a refusal. `\\x06` names a byte by its number. One command's own stands in \
         `reply.COMMAND.acknowledgement`.",
        "[line]\nacknowledgement = \"OK\"",
    ),
    page(
        "line.checksum.kind",
        "how the checksum behind each line, both ways, is computed: `sum` (low eight bits), `xor`, \
         `crc-16-1021` (ITU-T V.41's polynomial, begun with 0xFFFF; 0x29B1 over the digits 1 to 9) \
         or `crc-16-8005` (low bit first, begun with 0xFFFF; 0x4B37). Blocks of samples have none.",
        "[line.checksum]\nkind = \"xor\"",
    ),
    page(
        "line.checksum.written",
        "how the checksum is written: `hexadecimal` digits, or as bytes, the `high first` or the \
         `low first`. Without it as digits.",
        "[line.checksum]\nkind = \"crc-16-8005\"\nwritten = \"low first\"",
    ),
    page(
        "line.checksum.mark",
        "what stands between the line and its checksum; it is not counted. Without it nothing.",
        "[line.checksum]\nkind = \"xor\"\nmark = \"*\"",
    ),
    page(
        "line.checksum.skip",
        "how many of a line's first bytes are not counted, such as a leading `$`. Without it none.",
        "[line.checksum]\nkind = \"xor\"\nskip = 1",
    ),
    page(
        "argument.COMMAND.VALUE.scale",
        "what is sent for one SI unit: 1000 where the instrument takes milliamperes, 0.25 where a \
         range is set by a quarter of it. Without it 1.",
        "[argument]\nset_current = { amperes = { scale = 1000 } }",
    ),
    page(
        "argument.COMMAND.VALUE.add",
        "what is added to the scaled number: 1 where samples are counted from one. Without it 0.",
        "[argument.read_channel]\nstart = { add = 1 }",
    ),
    page(
        "argument.COMMAND.VALUE.decimals",
        "digits behind the point, rounded. Without it as many as the number needs.",
        "[argument.set_voltage.volts]\ndecimals = 3",
    ),
    page(
        "argument.COMMAND.VALUE.width",
        "the minimum number of characters, filled up with noughts from the left; of a number in \
         bytes how many there are.",
        "[argument.set_voltage.volts]\ndecimals = 2\nwidth = 5",
    ),
    page(
        "argument.COMMAND.VALUE.steps",
        "the only numbers that can be sent, rising: the smallest one that is enough is sent. Where \
         none is, the run stops before anything is sent.",
        "[argument.set_range.volts]\nsteps = [0.5, 1, 2, 5, 10, 20, 50]",
    ),
    page(
        "argument.COMMAND.VALUE.spelling",
        "how the number is spelt: `decimal`, `exponent` (4.5E-3), `hexadecimal`, or as `width` \
         bytes, the `high first` or the `low first`. Without it decimal.",
        "[argument.pulse.seconds]\nscale = 1000\nspelling = \"high first\"\nwidth = 2",
    ),
    page(
        "argument.COMMAND.VALUE.words",
        "what is sent instead of a word or of a finished number. The words are POS and NEG for \
         slopes and polarities, A, B and NONE for a broken line, 1 and 0 for states.",
        "[argument.trigger_line.slope]\nwords = { POS = \"RISE\", NEG = \"FALL\" }",
    ),
    page(
        "reply.COMMAND.pattern",
        "a regular expression that the answer matches; the group `value` is the part that counts. \
         Without it the whole answer does.",
        "[reply.measure_current]\npattern = '^I=(?<value>.*)$'",
    ),
    page(
        "reply.COMMAND.field",
        "which field of a list parted by commas counts, from one.",
        "[reply.measure_current]\nfield = 2",
    ),
    page(
        "reply.COMMAND.unit",
        "the unit of a number that names none. One that names its own, such as 4498 mA, needs \
         nothing.",
        "[reply.measure_current]\nunit = \"mA\"",
    ),
    page(
        "reply.COMMAND.words",
        "what fixed words stand for, as the number that a bare answer would be: the weights of \
         bits for `condition` and `operation`, 0 and 1 for states, 0 for no error.",
        "[reply.operation]\nwords = { READY = 0, BUSY = 8 }",
    ),
    page(
        "reply.COMMAND.bytes",
        "the answer is so many bytes, whatever they are, instead of a line. Without `binary` they \
         are text for `pattern` and `words`.",
        "[reply.closed]\nbytes = 1\nbinary = \"high first\"",
    ),
    page(
        "reply.COMMAND.binary",
        "the bytes are a number without a sign, the `high first` or the `low first`.",
        "[reply.operation]\nbytes = 2\nbinary = \"low first\"",
    ),
    page(
        "reply.COMMAND.lowest_channel",
        "the answer to `closed` or `continuity` has a bit for each channel, of which the lowest is \
         this channel's. The command then needs no {channel}.",
        "[reply.closed]\nbytes = 1\nbinary = \"high first\"\nlowest_channel = 1",
    ),
    page(
        "reply.COMMAND.acknowledgement",
        "what this command is answered with though it asks nothing; \"\" where it alone stays \
         silent.",
        "[reply.output_on]\nacknowledgement = \"ON\"",
    ),
    page(
        "completion.answer",
        "what `complete` answers when an action is over. Without it 1, as IEEE 488.2 has it.",
        "[completion]\nanswer = \"READY\"",
    ),
    page(
        "completion.every",
        "how often `complete` is asked until that answer comes; with `within`. Without it once.",
        "[completion]\nanswer = \"READY\"\nevery = \"20 ms\"\nwithin = \"2 s\"",
    ),
    page(
        "completion.within",
        "for how long `complete` is asked at most; with `every`.",
        "[completion]\nevery = \"20 ms\"\nwithin = \"2 s\"",
    ),
    page(
        "completion.wait",
        "the time that every action is given, where nothing can be asked. Without it none.",
        "[completion]\nwait = \"30 ms\"",
    ),
    page(
        "completion.waits.COMMAND",
        "the time that this action is given instead.",
        "[completion]\nwaits = { output_on = \"300 ms\" }",
    ),
    page(
        "waveform.data",
        "how a capture device hands out samples: as a definite-length `block` of IEEE 488.2, as a \
         list in ASCII of `codes` or of `volts` at its input, or as a `table` in ASCII of which \
         each row has a sample in volts (of the lines, their word). Without the table: blocks of 16 \
         bits and a preamble as the shipped profile's.",
        "[waveform]\ndata = \"volts\"",
    ),
    page(
        "waveform.column",
        "the column of a table in which the sample stands, from one, parted by commas, \
         semicolons or tabulators. Without it 2, behind the time.",
        "[waveform]\ndata = \"table\"\ncolumn = 3",
    ),
    page(
        "waveform.header_lines",
        "how many lines of a table stand before its first row. Without it none.",
        "[waveform]\ndata = \"table\"\nheader_lines = 2",
    ),
    page(
        "waveform.framed",
        "how a table comes: all of it as one `block` of IEEE 488.2, or as so many `lines`. \
         Without it a block.",
        "[waveform]\ndata = \"table\"\nframed = \"lines\"",
    ),
    page(
        "waveform.checksum.kind",
        "the checksum over the data of each block: `sum`, `xor`, `crc-16-1021` or \
         `crc-16-8005`, as for lines. A block in which it is wrong is asked for once more; \
         wrong again the run is inconclusive.",
        "[waveform.checksum]\nkind = \"crc-16-8005\"",
    ),
    page(
        "waveform.checksum.written",
        "as bytes, `high first` or `low first`, or as `hexadecimal` digits. Without it bytes, \
         the high one first.",
        "[waveform.checksum]\nkind = \"crc-16-8005\"\nwritten = \"low first\"",
    ),
    page(
        "waveform.checksum.counted",
        "true where the checksum is the last of the data and counted in the block's head. \
         Without it false: it stands behind the block, before what ends a line.",
        "[waveform.checksum]\nkind = \"sum\"\ncounted = true",
    ),
    page(
        "waveform.sample_bits",
        "bits of a block's samples: 8 or 16. Without it 16.",
        "[waveform]\nsample_bits = 8",
    ),
    page(
        "waveform.signed",
        "whether codes go either side of nought: in a block as two's complement, in a list with a sign. Without it true.",
        "[waveform]\nsigned = false",
    ),
    page(
        "waveform.order",
        "which byte of a block's samples comes first: `high first` or `low first`. Without it the \
         high one.",
        "[waveform]\norder = \"low first\"",
    ),
    page(
        "waveform.count",
        "where the number of samples stands that the device holds, so that it is checked; see \
         `waveform.volts_per_code`. Without it only what comes is counted.",
        "[waveform]\ncount = { query = \"POINTS?\" }",
    ),
    page(
        "waveform.volts_per_code",
        "where the volts at the input of one code stand: in the `field` of the preamble, from one; \
         behind a `name` in it, in any order; in the answer to a `query` of its own; or as a \
         `value` that never changes. A code's volts are `volts_at_zero` + `volts_per_code` x \
         (code - `zero_code`).",
        "[waveform]\nvolts_per_code = { query = \"CH{channel}:SCALE?\" }",
    ),
    page(
        "waveform.volts_at_zero",
        "where the volts that `zero_code` stands for are found. Without it 0 V.",
        "[waveform]\nvolts_at_zero = { name = \"YZERO\" }",
    ),
    page(
        "waveform.zero_code",
        "where the code that stands for them is found. Without it 0.",
        "[waveform]\nzero_code = { value = 128 }",
    ),
    page(
        "waveform.clipped",
        "where it stands whether a sample reached the end of the range: not nought. Without it the \
         samples themselves are looked at.",
        "[waveform]\nclipped = { field = 6 }",
    ),
    page(
        "waveform.bits",
        "where the bits of the converter stand. Without it as many as `range.bits`, or the eight \
         of a block of bytes.",
        "[waveform]\nbits = { value = 12 }",
    ),
    page(
        "waveform.full_scale",
        "where the largest voltage stands that the channel can show, either side. Without it what \
         all codes together span, or the range that was set.",
        "[waveform]\nfull_scale = { query = \"CH{channel}:RANGE?\" }",
    ),
    page(
        "waveform.period",
        "where the seconds between two samples stand, so that they are checked: a device that \
         restarted while it was set up has a time base of its own. Without it the setting is asked \
         for where `commands.period_setting` can.",
        "[waveform]\nperiod = { field = 2 }",
    ),
    page(
        "waveform.first",
        "where the seconds from the trigger to the first sample stand, below nought before it, so \
         that they are checked. Without it they are not.",
        "[waveform]\nfirst = { field = 3 }",
    ),
    page(
        "waveform.SCALE.field",
        "the field of the preamble, parted by commas or semicolons, from one.",
        "[waveform]\nvolts_per_code = { field = 4 }",
    ),
    page(
        "waveform.SCALE.name",
        "the name behind which it stands in the preamble, parted by blanks, = or :, whatever path \
         is written before it.",
        "[waveform]\nvolts_per_code = { name = \"YMULT\" }",
    ),
    page(
        "waveform.SCALE.query",
        "a question for it alone, with {channel} where it has a place for that.",
        "[waveform]\nvolts_per_code = { query = \"CH{channel}:SCALE?\" }",
    ),
    page(
        "waveform.SCALE.value",
        "a number that never changes.",
        "[waveform]\nzero_code = { value = 128 }",
    ),
    page(
        "safety.abandon",
        "bytes that make the instrument drop half a line; \"\" where it forgets one by itself.",
        "[safety]\nabandon = \"\\n\"",
    ),
    page(
        "safety.make_safe",
        "the lines that switch the instrument off, sent in this order whatever has happened, also \
         by the guardian. They have no values. `\\x41` names a byte.",
        "[safety]\nmake_safe = [\"ABOR\", \"INP OFF\"]",
    ),
    page(
        "condition.NAME",
        "the weight of a bit in the answer to `condition`. A supply's are current_limiting, \
         over_voltage and over_temperature; a load's over_voltage, over_current, over_power and \
         over_temperature.",
        "[condition]\nover_voltage = 1",
    ),
    page(
        "operation.NAME",
        "the weight of a bit in the answer to `operation`: `running` of a load, a switch and a \
         capture device, and its `waiting_for_trigger`.",
        "[operation]\nrunning = 8",
    ),
    page(
        "range.voltage",
        "the largest voltage: what a supply gives, a load or a capture device's input withstands.",
        "[range]\nvoltage = \"60 V\"",
    ),
    page(
        "range.current",
        "the largest current that a supply gives or a load draws.",
        "[range]\ncurrent = \"30 A\"",
    ),
    page(
        "range.power",
        "the largest power that a load takes.",
        "[range]\npower = \"300 W\"",
    ),
    page(
        "range.minimum_voltage",
        "the minimum voltage at which a load still draws its current.",
        "[range]\nminimum_voltage = \"1 V\"",
    ),
    page(
        "range.short_resistance",
        "the minimum resistance of a load that shorts its input, needed beside `short_pulse`. With \
         the wires it bounds the current of that short, which must not exceed `range.current`.",
        "[range]\nshort_resistance = \"50 mohm\"",
    ),
    page(
        "range.channels",
        "how many channels there are: analogue ones of a capture device, contacts of a switch.",
        "[range]\nchannels = 4",
    ),
    page(
        "range.lines",
        "how many logic lines a capture device has; 0 where it has none.",
        "[range]\nlines = 0",
    ),
    page(
        "range.period",
        "the shortest time between two samples.",
        "[range]\nperiod = \"10 ns\"",
    ),
    page(
        "range.samples",
        "the most samples of one capture.",
        "[range]\nsamples = 1000000",
    ),
    page(
        "range.bits",
        "bits of a capture device's converter.",
        "[range]\nbits = 8",
    ),
    page(
        "range.shortest_pulse",
        "the shortest closure that the switch ends by itself.",
        "[range]\nshortest_pulse = \"1 ms\"",
    ),
    page(
        "range.longest_pulse",
        "the longest closure that the switch ends by itself.",
        "[range]\nlongest_pulse = \"10 s\"",
    ),
    page(
        "accuracy.WHAT.reading",
        "the part of the reading by which it may be off, either side, as the data sheet states it. \
         WHAT is the command that measures or sets, or `channel` of a capture device.",
        "[accuracy.measure_current]\nreading = \"0.1 %\"",
    ),
    page(
        "accuracy.WHAT.fixed",
        "the amount by which it may be off beside that.",
        "[accuracy.measure_current]\nfixed = \"10 mA\"",
    ),
    page(
        "accuracy.WHAT.fixed_of_range",
        "the part of the range in use by which it may be off beside that.",
        "[accuracy.channel]\nfixed_of_range = \"0.25 %\"",
    ),
    page(
        "accuracy.WHAT.resolution",
        "the smallest step of what it shows or sets. Without it what its bits give, or none.",
        "[accuracy.measure_current]\nresolution = \"1 mA\"",
    ),
    page(
        "accuracy.WHAT.integration",
        "the time over which one reading is taken, for estimates.",
        "[accuracy.measure_current]\nintegration = \"20 ms\"",
    ),
    page(
        "accuracy.WHAT.time_base",
        "the part of a time by which a capture device's clock may be off.",
        "[accuracy.channel]\ntime_base = \"50 ppm\"",
    ),
];
