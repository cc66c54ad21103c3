//! Damaged files and arbitrary bytes: they panic nowhere and read alike however
//! the pieces are cut. It does not say which fault is told.

use super::arrays::{array, npy};
use super::dumps::{EXAMPLE, vcd};
use super::tables::csv;
use super::*;

/// Sound files damaged by a seeded hand: bytes changed, cut out, doubled, the
/// end cut off. Nothing may panic, and pieces may not change the outcome.
#[test]
fn damaged_files_panic_nowhere_and_read_alike_in_pieces() {
    let table = b"time (us),track (V)\r\n0,1.5\r\n1,\"-1.5\"\r\n2,3e0\r\n";
    let data: Vec<u8> = (0..40).collect();
    let arrays = array(1, "<i2", "False", "(10, 2)", &data);
    for round in 0..4000 {
        let mut chance = Seed(1).stream(&[round]);
        let mut below = |limit: usize| (chance.next_u64() % limit.max(1) as u64) as usize;
        let mut damaged = match round % 3 {
            0 => EXAMPLE.as_bytes().to_vec(),
            1 => table.to_vec(),
            _ => arrays.clone(),
        };
        for _ in 0..=below(4) {
            let at = below(damaged.len());
            match below(4) {
                0 => damaged[at] = below(256) as u8,
                1 => drop(damaged.drain(at..(at + below(9)).min(damaged.len()))),
                2 => {
                    let again = damaged[at..(at + below(9)).min(damaged.len())].to_vec();
                    damaged.splice(at..at, again);
                }
                _ => damaged.truncate(at),
            }
            if damaged.is_empty() {
                break;
            }
        }
        let piece = 1 + below(50);
        match round % 3 {
            0 => {
                let wires = ["net1", "level"];
                let whole = vcd(&wires, &damaged, usize::MAX);
                assert_eq!(
                    format!("{:?}", vcd(&wires, &damaged, piece).ok()),
                    format!("{:?}", whole.ok())
                );
            }
            1 => {
                let whole = csv(CsvDialect::POINT, &[], &damaged, usize::MAX);
                let pieces = csv(CsvDialect::POINT, &[], &damaged, piece);
                // By their words: what is no reading is not a number, which
                // equals nothing.
                assert_eq!(format!("{pieces:?}"), format!("{whole:?}"));
            }
            _ => {
                let whole = npy(1, NpyLayout::Longer, &damaged, usize::MAX);
                let pieces = npy(1, NpyLayout::Longer, &damaged, piece);
                assert_eq!(pieces.ok(), whole.ok());
            }
        }
    }
}

proptest::proptest! {
    #[test]
    fn no_bytes_panic(bytes: Vec<u8>, piece in 1_usize..40) {
        let _ = vcd(&[], &bytes, piece);
        let _ = csv(CsvDialect::POINT, &[], &bytes, piece);
        let _ = csv(CsvDialect::COMMA, &["a"], &bytes, piece);
        let _ = npy(0, NpyLayout::Longer, &bytes, piece);
        let tail = [&b"$timescale 1 us $end $var wire 1 ! a $end $enddefinitions $end "[..], &bytes].concat();
        let _ = vcd(&["a"], &tail, piece);
        let described = array(1, "<f4", "False", "(3, 2)", &bytes);
        let _ = npy(1, NpyLayout::SamplesByChannels, &described, piece);
    }
}
