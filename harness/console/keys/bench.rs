//! Pages of the keys of a bench file. How it is read stands in `bench_file`.

use super::page::{Page, page};

pub(super) const PAGES: &[Page] = &[
    page(
        "format",
        "the format of the file. There is one.",
        "format = 1",
    ),
    page(
        "bench.name",
        "what a person calls the bench. It stands in records and on papers.",
        "[bench]\nname = \"bench by the window\"",
    ),
    page(
        "instrument.role",
        "what the instrument is: supply, load, capture, switch, drive, console or \
         thermometer. Each role is there once at most; a scenario's page in the guide \
         says which it needs.",
        "[[instrument]]\nrole = \"load\"",
    ),
    page(
        "instrument.path",
        "the device of its serial port. One of `path`, `tcp`, `usbtmc`, `usb`, `model`, `person` \
         and `external` says where it is reached; names under /dev/serial/by-id stay the same when cables \
         move.",
        "[[instrument]]\npath = \"/dev/ttyUSB0\"",
    ),
    page(
        "instrument.tcp",
        "the host and port of its socket, where the same lines go over a network.",
        "[[instrument]]\ntcp = \"bench-load:5025\"",
    ),
    page(
        "instrument.usbtmc",
        "the character device under which the system offers an instrument for USB test and \
         measurement, or a local socket of sequenced packets: each line goes as one message, \
         each answer comes as one, and the end of a message ends a line. While such a device \
         waits for an answer the system lets nothing else through, for 5 s at most where the \
         instrument is silent; making safe waits as long. Access is a matter of the system's \
         device rules.",
        "[[instrument]]\nusbtmc = \"/dev/usbtmc0\"",
    ),
    page(
        "instrument.person",
        "true where there is no instrument and the person at the bench does and reads what is \
         asked for on the terminal: a supply, a drive, a console or a thermometer. Each step \
         waits for Enter, each reading is typed, within 2 min unless `line.reply` of the \
         profile says otherwise, and the record keeps what was asked, done and typed. Without \
         `profile` the words are those that come with the program. What a person works is not \
         watched every second, and no guardian switches it off: the emergency stop is theirs.",
        "[[instrument]]\nrole = \"supply\"\nperson = true",
    ),
    page(
        "instrument.external",
        "what a signal source sends that sends all the time and takes no command, in words, \
         such as a command station on the track side. The board's enable input is on. What \
         needs the signal stopped, a held polarity, packets of the plan or a board that is \
         off while it is fed cannot run, and `check` says so.",
        "[[instrument]]\nrole = \"drive\"\nexternal = \"idle packets\"",
    ),
    page(
        "instrument.at",
        "of a thermometer: where its probe is, on the board's `heat sink`, as without the key, \
         or at the `ambient`, in the air around the bench, away from what gets warm. At the \
         ambient it is read before each run begins, and record and papers show what it read \
         with its uncertainty; where it cannot be read nothing is energised. An ambient that \
         is stated (`--ambient`) goes before a reading. A soak needs the heat sink's.",
        "[[instrument]]\nrole = \"thermometer\"\nat = \"ambient\"",
    ),
    page(
        "instrument.usb.vendor",
        "the vendor number of its USB serial adapter: the port is looked for when the \
         bench is opened.",
        "[[instrument]]\nusb = { vendor = 0x0403, product = 0x6001 }",
    ),
    page(
        "instrument.usb.product",
        "the product number of its USB serial adapter.",
        "[[instrument]]\nusb = { vendor = 0x0403, product = 0x6001 }",
    ),
    page(
        "instrument.usb.serial",
        "the adapter's serial number, where two of a kind are plugged in.",
        "[[instrument]]\nusb = { vendor = 0x0403, product = 0x6001, serial = \"A5XK3RJT\" }",
    ),
    page(
        "instrument.model",
        "true where it is a model of the embedded model bench: nothing is opened, and \
         every verdict reads MODEL.",
        "[[instrument]]\nmodel = true",
    ),
    page(
        "instrument.profile",
        "how it is talked to: the name of a profile that comes with the program, or a \
         file that ends in .toml, beside the bench file.",
        "[[instrument]]\nprofile = \"my-load.toml\"",
    ),
    page(
        "instrument.net",
        "what its low side is connected to, its serial port included: `isolated`, `earth` \
         or `negative` (of the board's supply). Two connections to different rails would \
         short a bridge switch; `check` finds them.",
        "[[instrument]]\nnet = \"isolated\"",
    ),
    page(
        "instrument.calibrated",
        "the day on which it was calibrated; with `due` and `certificate`.",
        "[[instrument]]\ncalibrated = 2026-03-02",
    ),
    page(
        "instrument.due",
        "the day after which that no longer holds. There is a warning 30 days before; \
         later nothing is energised unless the plan says why.",
        "[[instrument]]\ndue = 2027-03-02",
    ),
    page(
        "instrument.certificate",
        "the number of the calibration's certificate. It stands in the record.",
        "[[instrument]]\ncertificate = \"26-0311\"",
    ),
    page(
        "wiring.supply_resistance",
        "from the supply's terminals to the board, both wires together. Measure it with a \
         current through both.",
        "[wiring]\nsupply_resistance = \"50 mohm\"",
    ),
    page(
        "wiring.lead_resistance",
        "from the board's output to the node where load, switch and probes meet, both \
         wires together, with the sensor.",
        "[wiring]\nlead_resistance = \"20 mohm\"",
    ),
    page(
        "wiring.lead_inductance",
        "the inductance of those wires: about 1 uH for each metre of a pair (common \
         practice, no source).",
        "[wiring]\nlead_inductance = \"1 uH\"",
    ),
    page(
        "wiring.bus_resistance",
        "from the node to the far end of the bus and back; or `wiring.bus`. Without \
         either there is no bus.",
        "[wiring]\nbus_resistance = \"330 mohm\"",
    ),
    page(
        "wiring.bus_inductance",
        "the inductance of that loop. Without it 0.",
        "[wiring]\nbus_inductance = \"12 uH\"",
    ),
    page(
        "wiring.bus.metres",
        "the length of the bus, there alone; its resistance follows from the conductor.",
        "[wiring]\nbus = { metres = 20, conductor = \"AWG 14\" }",
    ),
    page(
        "wiring.bus.conductor",
        "what the bus is made of: a gauge as in \"AWG 14\" or a cross-section as in \"1.5 \
         mm2\" (IEC 60228, class 5).",
        "[wiring]\nbus = { metres = 20, conductor = \"1.5 mm2\" }",
    ),
    page(
        "wiring.rectifier_drop",
        "what the rectifier in front of a load that knows one polarity drops, both \
         diodes. Without it there is none, and the load must withstand both polarities.",
        "[wiring]\nrectifier_drop = \"1.6 V\"",
    ),
    page(
        "wiring.bleeder",
        "the known resistance across the node: it empties the output, and off voltage is \
         judged against it.",
        "[wiring]\nbleeder = \"1 kohm\"",
    ),
    page(
        "wiring.sensor.scale",
        "what the current sensor in the output wire gives for one ampere, as a \
         resistance: 50 mohm is 50 mV for an ampere.",
        "[wiring.sensor]\nscale = \"50 mohm\"",
    ),
    page(
        "wiring.sensor.uncertainty",
        "the relative standard uncertainty of that scale. Short peaks and trip currents \
         cannot be better than it.",
        "[wiring.sensor]\nuncertainty = \"0.2 %\"",
    ),
    page(
        "wiring.sensor.resistance",
        "what the sensor puts into the wire: without it the scale itself, as of a shunt; \
         0 for one that touches nothing.",
        "[wiring.sensor]\nresistance = \"10 mohm\"",
    ),
    page(
        "channel.number",
        "the channel of the capture device, from one.",
        "[[channel]]\nnumber = 1",
    ),
    page(
        "channel.measures",
        "what it measures: node voltage, output current, board supply, gap current or \
         upstream voltage.",
        "[[channel]]\nmeasures = \"node voltage\"",
    ),
    page(
        "channel.reference",
        "what its input refers to: `differential`, `isolated`, or the net of an earthed \
         clip. Neither output rail is ground: an earthed clip on a rail shorts a bridge \
         switch.",
        "[[channel]]\nreference = \"differential\"",
    ),
    page(
        "channel.scale",
        "volts at the input for one unit of what is measured: a ratio for a voltage, a \
         resistance for a current. Of the output current without it the sensor's.",
        "[[channel]]\nscale = \"0.1 V/V\"",
    ),
    page(
        "channel.uncertainty",
        "the relative standard uncertainty of that scale.",
        "[[channel]]\nuncertainty = \"0.5 %\"",
    ),
    page(
        "channel.range",
        "the largest magnitude that it shows, as what is measured.",
        "[[channel]]\nrange = \"30 V\"",
    ),
    page(
        "line.number",
        "the logic line of the capture device, from nought.",
        "[[line]]\nnumber = 0",
    ),
    page(
        "line.carries",
        "what it carries: input a, input b, fault, marker (a switch's control) or pilot \
         (a current through its contact).",
        "[[line]]\ncarries = \"fault\"",
    ),
    page(
        "branch.number",
        "the channel of the switch, from one.",
        "[[branch]]\nnumber = 1",
    ),
    page(
        "branch.closed_by",
        "`load` instead of a `number`: the load shorts its own input for a time that it keeps \
         by itself (`guide profile.commands.short_pulse`), where a bench has no switch. That \
         closes the near short and nothing else; `resistance` and `inductance` are those of the \
         load's wires, and what the profile states of its short comes on top. Without a \
         rectifier the load withstands one polarity only, and `check` says so.",
        "[[branch]]\nclosed_by = \"load\"\ncloses = \"near short\"\nresistance = \"500 mohm\"\ninductance = \"1 uH\"",
    ),
    page(
        "branch.closes",
        "what it closes: near short, far short, gap straight, gap crossed, capacitor \
         bank, resistor bank or supply load.",
        "[[branch]]\ncloses = \"near short\"",
    ),
    page(
        "branch.resistance",
        "contact, fuse and wires of this branch alone. It bounds the current of a short: \
         the interlock reckons with it.",
        "[[branch]]\nresistance = \"300 mohm\"",
    ),
    page(
        "branch.inductance",
        "their inductance. Of a bank it may be left out.",
        "[[branch]]\ninductance = \"0.5 uH\"",
    ),
    page(
        "branch.proof",
        "how it is proven that the contact closed: `none`, `marker`, `pilot current` or \
         `second pole`. Without a proof a blown fuse looks like a trip.",
        "[[branch]]\nproof = \"pilot current\"",
    ),
    page(
        "branch.marker_line",
        "the logic line that carries the switch's control.",
        "[[branch]]\nmarker_line = 3",
    ),
    page(
        "branch.pilot_line",
        "the logic line that shows the pilot current.",
        "[[branch]]\npilot_line = 6",
    ),
    page(
        "branch.bounce",
        "how long the contact bounces. Without it 0.",
        "[[branch]]\nbounce = \"200 us\"",
    ),
    page(
        "branch.capacitance",
        "of a capacitor bank: its capacitance.",
        "[[branch]]\ncapacitance = \"9400 uF\"",
    ),
    page(
        "branch.bleeder",
        "of a capacitor bank: the resistance that empties it between two starts.",
        "[[branch]]\nbleeder = \"100 ohm\"",
    ),
    page(
        "branch.drop",
        "of a capacitor bank: what its rectifier drops. Without it 0.",
        "[[branch]]\ndrop = \"1.4 V\"",
    ),
    page(
        "upstream.voltage",
        "of the source beyond the section gap: its voltage. Reversal is tested against \
         it; without the table it cannot be.",
        "[upstream]\nvoltage = \"17 V\"",
    ),
    page(
        "upstream.resistance",
        "its resistance.",
        "[upstream]\nresistance = \"300 mohm\"",
    ),
    page(
        "upstream.inductance",
        "its inductance.",
        "[upstream]\ninductance = \"1 uH\"",
    ),
    page(
        "upstream.isolation",
        "how the section is cut off from it: both gaps or one.",
        "[upstream]\nisolation = \"isolated, both gaps\"",
    ),
    page(
        "upstream.trip_current",
        "the current at which its own protection trips.",
        "[upstream]\ntrip_current = \"10 A\"",
    ),
    page(
        "upstream.trip_time",
        "how soon that trips: the board must be faster.",
        "[upstream]\ntrip_time = \"60 ms\"",
    ),
    page(
        "envelope.current",
        "the largest current that may ever flow here. What could exceed it is refused \
         before anything is energised. Set the envelope by what wires, contacts and \
         boards withstand, and put a fuse in the supply: the program is no safety device.",
        "[envelope]\ncurrent = \"45 A\"",
    ),
    page(
        "envelope.let_through",
        "the largest let-through (the integral of the squared current) of one event.",
        "[envelope]\nlet_through = \"2200 A2s\"",
    ),
    page(
        "envelope.voltage",
        "the largest voltage on any rail.",
        "[envelope]\nvoltage = \"40 V\"",
    ),
    page(
        "envelope.energy",
        "the largest energy of one event.",
        "[envelope]\nenergy = \"1000 J\"",
    ),
    page(
        "envelope.seconds",
        "the longest that there may be energy in the board without a pause.",
        "[envelope]\nseconds = \"60 s\"",
    ),
    page(
        "safety.emergency_stop",
        "what the emergency stop is and what it cuts. Within reach of the hand that \
         starts a run.",
        "[safety]\nemergency_stop = \"red button, cuts the supply's mains\"",
    ),
    page(
        "safety.supply_fuse",
        "the fuse in the board's supply.",
        "[safety]\nsupply_fuse = \"10 A, in the supply's positive\"",
    ),
    page(
        "safety.no_emergency_stop_because",
        "why there is none, where there is none: a bench without one is not opened without a reason.",
        "[safety]\nno_emergency_stop_because = \"the supply gives 5 W at most\"",
    ),
    page(
        "safety.no_supply_fuse_because",
        "why the board's supply has no fuse, likewise.",
        "[safety]\nno_supply_fuse_because = \"the supply gives 5 W at most\"",
    ),
    page(
        "model.board",
        "the file of the model board on a model bench.",
        "[model]\nboard = \"board.toml\"",
    ),
    page(
        "model.fixture.PARAMETER",
        "where the model's circuit departs from what the file states of the wiring, to \
         see what a wrong statement does; a misspelt name lists all.",
        "[model.fixture]\nlead_resistance = \"40 mohm\"",
    ),
];
