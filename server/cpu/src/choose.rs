//! Which form of an instruction a line means.

use crate::mnemonics::Candidate;
use crate::table::{Form, Instruction, When};
use crate::{Cpu, Kind, Kinds, Mnemonic, Operand, Size, Sizes, Slot};

/// A form, with the size that the line gives it.
#[derive(Clone, Copy, Debug)]
pub struct Choice {
    /// The form.
    pub form: &'static Form,
    /// The instruction that has the form: ADDQ for ADD with a small constant.
    pub instruction: &'static Instruction,
    /// The operation's size; [`Size::Word`] where a form has none.
    pub size: Size,
}

/// Why no form fits.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Misfit {
    /// It does not take so many operands.
    Count,
    /// With these operands it does not have the size; the sizes that it has, none if it takes no suffix.
    Size(Sizes),
    /// An operand, 0 or 1, cannot be of this kind; the kinds that fit with all else as it is.
    Operand(usize, Kinds),
    /// Only a later member of the family has it.
    Cpu(Cpu),
}

impl std::hash::Hash for Sizes {
    fn hash<H: std::hash::Hasher>(&self, state: &mut H) {
        self.iter().for_each(|size| size.hash(state));
    }
}

impl std::hash::Hash for Kinds {
    fn hash<H: std::hash::Hasher>(&self, state: &mut H) {
        self.iter().for_each(|kind| kind.hash(state));
    }
}

/// The size that a form gives to a line with this suffix; none if it does not have it.
fn size_in(candidate: &Candidate, mnemonic: &Mnemonic, size: Option<Size>) -> Option<Size> {
    let sizes = candidate.form.sizes;
    match size {
        None if sizes.is_empty() || sizes.allows(Size::Word) => Some(Size::Word),
        // Without a suffix a word is meant, so MOVE is not MOVEQ. CCR has one size only: OR #1,CCR is ORI.
        None if candidate.is_variant
            && mnemonic.sizes.allows(Size::Word)
            && candidate.form.slots[1] != Slot::Conditions =>
        {
            None
        }
        None => sizes.iter().next(),
        Some(Size::Byte) if sizes.allows(Size::Short) => Some(Size::Short),
        Some(size) => sizes.allows(size).then_some(size),
    }
}

/// Whether an operand can stand in a slot. A byte of an address register is none.
fn stands(form: &Form, at: usize, kind: Kind, size: Size) -> bool {
    form.takes[at].takes(kind)
        && !(kind == Kind::Address && size == Size::Byte && matches!(form.slots[at], Slot::Ea(_)))
}

fn kinds_of(form: &Form, at: usize, size: Size) -> Kinds {
    let kinds = form.takes[at];
    if size == Size::Byte { kinds.without(Kinds::only(Kind::Address)) } else { kinds }
}

/// Whether a constant that is written out fits the quick form.
fn is_quick(form: &Form, value: Option<i64>) -> bool {
    match (form.slots[0], value) {
        (Slot::Quick, Some(value)) => (1..=8).contains(&value),
        (Slot::Quick8, Some(value)) => (-128..=127).contains(&i64::from(value as i32)),
        _ => false,
    }
}

/// Chooses the form that a line means: `operands` are the `count` operands that it has, and `written` is the constant of the first one if it
/// stands there as a number, without names.
///
/// # Errors
/// What keeps every form from fitting.
pub fn choose(
    mnemonic: &'static Mnemonic,
    cpu: Cpu,
    size: Option<Size>,
    operands: &[Operand; 2],
    count: usize,
    written: Option<i64>,
) -> Result<Choice, Misfit> {
    for candidate in &mnemonic.candidates {
        let form = candidate.form;
        if form.operand_count() != count || (candidate.when == When::Written && !is_quick(form, written)) {
            continue;
        }
        let Some(size) = size_in(candidate, mnemonic, size) else { continue };
        let fits = (0..count).all(|at| stands(form, at, operands[at].kind, size));
        if fits && available(form, cpu) {
            return Ok(Choice { form, instruction: candidate.instruction, size });
        }
    }
    Err(misfit(mnemonic, cpu, size, operands, count))
}

fn available(form: &Form, cpu: Cpu) -> bool {
    form.since == Cpu::M68000 || cpu == Cpu::M68010
}

#[cold]
fn misfit(mnemonic: &Mnemonic, cpu: Cpu, size: Option<Size>, operands: &[Operand; 2], count: usize) -> Misfit {
    let forms = || mnemonic.candidates.iter().filter(move |it| it.form.operand_count() == count);
    if forms().next().is_none() {
        return Misfit::Count;
    }
    // What would be taken if only the processor were newer.
    let fits = |it: &Candidate, size: Size| (0..count).all(|at| stands(it.form, at, operands[at].kind, size));
    let newer = forms().find(|it| size_in(it, mnemonic, size).is_some_and(|size| fits(it, size)));
    if let Some(it) = newer
        && !available(it.form, cpu)
    {
        return Misfit::Cpu(it.form.since);
    }
    let forms = || forms().filter(|it| available(it.form, cpu));
    if forms().next().is_none() {
        return Misfit::Cpu(Cpu::M68010);
    }
    let sizes = forms().flat_map(|it| it.form.sizes.iter().map(move |size| (it, size)));
    let sizes = sizes.filter(|(it, size)| fits(it, *size));
    let legal = sizes.fold(Sizes::NONE, |sum, (_, size)| {
        sum.or(Sizes::of(match size {
            Size::Byte => "b",
            Size::Word => "w",
            Size::Long => "l",
            Size::Short => "s",
        }))
    });
    let fits_without = forms().any(|it| it.form.sizes.is_empty() && fits(it, Size::Word));
    if size.is_some() && (!legal.is_empty() || fits_without) {
        return Misfit::Size(legal);
    }
    // Blame the operand that keeps the most forms from fitting: the second one if the first can stand somewhere.
    let sized = || forms().filter_map(|it| size_in(it, mnemonic, size).map(|size| (it, size)));
    if sized().next().is_none() {
        let legal = forms().fold(Sizes::NONE, |sum, it| sum.or(it.form.sizes));
        return Misfit::Size(legal);
    }
    let first_fits = |(it, size): &(&Candidate, Size)| stands(it.form, 0, operands[0].kind, *size);
    if count == 2 && sized().any(|it| first_fits(&it)) {
        let kinds = sized().filter(first_fits).fold(Kinds::NONE, |sum, (it, size)| sum.or(kinds_of(it.form, 1, size)));
        return Misfit::Operand(1, kinds);
    }
    let second_fits = |(it, size): &(&Candidate, Size)| count < 2 || stands(it.form, 1, operands[1].kind, *size);
    let mut kinds = sized().filter(second_fits).fold(Kinds::NONE, |sum, (it, size)| sum.or(kinds_of(it.form, 0, size)));
    if kinds.is_empty() {
        kinds = sized().fold(Kinds::NONE, |sum, (it, size)| sum.or(kinds_of(it.form, 0, size)));
    }
    Misfit::Operand(0, kinds)
}

/// The forms that a name may stand for on a member of the family, each once.
pub fn forms_of(mnemonic: &'static Mnemonic, cpu: Cpu) -> impl Iterator<Item = (&'static Form, &'static Instruction)> {
    let candidates = mnemonic.candidates.iter();
    candidates.filter(move |it| available(it.form, cpu)).map(|it| (it.form, it.instruction))
}
