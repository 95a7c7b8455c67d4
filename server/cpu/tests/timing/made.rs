//! Instructions to time, made on the real way.

use reveille_cpu::{Cpu, Index, Kind, Misfit, Operand, Size, Time, choose, decode, encode, mnemonic, time, word_count};

pub(crate) const ADDRESS: i64 = 0x1000;

/// Some operand of a kind.
pub(crate) fn operand(kind: Kind) -> Operand {
    let value = match kind {
        Kind::Displacement | Kind::Index => 4,
        Kind::AbsoluteShort => 0x4000,
        Kind::AbsoluteLong => 0x12_3456,
        Kind::PcDisplacement | Kind::PcIndex | Kind::Target => ADDRESS + 0x20,
        // A constant that ADDQ takes, too; MOVE and ADD are not told that it is written out, so they keep their own forms.
        Kind::Immediate => 2,
        Kind::List => 1,
        _ => 0,
    };
    Operand { kind, register: 3, index: Index { number: 5, is_address: false, is_long: false }, value }
}

pub(crate) fn constant(value: i64) -> Operand {
    Operand::value(Kind::Immediate, value)
}

/// The time of a line, made the way the server makes it; checked to be the same when read back from the words.
pub(crate) fn timed(cpu: Cpu, name: &str, size: Option<Size>, operands: &[Operand]) -> Result<Time, Misfit> {
    let mnemonic = mnemonic(name).unwrap_or_else(|| panic!("no mnemonic {name}"));
    let none = Operand::register(Kind::Data, 0);
    let pair = [operands.first().copied().unwrap_or(none), operands.get(1).copied().unwrap_or(none)];
    let choice = choose(mnemonic, cpu, size, &pair, operands.len(), None)?;
    let (encoding, _) = encode(choice.form, choice.size, mnemonic.condition, &pair, ADDRESS);
    let words = encoding.words();
    assert_eq!(words.len(), usize::from(word_count(choice.form, choice.size, pair.map(|it| it.kind))), "{name}");
    let found = time(cpu, choice.form, choice.size, mnemonic.condition, &pair, words.len() as u8);
    let again = decode(words, ADDRESS).unwrap_or_else(|| panic!("{name} {size:?} {operands:?}: {words:04x?}"));
    assert_eq!(usize::from(again.words), words.len(), "{name} {size:?} {operands:?}");
    let from_words = time(cpu, again.form, again.size, again.condition, &again.operands, again.words);
    assert_eq!(from_words, found, "{name} {size:?} {operands:?} is read back as {again}");
    Ok(found)
}
