//! Previews, decoded again and measured.

use super::*;
use crate::sheet::tests::{die_cut, kiss_cut, sheet_of};

struct Decoded {
    width: u32,
    height: u32,
    channels: usize,
    per_metre: u32,
    pixels: Vec<u8>,
}

impl Decoded {
    fn of(bytes: &[u8]) -> Decoded {
        let decoder = png::Decoder::new(std::io::Cursor::new(bytes));
        let mut reader = decoder.read_info().expect("a PNG");
        let mut pixels = vec![0; reader.output_buffer_size().expect("small")];
        let frame = reader.next_frame(&mut pixels).expect("whole");
        let dims = reader.info().pixel_dims.expect("a resolution");
        assert_eq!((dims.xppu, dims.unit), (dims.yppu, png::Unit::Meter));
        let channels = frame.color_type.samples();
        Decoded { width: frame.width, height: frame.height, channels, per_metre: dims.xppu, pixels }
    }

    /// The pixel at a place in millimetres of the picture.
    fn at(&self, x_mm: f64, y_mm: f64, ppi: f64) -> &[u8] {
        let (x, y) = ((x_mm / 25.4 * ppi) as usize, (y_mm / 25.4 * ppi) as usize);
        let start = (y * self.width as usize + x) * self.channels;
        &self.pixels[start..start + self.channels]
    }
}

#[test]
fn preview_is_as_large_as_its_millimetres_at_150_ppi_and_says_so() {
    let picture = Decoded::of(&write(&sheet_of(vec![die_cut(60.0, 40.0, 33.0)])).expect("written"));
    assert_eq!((picture.width, picture.height, picture.channels), (1275, 1650, 3));
    // 150 / 0.0254 = 5905.5.
    assert_eq!(picture.per_metre, 5906);
}

#[test]
fn stickers_stand_at_their_pose_and_marks_are_black() {
    let picture = Decoded::of(&write(&sheet_of(vec![die_cut(60.0, 40.0, 90.0)])).expect("written"));
    // Turned clockwise by a quarter, what was 10 mm above the middle is 10 mm right of it: yellow in the test print.
    assert_eq!(picture.at(70.0, 40.0, 150.0), [250, 204, 21]);
    assert_eq!(picture.at(6.5, 6.5, 150.0), [0, 0, 0]);
    assert_eq!(picture.at(6.5, 10.0, 150.0), [255, 255, 255]);
    let on_line = picture.at(60.0, 60.0, 150.0);
    assert!(on_line[0] > 120 && on_line[2] < 120, "the cut line's colour: {on_line:?}");
}

#[test]
fn window_picture_has_art_alone_on_nothing() {
    let sheet = sheet_of(vec![die_cut(60.0, 40.0, 0.0)]);
    let picture = Decoded::of(&write_window(&sheet).expect("written"));
    assert_eq!((picture.width, picture.height, picture.channels), (2172, 2922, 4));
    assert_eq!(picture.per_metre, 11811);
    assert_eq!(picture.at(60.0 - 16.0, 30.0 - 16.0, 300.0), [250, 204, 21, 255]);
    assert_eq!(picture.at(60.0 - 16.0, 24.5 - 16.0, 300.0)[3], 255, "bleed is there");
    assert_eq!(picture.at(100.0, 100.0, 300.0)[3], 0);
}

#[test]
fn clip_hides_what_lies_outside_of_it() {
    let mut sheet = sheet_of(vec![die_cut(60.0, 40.0, 0.0)]);
    sheet.placements[0].clip = Some(kurbo::Shape::to_path(&Rect::new(0.0, 0.0, 60.0, 300.0), 0.1));
    let picture = Decoded::of(&write_window(&sheet).expect("written"));
    assert_eq!(picture.at(55.0 - 16.0, 24.0, 300.0)[3], 255);
    assert_eq!(picture.at(65.0 - 16.0, 24.0, 300.0)[3], 0);
}

#[test]
fn same_sheet_twice_is_the_same_bytes() {
    let sheet = sheet_of(vec![die_cut(60.0, 40.0, 33.0), kiss_cut(120.0, 60.0)]);
    assert_eq!(write(&sheet).expect("written"), write(&sheet).expect("written"));
}
