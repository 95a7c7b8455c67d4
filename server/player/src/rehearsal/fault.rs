//! Faults that a rehearsal is asked to have: what happens to a session when the line or the machine does not do its part.

/// What goes wrong.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum FaultKind {
    /// A byte is lost.
    Drop,
    /// A byte comes twice.
    Double,
    /// A byte comes with its bits changed.
    Garble,
    /// From here on the machine says nothing.
    Silence,
    /// Its next prompt is another.
    Prompt,
    /// It starts anew.
    Reset,
}

impl FaultKind {
    /// Each with its word, and what it does.
    pub const NAMES: [(&'static str, &'static str, Self); 6] = [
        ("drop", "a byte is lost", Self::Drop),
        ("double", "a byte comes twice", Self::Double),
        ("garble", "a byte comes with its bits changed", Self::Garble),
        ("silence", "from there on the machine says nothing", Self::Silence),
        ("prompt", "its next prompt is another", Self::Prompt),
        ("reset", "it starts anew", Self::Reset),
    ];
}

/// A fault, and the byte that the machine sends at which it happens, counted from 0.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Fault {
    /// What goes wrong.
    pub kind: FaultKind,
    /// At which byte.
    pub at: u64,
}

impl Fault {
    /// Reads `drop@120`; without a number, it happens at byte 40.
    ///
    /// # Errors
    /// What was found, and what was expected.
    pub fn read(text: &str) -> Result<Self, String> {
        const USUAL: u64 = 40;
        let (name, at) = text.split_once('@').unwrap_or((text, ""));
        let kind = FaultKind::NAMES.iter().find(|it| it.0 == name).map(|it| it.2).ok_or_else(|| {
            let names: Vec<&str> = FaultKind::NAMES.iter().map(|it| it.0).collect();
            format!("`{name}` is no fault; expected {}, as in `drop@120`", names.join(", "))
        })?;
        let at = if at.is_empty() { Ok(USUAL) } else { at.parse() };
        Ok(Self { kind, at: at.map_err(|_| format!("`{text}` has no number behind `@`, as in `drop@120`"))? })
    }
}

/// The faults that are still to come.
pub(super) struct Faults {
    coming: Vec<Fault>,
    said: u64,
    is_silent: bool,
    is_prompt_wrong: bool,
    is_reset: bool,
}

impl Faults {
    pub(super) fn new(faults: &[Fault]) -> Self {
        Self { coming: faults.to_vec(), said: 0, is_silent: false, is_prompt_wrong: false, is_reset: false }
    }

    /// What becomes of a byte on its way.
    pub(super) fn pass(&mut self, byte: u8) -> Vec<u8> {
        let said = self.said;
        self.said += 1;
        let mut bytes = vec![byte];
        for fault in std::mem::take(&mut self.coming) {
            if fault.at > said {
                self.coming.push(fault);
                continue;
            }
            match fault.kind {
                FaultKind::Drop => bytes.clear(),
                FaultKind::Double => bytes.push(byte),
                // The highest bit: what an open line or a parity bit read as data does.
                FaultKind::Garble => bytes = vec![byte ^ 0x80],
                FaultKind::Silence => self.is_silent = true,
                FaultKind::Prompt => self.is_prompt_wrong = true,
                FaultKind::Reset => self.is_reset = true,
            }
        }
        if self.is_silent { Vec::new() } else { bytes }
    }

    pub(super) fn take_reset(&mut self) -> bool {
        std::mem::take(&mut self.is_reset)
    }

    pub(super) fn take_wrong_prompt(&mut self) -> bool {
        std::mem::take(&mut self.is_prompt_wrong)
    }

    pub(super) fn is_silent(&self) -> bool {
        self.is_silent
    }
}
