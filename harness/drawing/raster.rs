//! An image of pixels with the file that it came from: whoever draws it cannot
//! fail. It decodes nothing.

use std::fmt;
use std::sync::Arc;

/// A PNG (ISO/IEC 15948) with its pixels.
#[derive(Clone, PartialEq, Eq)]
pub struct Raster {
    png: Arc<[u8]>,
    rgba: Arc<[u8]>,
    pixels: (u32, u32),
}

impl Raster {
    /// The image of a PNG's bytes, of `width` and `height`, which have `rgba`: red,
    /// green, blue and opacity of each pixel, row by row.
    pub fn new(png: &[u8], (width, height): (u32, u32), rgba: Vec<u8>) -> Option<Self> {
        let whole = u64::from(width) * u64::from(height) * 4;
        (whole > 0 && rgba.len() as u64 == whole).then(|| Self {
            png: png.into(),
            rgba: rgba.into(),
            pixels: (width, height),
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

    #[test]
    fn it_keeps_its_shape() {
        let raster = Raster::new(b"", (4, 1), vec![0; 16]).expect("whole");
        assert_eq!(raster.fitted((100.0, 50.0)), (100.0, 25.0));
        assert_eq!(raster.fitted((100.0, 10.0)), (40.0, 10.0));
        assert_eq!(Raster::new(b"", (4, 2), vec![0; 16]), None);
        assert_eq!(Raster::new(b"", (4, 0), Vec::new()), None);
    }
}
