use super::{FieldRole, ProgramHeader, magic_kind, plausible_header, program_header};

/// The worked example of the reference of object formats: text $20 at $500, data $10, bss $40, two symbols, relocation words: 152 bytes.
/// Computed.
fn example() -> Vec<u8> {
    let mut file =
        vec![0x60, 0x1a, 0, 0, 0, 0x20, 0, 0, 0, 0x10, 0, 0, 0, 0x40, 0, 0, 0, 0x1c, 0, 0, 0, 0, 0, 0, 5, 0, 0, 0];
    file.resize(76, 0);
    file.extend([0x73, 0x74, 0x61, 0x72, 0x74, 0, 0, 0, 0xa2, 0, 0, 0, 5, 0]);
    file.extend(b"spill\0\0\0\xa1\0\0\0\x05\x30");
    file.resize(152, 0);
    file
}

fn texts(header: &ProgramHeader) -> Vec<&str> {
    header.troubles.iter().map(|it| it.text.as_str()).collect()
}

fn parts(header: &ProgramHeader) -> Vec<(&str, u64, u64)> {
    header.parts.iter().map(|it| (it.name, it.range.start, it.range.end)).collect()
}

#[test]
fn every_part_of_the_example_has_its_bytes_and_its_addresses() {
    let header = program_header(&example()).unwrap();
    assert_eq!((header.title(), header.bytes(), header.troubles.len()), ("$601A program", 152, 0));
    let expected =
        [("header", 0, 28), ("text", 28, 60), ("data", 60, 76), ("symbols", 76, 104), ("relocation", 104, 152)];
    assert_eq!(parts(&header), expected);
    let segments: Vec<_> = header.segments().into_iter().map(|it| (it.name, it.range)).collect();
    assert_eq!(segments, [("text", 0x500..0x520), ("data", 0x520..0x530), ("bss", 0x530..0x570)]);
    assert_eq!((header.entry(), header.is_absolute()), (Some(0x500), false));
    let symbols: Vec<_> = header.symbols.iter().map(|it| (it.name.as_str(), it.kind.as_str(), it.value)).collect();
    assert_eq!(symbols, [("start", "defined, global, text", 0x500), ("spill", "defined, global, bss", 0x530)]);
    assert_eq!(header.symbols[1].range, 90..104);
}

#[test]
fn sizes_add_up_to_the_file() {
    let mut file = example();
    let cut = program_header(&file[..100]).unwrap();
    assert_eq!(texts(&cut), ["its parts take 104 bytes, and the file has 100"]);
    file[104..].fill(2);
    let bare = program_header(&file[..110]).unwrap();
    assert_eq!(
        texts(&bare),
        [
            "its flag says that relocation follows, 48 bytes, and 6 bytes do; expected the whole of it, or a flag that is not 0"
        ]
    );
    file[5] = 0x21;
    file[17] = 0x1d;
    file[25] = 1;
    let wrong = program_header(&file).unwrap();
    assert_eq!(
        texts(&wrong).len(),
        5,
        "odd text, odd and uneven symbols, odd start, short relocation: {:?}",
        texts(&wrong)
    );
    assert_eq!(wrong.troubles.iter().filter(|it| !it.is_of_sizes).count(), 1);
    assert!(!program_header(&file[..20]).unwrap().troubles.is_empty());
    let mut long = example();
    long.resize(152 + 511, 0);
    assert_eq!(texts(&program_header(&long).unwrap()), Vec::<&str>::new(), "a sector that is not full");
    long.push(0);
    let header = program_header(&long).unwrap();
    assert_eq!(
        texts(&header),
        ["512 bytes follow its parts; expected none, or fewer than a sector: are the sizes right?"]
    );
}

/// From memory: the list of a later system is the offset of the first long, then steps; 1 is 254 without a long.
#[test]
fn a_list_of_places_may_stand_for_the_relocation_words() {
    let mut file = example();
    file.truncate(104);
    file.extend([0, 0, 0, 4, 8, 4, 0]);
    let header = program_header(&file).unwrap();
    assert_eq!((texts(&header).len(), parts(&header)[4]), (0, ("list of places", 104, 111)));
    *file.last_mut().unwrap() = 200;
    assert_eq!(program_header(&file).unwrap().troubles.len(), 1, "a place behind the data is none");
}

/// The same two sources: $601B has the starts of data and bss in its header, 36 bytes.
#[test]
fn pieces_that_lie_apart_have_their_own_starts() {
    let mut file = vec![0x60, 0x1b, 0, 0, 0, 8, 0, 0, 0, 4, 0, 0, 0, 6];
    file.resize(36, 0);
    file[0x16..0x1a].copy_from_slice(&[0, 9, 0, 0]);
    file[0x1b] = 1;
    file[0x1c..0x20].copy_from_slice(&[0, 8, 1, 0]);
    file[0x20..0x24].copy_from_slice(&[0, 8, 2, 0]);
    file.resize(48, 0);
    let header = program_header(&file).unwrap();
    let segments: Vec<_> = header.segments().into_iter().map(|it| (it.name, it.range)).collect();
    assert_eq!(segments, [("text", 0x90000..0x90008), ("data", 0x80100..0x80104), ("bss", 0x80200..0x80206)]);
    assert_eq!((header.is_absolute(), texts(&header).len()), (true, 0));
}

/// A back end for the format in a public patch: $0048 in the type marks a name that goes on in the next 14 bytes.
#[test]
fn a_long_name_has_its_tail_in_the_next_entry() {
    let mut file = example();
    file[84..86].copy_from_slice(&[0xa2, 0x48]);
    file[76..84].copy_from_slice(b"chartpap");
    file[90..104].copy_from_slice(b"er_speed_in_mm");
    let header = program_header(&file).unwrap();
    assert_eq!(header.symbols.len(), 1);
    assert_eq!((header.symbols[0].name.as_str(), &header.symbols[0].range), ("chartpaper_speed_in_mm", &(76..104)));
}

/// `a.out(5)` of SunOS 4.1.3: eight long words; the machine type stands before the magic number.
#[test]
fn unix_headers_are_told_by_their_second_word() {
    let mut file = vec![0, 1, 1, 7, 0, 0, 0, 8, 0, 0, 0, 4];
    file.resize(44, 0);
    file[20..24].copy_from_slice(&[0, 0, 0x40, 0]);
    let header = program_header(&file).unwrap();
    assert_eq!((header.title(), header.bytes(), header.troubles.len()), ("a.out program 0407", 44, 0));
    assert_eq!((header.entry(), header.is_absolute(), header.segments().len()), (Some(0x4000), true, 0));
    assert!(!program_header(&file[..43]).unwrap().troubles.is_empty());
    assert_eq!(program_header(b"SK12\0\0\0\x10"), None);
    assert_eq!(program_header(b""), None);
}

/// `a.out.h` of Research UNIX for the types; entries of 12 bytes with a table of names are from memory.
#[test]
fn symbols_of_unix_programs_are_read_in_the_form_that_fits() {
    let start = |symbols: u8| {
        let mut file = vec![0, 0, 1, 7, 0, 0, 0, 4, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, symbols];
        file.resize(36, 0);
        file
    };
    let told = |file: &[u8]| {
        let header = program_header(file).unwrap();
        assert_eq!(texts(&header), Vec::<&str>::new());
        let found = header.symbols.iter().map(|it| format!("{} {} {:X}", it.name, it.kind, it.value));
        found.collect::<Vec<_>>()
    };
    let mut short = start(28);
    short.extend(b"_main\0\0\0\0\x22\0\0\x40\0_tide\0\0\0\0\x04\0\0\x41\0");
    assert_eq!(told(&short), ["_main text, external 4000", "_tide bss 4100"]);
    let mut named = start(12);
    named.extend([0, 0, 0, 4, 5, 0, 0, 0, 0, 0, 0x40, 0]);
    named.extend(b"\0\0\0\x0a_main\0");
    assert_eq!(told(&named), ["_main text, external 4000"]);
    let header = program_header(&named).unwrap();
    assert_eq!(parts(&header).last(), Some(&("strings", 48, 58)));
}

/// `a.out.h` of Research UNIX: eight words, the last of them not 0 where relocation is stripped; relocation stands before the symbols.
#[test]
fn headers_of_words_have_their_relocation_before_the_symbols() {
    let mut file = vec![1, 7, 0, 6, 0, 2, 0, 4, 0, 12, 0, 2];
    file.resize(32, 0);
    file.extend(b"main\0\0\0\0\0\x22\0\x02");
    let header = plausible_header(&file).unwrap();
    assert_eq!(header.title(), "a.out program 0407 of 16-bit words");
    let expected = [("header", 0, 16), ("text", 16, 22), ("data", 22, 24), ("relocation", 24, 32), ("symbols", 32, 44)];
    assert_eq!(parts(&header), expected);
    assert_eq!((header.symbols[0].name.as_str(), header.symbols[0].value), ("main", 2));
    assert_eq!(header.value(FieldRole::Bss), Some(4));
}

#[test]
fn a_number_alone_makes_no_program_of_a_file() {
    // Four words that begin a table: sizes of 16 MiB and more.
    let mut table = vec![0x60, 0x1a, 0x20, 0, 0, 0];
    table.resize(64, 0x20);
    assert!(program_header(&table).is_some() && plausible_header(&table).is_none());
    let mut common = vec![0, 0, 1, 7];
    common.resize(64, 1);
    assert!(plausible_header(&common).is_none(), "its sizes do not fit");
    assert!(plausible_header(&example()[..90]).is_some(), "a program that is cut is one all the same");
    assert_eq!(magic_kind(&[0, 0, 0x60, 0x1b]).map(|it| it.name), Some("601b"));
    assert_eq!(magic_kind(&[1, 8]).map(|it| it.name), Some("0410"));
    assert_eq!(magic_kind(&[1, 0x0b]).map(|it| it.name), Some("0413"));
    assert_eq!(magic_kind(&[1, 0, 1, 7]), None);
    assert_eq!(magic_kind(&[7]), None);
}

mod any_bytes {
    use proptest::prelude::*;

    use super::super::{MOST_SYMBOLS, program_header};

    fn starts() -> impl Strategy<Value = Vec<u8>> {
        let magic = prop_oneof![
            Just(vec![0x60, 0x1a]),
            Just(vec![0x60, 0x1b]),
            Just(vec![0, 0, 1, 7]),
            Just(vec![0, 2, 1, 8]),
            Just(vec![1, 7]),
            Just(vec![0x81, 1, 1, 0x0b])
        ];
        // Small sizes are as likely as any: else no symbol would ever be read.
        let byte = prop_oneof![3 => Just(0_u8), 1 => any::<u8>()];
        (magic, prop::collection::vec(byte, 0..400)).prop_map(|(mut magic, rest)| {
            magic.extend(rest);
            magic
        })
    }

    proptest! {
        #[test]
        fn have_parts_in_a_row_and_no_more_symbols_than_they_can(file in starts()) {
            let header = program_header(&file).unwrap();
            for pair in header.parts.windows(2) {
                prop_assert_eq!(pair[0].range.end, pair[1].range.start);
            }
            prop_assert!(header.symbols.len() <= MOST_SYMBOLS.min(file.len() / 12));
            for segment in header.segments() {
                prop_assert!(segment.range.start < segment.range.end && segment.range.end < 1 << 36);
            }
            if header.troubles.is_empty() {
                prop_assert!(header.bytes() <= file.len() as u64);
            }
        }
    }
}
