//! The first frame of a GIF, on its canvas.
//!
//! Source: GIF89a (CompuServe 1990): sections 15 to 26. The background colour is only a hint that nobody follows: what the
//! first frame leaves free is transparent.

use std::io::Cursor;
use std::num::NonZeroU64;

use gif::{ColorOutput, DecodeOptions, DecodingError, MemoryLimit};
use image::RgbaImage;

use super::limits::Limits;
use super::samples::{Decoded, Samples, cut_short, image_of, unreadable};
use crate::fault::Fault;

pub(super) fn open(bytes: &[u8], limits: &Limits) -> Result<Decoded, Fault> {
    let mut options = DecodeOptions::new();
    options.set_color_output(ColorOutput::RGBA);
    let most = NonZeroU64::new(limits.max_decoded_bytes).unwrap_or(NonZeroU64::MIN);
    options.set_memory_limit(MemoryLimit::Bytes(most));
    let mut decoder = options.read_info(Cursor::new(bytes)).map_err(fault_of)?;
    let (width_px, height_px) = (u32::from(decoder.width()), u32::from(decoder.height()));
    limits.check_samples(width_px, height_px, 4)?;
    let frames = frames(bytes, limits.max_frames);
    limits.check_frames(frames)?;
    let Some(frame) = decoder.next_frame_info().map_err(fault_of)? else {
        return Err(unreadable("it holds no picture"));
    };
    let (left, top) = (i64::from(frame.left), i64::from(frame.top));
    let (frame_width, frame_height) = (u32::from(frame.width), u32::from(frame.height));
    limits.check_samples(frame_width, frame_height, 4)?;
    let mut samples = vec![0; decoder.buffer_size()];
    decoder.read_into_buffer(&mut samples).map_err(fault_of)?;
    let mut pixels = image_of(frame_width, frame_height, samples)?;
    if (left, top, frame_width, frame_height) != (0, 0, width_px, height_px) {
        let mut canvas = RgbaImage::new(width_px, height_px);
        image::imageops::replace(&mut canvas, &pixels, left, top);
        pixels = canvas;
    }
    Ok(Decoded { animated: frames > 1, ..Decoded::of(Samples::Rgb(pixels)) })
}

/// Counts frames without unpacking them, no further than one past the limit.
fn frames(bytes: &[u8], limit: u32) -> u32 {
    let table_bytes = |flags: u8| if flags & 0x80 == 0 { 0 } else { 3 << ((flags & 7) + 1) };
    let mut at = 13 + bytes.get(10).map_or(0, |flags| table_bytes(*flags));
    let mut count = 0;
    while let Some(introducer) = bytes.get(at) {
        match introducer {
            // An image: descriptor, perhaps a table, the code size, blocks.
            0x2C => {
                count += 1;
                let Some(flags) = bytes.get(at + 9) else { break };
                at = past_blocks(bytes, at + 11 + table_bytes(*flags));
            }
            // An extension: its label, blocks.
            0x21 => at = past_blocks(bytes, at + 2),
            _ => break,
        }
        if count > limit {
            break;
        }
    }
    count
}

/// The place behind a run of data blocks.
fn past_blocks(bytes: &[u8], mut at: usize) -> usize {
    while let Some(length) = bytes.get(at) {
        at += 1 + usize::from(*length);
        if *length == 0 {
            break;
        }
    }
    at
}

#[expect(clippy::needless_pass_by_value, reason = "the shape that map_err wants")]
fn fault_of(error: DecodingError) -> Fault {
    tracing::debug!(%error, "a GIF could not be decoded");
    if matches!(error, DecodingError::Io(_)) { cut_short() } else { unreadable("its data are damaged") }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A GIF of frames of one size on a canvas, each in one colour of a table of two.
    fn animation(canvas: (u16, u16), frame: (u16, u16), at: (u16, u16), frames: usize) -> Vec<u8> {
        let mut bytes = Vec::new();
        let mut encoder = gif::Encoder::new(&mut bytes, canvas.0, canvas.1, &[200, 10, 20, 0, 0, 0]).unwrap();
        for _ in 0..frames {
            let indices = vec![0; usize::from(frame.0) * usize::from(frame.1)];
            let mut one = gif::Frame::from_indexed_pixels(frame.0, frame.1, indices, None);
            (one.left, one.top) = at;
            encoder.write_frame(&one).unwrap();
        }
        drop(encoder);
        bytes
    }

    #[test]
    fn the_first_frame_stands_where_it_belongs_on_a_transparent_canvas() {
        let decoded = open(&animation((40, 30), (10, 5), (20, 10), 3), &Limits::default()).unwrap();
        assert!(decoded.animated);
        let Samples::Rgb(pixels) = decoded.samples else { unreachable!("a GIF is RGB") };
        assert_eq!(pixels.dimensions(), (40, 30));
        assert_eq!(pixels.get_pixel(20, 10).0, [200, 10, 20, 255]);
        assert_eq!(pixels.get_pixel(19, 10).0[3], 0);
    }

    #[test]
    fn frames_are_counted_and_limited() {
        assert!(!open(&animation((40, 30), (40, 30), (0, 0), 1), &Limits::default()).unwrap().animated);
        let few = Limits { max_frames: 2, ..Limits::default() };
        assert!(open(&animation((40, 30), (1, 1), (0, 0), 2), &few).is_ok());
        assert!(matches!(
            open(&animation((40, 30), (1, 1), (0, 0), 9), &few),
            Err(Fault::ArtOverLimit { unit: "frames", .. })
        ));
    }

    #[test]
    fn a_frame_that_runs_off_its_canvas_is_cut_there() {
        let decoded = open(&animation((40, 30), (60, 30), (10, 0), 1), &Limits::default());
        if let Ok(decoded) = decoded {
            let Samples::Rgb(pixels) = decoded.samples else { unreachable!("a GIF is RGB") };
            assert_eq!(pixels.dimensions(), (40, 30));
        }
    }
}
