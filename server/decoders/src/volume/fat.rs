//! A file allocation table: what its entries say.

/// What an entry says of its cluster.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Link {
    /// Nothing uses it.
    Free,
    /// The cluster that follows it.
    Next(u32),
    /// It is the last of its chain.
    End,
    /// It cannot be used.
    Bad,
    /// A value that means nothing here.
    Reserved(u32),
    /// A cluster that the volume does not have.
    Outside(u32),
    /// The bytes of the entry are not there.
    Missing,
}

/// One copy of the table.
#[derive(Clone, Copy, Debug)]
pub struct Fat<'a> {
    bytes: &'a [u8],
    bits: u32,
    clusters: u32,
}

impl<'a> Fat<'a> {
    /// A table of entries of 12 or 16 bits for so many clusters; the bytes may be fewer than it takes.
    #[must_use]
    pub fn new(bytes: &'a [u8], bits: u32, clusters: u32) -> Self {
        Self { bytes, bits, clusters }
    }

    /// The entry of a number, 0 and 1 among them.
    #[must_use]
    pub fn raw(&self, number: u32) -> Option<u32> {
        let at = first_byte(number, self.bits);
        let pair = self.bytes.get(at..at + 2)?;
        let word = u32::from(pair[0]) | u32::from(pair[1]) << 8;
        Some(match (self.bits, number % 2) {
            (16, _) => word,
            (_, 0) => word & 0xfff,
            _ => word >> 4,
        })
    }

    /// What the entry of a cluster says. Values: *FAT: General Overview of On-Disk Format* 1.03, FAT Data Structure; FF0 to
    /// FF6: from memory.
    #[must_use]
    pub fn link(&self, cluster: u32) -> Link {
        let top = if self.bits == 16 { 0xf000 } else { 0 };
        match self.raw(cluster) {
            None => Link::Missing,
            Some(0) => Link::Free,
            Some(1) => Link::Reserved(1),
            Some(value) if value >= top + 0xff8 => Link::End,
            Some(value) if value == top + 0xff7 => Link::Bad,
            Some(value) if value < self.clusters + 2 => Link::Next(value),
            Some(value) if value >= top + 0xff0 => Link::Reserved(value),
            Some(value) => Link::Outside(value),
        }
    }
}

/// The byte of the table in which an entry starts.
#[must_use]
pub fn first_byte(number: u32, bits: u32) -> usize {
    let number = number as usize;
    if bits == 16 { number * 2 } else { number + number / 2 }
}

/// Sets an entry.
pub(super) fn set(bytes: &mut [u8], bits: u32, number: u32, value: u32) {
    let at = first_byte(number, bits);
    let [low, high] = &mut bytes[at..at + 2] else { return };
    match (bits, number % 2) {
        (16, _) => [*low, *high] = [value as u8, (value >> 8) as u8],
        (_, 0) => [*low, *high] = [value as u8, *high & 0xf0 | (value >> 8) as u8 & 0x0f],
        _ => [*low, *high] = [*low & 0x0f | (value << 4) as u8, (value >> 4) as u8],
    }
}

#[cfg(test)]
mod tests {
    use super::{Fat, Link, set};

    /// *FAT: General Overview of On-Disk Format* 1.03: entry n of a FAT12 starts at byte n + n / 2, an odd one in its high half.
    #[test]
    fn entries_of_12_bits_share_a_byte() {
        let fat = Fat::new(&[0xf9, 0xff, 0xff, 0x03, 0x40, 0x00, 0xff, 0x7f, 0xff], 12, 713);
        let links: Vec<_> = (2..6).map(|it| fat.link(it)).collect();
        assert_eq!(links, [Link::Next(3), Link::Next(4), Link::End, Link::Bad]);
        assert_eq!((fat.raw(0), fat.raw(1), fat.link(6)), (Some(0xff9), Some(0xfff), Link::Missing));
    }

    #[test]
    fn what_is_set_is_read_and_neighbours_stay() {
        for bits in [12, 16] {
            let mut bytes = [0xa5; 32];
            for number in 0..16 {
                set(&mut bytes, bits, number, 0x111 * (number % 15));
            }
            let fat = Fat::new(&bytes, bits, 4000);
            for number in 0..16 {
                assert_eq!(fat.raw(number), Some(0x111 * (number % 15)), "{bits} {number}");
            }
        }
    }

    #[test]
    fn values_that_are_no_cluster_are_told_apart() {
        let fat =
            |value: u16, clusters: u32| Fat::new(&[0, 0, 0, value as u8, (value >> 8) as u8], 12, clusters).link(2);
        assert_eq!(fat(0x000, 100), Link::Free);
        assert_eq!(fat(0x001, 100), Link::Reserved(1));
        assert_eq!(fat(0x065, 100), Link::Next(101));
        assert_eq!(fat(0x066, 100), Link::Outside(102));
        assert_eq!(fat(0xff3, 100), Link::Reserved(0xff3));
        assert_eq!(fat(0xff3, 4084), Link::Next(0xff3));
        assert_eq!(fat(0xff7, 4084), Link::Bad);
        assert_eq!(fat(0xff8, 4084), Link::End);
        let wide = |value: u16| Fat::new(&[0, 0, 0, 0, value as u8, (value >> 8) as u8], 16, 5000).link(2);
        assert_eq!(wide(0x0ff8), Link::Next(0xff8));
        assert_eq!(wide(0xfff7), Link::Bad);
        assert_eq!(wide(0xffff), Link::End);
        assert_eq!(wide(0xfff1), Link::Reserved(0xfff1));
        assert_eq!(wide(0x9000), Link::Outside(0x9000));
    }
}
