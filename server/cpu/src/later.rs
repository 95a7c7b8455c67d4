//! What the later members of the family have and these have not: told by name, so that a line which uses it is called that and nothing else.

/// Instructions of later members of the family and of their coprocessors, by stems; `*` stands for the letters of a condition or a size.
/// *M68000 Family Programmer's Reference Manual*, sections 4 to 7 (from memory).
const LATER: &[(&str, &str)] = &[
    (
        "68020",
        "bfchg bfclr bfexts bfextu bfffo bfins bfset bftst callm cas cas2 chk2 cmp2 divsl divul extb mulsl mulul divsll divull pack rtm trap* unpk",
    ),
    (
        "68881",
        "fabs facos fadd fasin fatan fatanh fb* fcmp fcos fcosh fdb* fdiv fetox fetoxm1 fgetexp fgetman fint fintrz flog10 flog2 flogn flognp1 fmod \
         fmov fmove fmovecr fmovcr fmovem fmovm fmul fneg fnop frem frestore fs* fsave fscale fsgldiv fsglmul fsin fsincos fsinh fsqrt fsub ftan ftanh \
         ftentox ftrap* ftst ftwotox",
    ),
    ("68851", "pb* pdb* pflush* pload* pmove pmovefd prestore psave ps* ptest* ptrap* pvalid"),
    (
        "68040",
        "cinva cinvl cinvp cpusha cpushl cpushp fdabs fdadd fddiv fdmove fdmul fdneg fdsqrt fdsub fsabs fsadd fsdiv fsmove fsmul fsneg fssqrt fssub move16",
    ),
    ("68060", "plpar plpaw halt lpstop"),
];

/// The letters that `*` may stand for.
const CONDITIONS: &[&str] = &[
    "", "a", "an", "ar", "aw", "cc", "cs", "eq", "f", "ge", "gl", "gle", "gt", "hi", "l", "le", "ls", "lt", "mi", "n",
    "ne", "neq", "nge", "ngl", "ngle", "ngt", "nle", "nlt", "oge", "ogl", "ogt", "ole", "olt", "or", "pl", "r", "ra",
    "seq", "sf", "sne", "st", "t", "ueq", "uge", "ugt", "ule", "ult", "un", "vc", "vs", "w",
];

/// The processor or coprocessor that has an instruction of this name, with or without a size joined to it; none for a name of nobody's, and for
/// those that the 68000 and 68010 have.
#[must_use]
pub fn later_processor(name: &str) -> Option<&'static str> {
    let name = name.to_ascii_lowercase();
    let is_stem = |word: &str, name: &str| match word.strip_suffix('*') {
        None => word == name,
        Some(stem) => name.strip_prefix(stem).is_some_and(|rest| CONDITIONS.contains(&rest)),
    };
    let find =
        |name: &str| LATER.iter().find(|it| it.1.split_whitespace().any(|word| is_stem(word, name))).map(|it| it.0);
    let joined = || name.strip_suffix(['b', 'w', 'l', 's', 'd', 'x', 'p']).and_then(find);
    find(&name).or_else(joined)
}

/// Registers that only later members of the family have, without a `%`.
const REGISTERS: &[&str] = &[
    "acr0", "acr1", "acr2", "acr3", "ac0", "ac1", "buscr", "caar", "cacr", "cal", "crp", "dacr0", "dacr1", "drp",
    "dtt0", "dtt1", "fpcr", "fpi", "fpiar", "fpsr", "iacr0", "iacr1", "isp", "itt0", "itt1", "mbar", "mmusr", "msp",
    "pcr", "pcsr", "psr", "rambar", "rambar0", "rambar1", "rombar", "scc", "srp", "tc", "tt0", "tt1", "urp", "val",
];

/// Whether a word, with or without a `%`, names a register that only later members of the family or their coprocessors have. Without the sign
/// only those that nobody gives to a thing.
#[must_use]
pub fn is_later_register(word: &str) -> bool {
    let bare = word.strip_prefix('%');
    let name = bare.unwrap_or(word).to_ascii_lowercase();
    let is_float = matches!(name.as_bytes(), [b'f', b'p', b'0'..=b'7']);
    is_float
        || REGISTERS.contains(&name.as_str())
            && (bare.is_some() || matches!(name.as_str(), "cacr" | "caar" | "fpcr" | "fpsr" | "fpiar"))
}

#[cfg(test)]
mod tests {
    use super::{is_later_register, later_processor};

    // *M68000 Family Programmer's Reference Manual* (from memory).
    #[test]
    fn instructions_of_later_processors_are_known_by_name() {
        assert_eq!(later_processor("BFEXTU"), Some("68020"));
        assert_eq!(later_processor("fmovemx"), Some("68881"));
        assert_eq!(later_processor("fbngle"), Some("68881"));
        assert_eq!(later_processor("trapcc"), Some("68020"));
        assert_eq!(later_processor("move16"), Some("68040"));
        assert_eq!(later_processor("format"), None);
        assert_eq!(later_processor("find"), None);
        assert!(is_later_register("%CACR") && is_later_register("fp3") && !is_later_register("tc"));
    }

    #[test]
    fn none_of_them_is_an_instruction_of_ours() {
        for mnemonic in crate::MNEMONICS.iter() {
            assert!(
                matches!(mnemonic.name, "trapv" | "trap") || later_processor(mnemonic.name).is_none(),
                "{}",
                mnemonic.name
            );
        }
    }
}
