//! Tables in the dialects that measuring devices, loggers and spreadsheets
//! write, made here from one wave whose truth is known: each must give the same
//! samples at the same instants, or ask by naming the option that reads it. The
//! dialects are after the style of public exports; all names are invented.

use crate::inspect::{file, inspect};
use bufferstop::capture_file::{
    CsvAsk, CsvDialect, CsvFault, CsvReader, CsvSummary, CsvWish, Readings, Survey,
};
use std::fmt::Write as _;

/// Instants in us and volts.
const ROWS: usize = 400;

fn instant(row: usize) -> f64 {
    row as f64 * 0.5 - 20.0
}

/// Two decimal places, both signs, no period that a mistake would keep.
fn volts(row: usize) -> f64 {
    ((row * 37) % 61) as f64 * 0.25 - 7.25
}

fn rows(row: impl Fn(usize) -> String) -> String {
    (0..ROWS).map(row).collect()
}

/// Digits with the decimal mark of the dialect.
fn comma(text: &str) -> String {
    text.replace('.', ",")
}

pub(crate) type Rows = Vec<(f64, Vec<f64>)>;

pub(crate) fn read(
    bytes: &[u8],
    wish: &CsvWish,
    piece: usize,
) -> Result<(Rows, CsvSummary), CsvFault> {
    let mut found = Vec::new();
    let mut reader = CsvReader::wished(wish.clone());
    for piece in bytes.chunks(piece) {
        reader.push(piece, &mut |time, values| {
            found.push((time, values.to_vec()))
        })?;
    }
    let summary = reader.finish(&mut |time, values| found.push((time, values.to_vec())))?;
    Ok((found, summary))
}

/// The wave, whatever it looks like: instants from `shift` us on.
fn told_as_planted(name: &str, bytes: &[u8], wish: &CsvWish, shift: f64) {
    for piece in [bytes.len().max(1), 1 + bytes.len() / 7, 13] {
        let (found, summary) = read(bytes, wish, piece).unwrap_or_else(|f| panic!("{name}: {f}"));
        assert_eq!(found.len(), ROWS, "{name}");
        for (row, (time, values)) in found.iter().enumerate() {
            let planted = (instant(row) + shift) * 1e-6;
            assert!(
                (time - planted).abs() < 1e-12,
                "{name}, row {row}: {time} s, not {planted}"
            );
            let value = values[0];
            assert!(
                (value - volts(row)).abs() < 1e-9,
                "{name}, row {row}: {value} V"
            );
        }
        let period = summary
            .period
            .unwrap_or_else(|| panic!("{name}: uneven {:?}", summary.step));
        assert!((period - 0.5e-6).abs() < 1e-11, "{name}: {period}");
    }
}

fn utf16(text: &str, big_endian: bool, mark: bool) -> Vec<u8> {
    let units = mark
        .then_some(0xFEFF)
        .into_iter()
        .chain(text.encode_utf16());
    let bytes = units.flat_map(|unit| match big_endian {
        true => unit.to_be_bytes(),
        false => unit.to_le_bytes(),
    });
    bytes.collect()
}

fn latin1(text: &str) -> Vec<u8> {
    text.chars()
        .map(|c| u8::try_from(u32::from(c)).unwrap_or(b'?'))
        .collect()
}

fn column(name: &str) -> CsvWish {
    CsvWish {
        columns: vec![name.to_owned()],
        ..CsvWish::default()
    }
}

/// Name, bytes, what must be said, and by how much time is moved, us.
type Shape = (&'static str, Vec<u8>, CsvWish, f64);

#[test]
fn every_dialect_tells_the_same_samples() {
    let mut shapes = marks();
    shapes.extend(headers());
    shapes.extend(clocks_and_rows());
    shapes.extend(encodings());
    assert!(shapes.len() >= 40, "{} shapes", shapes.len());
    for (name, bytes, wish, shift) in &shapes {
        told_as_planted(name, bytes, wish, *shift);
    }
}

/// Separators, decimal marks, digits.
fn marks() -> Vec<Shape> {
    let plain = |head: &str, between: &str| {
        format!("{head}\n") + &rows(|n| format!("{:.1}{between}{:.2}\n", instant(n), volts(n)))
    };
    let with_comma = |head: &str, between: &str| {
        format!("{head}\n")
            + &rows(|n| comma(&format!("{:.1}{between}{:.2}\n", instant(n), volts(n))))
    };
    let none = CsvWish::default();
    let seconds = rows(|n| format!("{:.7e},{:.3e}\n", instant(n) * 1e-6, volts(n)));
    let upper = rows(|n| format!("{:+.8E};{:+.4E}\n", instant(n) * 1e-6, volts(n)));
    let grouped = rows(|n| {
        // 1.234,50 mV: points group thousands.
        let millivolts = volts(n) * 1e3;
        let size = millivolts.abs() as i64;
        let sign = if millivolts < 0.0 { "-" } else { "" };
        let digits = match size / 1000 {
            0 => format!("{sign}{size},00"),
            more => format!("{sign}{more}.{:03},00", size % 1000),
        };
        format!("{};{digits}\n", comma(&format!("{:.1}", instant(n))))
    });
    let thin = rows(|n| {
        let millivolts = volts(n) * 1e3;
        let size = millivolts.abs() as i64;
        let sign = if millivolts < 0.0 { "\u{2212}" } else { "" };
        let digits = match size / 1000 {
            0 => format!("{sign}{size}"),
            more => format!("{sign}{more}\u{2009}{:03}", size % 1000),
        };
        format!("{:.1};{digits}\n", instant(n))
    });
    let thousands = CsvWish {
        dialect: CsvDialect {
            thousands: Some(b'.'),
            ..CsvDialect::FOUND
        },
        ..CsvWish::default()
    };
    let indented = rows(|n| format!("  {:>8.1}   {:>9.2}  \n", instant(n), volts(n)));
    let quoted = rows(|n| comma(&format!("\"{:.1}\";\"{:.2}\"\n", instant(n), volts(n))));
    let quoted_commas = rows(|n| {
        format!(
            "\"{}\",\"{}\"\n",
            comma(&format!("{:.1}", instant(n))),
            comma(&format!("{:.2}", volts(n)))
        )
    });
    let crlf = plain("time (us),rail (V)", ",").replace('\n', "\r\n");
    let cr = plain("time (us),rail (V)", ",").replace('\n', "\r");
    vec![
        (
            "commas",
            plain("time (us),rail (V)", ",").into_bytes(),
            none.clone(),
            0.0,
        ),
        (
            "semicolons",
            plain("time (us);rail (V)", ";").into_bytes(),
            none.clone(),
            0.0,
        ),
        (
            "tabs",
            plain("time (us)\trail (V)", "\t").into_bytes(),
            none.clone(),
            0.0,
        ),
        (
            "comma and semicolon",
            with_comma("Zeit (us);Gleis (V)", ";").into_bytes(),
            none.clone(),
            0.0,
        ),
        (
            "comma and tab",
            with_comma("Zeit (us)\tGleis (V)", "\t").into_bytes(),
            none.clone(),
            0.0,
        ),
        (
            "quoted decimal commas",
            format!("\"Zeit (us)\";\"Gleis (V)\"\n{quoted}").into_bytes(),
            none.clone(),
            0.0,
        ),
        (
            "quoted among commas",
            format!("time (us),rail (V)\n{quoted_commas}").into_bytes(),
            none.clone(),
            0.0,
        ),
        (
            "exponents",
            format!("time (s),rail (V)\n{seconds}").into_bytes(),
            none.clone(),
            0.0,
        ),
        (
            "signs and capitals",
            format!("TIME [S];RAIL [V]\n{upper}").into_bytes(),
            none.clone(),
            0.0,
        ),
        (
            "blanks",
            plain("time (us)   rail (V)", "    ").into_bytes(),
            none.clone(),
            0.0,
        ),
        (
            "blanks before and between",
            format!("time (us)  rail (V)\n{indented}").into_bytes(),
            none.clone(),
            0.0,
        ),
        ("carriage returns", cr.into_bytes(), none.clone(), 0.0),
        ("both line ends", crlf.into_bytes(), none.clone(), 0.0),
        (
            "groups by points",
            format!("t (us);u (mV)\n{grouped}").into_bytes(),
            thousands,
            0.0,
        ),
        (
            "thin blanks and a true minus",
            format!("t (us);u (mV)\n{thin}").into_bytes(),
            none,
            0.0,
        ),
    ]
}

/// Names, units and what stands above them.
fn headers() -> Vec<Shape> {
    let none = CsvWish::default();
    let body = || rows(|n| format!("{:.1},{:.2}\n", instant(n), volts(n)));
    let seconds = || rows(|n| format!("{:.7e},{:.2}\n", instant(n) * 1e-6, volts(n)));
    let trailing = || rows(|n| format!("{:.1},{:.2},\n", instant(n), volts(n)));
    let three = || rows(|n| format!("{:.1},{:.2},ok\n", instant(n), volts(n)));
    let both = || rows(|n| format!("{:.1},{:.2},{}\n", instant(n), volts(n), n % 3));
    let late = || {
        // The second channel begins later: its fields are empty at first.
        rows(|n| {
            format!(
                "{:.1},{:.2},{}\n",
                instant(n),
                volts(n),
                if n < 9 {
                    String::new()
                } else {
                    "0.5".to_owned()
                }
            )
        })
    };
    let block = "Device,Recorder 7\nSerial,0042\nDate,2026-03-01\nSample Interval,5.0e-07,s\nRecord Length,400,Points\nVertical Units,V\nHorizontal Units,s\n\n";
    let shape = |name, head: &str, body: String, wish: &CsvWish| -> Shape {
        (
            name,
            format!("{head}\n{body}").into_bytes(),
            wish.clone(),
            0.0,
        )
    };
    let unnamed = CsvWish {
        unnamed: true,
        time_unit: Some(1e-6),
        ..CsvWish::default()
    };
    let millis = rows(|n| format!("{:.4},{:.5}\n", instant(n) / 1e3, volts(n) / 1e3));
    let micro = rows(|n| format!("{:.1},{:.0}\n", instant(n), volts(n) * 1e3));
    vec![
        shape("units in brackets", "Time [us],Rail [V]", body(), &none),
        shape("units behind a slash", "t/us,U/V", body(), &none),
        shape("units behind in", "Time in us,Rail in V", body(), &none),
        shape("units behind a line", "time_us,rail_mV", micro, &none),
        shape("units in a row", "time,rail\nus,V", body(), &none),
        shape(
            "units in a row, brackets",
            "time,rail\n(us),(V)",
            body(),
            &none,
        ),
        shape("units in words", "x-axis,1\nsecond,Volt", seconds(), &none),
        shape(
            "prefixed words",
            "Time (microseconds),Rail (Volts)",
            body(),
            &none,
        ),
        shape(
            "kilovolts by milliseconds",
            "Time (ms),Rail (kV)",
            millis,
            &none,
        ),
        shape("no unit but seconds", "Time,CH1", seconds(), &none),
        shape(
            "trailing separators",
            "time (us),rail (V),",
            trailing(),
            &none,
        ),
        shape(
            "trailing separators below",
            "time (us),rail (V)",
            trailing(),
            &none,
        ),
        shape(
            "a remark a row",
            "time (us),rail (V),remark",
            three(),
            &none,
        ),
        shape(
            "another channel",
            "time (us),rail (V),gate (V)",
            both(),
            &column("rail"),
        ),
        shape(
            "a channel that begins later",
            "time (us),rail (V),gate (V)",
            late(),
            &column("rail"),
        ),
        shape(
            "the unit of another is strange",
            "time (us),rail (V),heat (furlong)",
            both(),
            &column("rail"),
        ),
        shape(
            "by number",
            "time (us),rail (V),rail (V)",
            both(),
            &column("2"),
        ),
        shape(
            "a block of keys",
            &format!("{block}TIME,CH1"),
            seconds(),
            &none,
        ),
        shape(
            "a block, unit told there",
            &format!("{block}Labels,CH1"),
            seconds(),
            &none,
        ),
        shape(
            "keys with colons",
            "Recorder: 7\nSample rate: 2 MHz\nComment: none\ntime (us),rail (V)",
            body(),
            &none,
        ),
        shape(
            "remarks with a mark",
            "# made by a script\n# time (us),rail (V)",
            body(),
            &none,
        ),
        shape(
            "a remark's mark where blanks part fields",
            "#   time/us    rail/V",
            body().replace(',', "   "),
            &none,
        ),
        shape(
            "separators alone below the names",
            "time,rail\nus,V\n,",
            body(),
            &none,
        ),
        shape(
            "remarks behind the data",
            "time (us),rail (V)",
            body() + "# end of record\n\n% 400 points\n",
            &none,
        ),
        shape("no names", "", body().trim_start().to_owned(), &unnamed),
        shape(
            "no names behind a block",
            "Recorder 7\nlot 3",
            body(),
            &unnamed,
        ),
        shape(
            "time is last",
            "rail (V),time (us)",
            rows(|n| format!("{:.2},{:.1}\n", volts(n), instant(n))),
            &none,
        ),
        shape(
            "index as a data frame has it",
            ",time (us),rail (V)",
            rows(|n| format!("{n},{:.1},{:.2}\n", instant(n), volts(n))),
            &none,
        ),
        shape("key and value beside the data", "", beside(), &none),
    ]
}

/// Keys and values in the first columns of the first rows, time and value in the
/// last two.
fn beside() -> String {
    let keys = [
        "Record Length,400,",
        "Sample Interval,5e-07,",
        "Source,CH1,",
        "Vertical Units,V,",
        "Horizontal Units,s,",
    ];
    rows(|n| {
        let key = keys.get(n).copied().unwrap_or(",,");
        format!("{key},{:.8},{:.2}\n", instant(n) * 1e-6, volts(n))
    })
}

/// Time as the rows' numbers, or as a time of day.
fn clocks_and_rows() -> Vec<Shape> {
    let none = CsvWish::default();
    let counted = || rows(|n| format!("{n},{:.2}\n", volts(n)));
    let alone = || rows(|n| format!("{:.2}\n", volts(n)));
    let spaced = CsvWish {
        increment: Some(0.5e-6),
        start: Some(-20e-6),
        ..CsvWish::default()
    };
    let spaced_unnamed = CsvWish {
        unnamed: true,
        ..spaced.clone()
    };
    let clock = |decimal: char| {
        rows(|n| {
            // Over midnight: 40 us before it.
            let tenths = 864_000_000_000_i64 - 400 + 5 * n as i64;
            let tenths = tenths % 864_000_000_000;
            let (seconds, rest) = (tenths / 10_000_000, tenths % 10_000_000);
            let (h, m, s) = (seconds / 3600, seconds / 60 % 60, seconds % 60);
            format!(
                "{h:02}:{m:02}:{s:02}{decimal}{rest:07};{}\n",
                format!("{:.2}", volts(n)).replace('.', &decimal.to_string())
            )
        })
    };
    let dated = rows(|n| format!("2026-03-01T12:00:00.{:07}Z,{:.2}\n", 5 * n, volts(n)));
    let epoch = rows(|n| format!("1772366400.{:07},{:.2}\n", 5 * n, volts(n)));
    let first_row = rows(|n| match n {
        0 => format!("{n},{:.2},-2.0e-05,5.0e-07\n", volts(n)),
        _ => format!("{n},{:.2},,\n", volts(n)),
    });
    let text = |head: &str, body: String| format!("{head}{body}").into_bytes();
    vec![
        (
            "start and increment in a row of their own",
            text(
                "X,CH1,Start,Increment,\nSequence,Volt,-2.0e-05,5.0e-07,\n",
                counted(),
            ),
            none.clone(),
            0.0,
        ),
        (
            "start and increment beside the first row",
            text("X,CH1,Start,Increment\n", first_row),
            column("CH1"),
            0.0,
        ),
        (
            "interval in the header",
            text(
                "Sample interval: 500 ns\nStart time: -20 us\nSample,Rail (V)\n",
                counted(),
            ),
            none.clone(),
            0.0,
        ),
        (
            "rate in the header",
            text("Sampling rate,2 MHz\nIndex,Rail (V)\n", counted()),
            none.clone(),
            20.0,
        ),
        (
            "samples alone, rate in the header",
            text("Sample rate = 2000000\nRail (V)\n", alone()),
            none.clone(),
            20.0,
        ),
        (
            "samples alone, rate given",
            text("Rail (V)\n", alone()),
            spaced.clone(),
            0.0,
        ),
        (
            "counted, rate given",
            text("n,Rail (V)\n", counted()),
            spaced,
            0.0,
        ),
        (
            "nothing but numbers",
            alone().into_bytes(),
            spaced_unnamed,
            0.0,
        ),
        (
            "times of day over midnight",
            text("clock;rail (V)\n", clock('.')),
            none.clone(),
            20.0,
        ),
        (
            "times of day with commas",
            text("Uhrzeit;Gleis (V)\n", clock(',')),
            none.clone(),
            20.0,
        ),
        (
            "dates and times",
            text("at,rail (V)\n", dated),
            none.clone(),
            20.0,
        ),
        (
            "seconds since 1970",
            text("time (s),rail (V)\n", epoch),
            none,
            20.0,
        ),
    ]
}

fn encodings() -> Vec<Shape> {
    let text = || {
        "time (\u{b5}s);rail (V)\n".to_owned()
            + &rows(|n| comma(&format!("{:.1};{:.2}\n", instant(n), volts(n))))
    };
    let none = CsvWish::default;
    vec![
        (
            "UTF-8 with its mark",
            ("\u{feff}".to_owned() + &text()).into_bytes(),
            none(),
            0.0,
        ),
        (
            "Greek mu",
            text().replace('\u{b5}', "\u{3bc}").into_bytes(),
            none(),
            0.0,
        ),
        ("Latin-1", latin1(&text()), none(), 0.0),
        ("UTF-16 LE", utf16(&text(), false, true), none(), 0.0),
        ("UTF-16 BE", utf16(&text(), true, true), none(), 0.0),
        (
            "UTF-16 LE without a mark",
            utf16(&text(), false, false),
            none(),
            0.0,
        ),
        (
            "UTF-16 BE without a mark",
            utf16(&text(), true, false),
            none(),
            0.0,
        ),
    ]
}

/// What two readings fit is asked, with the option in the one line.
#[test]
fn what_is_not_clear_is_asked() {
    for (text, words, says) in [
        // One value or a thousand times as much.
        (
            "t (s);u (V)\n1;12,345\n2;13,456\n",
            &[][..],
            "--decimal-comma or --decimal-point",
        ),
        (
            "t (s);u (V)\n1;12.345\n2;13.456\n",
            &[],
            "--decimal-comma or --decimal-point",
        ),
        ("t (s);u (V)\n1;1.000,5\n2;1.000,7\n", &[], "--thousands"),
        ("t (s);u (V)\n1;1,000.5\n2;2,000.7\n", &[], "--thousands"),
        // Two whole numbers or one with a decimal comma.
        ("u (V)\n0,1\n0,2\n", &["--rate", "1 MHz"], "--separator"),
        (
            "0,1\n0,2\n0,3\n",
            &["--no-header", "--rate", "1 MHz"],
            "--separator",
        ),
        ("time,u (V)\n0,1\n1,2\n2,3\n", &[], "--time-unit"),
        ("index,u (V)\n0,1.5\n1,2.5\n2,3.5\n", &[], "--rate"),
        ("u (V)\n1.5\n2.5\n3.5\n", &[], "--rate"),
        (
            "t1 (s),t2 (s),u (V)\n0.1,0.2,1\n0.2,0.3,2\n",
            &[],
            "--time-column",
        ),
        ("0.5,1.5\n1.5,1.7\n", &[], "--no-header"),
        (
            "Interval: 1 us\nInterval: 2 us\nn,u (V)\n0,1.5\n1,1.6\n",
            &[],
            "--rate",
        ),
        ("time (s),a (V),b (V)\n0.1,1,2\n0.2,2,3\n", &[], "--column"),
    ] {
        let (_folder, path) = file("a.csv", text.as_bytes());
        let told = inspect(&path, words);
        assert_eq!(told.status, 64, "{text:?}: {}", told.said);
        assert_eq!(told.said.trim().lines().count(), 1, "{}", told.said);
        assert!(told.said.contains(says), "{text:?}: {}", told.said);
    }
    // What was asked for is taken: a single column with a decimal comma, whose
    // rows a line above spaces.
    let alone = "Interval;1 us\nu (V)\n0,1\n0,3\n0,2\n";
    let comma = CsvWish {
        dialect: CsvDialect {
            decimal: Some(b','),
            ..CsvDialect::FOUND
        },
        ..CsvWish::default()
    };
    let (found, summary) = read(alone.as_bytes(), &comma, 7).expect("sound");
    let values: Vec<f64> = found.iter().map(|(_, values)| values[0]).collect();
    assert_eq!(values, [0.1, 0.3, 0.2]);
    assert!((summary.period.expect("even") - 1e-6).abs() < 1e-12);
    // A rate behind a key with a colon, in a field of its own.
    let rate = "Sampling Rate:,2.0E+06 Sa/s\nPoints:,3\n\nCH1 (V)\n1.5\n3.5\n2.5\n";
    let (_, summary) = read(rate.as_bytes(), &CsvWish::default(), 7).expect("sound");
    assert!((summary.period.expect("even") - 0.5e-6).abs() < 1e-12);
    let both = "t (s);u (V)\n1;12,345\n2;13,456\n";
    let dialect = CsvDialect {
        decimal: Some(b','),
        ..CsvDialect::FOUND
    };
    let wish = CsvWish {
        dialect,
        ..CsvWish::default()
    };
    let (found, _) = read(both.as_bytes(), &wish, 7).expect("sound");
    assert_eq!(found, [(1.0, vec![12.345]), (2.0, vec![13.456])]);
    let fault = read(both.as_bytes(), &CsvWish::default(), 7).expect_err("two readings");
    assert!(
        matches!(
            fault,
            CsvFault::Unclear {
                ask: CsvAsk::Decimal,
                line: 2,
                ..
            }
        ),
        "{fault:?}"
    );
}

/// Units that are none beside every number: one line says so, be the file short or
/// long.
#[test]
fn numbers_with_their_units_are_named() {
    for rows in [3, 20_000] {
        let text: String = (0..rows)
            .map(|n| format!("{n}.5ticks,{}V\n", n % 7))
            .collect();
        let fault = read(
            ("Time,CH1\n".to_owned() + &text).as_bytes(),
            &CsvWish::default(),
            4096,
        );
        let fault = fault.expect_err("no numbers").to_string();
        assert!(
            fault.starts_with("line 2: '0.5ticks' is not a number"),
            "{fault}"
        );
    }
}

/// Fields without a reading are counted and placed; a last row that lacks one
/// was cut.
/// What is passed over among the rows is said, in the number that it has.
#[test]
fn remarks_among_the_rows_are_counted() {
    let body = rows(|n| format!("{:.1},{:.2}\n", instant(n), volts(n)));
    for (behind, note) in [
        ("", None),
        (
            "# end of record\n",
            Some("a line of remarks among the rows"),
        ),
        (
            "# end\n% 400 points\n",
            Some("2 lines of remarks among the rows"),
        ),
    ] {
        let text = format!("time (us),rail (V)\n{body}{behind}");
        let (_, summary) = read(text.as_bytes(), &CsvWish::default(), 1000).expect("a wave");
        let found = summary.notes.iter().find(|note| note.contains("remarks"));
        assert_eq!(
            found.and_then(|found| found.strip_suffix(": passed over")),
            note
        );
    }
}

#[test]
fn missing_and_infinite_fields_are_placed() {
    let text = "time (us),rail (V)\n0,1\n1,\n2,nan\n3,---\n4,2\n5,inf\n6,-inf\n7,3\n8,4\n";
    let (found, summary) = read(text.as_bytes(), &CsvWish::default(), 5).expect("sound");
    let mut survey = Survey::new(0.0, 1e-6);
    let seen: Vec<f64> = found
        .iter()
        .map(|(time, values)| {
            survey.push_at(*time, values[0]);
            Readings::of_one(values[0])
        })
        .collect();
    let lacking: Vec<usize> = (0..seen.len()).filter(|&n| seen[n].is_nan()).collect();
    assert_eq!(lacking, [1, 2, 3, 5, 6]);
    let facts = survey.finish(summary.time.1);
    assert_eq!(
        (facts.samples, facts.missing.samples, facts.missing.count),
        (9, 3, 1)
    );
    let gap = facts.missing.first[0];
    assert!(
        (gap.from - 1e-6).abs() < 1e-15 && (gap.to - 4e-6).abs() < 1e-15,
        "{gap:?}"
    );
    assert_eq!((facts.infinite.samples, facts.infinite.count), (2, 1));
    let cut = "time (us),rail (V)\n0,1\n1,2\n2,\n";
    let fault = read(cut.as_bytes(), &CsvWish::default(), 5).expect_err("cut off");
    assert_eq!(fault, CsvFault::Cut { line: 4, column: 2 });
}

/// A step drawn by two rows stays a step; times of too few digits are a fault,
/// and `--rate` reads them.
#[test]
fn repeated_times_are_steps_or_too_coarse() {
    let steps = (0..50).fold(String::from("time (us),rail (V)\n"), |mut text, n| {
        let volts = if n % 2 == 0 { 15 } else { -15 };
        for at in 0..20 {
            let _ = writeln!(text, "{},{volts}", 100 * n + 5 * at);
        }
        let _ = writeln!(text, "{},{}", 100 * n + 95, -volts);
        text
    });
    let (found, summary) = read(steps.as_bytes(), &CsvWish::default(), 31).expect("sound");
    assert_eq!(summary.repeated, 50);
    assert!(
        found.windows(2).all(|pair| pair[1].0 > pair[0].0),
        "instants go on"
    );
    let coarse = (0..100).fold(String::from("time (s),rail (V)\n"), |mut text, n| {
        let _ = writeln!(text, "{:.5},{}", f64::from(n) * 2e-6, n % 7);
        text
    });
    let fault = read(coarse.as_bytes(), &CsvWish::default(), 31).expect_err("too coarse");
    assert!(matches!(fault, CsvFault::TimeStands { .. }), "{fault}");
    let given = CsvWish {
        increment: Some(2e-6),
        ..CsvWish::default()
    };
    let (found, summary) = read(coarse.as_bytes(), &given, 31).expect("counted");
    assert!((found[99].0 - 198e-6).abs() < 1e-12);
    assert_eq!(summary.columns[0].name, "rail");
}

/// Idle packets (S-9.2:2004: FF 00 FF behind a preamble) with halves of 58 and 100 us,
/// as instants (us) of changes.
fn changes() -> Vec<(u64, u8)> {
    let mut bits = Vec::new();
    for _ in 0..8 {
        bits.extend([true; 16]);
        for byte in [0xFF_u8, 0, 0xFF] {
            bits.push(false);
            bits.extend((0..8).rev().map(|bit| byte >> bit & 1 == 1));
        }
        bits.push(true);
    }
    let mut now = 10;
    let mut list = vec![(0, 0)];
    for bit in bits {
        let half = if bit { 58 } else { 100 };
        list.push((now, 1));
        list.push((now + half, 0));
        now += 2 * half;
    }
    list.push((now, 1));
    list
}

/// Zeros and ones, a row at every change or every microsecond, are a logic
/// signal: the same packets as in a dump.
#[test]
fn columns_of_zeros_and_ones_are_logic() {
    let changes = changes();
    let sparse = changes
        .iter()
        .fold(String::from("Time [s],Rail\n"), |mut text, (us, level)| {
            let _ = writeln!(text, "{:.7},{level}", *us as f64 * 1e-6);
            text
        });
    let mut dense = String::from("Time [us];Rail\n");
    let end = changes.last().map_or(0, |last| last.0);
    let mut level = 0;
    let mut next = changes.iter().peekable();
    for us in 0..=end {
        while let Some((_, to)) = next.next_if(|change| change.0 <= us) {
            level = *to;
        }
        let _ = writeln!(dense, "{us};{level}");
    }
    for (text, name) in [(sparse, "changes"), (dense, "samples")] {
        let (_folder, path) = file("logic.csv", text.as_bytes());
        let told = inspect(&path, &[]);
        assert_eq!(
            told.json["signal"]["packets"]["all"], 8,
            "{name}: {} {}",
            told.said, told.json
        );
        assert_eq!(told.json["edges"], changes.len() - 1, "{name}");
        let ones = &told.json["signal"]["ones"]["all"]["mean"]["value"];
        assert!(
            (ones.as_f64().unwrap_or(0.0) - 58e-6).abs() < 1e-9,
            "{name}: {ones}"
        );
    }
}
