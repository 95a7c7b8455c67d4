//! Every first word, decoded and encoded again.

use reveille_cpu::{decode, encode};

/// Extension words that every mode takes: small positive displacements, D3 as index, an even address.
const EXTENSIONS: [[u16; 4]; 4] = [
    [0x0012, 0x0034, 0x0056, 0x0078],
    [0x3004, 0x0008, 0x300c, 0x0002],
    [0xb87e, 0x00fe, 0x98fe, 0x7ffe],
    [0x8000, 0xfffe, 0x8002, 0xfffc],
];

#[test]
fn what_is_decoded_encodes_to_the_same_words() {
    let mut count = 0;
    for first in 0..=u16::MAX {
        for extensions in EXTENSIONS {
            let mut words = vec![first];
            words.extend(extensions);
            let Some(decoded) = decode(&words, 0x1000) else { continue };
            count += 1;
            let (encoding, problem) = encode(decoded.form, decoded.size, decoded.condition, &decoded.operands, 0x1000);
            assert_eq!(encoding.words(), &words[..usize::from(decoded.words)], "{first:04X}: {decoded}");
            // The number of a bit beyond the operand's, or a branch to an odd address, are said and encoded all the same.
            let is_range = matches!(problem, Some(reveille_cpu::OperandProblem::Range { .. }));
            assert!(!is_range, "{first:04X}: {decoded}: {problem:?}");
        }
    }
    // Common practice, no source: about three quarters of the first words are instructions.
    assert!(count > 120_000, "{count}");
}
