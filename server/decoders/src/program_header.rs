//! Headers of programs, as far as it takes to see whether a file is whole: the sizes of its parts add up to it.
//!
//! Layouts: `a.out.h` of Research UNIX and `a.out(5)` of SunOS 4.1.3 for 0407 and 0410; for $601A the published header description
//! of 68000 systems, and from memory where that is silent.

/// Where the sizes of a header's parts stand.
#[derive(Debug)]
struct Kind {
    title: &'static str,
    /// The bytes that tell it, and where.
    magic: (usize, &'static [u8]),
    header_bytes: usize,
    /// Bytes of each number.
    number_bytes: usize,
    /// The parts that are in the file: what they are, and where their size stands.
    parts: &'static [(&'static str, usize)],
    /// The size of a symbol is known: of what, and how many bytes.
    symbol_bytes: Option<(usize, u64)>,
    /// Where a word stands that is 0 if relocation words follow, one for each word of the first two parts.
    relocation_flag: Option<usize>,
    /// The entry, where the header has one that lies in the first part.
    start: Option<usize>,
}

const UNIX_PARTS: &[(&str, usize)] =
    &[("text", 4), ("data", 8), ("symbols", 16), ("text relocation", 24), ("data relocation", 28)];

const fn unix(title: &'static str, magic: &'static [u8]) -> Kind {
    Kind {
        title,
        magic: (2, magic),
        header_bytes: 32,
        number_bytes: 4,
        parts: UNIX_PARTS,
        symbol_bytes: None,
        relocation_flag: None,
        start: Some(20),
    }
}

const fn executable(title: &'static str, magic: &'static [u8], header_bytes: usize) -> Kind {
    Kind {
        title,
        magic: (0, magic),
        header_bytes,
        number_bytes: 4,
        parts: &[("text", 2), ("data", 6), ("symbols", 14)],
        symbol_bytes: Some((14, 14)),
        relocation_flag: Some(26),
        start: Some(22),
    }
}

const KINDS: &[Kind] = &[
    executable("$601A program", &[0x60, 0x1a], 28),
    executable("$601B program", &[0x60, 0x1b], 36),
    unix("a.out program 0407", &[1, 7]),
    unix("a.out program 0410", &[1, 8]),
    Kind {
        title: "a.out program 0407 of 16-bit words",
        magic: (0, &[1, 7]),
        header_bytes: 16,
        number_bytes: 2,
        parts: &[("text", 2), ("data", 4), ("symbols", 8)],
        symbol_bytes: None,
        relocation_flag: None,
        start: None,
    },
];

/// A program's header, held against its file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ProgramHeader {
    /// What it is.
    pub title: &'static str,
    /// The header and the parts that are in the file, with their bytes.
    pub parts: Vec<(&'static str, u64)>,
    /// What does not fit; nothing for a sound one.
    pub troubles: Vec<String>,
}

impl ProgramHeader {
    /// Bytes of all parts.
    #[must_use]
    pub fn bytes(&self) -> u64 {
        self.parts.iter().map(|it| it.1).sum()
    }
}

/// What a number is that headers of programs begin with; none of any other. The bytes are those of a word or a long, the highest first.
#[must_use]
pub fn magic_title(number: &[u8]) -> Option<&'static str> {
    let low = number.len().checked_sub(2)?;
    let (high, word) = number.split_at(low);
    let is_own = |it: &&Kind| it.magic.1 == word && high.iter().all(|it| *it == 0);
    KINDS.iter().find(is_own).map(|it| it.title)
}

/// The header at the start of a file; none if it is of no kind that is known.
#[must_use]
pub fn program_header(file: &[u8]) -> Option<ProgramHeader> {
    let has_magic = |it: &&Kind| file.get(it.magic.0..it.magic.0 + it.magic.1.len()) == Some(it.magic.1);
    let kind = KINDS.iter().find(has_magic)?;
    let mut troubles = Vec::new();
    let Some(header) = file.get(..kind.header_bytes) else {
        troubles.push(format!("the file has {} bytes, and the header alone {}", file.len(), kind.header_bytes));
        return Some(ProgramHeader { title: kind.title, parts: Vec::new(), troubles });
    };
    let number = |at: usize, bytes: usize| header[at..at + bytes].iter().fold(0, |sum, it| sum << 8 | u64::from(*it));
    let mut parts = vec![("header", kind.header_bytes as u64)];
    for (name, at) in kind.parts {
        let bytes = number(*at, kind.number_bytes);
        if !bytes.is_multiple_of(2) {
            troubles.push(format!("{name} has {bytes} bytes; expected an even number"));
        }
        parts.push((name, bytes));
    }
    if let Some((at, bytes)) = kind.symbol_bytes {
        let symbols = number(at, 4);
        if !symbols.is_multiple_of(bytes) {
            troubles.push(format!("the symbols have {symbols} bytes; expected a multiple of {bytes}"));
        }
    }
    if let Some(start) = kind.start.map(|at| number(at, 4)).filter(|it| !it.is_multiple_of(2)) {
        troubles.push(format!("the start ${start:X} is odd; expected an even address"));
    }
    let sum: u64 = parts.iter().map(|it| it.1).sum();
    let length = file.len() as u64;
    // A short list of places may stand for the relocation words: later systems.
    let relocation: u64 = parts.iter().skip(1).take(2).map(|it| it.1).sum();
    if kind.relocation_flag.is_some_and(|at| number(at, 2) == 0) && length >= sum + relocation {
        parts.push(("relocation", relocation));
    }
    if sum > length {
        troubles.push(format!("its parts take {sum} bytes, and the file has {length}"));
    }
    Some(ProgramHeader { title: kind.title, parts, troubles })
}

#[cfg(test)]
mod tests {
    use super::program_header;

    /// The worked example of the $601A header: text $20, data $10, two symbols, relocation words: 152 bytes. Computed.
    #[test]
    fn sizes_add_up_to_the_file() {
        let mut file =
            vec![0x60, 0x1a, 0, 0, 0, 0x20, 0, 0, 0, 0x10, 0, 0, 0, 0x40, 0, 0, 0, 0x1c, 0, 0, 0, 0, 0, 0, 5, 0, 0, 0];
        file.resize(152, 0);
        let header = program_header(&file).unwrap();
        assert_eq!((header.bytes(), header.troubles.len()), (152, 0));
        let cut = program_header(&file[..100]).unwrap();
        assert_eq!(cut.troubles, ["its parts take 104 bytes, and the file has 100"]);
        file[5] = 0x21;
        file[17] = 0x1d;
        file[25] = 1;
        assert_eq!(program_header(&file).unwrap().troubles.len(), 4, "odd text, odd and uneven symbols, odd start");
        assert!(!program_header(&file[..20]).unwrap().troubles.is_empty());
    }

    /// `a.out(5)` of SunOS 4.1.3: eight long words; the machine type stands before the magic number.
    #[test]
    fn unix_headers_are_told_by_their_second_word() {
        let mut file = vec![0, 1, 1, 7, 0, 0, 0, 8, 0, 0, 0, 4];
        file.resize(44, 0);
        let header = program_header(&file).unwrap();
        assert_eq!((header.title, header.bytes(), header.troubles.len()), ("a.out program 0407", 44, 0));
        assert!(!program_header(&file[..43]).unwrap().troubles.is_empty());
        assert_eq!(program_header(b"SK12\0\0\0\x10"), None);
        assert_eq!(program_header(b""), None);
    }
}
