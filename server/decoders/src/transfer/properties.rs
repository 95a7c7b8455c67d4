//! Properties of all transfer formats at once.

use proptest::prelude::*;

use super::{Image, TransferFormat, intel_hex, read, read_as, srecord};

/// Images with holes; an entry that is not 0, and a header with text.
fn images() -> impl Strategy<Value = Image> {
    let record = (0_u32..0x3_0000, prop::collection::vec(any::<u8>(), 1..60));
    let base = prop_oneof![Just(0_u32), Just(0xf8_0000), Just(0xffff_0000 - 0x3_0000)];
    let header = prop::option::of(prop::collection::vec(any::<u8>(), 1..20));
    (prop::collection::vec(record, 1..8), base, prop::option::of(1_u32..), header).prop_map(
        |(records, base, entry, header)| {
            let mut image = Image::default();
            (image.entry, image.header) = (entry, header);
            for (at, bytes) in records {
                image.push(base + at, &bytes, 0);
            }
            image
        },
    )
}

fn written(image: &Image, format: TransferFormat, data_bytes: usize) -> String {
    match format {
        TransferFormat::SRecord => {
            srecord::write(image, &srecord::Form { data_bytes, ..srecord::Form::default() }).unwrap()
        }
        _ => intel_hex::write(image, &intel_hex::Form { data_bytes }).unwrap(),
    }
}

const FORMATS: [TransferFormat; 2] = [TransferFormat::SRecord, TransferFormat::IntelHex];

proptest! {
    #[test]
    fn what_is_written_is_read_again(image in images(), format in prop::sample::select(&FORMATS[..]), bytes in 1_usize..250) {
        let reading = read(written(&image, format, bytes).as_bytes());
        prop_assert_eq!(reading.format, format);
        prop_assert_eq!(&reading.problems, &[]);
        prop_assert_eq!(reading.image.runs(), image.runs());
        prop_assert_eq!(reading.image.entry, image.entry);
        if format == TransferFormat::SRecord {
            prop_assert_eq!(reading.image.header, image.header);
        }
    }

    /// Every digit counts: the checksum covers all but the type of an S-record, and that has the count and the end record
    /// against it.
    #[test]
    fn a_wrong_digit_is_always_told(
        image in images(),
        format in prop::sample::select(&FORMATS[..]),
        place in any::<prop::sample::Index>(),
        change in 1_u8..16,
        is_type in any::<bool>(),
    ) {
        let mut text = written(&image, format, 16).into_bytes();
        let is_type = is_type && format == TransferFormat::SRecord;
        let is_digit = |at: &usize| text[*at].is_ascii_hexdigit() && (!is_type || text[at - 1] == b'S');
        let places: Vec<usize> = (0..text.len()).filter(is_digit).collect();
        let at = places[place.index(places.len())];
        let value = char::from(text[at]).to_digit(16).unwrap() as u8;
        text[at] = b"0123456789ABCDEF"[usize::from(value ^ change)];
        let line = text[..at].iter().filter(|it| **it == b'\n').count() as u32;
        let problems = read_as(format, &text).problems;
        prop_assert!(!problems.is_empty(), "{}", String::from_utf8_lossy(&text));
        let is_type_digit = format == TransferFormat::SRecord && text[at - 1] == b'S';
        prop_assert!(is_type_digit || problems.iter().any(|it| it.line == line), "{problems:?}");
    }

    #[test]
    fn no_bytes_make_a_reader_panic(bytes in prop::collection::vec(any::<u8>(), 0..200), text in "[S:0-9A-Fs \r\n]{0,200}") {
        for format in FORMATS {
            for bytes in [bytes.as_slice(), text.as_bytes()] {
                for problem in read_as(format, bytes).problems {
                    prop_assert!(!problem.to_string().is_empty());
                }
            }
        }
    }

    /// Records that are sound in themselves, in any order, with any data and any type.
    #[test]
    fn no_sound_record_makes_a_reader_panic(
        records in prop::collection::vec((0_u8..10, prop::collection::vec(any::<u8>(), 0..12)), 0..12),
    ) {
        let (mut s_records, mut intel) = (String::new(), String::new());
        for (kind, data) in records {
            let mut bytes = vec![data.len() as u8 + 1];
            bytes.extend_from_slice(&data);
            bytes.push(!bytes.iter().fold(0, |sum: u8, it| sum.wrapping_add(*it)));
            let hex: String = bytes.iter().map(|it| format!("{it:02X}")).collect();
            s_records.push_str(&format!("S{kind}{hex}\n"));
            let mut bytes = vec![data.len() as u8, 0xff, 0xff - data.len() as u8 / 2, kind];
            bytes.extend_from_slice(&data);
            bytes.push(bytes.iter().fold(0, |sum: u8, it| sum.wrapping_sub(*it)));
            let hex: String = bytes.iter().map(|it| format!("{it:02X}")).collect();
            intel.push_str(&format!(":{hex}\n"));
        }
        let _ = read_as(TransferFormat::SRecord, s_records.as_bytes()).image.runs();
        let _ = read_as(TransferFormat::IntelHex, intel.as_bytes()).image.runs();
    }
}
