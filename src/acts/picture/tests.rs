//! What is taken as a photo, and what becomes of it.

use super::*;
use std::io::Cursor;

fn png(picture: &DynamicImage) -> Vec<u8> {
    let mut png = Vec::new();
    picture.write_to(&mut Cursor::new(&mut png), ImageFormat::Png).expect("a PNG");
    png
}

/// A PNG whose head says these sides, and nothing of it is there.
fn png_that_says(width: u32, height: u32) -> Vec<u8> {
    let mut png = png(&DynamicImage::new_rgba16(8, 8));
    png[16..20].copy_from_slice(&width.to_be_bytes());
    png[20..24].copy_from_slice(&height.to_be_bytes());
    let mut check = flate2::Crc::new();
    check.update(&png[12..29]);
    png[29..33].copy_from_slice(&check.sum().to_be_bytes());
    png
}

#[test]
fn a_large_picture_is_made_smaller_and_stays_a_picture() {
    let (jpeg, width, height) = make_anew(Cursor::new(png(&DynamicImage::new_rgb8(3200, 800)))).expect("a photo");
    assert_eq!((width, height), (1600, 400));
    assert_eq!(image::guess_format(&jpeg).expect("a kind"), ImageFormat::Jpeg);
}

#[test]
fn a_page_called_a_photo_is_refused() {
    for bytes in [&b"<html><script>alert(1)</script></html>"[..], b"", b"\xFF\xD8\xFF\xE0 cut short"] {
        assert_eq!(make_anew(Cursor::new(bytes)), Err(NotAPhoto::Unreadable));
    }
}

#[test]
fn a_picture_that_unpacks_to_more_than_memory_is_refused_by_its_head() {
    // Sixteen bits a channel, four channels: 800 MB of ten thousand a side. Whether the rest is there is not looked at before.
    assert_eq!(make_anew(Cursor::new(png_that_says(10_000, 10_000))), Err(NotAPhoto::TooLarge(100, 8)));
    let words = Refusal::from(NotAPhoto::TooLarge(48, 16)).to_string();
    assert!(words.contains("48 megapixels") && words.contains("at most 16"), "{words}");
}

#[test]
fn a_picture_with_too_long_a_side_is_refused() {
    assert_eq!(make_anew(Cursor::new(png(&DynamicImage::new_luma8(13_000, 10)))), Err(NotAPhoto::TooLong));
}

/// A phone's own photo, as it comes where no script makes it smaller: 12 million pixels.
#[test]
fn a_phones_own_photo_is_taken() {
    let mut jpeg = Vec::new();
    DynamicImage::new_rgb8(4032, 3024).write_to(&mut Cursor::new(&mut jpeg), ImageFormat::Jpeg).expect("a JPEG");
    let (_, width, height) = make_anew(Cursor::new(jpeg)).expect("a photo");
    assert_eq!((width, height), (1600, 1200));
}

/// Noise is what a JPEG packs worst: at 1600 by 1600 it takes 2 MB at a quality of 80 per cent.
#[test]
fn whatever_is_in_the_picture_it_is_kept_in_600_kilobytes() {
    let mut state = 1u32;
    let noise: Vec<u8> = std::iter::repeat_with(|| {
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        (state >> 24) as u8
    })
    .take(1600 * 1600 * 3)
    .collect();
    let picture = RgbImage::from_raw(1600, 1600, noise).expect("a picture");
    let (jpeg, width, _) = within(picture, KEPT).expect("a photo");
    assert!(jpeg.len() <= KEPT && width >= 600, "{} bytes, {width} wide", jpeg.len());
}

#[test]
fn a_jpeg_that_comes_in_passes_is_known_by_its_head() {
    let head = |frame: u8| vec![0xFF, 0xD8, 0xFF, 0xE0, 0, 4, 7, 7, 0xFF, 0xFF, frame, 0, 11];
    assert_eq!(is_progressive_jpeg(&mut Cursor::new(head(0xC2))).ok(), Some(true));
    assert_eq!(is_progressive_jpeg(&mut Cursor::new(head(0xC0))).ok(), Some(false));
    assert_eq!(is_progressive_jpeg(&mut Cursor::new(b"\x89PNG\r\n".to_vec())).ok(), Some(false));
}
