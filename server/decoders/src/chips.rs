//! Sets of byte-wide chips that together are as wide as a bus.
//!
//! Two chips make the 16 bits of a 68000: the one with the even addresses has the high byte of each word, on data lines 8 to
//! 15, the other one the low byte (M68000 user's manual, data organization in memory and bus operation). Four make 32 bits,
//! in the order of their addresses.

use std::fmt;

/// Why chips and an image do not fit together.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ChipError {
    /// Chips of one set differ in size.
    SizesDiffer {
        /// Bytes of the first chip.
        first: usize,
        /// Which chip differs, from 0.
        chip: usize,
        /// Its bytes.
        bytes: usize,
    },
    /// An image that cannot be dealt out evenly.
    NotWhole {
        /// Its bytes.
        bytes: usize,
        /// Among so many chips.
        chips: usize,
    },
    /// No chip.
    NoChip,
}

impl fmt::Display for ChipError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::SizesDiffer { first, chip, bytes } => write!(
                f,
                "the first chip has {first} bytes and chip {} has {bytes}, expected the same size; read the shorter one again",
                chip + 1
            ),
            Self::NotWhole { bytes, chips } => {
                write!(f, "{bytes} bytes cannot be dealt out among {chips} chips evenly; is the end missing?")
            }
            Self::NoChip => write!(f, "there is no chip, expected at least one"),
        }
    }
}

impl std::error::Error for ChipError {}

/// Deals an image out among chips: chip n gets the bytes n, n + chips, n + 2 * chips... So of two, the first is the even one.
///
/// # Errors
/// The image cannot be dealt out evenly, or there is no chip.
pub fn split(image: &[u8], chips: usize) -> Result<Vec<Vec<u8>>, ChipError> {
    if chips == 0 {
        return Err(ChipError::NoChip);
    }
    if !image.len().is_multiple_of(chips) {
        return Err(ChipError::NotWhole { bytes: image.len(), chips });
    }
    Ok((0..chips).map(|chip| image.iter().skip(chip).step_by(chips).copied().collect()).collect())
}

/// Puts chips together, the reverse of [`split`]. For the other order, name them in the other order.
///
/// # Errors
/// Their sizes differ, or there is no chip.
pub fn join(chips: &[&[u8]]) -> Result<Vec<u8>, ChipError> {
    let first = chips.first().ok_or(ChipError::NoChip)?.len();
    if let Some((chip, other)) = chips.iter().enumerate().find(|it| it.1.len() != first) {
        return Err(ChipError::SizesDiffer { first, chip, bytes: other.len() });
    }
    Ok((0..first).flat_map(|at| chips.iter().map(move |chip| chip[at])).collect())
}

/// Exchanges the bytes of each word: what a pair in the wrong order, or a dump through a bus of the other order, needs.
///
/// # Errors
/// The image is no whole number of words.
pub fn swap_bytes(image: &[u8]) -> Result<Vec<u8>, ChipError> {
    if !image.len().is_multiple_of(2) {
        return Err(ChipError::NotWhole { bytes: image.len(), chips: 2 });
    }
    Ok(image.chunks_exact(2).flat_map(|word| word.iter().rev().copied()).collect())
}

/// Whether an image starts as the CPU needs it at reset: a stack pointer and an entry address (M68000 user's manual, exception
/// vectors), both even and within the 24 bits of a 68000's address, the entry not 0.
#[must_use]
pub fn has_reset_vectors(image: &[u8]) -> bool {
    let long = |at: usize| {
        image.get(at..at + 4).map(|it| it.iter().fold(0_u32, |number, byte| number << 8 | u32::from(*byte)))
    };
    let is_address = |it: u32| it.is_multiple_of(2) && it >> 24 == 0;
    let (Some(stack), Some(entry)) = (long(0), long(4)) else { return false };
    is_address(stack) && is_address(entry) && entry != 0
}

/// Whether the bytes of each word look exchanged: there are no reset vectors, and with exchanged bytes there are.
#[must_use]
pub fn looks_exchanged(image: &[u8]) -> bool {
    let is_there = |start: &[u8]| swap_bytes(start).is_ok_and(|it| has_reset_vectors(&it));
    !has_reset_vectors(image) && image.get(..8).is_some_and(is_there)
}

#[cfg(test)]
mod tests {
    use super::{ChipError, has_reset_vectors, join, looks_exchanged, split, swap_bytes};
    use proptest::prelude::*;

    /// M68000 user's manual, data organization in memory: the byte at the even address is the high one of its word.
    #[test]
    fn the_even_chip_has_the_high_byte_of_each_word() {
        let words: Vec<u8> = [0x1122_u16, 0x3344].into_iter().flat_map(u16::to_be_bytes).collect();
        assert_eq!(split(&words, 2), Ok(vec![vec![0x11, 0x33], vec![0x22, 0x44]]));
        assert_eq!(split(&words, 4), Ok(vec![vec![0x11], vec![0x22], vec![0x33], vec![0x44]]));
    }

    #[test]
    fn what_does_not_fit_is_told_with_its_sizes() {
        assert_eq!(split(&[1, 2, 3], 2), Err(ChipError::NotWhole { bytes: 3, chips: 2 }));
        assert_eq!(split(&[], 0), Err(ChipError::NoChip));
        assert_eq!(join(&[]), Err(ChipError::NoChip));
        assert_eq!(join(&[&[1], &[1], &[1, 2]]), Err(ChipError::SizesDiffer { first: 1, chip: 2, bytes: 2 }));
        assert_eq!(swap_bytes(&[1]), Err(ChipError::NotWhole { bytes: 1, chips: 2 }));
    }

    /// M68000 user's manual, exception vectors: the first long is the stack pointer, the second the entry.
    #[test]
    fn exchanged_bytes_are_seen_by_the_reset_vectors() {
        let start = [0, 8, 0x40, 0, 0, 0xf8, 4, 0x10];
        assert!(has_reset_vectors(&start));
        assert!(!looks_exchanged(&start));
        assert!(looks_exchanged(&swap_bytes(&start).unwrap()));
        for other in [&[][..], &[0; 8], &[0xff; 8], b"no vectors", &start[..7]] {
            assert!(!has_reset_vectors(other) && !looks_exchanged(other), "{other:?}");
        }
    }

    proptest! {
        #[test]
        fn split_and_join_are_each_other_s_reverse(bytes in prop::collection::vec(any::<u8>(), 0..200), chips in 1_usize..5) {
            let whole = &bytes[..bytes.len() / chips * chips];
            let parts = split(whole, chips).unwrap();
            let parts: Vec<&[u8]> = parts.iter().map(Vec::as_slice).collect();
            prop_assert_eq!(join(&parts).unwrap(), whole);
        }

        #[test]
        fn the_other_order_is_the_same_as_exchanged_bytes(bytes in prop::collection::vec(any::<u8>(), 0..200)) {
            let whole = &bytes[..bytes.len() / 2 * 2];
            let pair = split(whole, 2).unwrap();
            prop_assert_eq!(join(&[&pair[1], &pair[0]]).unwrap(), swap_bytes(whole).unwrap());
            prop_assert_eq!(swap_bytes(&swap_bytes(whole).unwrap()).unwrap(), whole);
        }
    }
}
