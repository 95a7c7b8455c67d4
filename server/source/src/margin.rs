//! Listings kept as source: columns of line numbers, addresses and bytes stand before each line.

use crate::lines::is_operation_word;

/// Where the source starts in the lines of a listing. Columns count from 0, tabs go to multiples of 8.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default, Hash)]
pub struct Margin {
    /// The column of the source's column one; 0 where the file is plain source.
    pub column: u16,
}

/// Lines that are looked at to tell a listing.
const SAMPLE: usize = 400;

/// So few lines are no listing.
const FEWEST: usize = 8;

/// What the start of a line shows.
struct Start {
    /// Words of a margin: their value and the column behind each.
    words: Vec<(u64, usize)>,
    /// The column of the first word that is none.
    rest: Option<usize>,
    /// That word is an operation.
    is_operation: bool,
}

/// A word of a margin: digits, perhaps with a mark behind them, or unknown digits (`????`).
fn margin_word(word: &[u8]) -> Option<u64> {
    let digits = match word {
        // Digits and a colon are a label, if they are few.
        [rest @ .., b':'] if rest.len() >= 4 => rest,
        [rest @ .., b'=' | b'+' | b'*' | b'\'' | b'R' | b'M'] => rest,
        _ => word,
    };
    if digits.is_empty() || digits.len() > 16 {
        return None;
    }
    if digits.iter().all(|it| *it == b'?') {
        return Some(0);
    }
    let text = std::str::from_utf8(digits).ok()?;
    u64::from_str_radix(text, 16).ok()
}

fn start(line: &[u8]) -> Start {
    let (mut at, mut column) = (0, 0);
    let mut found = Start { words: Vec::new(), rest: None, is_operation: false };
    while at < line.len() && line[at] == 0x0c {
        at += 1;
    }
    while at < line.len() {
        match line[at] {
            b' ' => column += 1,
            b'\t' => column = (column / 8 + 1) * 8,
            _ => {
                let len = line[at..].iter().position(|it| matches!(it, b' ' | b'\t')).unwrap_or(line.len() - at);
                let word = &line[at..at + len];
                match margin_word(word) {
                    Some(value) => found.words.push((value, column + len)),
                    None => {
                        found.rest = Some(column);
                        found.is_operation = is_operation_word(word);
                        return found;
                    }
                }
                column += len;
                at += len;
                continue;
            }
        }
        at += 1;
    }
    found
}

impl Margin {
    /// The margin of a file, told from its first lines: a column of numbers that rise from line to line, and nothing of the source before
    /// the column where it ends.
    pub(crate) fn of<'a>(lines: impl Iterator<Item = &'a str>) -> Self {
        let mut starts = Vec::new();
        let mut filled = 0;
        for line in lines.take(SAMPLE) {
            if line.trim_ascii().is_empty() {
                continue;
            }
            filled += 1;
            let found = start(line.as_bytes());
            if !found.words.is_empty() {
                starts.push(found);
            }
            if filled >= FEWEST && starts.len() * 2 < filled {
                return Self::default();
            }
        }
        if starts.len() < FEWEST || starts.len() * 10 < filled * 7 {
            return Self::default();
        }
        // The numbers of a column end at one place, and rise: line numbers or addresses.
        let rises = |which: usize| {
            let column: Vec<_> = starts.iter().filter_map(|it| it.words.get(which)).collect();
            let Some(end) = most_common(column.iter().map(|it| it.1)) else { return false };
            let own: Vec<u64> = column.iter().filter(|it| it.1 == end).map(|it| it.0).collect();
            let rising = own.windows(2).filter(|pair| pair[0] <= pair[1]).count();
            let distinct = own.windows(2).filter(|pair| pair[0] != pair[1]).count();
            own.len() * 10 >= starts.len() * 7 && rising * 20 >= own.len() * 17 && distinct * 4 >= own.len()
        };
        if !rises(0) && !rises(1) {
            return Self::default();
        }
        let mut rests: Vec<(usize, bool)> = starts.iter().filter_map(|it| Some((it.rest?, it.is_operation))).collect();
        rests.sort_unstable();
        // A few lines may be something else, such as the head of a page.
        let Some((column, _)) = rests.get(rests.len() / 50).copied() else { return Self::default() };
        let first: Vec<_> = rests.iter().filter(|it| it.0 == column).collect();
        // Where nothing but operations starts there, the source has no labels: its column one is before them.
        let column = if first.iter().all(|it| it.1) { column.saturating_sub(1) } else { column };
        Self { column: u16::try_from(column).unwrap_or(0) }
    }

    /// Whether there is one.
    #[must_use]
    pub fn is_there(self) -> bool {
        self.column > 0
    }

    /// The byte at which the source of a line starts; none for a line that has none, such as the head of a page.
    #[must_use]
    pub fn source_start(self, line: &[u8]) -> Option<usize> {
        let (mut at, mut column) = (0, 0);
        let limit = usize::from(self.column);
        while column < limit {
            match line.get(at) {
                None => return Some(line.len()),
                Some(b' ') => column += 1,
                Some(0x0c) => (),
                Some(b'\t') => {
                    let next = (column / 8 + 1) * 8;
                    if next > limit {
                        // The source starts within the tab: with a blank.
                        return Some(at);
                    }
                    column = next;
                }
                Some(_) => {
                    let rest = &line[at..];
                    let len = rest.iter().position(|it| matches!(it, b' ' | b'\t')).unwrap_or(rest.len());
                    margin_word(&rest[..len])?;
                    if column + len > limit {
                        return None;
                    }
                    column += len;
                    at += len;
                    continue;
                }
            }
            at += 1;
        }
        Some(at)
    }
}

fn most_common(values: impl Iterator<Item = usize>) -> Option<usize> {
    let mut counts: Vec<(usize, usize)> = Vec::new();
    for value in values {
        match counts.iter_mut().find(|it| it.0 == value) {
            Some(entry) => entry.1 += 1,
            None => counts.push((value, 1)),
        }
    }
    counts.into_iter().max_by_key(|it| it.1).map(|it| it.0)
}

#[cfg(test)]
mod tests {
    use super::Margin;

    fn column(text: &str) -> u16 {
        Margin::of(text.lines()).column
    }

    #[test]
    fn a_listing_is_told_by_its_columns() {
        // Columns of a listing: common practice, no source.
        let rows = [
            ("", "", "* Tide gauge"),
            ("00000000", "", "        ORG     $400"),
            ("00000400", "7001", "START   MOVEQ   #1,D0"),
            ("00000402", "4E71", "        NOP"),
            ("00000404", "60FC", "        BRA     START"),
            ("00000406", "0001 0002", "TABLE   DC.W    1,2"),
            ("0000040A", "4E75", "        RTS"),
            ("0000040C", "4E75", "        RTS"),
            ("0000040E", "4E75", "ADD     RTS"),
        ];
        let line = |(at, (address, bytes, source)): (usize, &(&str, &str, &str))| {
            format!("{:>4} {address:<8} {bytes:<14}{source}\n", at + 1)
        };
        let listing: String = rows.iter().enumerate().map(line).collect();
        assert_eq!(column(&listing), 28);
        let margin = Margin { column: 28 };
        let start = |line: &str| margin.source_start(line.as_bytes());
        assert_eq!(start("   3 00000400 7001          START   MOVEQ   #1,D0"), Some(28));
        assert_eq!(start("     00000404 0006"), Some(18));
        assert_eq!(start("Skerry 12   page 2"), None);
        assert_eq!(column(&listing.replace("   5 ", "Skerry 12   page 2\n\n   5 ")), 28);
    }

    #[test]
    fn source_is_no_listing() {
        let source = "start:\n moveq #1,d0\n1: nop\n2: nop\n dc.w 1,2\n dc.w 3,4\n nop\n nop\n rts\n rts\n";
        assert_eq!(column(source), 0);
        assert_eq!(column("1: nop\n2: nop\n3: nop\n4: nop\n5: nop\n6: nop\n7: nop\n8: nop\n9: nop\n"), 0);
    }
}
