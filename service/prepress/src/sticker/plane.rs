//! Pixels of one picture, compressed once: what the PDF writer embeds as it is, and what previews unpack.

use std::io::{Read, Write};

use flate2::Compression;
use flate2::read::ZlibDecoder;
use flate2::write::ZlibEncoder;

/// zlib data of 8-bit rows, each behind a PNG `Up` filter byte (PNG 3rd edition, 9.2): PDF's FlateDecode with
/// `/Predictor 12`.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Plane {
    width_px: u32,
    channels: u8,
    data: Vec<u8>,
}

/// PNG filter type 2: each byte less the one above.
const FILTER_UP: u8 = 2;

/// Level 4 took a third of the time of level 6 for a few percent more bytes on noisy pictures.
const LEVEL: u32 = 4;

impl Plane {
    /// Compresses rows of `width_px * channels` bytes.
    ///
    /// # Panics
    /// Never: writing to memory does not fail.
    pub fn pack(pixels: &[u8], width_px: u32, channels: u8) -> Plane {
        let stride = width_px as usize * usize::from(channels);
        let mut encoder = ZlibEncoder::new(Vec::new(), Compression::new(LEVEL));
        let mut above = vec![0_u8; stride];
        let mut row_out = vec![FILTER_UP; stride + 1];
        for row in pixels.chunks_exact(stride.max(1)) {
            for ((out, byte), up) in row_out[1..].iter_mut().zip(row).zip(&above) {
                *out = byte.wrapping_sub(*up);
            }
            encoder.write_all(&row_out).expect("writing to memory does not fail");
            above.copy_from_slice(row);
        }
        let mut data = encoder.finish().expect("writing to memory does not fail");
        data.shrink_to_fit();
        Plane { width_px, channels, data }
    }

    /// The rows again.
    ///
    /// # Panics
    /// Never: only [`Plane::pack`] makes the data.
    pub fn unpack(&self) -> Vec<u8> {
        let stride = self.width_px as usize * usize::from(self.channels);
        let mut filtered = Vec::new();
        ZlibDecoder::new(self.data.as_slice()).read_to_end(&mut filtered).expect("packed by this type");
        let mut pixels: Vec<u8> = Vec::with_capacity(filtered.len());
        for row in filtered.chunks_exact(stride + 1) {
            let above = pixels.len().checked_sub(stride);
            for (column, byte) in row[1..].iter().enumerate() {
                let up = above.map_or(0, |start| pixels[start + column]);
                pixels.push(byte.wrapping_add(up));
            }
        }
        pixels
    }

    /// The compressed bytes.
    pub fn data(&self) -> &[u8] {
        &self.data
    }

    /// Bytes for each pixel.
    pub fn channels(&self) -> u8 {
        self.channels
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rows_come_back_as_they_were_packed() {
        let pixels: Vec<u8> = (0..7 * 5 * 3).map(|n: u32| (n * n % 251) as u8).collect();
        assert_eq!(Plane::pack(&pixels, 7, 3).unpack(), pixels);
    }
}
