//! An image of pixels, read whole before it is drawn: whoever draws it cannot
//! fail. It opens no file.

use std::fmt;
use std::sync::Arc;

/// Most pixels of an image: a small file can ask for very many.
const MOST_PIXELS: u64 = 4_000_000;

/// A PNG (ISO/IEC 15948) with its pixels.
#[derive(Clone, PartialEq, Eq)]
pub struct Raster {
    png: Arc<[u8]>,
    rgba: Arc<[u8]>,
    pixels: (u32, u32),
}

impl Raster {
    /// Reads the bytes of a PNG.
    ///
    /// # Errors
    /// What keeps it from being shown, for the person whose file it is.
    pub fn of_png(bytes: &[u8]) -> Result<Self, String> {
        let unreadable = |fault: png::DecodingError| format!("it is no sound PNG: {fault}");
        let mut decoder = png::Decoder::new(std::io::Cursor::new(bytes));
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
        Ok(Self {
            png: bytes.into(),
            rgba: rgba.into(),
            pixels,
        })
    }

    /// The bytes of its file.
    pub(crate) fn png(&self) -> &[u8] {
        &self.png
    }

    /// Red, green, blue and opacity of each pixel, row by row.
    pub(crate) fn rgba(&self) -> &[u8] {
        &self.rgba
    }

    /// Its width and its height.
    pub(crate) const fn pixels(&self) -> (u32, u32) {
        self.pixels
    }

    /// As large as it fits into `room`, its shape kept.
    pub(crate) fn fitted(&self, room: (f64, f64)) -> (f64, f64) {
        let (width, height) = (f64::from(self.pixels.0), f64::from(self.pixels.1));
        let factor = (room.0 / width).min(room.1 / height);
        (width * factor, height * factor)
    }
}

impl fmt::Debug for Raster {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "Raster({} x {})", self.pixels.0, self.pixels.1)
    }
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
            let raster = Raster::of_png(&file((2, 1), colour, samples)).expect("a PNG");
            assert_eq!(raster.rgba(), rgba, "{colour:?}");
            assert_eq!(raster.pixels(), (2, 1));
        }
    }

    #[test]
    fn what_is_cut_or_too_large_is_refused() {
        let whole = file((2, 1), png::ColorType::Grayscale, &[5, 6]);
        for length in 0..whole.len() - 12 {
            let found = Raster::of_png(&whole[..length]);
            assert!(found.is_err(), "{length} of {} bytes", whole.len());
        }
        let wide = file(
            (4_000_001, 1),
            png::ColorType::Grayscale,
            &vec![0; 4_000_001],
        );
        let why = Raster::of_png(&wide).expect_err("too many");
        assert!(why.contains("4000001 x 1 pixels"), "{why}");
    }

    #[test]
    fn it_keeps_its_shape() {
        let raster = Raster::of_png(&file((4, 1), png::ColorType::Grayscale, &[0; 4]));
        let raster = raster.expect("a PNG");
        assert_eq!(raster.fitted((100.0, 50.0)), (100.0, 25.0));
        assert_eq!(raster.fitted((100.0, 10.0)), (40.0, 10.0));
    }
}
