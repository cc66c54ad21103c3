//! Oddities of tables: marks and zeros behind the last line, a line that closes the
//! table, exponents and stars as Fortran writes them (ISO/IEC 1539-1, edit descriptors,
//! from memory: a field too narrow for its number is filled with stars, and D is an
//! exponent), units in the fields, keys with their values beside the data, words for
//! logic levels. Each is read as it was planted or refused in one line; nothing is
//! guessed in silence.

use crate::dialects::read;
use crate::inspect::{file, inspect};
use bufferstop::capture_file::{CsvDialect, CsvFault, CsvWish, Readings, Survey};
use std::fmt::Write as _;

/// Instants (us) and volts.
const PLANTED: [(f64, f64); 4] = [(0.0, 1.25), (0.5, -0.015), (1.0, 2.5), (1.5, 0.0)];

/// Reads it cut into pieces of several lengths; it must be what was planted, and of
/// what it says one line must hold these words.
fn told_as_planted(text: &[u8], wish: &CsvWish, says: &str) {
    let name = String::from_utf8_lossy(text);
    for piece in [1, 7, 1000] {
        let (found, summary) =
            read(text, wish, piece).unwrap_or_else(|fault| panic!("{name}: {fault}"));
        assert_eq!(found.len(), PLANTED.len(), "{name}");
        for ((time, values), (us, volts)) in found.iter().zip(PLANTED) {
            assert!((time - us * 1e-6).abs() < 1e-15, "{name}: {time}");
            assert!((values[0] - volts).abs() < 1e-12, "{name}: {values:?}");
        }
        let said = summary.notes.iter().any(|note| note.contains(says));
        assert!(said, "{name}: {:?}", summary.notes);
    }
}

/// Refused by the reader, and by the command in one line with these words.
fn refused(text: &[u8], says: &str) {
    let name = String::from_utf8_lossy(text);
    for piece in [1, 7, 1000] {
        read(text, &CsvWish::default(), piece).expect_err(&name);
    }
    let (_folder, path) = file("odd.csv", text);
    let told = inspect(&path, &[]);
    assert!([64, 65].contains(&told.status), "{name}: {}", told.said);
    assert_eq!(told.said.trim().lines().count(), 1, "{}", told.said);
    assert!(told.said.contains(says), "{name}: {}", told.said);
}

const PLAIN: &str = "time (us),rail (V)\n0,1.25\n0.5,-0.015\n1,2.5\n1.5,0\n";

#[test]
fn what_stands_behind_the_last_line_is_no_row() {
    let none = CsvWish::default();
    let whole = PLAIN.trim_end();
    for (behind, says) in [
        ("\n\u{1a}", "Ctrl-Z"),
        ("\u{1a}", "Ctrl-Z"),
        ("\n\u{1a}\u{1a}\u{1a}\r\n", "Ctrl-Z"),
        ("\n\u{1a}\0\0\0", "Ctrl-Z"),
        ("\u{1a}\0", "Ctrl-Z"),
        ("\n\0", "a zero byte"),
        ("\n\0\0\0\0\0\0\0\0", "8 zero bytes"),
        ("\nEND\n", "line 6 says that the table ends"),
        ("\n\"End\",\n\n", "line 6 says that the table ends"),
        ("\n[EOF]", "line 6 says that the table ends"),
        (
            "\nEnd of data\n# by hand\n\u{1a}",
            "line 6 says that the table ends",
        ),
    ] {
        told_as_planted(format!("{whole}{behind}").as_bytes(), &none, says);
    }
    // Room for a megabyte that was never written.
    let mut padded = PLAIN.as_bytes().to_vec();
    padded.resize(1 << 20, 0);
    let (found, _) = read(&padded, &none, 4096).expect("a whole table");
    assert_eq!(found.len(), PLANTED.len());
}

#[test]
fn what_goes_on_behind_its_end_is_refused() {
    let cut = PLAIN.trim_end();
    refused(format!("{cut}\0\0\0").as_bytes(), "line 5: zero bytes");
    refused(format!("{PLAIN}\0\0\n2,3\n").as_bytes(), "line 6");
    refused(format!("{PLAIN}\u{1a}2,3\n").as_bytes(), "line 6");
    let two = format!("{PLAIN}END\n2,1\n");
    refused(two.as_bytes(), "line 7: it stands behind line 6");
    refused(format!("{PLAIN}ended\n").as_bytes(), "line 6");
}

#[test]
fn exponents_of_double_precision_are_numbers() {
    let none = CsvWish::default();
    let text = "time (us),rail (V)\n0.0D+00,0.125D+01\n0.5D0,-1.5d-2\n1D+0,2.5D00\n1.5D0,0.0D0\n";
    let (found, _) = read(text.as_bytes(), &none, 5).expect("numbers");
    let values: Vec<f64> = found.iter().map(|row| row.1[0]).collect();
    assert_eq!(values, PLANTED.map(|row| row.1));
    let comma = text.replace(',', ";").replace('.', ",");
    let (found, _) = read(comma.as_bytes(), &none, 5).expect("numbers");
    assert!((found[1].0 - 0.5e-6).abs() < 1e-18, "{found:?}");
    // Digits and a letter alone may be a code of another base.
    refused(
        b"time (us),rail (V)\n0,1.5\n1,1D3\n",
        "'1D3' is not a number",
    );
}

/// What is beyond the range is told as that, and no value stands for it.
#[test]
fn stars_and_dashes_stand_for_no_value() {
    let text = "time (us),rail (V)\n0,1\n1,*****\n2,-----\n3,OL\n4,-OL\n5,\u{2014}\n6,2\n";
    let (found, summary) = read(text.as_bytes(), &CsvWish::default(), 3).expect("a table");
    let mut survey = Survey::new(0.0, 1e-6);
    let seen: Vec<bool> = found
        .iter()
        .map(|(time, values)| {
            survey.push_at(*time, values[0]);
            Readings::of_one(values[0]).is_nan()
        })
        .collect();
    assert_eq!(seen, [false, true, true, true, true, true, false]);
    let facts = survey.finish(summary.time.1);
    assert_eq!((facts.infinite.samples, facts.missing.samples), (3, 2));
    // Of a time there is no doubt allowed.
    refused(
        b"time (us),rail (V)\n0,1\n****,2\n2,3\n",
        "'****' is not a number",
    );
    // A rule below the names is neither name nor row.
    let ruled = PLAIN.replace("(V)\n", "(V)\n---------,--------\n");
    let (found, summary) = read(ruled.as_bytes(), &CsvWish::default(), 9).expect("a table");
    assert_eq!((found.len(), summary.columns[0].name.as_str()), (4, "rail"));
    assert!((found[1].0 - 0.5e-6).abs() < 1e-15);
}

#[test]
fn units_in_the_fields_are_read_field_by_field() {
    let none = CsvWish::default();
    let says = "units in their fields";
    for text in [
        "Time,CH1\n0us,1.25 V\n0.5us,-15 mV\n1us,2.5 V\n1.5us,0 V\n",
        "Time (us),CH1\n0,1.25V\n0.5,-15mV\n1,2.5V\n1.5,0V\n",
        "Zeit;Gleis\n0 ns;1,25 V\n500 ns;-15,0 mV\n1,0 us;2,50 V\n1500 ns;0,00 V\n",
        "t (ms)\tCH1\n0\t1.25E+00 V\n0.0005\t-15 mV\n0.001\t+2.5 V\n0.0015\t0 V\n",
    ] {
        told_as_planted(text.as_bytes(), &none, says);
    }
    refused(
        b"time (us),rail\n0,1.25 V\n0.5,3\n1,2.5 V\n",
        "line 3, column 2: '3' is not in the unit",
    );
    refused(
        b"time (us),rail\n0,1.25 V\n0.5,3 A\n1,2.5 V\n",
        "line 3, column 2: '3 A' is not in the unit",
    );
    // A group of three digits or decimal places: the unit does not tell.
    refused(
        b"time (us);rail\n0;1,250 V\n1;2,500 V\n",
        "--decimal-comma or --decimal-point",
    );
    let comma = CsvWish {
        dialect: CsvDialect {
            decimal: Some(b','),
            ..CsvDialect::FOUND
        },
        ..CsvWish::default()
    };
    let text = b"time (us);rail\n0;1,250 V\n1;2,500 V\n";
    let (found, _) = read(text, &comma, 9).expect("decimal commas");
    assert_eq!((found[0].1[0], found[1].1[0]), (1.25, 2.5));
}

#[test]
fn keys_beside_the_data_are_read_wherever_they_stand() {
    let none = CsvWish::default();
    let says = "time comes from the rows' numbers";
    for text in [
        "n,CH1 (V),Rate=2 MHz\n0,1.25\n1,-0.015\n2,2.5\n3,0\n",
        "n,CH1,Source=CH1,Interval=5.0e-07,Units=V\n0,1.25,,,\n1,-0.015,,,\n2,2.5,,,\n3,0,,,\n",
        "n,CH1 (V),\n0,1.25,Sample Interval = 500 ns\n1,-0.015,Start=0 s\n2,2.5,\n3,0,\n",
        "n,CH1 (V),Interval (ns)=500\n0,1.25,\n1,-0.015,\n2,2.5,\n3,0,\n",
    ] {
        told_as_planted(text.as_bytes(), &none, says);
    }
    let twice = "n,CH1 (V),Rate=2 MHz\n0,1.25,Interval=1 us\n1,2.5,\n";
    refused(twice.as_bytes(), "--rate");
    let given = CsvWish {
        increment: Some(1e-6),
        start: Some(0.0),
        ..CsvWish::default()
    };
    let (found, _) = read(twice.as_bytes(), &given, 9).expect("as it was asked for");
    assert!((found[1].0 - 1e-6).abs() < 1e-18);
}

/// A square wave of 58 us in words: the same edges as in zeros and ones, as logic.
#[test]
fn words_for_levels_are_logic() {
    for (high, low) in [("High", "Low"), ("HIGH", "LOW"), ("hi", "lo")] {
        let mut text = String::from("Time (us),Rail\n");
        for us in 0..=58 * 39 {
            let word = if us / 58 % 2 == 0 { low } else { high };
            let _ = writeln!(text, "{us},{word}");
        }
        let (_folder, path) = file("words.csv", text.as_bytes());
        let told = inspect(&path, &[]);
        assert_eq!(
            told.json["edges"], 39,
            "{high}: {} {}",
            told.said, told.json
        );
        let mean = &told.json["signal"]["ones"]["all"]["mean"]["value"];
        let mean = mean.as_f64().unwrap_or(0.0);
        assert!((mean - 58e-6).abs() < 1e-9, "{high}: {mean}");
    }
    // A line that never changes is logic all the same, and no volt.
    let (_, summary) = read(b"t (us),a\n0,High\n1,High\n", &CsvWish::default(), 5).expect("words");
    assert_eq!(summary.logic, [true]);
    // Words and numbers in one column are not both meant.
    let mixed = b"time (us),rail\n0,High\n1,Low\n2,1\n3,High\n";
    let fault = read(mixed, &CsvWish::default(), 5).expect_err("two ways");
    let place = matches!(
        fault,
        CsvFault::Number {
            line: 4,
            column: 2,
            ..
        }
    );
    assert!(place, "{fault}");
}
