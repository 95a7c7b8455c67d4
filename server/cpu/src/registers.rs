//! Register names.

/// A register that an operand can name.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Register {
    /// D0 to D7.
    Data(u8),
    /// A0 to A7; SP is A7.
    Address(u8),
    /// The program counter.
    Pc,
    /// The status register.
    Sr,
    /// The condition codes, the low byte of the status register.
    Ccr,
    /// The user stack pointer, also while in supervisor state.
    Usp,
    /// The supervisor stack pointer.
    Ssp,
    /// The vector base register of the 68010.
    Vbr,
    /// The source function code register of the 68010.
    Sfc,
    /// The destination function code register of the 68010.
    Dfc,
}

/// The register that `name` names, in either case and with or without a `%` before it.
#[must_use]
pub fn register(name: &str) -> Option<Register> {
    let name = name.strip_prefix('%').unwrap_or(name).as_bytes();
    match *name {
        [letter, digit @ b'0'..=b'7'] => match letter | 0x20 {
            b'd' => Some(Register::Data(digit - b'0')),
            b'a' => Some(Register::Address(digit - b'0')),
            _ => None,
        },
        [first, second] => match [first | 0x20, second | 0x20] {
            [b's', b'p'] => Some(Register::Address(7)),
            [b'p', b'c'] => Some(Register::Pc),
            [b's', b'r'] => Some(Register::Sr),
            _ => None,
        },
        [first, second, third] => match [first | 0x20, second | 0x20, third | 0x20] {
            [b'c', b'c', b'r'] => Some(Register::Ccr),
            [b'u', b's', b'p'] => Some(Register::Usp),
            [b's', b's', b'p'] => Some(Register::Ssp),
            [b'v', b'b', b'r'] => Some(Register::Vbr),
            [b's', b'f', b'c'] => Some(Register::Sfc),
            [b'd', b'f', b'c'] => Some(Register::Dfc),
            _ => None,
        },
        _ => None,
    }
}

/// The register that `name` names where the Unix families are read: those have `fp`, which is A6, and `cc`, which is the CCR, too
/// (*Using as* 2.40, 9.22.2; `cc` seen with its version 2.40).
#[must_use]
pub fn unix_register(name: &str) -> Option<Register> {
    let bare = name.strip_prefix('%').unwrap_or(name);
    match bare.as_bytes() {
        [first, second] => match [first | 0x20, second | 0x20] {
            [b'f', b'p'] => Some(Register::Address(6)),
            [b'c', b'c'] => Some(Register::Ccr),
            _ => register(name),
        },
        _ => register(name),
    }
}

impl Register {
    /// What the register is, in words of our own.
    #[must_use]
    pub fn describe(self) -> String {
        match self {
            Self::Data(n) => format!("data register {n}, 32 bits"),
            Self::Address(7) => "address register 7, the active stack pointer".into(),
            Self::Address(n) => format!("address register {n}, 32 bits"),
            Self::Pc => "program counter".into(),
            Self::Sr => "status register: trace, supervisor state, interrupt mask, condition codes".into(),
            Self::Ccr => "condition codes X N Z V C, the low byte of the status register".into(),
            Self::Usp => "user stack pointer, reachable in supervisor state".into(),
            Self::Ssp => "supervisor stack pointer".into(),
            Self::Vbr => "vector base register (68010)".into(),
            Self::Sfc => "source function code (68010)".into(),
            Self::Dfc => "destination function code (68010)".into(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::{Register, register, unix_register};

    #[test]
    fn names_are_read_in_any_case_and_with_a_percent_sign() {
        assert_eq!(register("d3"), Some(Register::Data(3)));
        assert_eq!(register("SP"), Some(Register::Address(7)));
        assert_eq!(register("%a6"), Some(Register::Address(6)));
        assert_eq!(register("d8"), None);
        assert_eq!(register("start"), None);
        assert_eq!(register("fp"), None);
        assert_eq!(unix_register("%fp"), Some(Register::Address(6)));
        assert_eq!(unix_register("cc"), Some(Register::Ccr));
    }
}
