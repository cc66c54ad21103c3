//! Readers of arrays against files written here by the format's own text, cut
//! anywhere. No file is opened.

use super::*;

pub(super) fn npy(
    channel: usize,
    layout: NpyLayout,
    bytes: &[u8],
    piece: usize,
) -> Result<(Vec<f64>, NpySummary), NpyFault> {
    let mut samples = Vec::new();
    let mut reader = NpyReader::new(channel, layout);
    for piece in bytes.chunks(piece) {
        reader.push(piece, &mut |found| match found {
            Samples::I8(s) => samples.extend(s.iter().map(|&v| f64::from(v))),
            Samples::I16(s) => samples.extend(s.iter().map(|&v| f64::from(v))),
            Samples::I32(s) => samples.extend(s.iter().map(|&v| f64::from(v))),
            Samples::F32(s) => samples.extend(s.iter().map(|&v| f64::from(v))),
            Samples::F64(s) => samples.extend_from_slice(s),
        })?;
    }
    Ok((samples, reader.finish()?))
}

/// A file as NumPy Enhancement Proposal 1 lays it out: magic, version, length,
/// a dictionary padded with spaces to a multiple of 64, a line end, data.
pub(super) fn array(version: u8, descr: &str, order: &str, shape: &str, data: &[u8]) -> Vec<u8> {
    let mut text = format!("{{'descr': '{descr}', 'fortran_order': {order}, 'shape': {shape}, }}");
    let prefix = if version == 1 { 10 } else { 12 };
    while (prefix + text.len() + 1) % 64 != 0 {
        text.push(' ');
    }
    text.push('\n');
    let mut bytes = b"\x93NUMPY".to_vec();
    bytes.extend([version, 0]);
    let length = (text.len() as u32).to_le_bytes();
    bytes.extend(&length[..if version == 1 { 2 } else { 4 }]);
    bytes.extend(text.as_bytes());
    bytes.extend(data);
    bytes
}

#[test]
fn arrays_of_every_type_are_read() {
    let values = [-100.0, 0.0, 1.0, 127.0];
    let i16s: Vec<u8> = values
        .iter()
        .flat_map(|&v| (v as i16).to_le_bytes())
        .collect();
    let files = [
        array(1, "|i1", "False", "(4,)", &values.map(|v| v as i8 as u8)),
        array(2, "<i2", "False", "(4,)", &i16s),
        array(1, "<i2", "True", "(4,)", &i16s),
        array(
            1,
            ">i4",
            "False",
            "(4,)",
            &values.map(|v| (v as i32).to_be_bytes()).concat(),
        ),
        array(
            3,
            "<f4",
            "False",
            "(4,)",
            &values.map(|v| (v as f32).to_le_bytes()).concat(),
        ),
        array(
            1,
            "<f8",
            "False",
            "(4,)",
            &values.map(f64::to_le_bytes).concat(),
        ),
    ];
    for file in &files {
        for piece in [1, 3, 64, 4096] {
            let (samples, summary) = npy(0, NpyLayout::Longer, file, piece).expect("sound");
            assert_eq!(samples, values);
            assert_eq!((summary.samples, summary.channels), (4, 1));
        }
    }
}

#[test]
fn a_channel_is_picked_from_either_layout() {
    let codes: Vec<u8> = (0..12_i16).flat_map(i16::to_le_bytes).collect();
    for piece in [1, 5, 7, 1000] {
        let rows = array(1, "<i2", "False", "(6, 2)", &codes);
        let (odd, _) = npy(1, NpyLayout::Longer, &rows, piece).expect("sound");
        assert_eq!(odd, [1.0, 3.0, 5.0, 7.0, 9.0, 11.0]);
        let columns = array(1, "<i2", "False", "(2, 6)", &codes);
        let (second, _) = npy(1, NpyLayout::Longer, &columns, piece).expect("sound");
        assert_eq!(second, [6.0, 7.0, 8.0, 9.0, 10.0, 11.0]);
        let forced = npy(5, NpyLayout::SamplesByChannels, &columns, piece).expect("sound");
        assert_eq!(forced.0, [5.0, 11.0]);
    }
}

/// NumPy's types beyond those that have their own kind of samples, and Fortran
/// order: columns lie in one piece.
#[test]
fn arrays_of_other_types_and_order_are_read() {
    let read = |descr: &str, order: &str, shape: &str, data: &[u8], channel: usize| {
        let file = array(1, descr, order, shape, data);
        npy(channel, NpyLayout::Longer, &file, 3).expect(descr).0
    };
    assert_eq!(
        read("|u1", "False", "(3,)", &[0, 128, 255], 0),
        [0.0, 128.0, 255.0]
    );
    assert_eq!(read("|b1", "False", "(3,)", &[0, 1, 1], 0), [0.0, 1.0, 1.0]);
    assert_eq!(
        read(">u2", "False", "(2,)", &[0xFF, 0xFF, 0, 7], 0),
        [65_535.0, 7.0]
    );
    let wide = [-3_i64, 1 << 40].map(i64::to_le_bytes).concat();
    assert_eq!(
        read("<i8", "False", "(2,)", &wide, 0),
        [-3.0, 1_099_511_627_776.0]
    );
    // IEEE 754 binary16: 1, -2, 65504 (the largest), 2^-24 (the smallest).
    let halves = [0x3C00_u16, 0xC000, 0x7BFF, 0x0001]
        .map(u16::to_le_bytes)
        .concat();
    let expected = [1.0, -2.0, 65_504.0, 2f64.powi(-24)];
    assert_eq!(read("<f2", "False", "(4,)", &halves, 0), expected);
    // Three samples of two channels, channel by channel.
    let fortran = [1_i16, 2, 3, 11, 12, 13].map(i16::to_le_bytes).concat();
    assert_eq!(
        read("<i2", "True", "(3, 2)", &fortran, 1),
        [11.0, 12.0, 13.0]
    );
    let lanes = [1_i16, 11, 2, 12, 3, 13].map(i16::to_le_bytes).concat();
    assert_eq!(read("<i2", "True", "(2, 3)", &lanes, 1), [11.0, 12.0, 13.0]);
}

#[test]
fn faults_in_an_array_name_the_byte() {
    let sound = array(1, "<i2", "False", "(4,)", &[0; 8]);
    let length = sound.len();
    for (bytes, part) in [
        (b"PK\x03\x04".to_vec(), "byte 0: this is no .npy file"),
        (b"\x93NUMPX".to_vec(), "byte 5"),
        (b"\x93NUMPY\x09\x00".to_vec(), "version 9"),
        (
            sound[..length - 3].to_vec(),
            &*format!("byte {}: the file ends", length - 3),
        ),
        (sound[..40].to_vec(), "byte 40: the file ends"),
        (
            [&sound[..], &[0]].concat(),
            &*format!("byte {length}: the file goes on"),
        ),
        (
            [&sound[..], &[0; 9]].concat(),
            &*format!("byte {length}: the file goes on"),
        ),
        (array(1, "<c8", "False", "(4,)", &[]), "type '<c8'"),
        (array(1, "<i2", "False", "(2, 2, 2)", &[]), "3 dimensions"),
        (
            array(1, "<i2", "False", "(99999999999999999999,)", &[]),
            "shape",
        ),
        (
            array(1, "<i2", "False", "(9999999999999999, 9999)", &[]),
            "counted",
        ),
    ] {
        for piece in [1, 4096] {
            let fault = npy(0, NpyLayout::Longer, &bytes, piece).expect_err(part);
            assert!(fault.to_string().contains(part), "{part}: {fault}");
        }
    }
    let fault = npy(1, NpyLayout::Longer, &sound, 9).expect_err("one channel");
    assert_eq!(
        fault,
        NpyFault::NoSuchChannel {
            wanted: 1,
            known: 1
        }
    );
}
