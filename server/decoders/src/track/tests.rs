use super::Encoding::{Fm, Mfm};
use super::*;
use crate::{Scalar, formats};
use proptest::prelude::*;

/// Name, encoding, kbit/s, turns a minute, sectors, bytes of each, bytes of a turn, data sheet's least, standard, gap 3.
type Row = (&'static str, Encoding, u32, u32, u32, u32, u32, i64, i64, u32);

/// The project's table of standard formats (disk-formats.csv). Rates and speeds: Fdutils manual and titles of the ECMA
/// standards; lengths: arithmetic from the FD179X data sheet; gap 3: typical values for formatting in the data sheets of the
/// LPC47M102S and FDC37B72x, but 108 from memory and 1, 8, 36 and 40 from descriptions of such tracks.
const ROWS: &[Row] = &[
    ("fm8-ss-128", Fm, 250, 360, 26, 128, 5208, 4426, 4961, 27),
    ("fm8-ss-128-r4", Fm, 250, 360, 26, 128, 5208, 4426, 4961, 27),
    ("fm8-ds-128", Fm, 250, 360, 26, 128, 5208, 4426, 4961, 27),
    ("mfm8-ds-1024", Mfm, 500, 360, 8, 1024, 10416, 8896, 9762, 116),
    ("mfm8-ds-256", Mfm, 500, 360, 26, 256, 10416, 8836, 9818, 54),
    ("fm5-ss-128", Fm, 125, 300, 16, 128, 3125, 2736, 3081, 25),
    ("mfm5-ds-256", Mfm, 250, 300, 16, 256, 6250, 5456, 6098, 50),
    ("mfm5-qd-256", Mfm, 250, 300, 16, 256, 6250, 5456, 6098, 50),
    ("160k", Mfm, 250, 300, 8, 512, 6250, 4800, 5410, 80),
    ("180k", Mfm, 250, 300, 9, 512, 6250, 5394, 6068, 80),
    ("320k", Mfm, 250, 300, 8, 512, 6250, 4800, 5410, 80),
    ("360k", Mfm, 250, 300, 9, 512, 6250, 5394, 6068, 80),
    ("320k-80", Mfm, 250, 300, 8, 512, 6250, 4800, 5410, 80),
    ("640k", Mfm, 250, 300, 8, 512, 6250, 4800, 5410, 80),
    ("1200k", Mfm, 500, 360, 15, 512, 10416, 8958, 10016, 84),
    ("720k", Mfm, 250, 300, 9, 512, 6250, 5394, 6068, 80),
    ("1440k", Mfm, 500, 300, 18, 512, 12500, 10740, 11990, 108),
    ("2880k", Mfm, 1000, 300, 36, 512, 25000, 22116, 24518, 83),
    ("1680k", Mfm, 500, 300, 21, 512, 12500, 12522, 13964, 8),
    ("800k", Mfm, 250, 300, 10, 512, 6250, 5988, 6726, 36),
    ("880k", Mfm, 250, 300, 11, 512, 6250, 6582, 7384, 1),
    ("68k-360k", Mfm, 250, 300, 9, 512, 6250, 5394, 6068, 40),
    ("68k-720k", Mfm, 250, 300, 9, 512, 6250, 5394, 6068, 40),
    ("400k", Mfm, 250, 300, 10, 512, 6250, 5988, 6726, 36),
    ("mfm3-5x1024", Mfm, 250, 300, 5, 1024, 6250, 5578, 6156, 116),
    ("mfm5-35", Mfm, 250, 300, 9, 512, 6250, 5394, 6068, 80),
];

#[test]
fn every_standard_format_has_the_lengths_of_the_published_table() {
    for &(name, encoding, kbit, rpm, sectors, bytes, raw, least, standard, _) in ROWS {
        assert_eq!(raw_bytes(kbit * 1000, rpm), Some(raw), "{name}");
        let pair = data_rate(encoding, kbit * 1000, rpm).unwrap_or_else(|| panic!("{name}: no usual pair"));
        let budget = Budget::new(encoding, sectors, bytes, raw, pair.perpendicular).unwrap();
        assert_eq!((budget.datasheet_min, budget.standard), (least, Some(standard)), "{name}");
    }
    assert_eq!(ROWS.len(), 26);
}

#[test]
fn the_table_of_formats_agrees_with_the_published_one() {
    for format in formats() {
        let row = ROWS.iter().find(|it| it.0 == format.name).unwrap_or_else(|| panic!("{}", format.name));
        let own = (format.encoding, format.data_rate, format.rpm, format.gap3);
        assert_eq!(own, (row.1, row.2 * 1000, row.3, row.9), "{}", format.name);
        assert_eq!((format.sectors_per_track, format.sector_size), (row.4.into(), row.5.into()), "{}", format.name);
    }
    // Those without a FAT are not among them.
    assert_eq!(formats().len(), ROWS.len() - 4);
}

/// Arithmetic from the FD179X data sheet's least gaps, and what a description of 11-sector tracks of 68000 desktop systems
/// measured.
#[test]
fn the_track_budget_tells_what_has_room() {
    use Verdict::{BelowDataSheet, DoesNotFit, Fits, ReducedGaps};
    for (sectors, raw, unsafe_min, least, standard, verdict) in [
        (9, 6250, 5110, 5394, 6068, Fits),
        (10, 6250, 5676, 5988, 6726, ReducedGaps),
        (11, 6250, 6242, 6582, 7384, BelowDataSheet),
        (12, 6250, 6808, 7176, 8042, DoesNotFit),
        (18, 6250, 10204, 10740, 11990, DoesNotFit),
        (18, 12500, 10204, 10740, 11990, Fits),
        (21, 12500, 11902, 12522, 13964, BelowDataSheet),
        (9, 5208, 5110, 5394, 6068, BelowDataSheet),
    ] {
        let budget = Budget::new(Mfm, sectors, 512, raw, false).unwrap();
        let lengths = (budget.unsafe_min, budget.datasheet_min, budget.standard);
        assert_eq!((lengths, budget.verdict), ((unsafe_min, least, Some(standard)), verdict), "{sectors} on {raw}");
    }
    // A drive at 360 turns with the rate of 300.
    assert_eq!(raw_bytes(250_000, 360), Some(5208));
    assert!(data_rate(Mfm, 250_000, 360).is_none());
}

/// FD179X data sheet: the lengths of the last gap, 598 and 247. Description of the tracks of 68000 desktop systems: 664 behind
/// nine sectors with gap 3 of 40 and 60 bytes before the first.
#[test]
fn what_is_left_of_the_turn_is_what_the_data_sheet_prints() {
    let left =
        |encoding, bytes, raw| raw - Budget::new(encoding, 26, bytes, raw as u32, false).unwrap().standard.unwrap();
    assert_eq!((left(Mfm, 256, 10416), left(Fm, 128, 5208)), (598, 247));

    let without_preamble = Budget::new(Mfm, 9, 512, 6250, false).unwrap().standard.unwrap() - 146 - 9 * 84;
    let used = 60 + without_preamble + 9 * 40;
    assert_eq!((used, 6250 - used), (5586, 664));
}

/// FD179X data sheet: the least gap 3 is 24 bytes in MFM, 10 in FM. Lengths by hand.
#[test]
fn the_gap_3_that_is_left_is_worked_out_both_ways() {
    let budget = Budget::new(Mfm, 10, 512, 6250, false).unwrap();
    // (6250 - 146) / 10 - 574, and (6250 - 5988) / 10 + 24.
    assert_eq!((budget.gap3_left, budget.gap3_left_at_least), (36, 50));
    let budget = Budget::new(Mfm, 11, 512, 6250, false).unwrap();
    assert_eq!((budget.gap3_left, budget.gap3_left_at_least), (-20, -7));
    assert_eq!((Mfm.layout().least_gap3(), Fm.layout().least_gap3()), (24, 10));
}

/// Data sheets of the LPC47M102S and FDC37B72x and memory, see the table; the bytes of a turn are those of the medium's usual
/// drive. 18 sectors in FM are 8 bytes longer than their turn.
#[test]
fn each_gap_3_of_the_table_has_room_on_its_track() {
    for row in gap3_table() {
        let raw = match (row.medium.as_str(), row.encoding) {
            ("8 in", Fm) => 5208,
            ("8 in", Mfm) => 10416,
            (_, Fm) => 3125,
            (_, Mfm) => 6250,
        };
        let budget = Budget::new(row.encoding, row.sectors, row.sector_bytes, raw, false).unwrap();
        let is_long = (row.encoding, row.medium.as_str(), row.sectors) == (Fm, "5.25 in", 18);
        assert_eq!(i64::from(row.format) > budget.gap3_left, is_long, "{row:?}: {budget:?}");
        assert!(row.read_write < row.format, "{row:?}");
    }
    assert_eq!(gap3_table().len(), 21);
    // 73 + 18 x (128 + 33 + 9).
    let long = Track {
        encoding: Fm,
        cylinder: 0,
        head: 0,
        numbers: &[0; 18],
        size_code: 0,
        gap3: 9,
        is_perpendicular: false,
        fill: 0,
    };
    assert_eq!((long.bytes(3132), long.bytes(3133).map(|it| it.len())), (None, Some(3133)));
    let row = gap3(Mfm, "3.5 in", 512, 9).unwrap();
    assert_eq!((row.read_write, row.format), (27, 84));
    assert!(gap3(Mfm, "3.5 in", 512, 10).is_none());
}

/// Fdutils manual, rate codes and speeds; the bytes are arithmetic.
#[test]
fn the_usual_rates_have_these_turns() {
    let raw: Vec<_> = data_rates().iter().map(|it| raw_bytes(it.rate, it.rpm).unwrap()).collect();
    assert_eq!(raw, [3125, 3125, 5208, 6250, 6250, 12500, 10416, 25000]);
    assert_eq!((raw_bytes(500_000, 0), raw_bytes(u32::MAX, 1)), (None, None));
    assert_eq!(data_rates().iter().filter(|it| it.perpendicular).count(), 1);
}

/// FD179X data sheet, table of stepping rates; WD1770/1772 data sheet; uPD765 from memory.
#[test]
fn a_step_code_stands_for_a_time() {
    let ms = |name: &str, clock, code| controller(name).unwrap().step_time(clock, code);
    assert_eq!([0, 1, 2, 3].map(|it| ms("wd1772", None, it).unwrap()), [6, 12, 2, 3]);
    assert_eq!([0, 1, 2, 3].map(|it| ms("WD1770", Some(8_000_000), it).unwrap()), [6, 12, 20, 30]);
    assert_eq!([0, 1, 2, 3].map(|it| ms("FD1793", Some(2_000_000), it).unwrap()), [3, 6, 10, 15]);
    assert_eq!([0, 1, 2, 3].map(|it| ms("FD179X", Some(1_000_000), it).unwrap()), [6, 12, 20, 30]);
    assert_eq!((ms("uPD765", Some(8_000_000), 13), ms("uPD765", Some(4_000_000), 13)), (Some(3), Some(6)));
    // Without the clock there is no saying, nor beyond the bits of the code.
    assert_eq!((ms("FD179X", None, 0), ms("WD1772", None, 4), controller("none").is_none()), (None, None, true));
    // From memory: 1 MHz for 5.25 in, 2 MHz for 8 in; 8 MHz at 500 kbit/s.
    let clock = |name: &str, encoding, rate| controller(name).unwrap().usual_clock(encoding, rate);
    assert_eq!((clock("FD1793", Mfm, 250_000), clock("FD1793", Fm, 250_000)), (Some(1_000_000), Some(2_000_000)));
    assert_eq!((clock("uPD765", Mfm, 500_000), clock("WD1772", Mfm, 250_000)), (Some(8_000_000), None));
}

/// FD179X data sheet, sector length table; uPD765A/B data sheet, record length 128 to 8192.
#[test]
fn a_size_code_stands_for_bytes() {
    assert_eq!([0, 1, 2, 3, 7].map(sector_bytes), [Some(128), Some(256), Some(512), Some(1024), Some(16384)]);
    assert_eq!((sector_bytes(8), size_code(512), size_code(500)), (None, Some(2), None));
    let chip = controller("FD1797").unwrap();
    assert_eq!([0, 1, 2, 3].map(|it| chip.sector_bytes(it, true).unwrap()), [256, 512, 1024, 128]);
    assert_eq!([0, 1, 2, 3].map(|it| chip.sector_bytes(it, false).unwrap()), [128, 256, 512, 1024]);
    // The flag is of two chips alone.
    assert_eq!(controller("FD1793").unwrap().sector_bytes(0, true), Some(128));
    assert_eq!((chip.sector_bytes(4, false), controller("uPD765").unwrap().sector_bytes(6, false)), (None, Some(8192)));
}

/// CRC of A1 A1 A1 FE 00 00 01 02: from memory, and binascii.crc_hqx of Python 3.11 agrees, as for the others.
#[test]
fn id_and_data_have_the_check_that_is_on_the_disk() {
    assert_eq!(id_crc(Mfm, [0, 0, 1, 2]), 0xca6f);
    assert_eq!(id_crc(Fm, [0, 0, 1, 0]), 0xd2c3);
    assert_eq!(data_crc(Mfm, &[0xe5; 512]), 0xc40b);
}

fn track(encoding: Encoding, numbers: &[u8], size_code: u8, gap3: u32, is_perpendicular: bool) -> Track<'_> {
    Track { encoding, cylinder: 1, head: 0, numbers, size_code, gap3, is_perpendicular, fill: 0xe5 }
}

/// Formulas of the System 34 and 3740 layouts: 146 + N x (S + 62 + gap 3), 73 + N x (S + 33 + gap 3); 19 more in perpendicular
/// mode. Parts: FD179X data sheet.
#[test]
fn a_track_laid_out_is_as_long_as_the_formula_says() {
    for (encoding, count, code, gap3, is_perpendicular, length) in [
        (Mfm, 26, 1, 54, false, 9818),
        (Fm, 26, 0, 27, false, 4961),
        (Mfm, 9, 2, 84, false, 6068),
        (Mfm, 36, 2, 84, true, 24518),
    ] {
        let numbers: Vec<u8> = (1..=count).collect();
        let track = track(encoding, &numbers, code, gap3, is_perpendicular);
        let bytes: usize = track.parts().unwrap().iter().map(|it| it.1.len()).sum();
        assert_eq!(bytes, length);
        let turn = track.bytes(length as u32 + 10).unwrap();
        assert_eq!(turn.len(), length + 10);
        assert!(turn[length..].iter().all(|it| *it == if encoding == Mfm { 0x4e } else { 0xff }));
        assert_eq!(track.bytes(length as u32 - 1), None);
    }
    assert_eq!(track(Mfm, &[1], 8, 84, false).bytes(6250), None);
    let start = track(Mfm, &[3], 2, 84, false).bytes(6250).unwrap();
    let id: Vec<u8> = start[146 + 12..][..10].to_vec();
    assert_eq!(id[..8], [0xa1, 0xa1, 0xa1, 0xfe, 1, 0, 3, 2]);
    assert_eq!(id[8..], id_crc(Mfm, [1, 0, 3, 2]).to_be_bytes());
    assert_eq!(start[80 + 12..][..4], [0xc2, 0xc2, 0xc2, 0xfc]);
}

/// Every length of the table is at most the one before it, and there is one layout for each encoding.
#[test]
fn tighter_lengths_are_shorter() {
    for encoding in [Fm, Mfm] {
        let layout = encoding.layout();
        assert_eq!(layout.encoding, encoding);
        let of = |lengths| track_bytes(layout, lengths, 1, 512, false).unwrap();
        assert!(of(Lengths::Standard) > of(Lengths::Least) && of(Lengths::Least) > of(Lengths::Tightest));
        assert_eq!(Encoding::named(encoding.name()), Some(encoding));
    }
    for (sectors, bytes) in [(0, 512), (257, 512), (9, 0), (9, 16385)] {
        assert_eq!(Budget::new(Mfm, sectors, bytes, 6250, false), None);
    }
}

#[test]
fn formulas_get_what_follows_from_what_is_known() {
    let setup = Setup {
        encoding: Some(Mfm),
        data_rate: Some(250_000),
        rpm: Some(300),
        sectors: Some(10),
        sector_bytes: Some(512),
        size_code: Some(3),
        medium: Some("3.5 in"),
        controller: Some("wd1772"),
        step_code: Some(2),
        drive_step: Some(3),
        ..Setup::default()
    };
    let all = values(&setup);
    let value = |name: &str| all.iter().find(|it| it.0 == name).map(|it| it.1.clone());
    for (name, number) in [
        ("data_rate", 250_000),
        ("rpm", 300),
        ("raw", 6250),
        ("unsafe_min", 5676),
        ("datasheet_min", 5988),
        ("standard", 6726),
        ("gap3_left", 36),
        ("gap3_left_at_least", 50),
        ("gap3_least", 24),
        ("rate_is_usual", 1),
        ("size_code", 3),
        ("size_code_expected", 2),
        ("size_code_bytes", 1024),
        ("step_ms", 2),
        ("drive_step_ms", 3),
    ] {
        assert_eq!(value(name), Some(Scalar::Number(number)), "{name}");
    }
    assert_eq!(value("track_verdict"), Some(Scalar::Text("fits with reduced gaps".into())));
    assert_eq!(value("gap3_format"), None, "the table has no such track");
    assert_eq!(values(&Setup::default()), []);
    // The clock follows from the rate: 500 kbit/s, 2 MHz.
    let eight = Setup { data_rate: Some(500_000), rpm: Some(360), controller: Some("FD1793"), ..setup };
    assert!(values(&eight).contains(&("step_ms".into(), Scalar::Number(10))));
    // The gap 2 of perpendicular mode: 32 + 36 x (512 + 82 + 19) + 16.
    let long = Setup { data_rate: Some(1_000_000), sectors: Some(36), ..setup };
    assert!(values(&long).contains(&("datasheet_min".into(), Scalar::Number(22116))));
}

/// System 34 as the FD179X data sheet recommends it, for 512 bytes a sector; the form of the table is common practice.
const MFM_RECIPE: &[u8] = &[
    80, 0x4e, 12, 0, 3, 0xf6, 1, 0xfc, 50, 0x4e, // before the first sector
    12, 0, 3, 0xf5, 1, 0xfe, 1, 79, 1, 0, 1, 1, 1, 2, 1, 0xf7, 22, 0x4e, // ID
    12, 0, 3, 0xf5, 1, 0xfb, 0, 0xe5, 0, 0xe5, 1, 0xf7, 84, 0x4e, // data
];

/// 3740 of 128 bytes a sector, with nothing where the code puts ID and data in.
const FM_RECIPE: &[u8] =
    &[40, 0xff, 6, 0, 1, 0xfc, 26, 0xff, 6, 0, 1, 0xfe, 11, 0xff, 6, 0, 1, 0xfb, 27, 0xff, 247, 0xff];

fn turned(recipe: &[u8]) -> Vec<u8> {
    crate::chips::swap_bytes(recipe).unwrap()
}

#[test]
fn a_recipe_says_its_gaps_marks_and_data() {
    let lengths = |it: &Recipe| [Part::Gap4a, Part::Gap1, Part::Gap2, Part::Gap3].map(|part| it.length(part));
    let recipe = Recipe::read(MFM_RECIPE).unwrap();
    assert_eq!((recipe.order, recipe.encoding, recipe.sectors), (PairOrder::CountFirst, Mfm, 1));
    assert_eq!(lengths(&recipe), [Some(80), Some(50), Some(22), Some(84)]);
    assert_eq!((recipe.data_bytes(), recipe.bytes, recipe.is_deleted()), (Some(512), MFM_RECIPE.len(), false));
    assert_eq!(
        (recipe.length(Part::Id), recipe.length(Part::IdCrc), recipe.length(Part::DataCrc)),
        (Some(4), Some(2), Some(2))
    );
    // It has the lengths of the standard.
    for it in &Mfm.layout().parts {
        let own = recipe.length(it.part).unwrap_or(0);
        assert!(own == it.bytes || matches!(it.part, Part::Data | Part::Gap3), "{:?}", it.part);
    }

    let recipe = Recipe::read(FM_RECIPE).unwrap();
    assert_eq!((recipe.encoding, recipe.data_bytes(), recipe.length(Part::Id)), (Fm, None, None));
    assert_eq!(lengths(&recipe), [Some(40), Some(26), Some(11), Some(27)]);
    assert_eq!(recipe.length(Part::Gap4b), Some(247));
    // Gap, sync, index mark, gap; sync, mark, gap; sync, mark, and the last two gaps.
    let places: Vec<_> = recipe.pieces.iter().map(|it| (it.at, it.part)).collect();
    assert_eq!(places[4..6], [(8, Part::IdSync), (10, Part::IdMark)]);
}

#[test]
fn a_recipe_is_read_in_either_order_and_up_to_its_end() {
    for recipe in [MFM_RECIPE, FM_RECIPE] {
        let straight = Recipe::read(recipe).unwrap();
        let turned = Recipe::read(&turned(recipe)).unwrap();
        assert_eq!(turned, Recipe { order: PairOrder::ByteFirst, ..straight.clone() });
        for end in [&[0, 0][..], &[0xff, 0xff], &[1, 2, 3], &[0]] {
            assert_eq!(Recipe::read(&[recipe, end].concat()).as_ref(), Some(&straight), "{end:?}");
        }
    }
    // Without an index mark all before the first sector is gap 1; deleted data; a second sector.
    let sector = &MFM_RECIPE[10..];
    let mut two = [&[60, 0x4e][..], sector, sector].concat();
    let at = two.iter().position(|it| *it == 0xfb).unwrap();
    two[at] = 0xf8;
    let recipe = Recipe::read(&two).unwrap();
    assert_eq!((recipe.length(Part::Gap4a), recipe.length(Part::Gap1), recipe.sectors), (None, Some(60), 2));
    assert!(recipe.is_deleted());
}

/// IBM System 34 and 3740 lengths as above; description of the tracks of 68000 desktop systems: 60 + 9 x 614.
#[test]
fn a_recipe_says_how_long_its_track_is() {
    let bytes = |recipe: &[u8], sectors, bytes| Recipe::read(recipe).unwrap().track_bytes(sectors, bytes);
    assert_eq!((bytes(MFM_RECIPE, 9, 512), bytes(FM_RECIPE, 26, 128)), (6068, 4961));
    let mut short = [&[60, 0x4e][..], &MFM_RECIPE[10..]].concat();
    let gap3 = short.len() - 2;
    short[gap3] = 40;
    assert_eq!(bytes(&short, 9, 512), 5586);
    // A fault is read as it is: two sync marks instead of three.
    let mut fault = MFM_RECIPE.to_vec();
    fault[12] = 2;
    assert_eq!(Recipe::read(&fault).unwrap().length(Part::IdPrefix), Some(2));
}

#[test]
fn what_is_no_recipe_has_no_shape() {
    let block = [0, 2, 2, 1, 0, 2, 112, 0, 0xa0, 5, 0xf9, 3, 0, 9, 0, 2, 0, 0, 0];
    for other in [
        &[][..],
        &[0; 64],
        &[0xff; 64],
        &[0x4e; 64],
        b"80 of 4E, 12 of 00",
        &block,
        &MFM_RECIPE[..10],
        &MFM_RECIPE[1..],
    ] {
        assert!(!has_shape(other), "{other:x?}");
    }
    // Data without an ID are no sector.
    assert!(!has_shape(&MFM_RECIPE[28..]));
    assert!(has_shape(MFM_RECIPE) && has_shape(FM_RECIPE));
}

proptest! {
    #[test]
    fn any_bytes_are_read_without_harm(bytes in prop::collection::vec(prop::sample::select(vec![0_u8, 1, 3, 12, 0x4e, 0xe5, 0xf5, 0xf7, 0xfb, 0xfe, 0xff]), 0..120)) {
        if let Some(recipe) = Recipe::read(&bytes) {
            prop_assert!(recipe.bytes <= bytes.len() && recipe.sectors > 0);
            prop_assert_eq!(recipe.pieces.len() * 2, recipe.bytes);
        }
    }

    /// What a recipe writes is what the layout says of the same lengths.
    #[test]
    fn a_recipe_made_from_the_layout_is_read_back(is_mfm: bool, gap3 in 1_u32..200, kilo in 1_u32..4) {
        let encoding = if is_mfm { Mfm } else { Fm };
        let mut bytes = Vec::new();
        for it in encoding.layout().parts.iter().filter(|it| it.part != Part::Gap4b) {
            match it.part {
                Part::Id => bytes.extend([1, 5, 1, 0, 1, 9, 1, 2]),
                Part::IdCrc | Part::DataCrc => bytes.extend([1, 0xf7]),
                Part::Data => (0..kilo).for_each(|_| bytes.extend([0, 0xe5])),
                Part::Gap3 => bytes.extend([gap3 as u8, it.value.unwrap()]),
                _ => bytes.extend([it.bytes as u8, it.written.or(it.value).unwrap()]),
            }
        }
        let recipe = Recipe::read(&bytes).unwrap();
        prop_assert_eq!((recipe.encoding, recipe.bytes), (encoding, bytes.len()));
        prop_assert_eq!((recipe.data_bytes(), recipe.length(Part::Gap3)), (Some(256 * kilo), Some(gap3)));
        for it in encoding.layout().parts.iter().filter(|it| !matches!(it.part, Part::Data | Part::Gap3)) {
            prop_assert_eq!(recipe.length(it.part).unwrap_or(0), it.bytes, "{:?}", it.part);
        }
    }
}
