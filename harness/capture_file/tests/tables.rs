//! Readers of tables against files written here by the format's own text, cut
//! anywhere. No file is opened.

use super::*;

pub(super) type Rows = Vec<(f64, Vec<f64>)>;

pub(super) fn csv(
    dialect: CsvDialect,
    columns: &[&str],
    text: &[u8],
    piece: usize,
) -> Result<(Rows, CsvSummary), CsvFault> {
    let mut rows = Vec::new();
    let mut reader = CsvReader::new(dialect, columns);
    for piece in text.chunks(piece) {
        reader.push(piece, &mut |time, values| {
            rows.push((time, values.to_vec()));
        })?;
    }
    let summary = reader.finish(&mut |time, values| rows.push((time, values.to_vec())))?;
    Ok((rows, summary))
}

#[test]
fn a_table_is_read_in_every_dress() {
    let dresses: [(CsvDialect, &str); 5] = [
        (
            CsvDialect::POINT,
            "time (us),track (V),shunt [mA]\n-1,15,250\n0.5,-15,-250\n",
        ),
        (
            CsvDialect::POINT,
            "\u{feff}time (us),\"track (V)\",shunt (mA)\r\n-1,\"15\",250\r\n\r\n0.5,-15,-250",
        ),
        (
            CsvDialect::COMMA,
            "time (us);track (V);shunt (mA)\n-1;15,0;250\n0,5;-15,0;-2,5e2\n",
        ),
        (
            CsvDialect::POINT,
            "time,track,shunt\n(us),(V),(mA)\n-1,15,250\n0.5,-15,-250\n",
        ),
        (
            CsvDialect::POINT,
            "time (us),track (V),shunt (mA)\r-1, 15 ,250\r0.5,-15,-250\r",
        ),
    ];
    for (dialect, text) in dresses {
        for piece in [1, 5, 1000] {
            let (rows, summary) = csv(dialect, &[], text.as_bytes(), piece).expect(text);
            let near = |a: f64, b: f64| assert!((a - b).abs() < 1e-12, "{text}: {a} {b}");
            assert_eq!(rows.len(), 2, "{text}");
            near(rows[0].0, -1e-6);
            near(rows[1].0, 0.5e-6);
            near(rows[0].1[0], 15.0);
            near(rows[1].1[1], -0.25);
            assert_eq!(summary.columns[1].name, "shunt");
            assert_eq!(summary.columns[1].dimension, Some(Dimension::Current));
            near(summary.step.1, 1.5e-6);
        }
    }
    let (rows, _) = csv(CsvDialect::POINT, &["shunt"], dresses[0].1.as_bytes(), 9).expect("sound");
    assert_eq!(rows[0].1, [0.25]);
}

/// RFC 4180 section 2 rules 6 and 7: separators, line ends and doubled
/// quotation marks inside quotes.
#[test]
fn quotes_hold_what_they_may() {
    let text = "\"time (s)\",\"a \"\"b\"\",\r\nc (V)\"\r\n1,2\r\n";
    let (rows, summary) = csv(CsvDialect::POINT, &[], text.as_bytes(), 3).expect("sound");
    assert_eq!(rows, [(1.0, vec![2.0])]);
    assert_eq!(summary.columns[0].name, "a \"b\",\r\nc");
}

#[test]
fn faults_in_a_table_name_the_line() {
    for (text, part) in [
        ("", "ends before the first sample"),
        ("time (s),a (V)\n", "ends before the first sample"),
        ("0,1\n1,2\n", "line 1: the first line must name"),
        (
            "time (s),a (V)\n0,1\n1\n",
            "line 3: 1 fields where the header has 2",
        ),
        ("time (s),a (V)\n0,1\n1,2,3\n", "line 3: 3 fields"),
        ("time (s),a (V)\n0,1\n1,x\n", "line 3, column 2: 'x'"),
        ("time (s),a (V)\n0,1\n1,\n", "line 3, column 2: ''"),
        ("time (s),a (V)\n0,1\n0,2\n", "line 3: time does not go on"),
        ("time (s),a (V)\n0,1\n1,\"2\n", "quotation mark"),
        ("time (s),a (V)\n0,1\n1,2\"\n", "line 3: a quotation mark"),
        ("time (V),a (V)\n0,1\n", "'V' is no unit of time"),
        ("time (s),a (furlong)\n0,1\n", "no unit of volts"),
        ("time (s)\n0\n", "one of values"),
    ] {
        let fault = csv(CsvDialect::POINT, &[], text.as_bytes(), 4).expect_err(text);
        assert!(fault.to_string().contains(part), "{text:?}: {fault}");
    }
    let text = b"time (s);a (V)\n0;1.000,5\n";
    let fault = csv(CsvDialect::COMMA, &[], text, 4).expect_err("a grouped number");
    assert!(fault.to_string().contains("'1.000,5'"), "{fault}");
    let fault = csv(CsvDialect::POINT, &["b"], b"time (s),a (V)\n0,1\n", 4).expect_err("no b");
    assert!(fault.to_string().contains("no column 'b'; the file has: a"));
}
