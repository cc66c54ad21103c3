//! The workshop's logo, decoded whole when it is read: a damaged file is named then,
//! and no paper fails for it. It draws nothing.

use crate::drawing::raster::Raster;
use std::io::Cursor;

/// Most pixels of an image: a small file can ask for very many.
const MOST_PIXELS: u64 = 4_000_000;

/// Reads the bytes of a PNG.
///
/// # Errors
/// What keeps it from being shown, for the person whose file it is.
pub(super) fn of_png(bytes: &[u8]) -> Result<Raster, String> {
    let unreadable = |fault: png::DecodingError| format!("it is no sound PNG: {fault}");
    let mut decoder = png::Decoder::new(Cursor::new(bytes));
    let header = decoder.read_header_info().map_err(unreadable)?;
    let pixels = (header.width, header.height);
    if u64::from(pixels.0) * u64::from(pixels.1) > MOST_PIXELS {
        return Err(format!(
            "it has {} x {} pixels; {MOST_PIXELS} in all are the most",
            pixels.0, pixels.1
        ));
    }
    decoder.set_transformations(png::Transformations::ALPHA | png::Transformations::STRIP_16);
    let mut reader = decoder.read_info().map_err(unreadable)?;
    let size = reader.output_buffer_size().ok_or("it is too large")?;
    let mut samples = vec![0; size];
    let frame = reader.next_frame(&mut samples).map_err(unreadable)?;
    samples.truncate(frame.buffer_size());
    let rgba = match frame.color_type {
        png::ColorType::GrayscaleAlpha => samples
            .chunks_exact(2)
            .flat_map(|pixel| [pixel[0], pixel[0], pixel[0], pixel[1]])
            .collect(),
        _ => samples,
    };
    Raster::new(bytes, pixels, rgba).ok_or_else(|| "it has no pixels".to_owned())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A file of `size` whose samples are `samples`.
    fn file(size: (u32, u32), colour: png::ColorType, samples: &[u8]) -> Vec<u8> {
        let mut bytes = Vec::new();
        let mut encoder = png::Encoder::new(&mut bytes, size.0, size.1);
        encoder.set_color(colour);
        if colour == png::ColorType::Indexed {
            encoder.set_palette(vec![9, 8, 7, 1, 2, 3]);
        }
        let mut writer = encoder.write_header().expect("room");
        writer.write_image_data(samples).expect("room");
        writer.finish().expect("room");
        bytes
    }

    #[test]
    fn each_kind_of_pixel_becomes_red_green_blue_and_opacity() {
        use png::ColorType::{Grayscale, GrayscaleAlpha, Indexed, Rgb, Rgba};
        let cases: [(png::ColorType, &[u8], [u8; 8]); 5] = [
            (Grayscale, &[5, 6], [5, 5, 5, 255, 6, 6, 6, 255]),
            (GrayscaleAlpha, &[5, 1, 6, 2], [5, 5, 5, 1, 6, 6, 6, 2]),
            (Rgb, &[1, 2, 3, 4, 5, 6], [1, 2, 3, 255, 4, 5, 6, 255]),
            (Rgba, &[1, 2, 3, 4, 5, 6, 7, 8], [1, 2, 3, 4, 5, 6, 7, 8]),
            (Indexed, &[1, 0], [1, 2, 3, 255, 9, 8, 7, 255]),
        ];
        for (colour, samples, rgba) in cases {
            let raster = of_png(&file((2, 1), colour, samples)).expect("a PNG");
            assert_eq!(raster.rgba(), rgba, "{colour:?}");
            assert_eq!(raster.pixels(), (2, 1));
        }
    }

    #[test]
    fn what_is_cut_or_too_large_is_refused() {
        let whole = file((2, 1), png::ColorType::Grayscale, &[5, 6]);
        for length in 0..whole.len() - 12 {
            let found = of_png(&whole[..length]);
            assert!(found.is_err(), "{length} of {} bytes", whole.len());
        }
        let wide = file(
            (4_000_001, 1),
            png::ColorType::Grayscale,
            &vec![0; 4_000_001],
        );
        let why = of_png(&wide).expect_err("too many");
        assert!(why.contains("4000001 x 1 pixels"), "{why}");
    }
}
