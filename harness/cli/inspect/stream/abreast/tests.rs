//! Both sides see every sample once and in order, however a file is read, and what
//! goes wrong on one of them ends the pass as it ends one on one thread.

use super::super::arrays::ArrayReader;
use super::{PIECE, Trouble, abreast};
use crate::capture_file::{NpyLayout, NpyReader, Samples};
use std::io::{self, Read};
use std::panic::{AssertUnwindSafe, catch_unwind};

/// An array by NumPy Enhancement Proposal 1, version 1.
fn array(samples: usize, big: bool) -> Vec<u8> {
    let order = if big { '>' } else { '<' };
    let text = format!("{{'descr': '{order}i2', 'fortran_order': False, 'shape': ({samples},), }}");
    let mut bytes = b"\x93NUMPY\x01\x00\x76\x00".to_vec();
    bytes.extend(format!("{text:<117}\n").bytes());
    let bytes_of = |n: usize| {
        let code = (n % 30_011) as i16;
        if big {
            code.to_be_bytes()
        } else {
            code.to_le_bytes()
        }
    };
    bytes.extend((0..samples).flat_map(bytes_of));
    bytes
}

/// Gives a few bytes at a time, and fails at one if told to.
struct Source<'a> {
    bytes: &'a [u8],
    at: usize,
    few: usize,
    fails: Option<usize>,
}

impl Read for Source<'_> {
    fn read(&mut self, room: &mut [u8]) -> io::Result<usize> {
        if self.fails.is_some_and(|byte| self.at >= byte) {
            return Err(io::Error::other("the disk is gone"));
        }
        let count = self.few.min(room.len()).min(self.bytes.len() - self.at);
        room[..count].copy_from_slice(&self.bytes[self.at..self.at + count]);
        self.at += count;
        Ok(count)
    }
}

type Follows<'a> = &'a mut (dyn FnMut(Samples<'_>, &mut Vec<i16>) + Send);

/// What was seen on either side, and how it ended.
fn pass(
    bytes: &[u8],
    few: usize,
    fails: Option<usize>,
    panics: [bool; 2],
) -> (Vec<i16>, Vec<i16>, Result<(), Trouble>) {
    let source = Source {
        bytes,
        at: 0,
        few,
        fails,
    };
    let reader = ArrayReader::Npy(NpyReader::new(0, NpyLayout::Longer));
    let (mut first, mut second, mut third) = (Vec::new(), Vec::new(), Vec::new());
    let list = |samples: Samples<'_>| match samples {
        Samples::I16(list) => list.to_vec(),
        other => panic!("other samples: {other:?}"),
    };
    let mut follows = |samples: Samples<'_>, noticed: &mut Vec<i16>| {
        assert_eq!(&list(samples), noticed);
        second.extend(noticed.iter());
        assert!(!panics[1] || second.len() < PIECE, "behind");
        noticed.push(1);
    };
    let mut follows_that = |samples: Samples<'_>, noticed: &mut Vec<i16>| {
        assert_eq!(noticed.pop(), Some(1), "who goes before has been there");
        assert_eq!(&list(samples), noticed);
        third.extend(noticed.iter());
    };
    let mut behind: [Follows<'_>; 2] = [&mut follows, &mut follows_that];
    let ended = abreast(
        (source, bytes.len() as u64),
        reader,
        &mut |samples, noticed: &mut Vec<i16>| {
            *noticed = list(samples);
            first.extend(noticed.iter());
            assert!(!panics[0] || first.len() < PIECE, "ahead");
        },
        &mut behind,
    );
    assert!(second.starts_with(&third));
    assert!(ended.is_err() || second == third);
    (first, second, ended)
}

#[test]
fn both_sides_see_all_samples_in_order() {
    for samples in [0, 1, 1_000, PIECE / 2 - 64, PIECE / 2, 2_200_001] {
        let codes: Vec<i16> = (0..samples).map(|n| (n % 30_011) as i16).collect();
        for (few, big) in [(usize::MAX, false), (usize::MAX, true), (99_991, false)] {
            let bytes = array(samples, big);
            let (first, second, ended) = pass(&bytes, few, None, [false; 2]);
            ended.expect("nothing is wrong with it");
            assert!(first == codes && second == codes, "{samples} {few} {big}");
        }
    }
}

#[test]
fn a_file_that_fails_or_ends_midway_is_told() {
    let bytes = array(2_200_001, false);
    for few in [usize::MAX, 4_093] {
        for byte in [40, 3_000, PIECE, 1_500_001] {
            let (first, second, ended) = pass(&bytes, few, Some(byte), [false; 2]);
            let told = matches!(&ended, Err(Trouble::File(why)) if why == "the disk is gone");
            assert!(told, "{byte}: {ended:?}");
            // What was seen was followed as far as it was handed on.
            assert!(first.starts_with(&second), "{byte}");
        }
    }
    for (length, fault) in [(bytes.len() - 3, "promises"), (500, "promises")] {
        let (.., ended) = pass(&bytes[..length], usize::MAX, None, [false; 2]);
        let told = matches!(&ended, Err(Trouble::File(why)) if why.contains(fault));
        assert!(told, "{length}: {ended:?}");
    }
    let longer = [&bytes[..], &[0; 5]].concat();
    let (.., ended) = pass(&longer, usize::MAX, None, [false; 2]);
    assert!(matches!(&ended, Err(Trouble::File(_))), "{ended:?}");
}

#[test]
fn a_panic_on_either_side_comes_out() {
    let bytes = array(2_200_001, false);
    for (panics, word) in [([true, false], "ahead"), ([false, true], "behind")] {
        let caught = catch_unwind(AssertUnwindSafe(|| {
            pass(&bytes, usize::MAX, None, panics).2.is_ok()
        }));
        let panic = caught.expect_err("a panic");
        let said = panic.downcast_ref::<&str>();
        assert_eq!(said, Some(&word));
    }
}
