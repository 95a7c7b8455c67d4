//! What the firmware's own source says of a text that came back: where it has it, who prints it, and on which condition.

mod chain;
mod matched;
mod start;
mod table;

use reveille_program::{CodeAt, DataItem, DataRun, Program, Symbol, data_runs};

use self::chain::Chain;
use self::matched::{Looks, Match};
use super::source::Firmware;
use crate::finding::Evidence;

/// A text of the firmware.
#[derive(Clone, Debug)]
pub(crate) struct FirmwareText {
    /// What can be read of it, without blanks and line ends at its start and end.
    pub(crate) text: String,
    /// The operand that it begins in.
    pub(crate) at: Evidence,
    /// Which unit has it, by its place in the analysis.
    pub(crate) unit: usize,
    /// The label at or above its data, and the address there.
    pub(crate) label: Option<(Symbol, i64)>,
    /// The address of its first character, and of the first byte behind the text before it.
    pub(crate) address: Option<(i64, i64)>,
}

/// Something that the source says of an answer.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Cause {
    /// What it says, in one line.
    pub message: String,
    /// Where; none of what the source does not say.
    pub at: Option<Evidence>,
    /// How deep it stands in the chain: it belongs to the last before it that is less deep.
    pub depth: usize,
    /// What it tells of.
    pub(crate) role: Role,
    /// The instruction that it tells of: the unit's place in the analysis, and the line among its own.
    pub(crate) code: Option<(usize, CodeAt)>,
}

/// What a cause tells of.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Role {
    /// An instruction that takes a text's address.
    Use,
    /// An instruction that takes an address some bytes before a text.
    Before,
    /// An instruction that takes the address of the table in which a text is.
    Reader,
    /// An instruction that loads the number of a text.
    Number,
    /// A condition on which that is come to.
    Condition,
    /// All else.
    Other,
}

impl Cause {
    pub(crate) fn new(depth: usize, at: Option<Evidence>, message: impl Into<String>) -> Self {
        Self { message: message.into(), at, depth, role: Role::Other, code: None }
    }
}

/// The fewest characters of a text.
const LEAST: usize = 3;

/// Whether an operand of words or longs has characters in it: plain numbers of that size are no text.
fn is_quoted(program: &Program, item: &DataItem) -> bool {
    let Some(file) = program.file(item.place.file) else { return false };
    item.span.of(file.at(item.place.chunk, item.place.line).2).contains(['\'', '"'])
}

/// The texts in data: what can be read between other bytes.
fn texts(program: &Program, run: &DataRun, unit: usize, address: Option<i64>, found: &mut Vec<FirmwareText>) {
    let mut text = String::new();
    let mut at: Option<(Evidence, i64)> = None;
    let (mut offset, mut free) = (0, 0);
    let label = run.label.zip(address);
    let mut close = |text: &mut String, at: &mut Option<(Evidence, i64)>, offset: i64| {
        let words = text.trim().to_owned();
        text.clear();
        if let Some((at, start)) = at.take().filter(|_| words.chars().count() >= LEAST) {
            let address = address.map(|it| (it + start, it + free));
            free = offset;
            found.push(FirmwareText { text: words, at, unit, label, address });
        }
    };
    for item in &run.items {
        let is_text = item.item_bytes == 1 || is_quoted(program, item);
        for byte in &item.bytes {
            match byte {
                Some(it @ b' '..=b'~') if is_text => {
                    at.get_or_insert((Evidence { place: item.place, span: item.span }, offset));
                    text.push(char::from(*it));
                }
                _ => close(&mut text, &mut at, offset),
            }
            offset += 1;
        }
    }
    close(&mut text, &mut at, offset);
}

impl Firmware {
    /// The texts that the firmware has.
    pub(crate) fn texts(&self) -> &[FirmwareText] {
        self.texts.get_or_init(|| {
            let mut found = Vec::new();
            let program = self.model.program();
            for (at, unit) in self.model.analysis().units().enumerate().filter(|it| self.units.contains(&it.0)) {
                for run in data_runs(program, unit, &|_| true) {
                    texts(program, &run, at, unit.absolute(run.address), &mut found);
                }
            }
            found
        })
    }

    /// Whether a text of the firmware has these words in it.
    pub(super) fn has_text(&self, words: &str) -> bool {
        self.texts().iter().any(|it| it.text.contains(words))
    }

    /// What the source says of each of its texts: who prints it, on which condition. `wants` tells of which it is asked.
    pub(crate) fn told(&self, wants: &dyn Fn(&FirmwareText) -> bool) -> Vec<(&FirmwareText, Vec<Cause>)> {
        let mut chain = Chain::new(self);
        let all = self.texts().iter().filter(|it| wants(it));
        let told = all.map(|text| {
            chain.texts(&[(text, Match::WHOLE)]);
            (text, std::mem::take(&mut chain.found))
        });
        told.collect()
    }

    /// What the source says of what came back; `line` is where it sets the line, and to what.
    pub(super) fn causes(&self, said: &str, line: Option<(&str, Evidence)>) -> Vec<Cause> {
        let best = matched::best(self.texts(), said);
        if best.is_empty() {
            return self.foreign(said, line);
        }
        let mut chain = Chain::new(self);
        // A greeting tells more than what comes behind it.
        let greeting = matched::whole(self.texts(), said).into_iter().find(|it| chain.is_greeting(it));
        if let Some(greeting) = greeting {
            chain.greeting(greeting);
        }
        let others = best.iter().filter(|it| greeting.is_none_or(|own| !std::ptr::eq(own, it.0)));
        let others: Vec<_> = others.copied().collect();
        chain.texts(&others);
        chain.found
    }

    /// What can be said of an answer that no text of the firmware is in.
    fn foreign(&self, said: &str, line: Option<(&str, Evidence)>) -> Vec<Cause> {
        let message = match matched::looks(said) {
            Looks::Nothing => return Vec::new(),
            // Without a source nobody knows whose it is.
            Looks::Text if self.texts().is_empty() => return Vec::new(),
            Looks::Text => {
                let message =
                    "what came back is none of this firmware's texts: a loaded program or another ROM has said it";
                return vec![Cause::new(0, None, message)];
            }
            Looks::Junk => {
                "little of what came back can be read: the rate or the frame of the line is the first suspect"
            }
        };
        let mut found = vec![Cause::new(0, None, message)];
        if let Some((words, at)) = line {
            found.push(Cause::new(1, Some(at), format!("the source sets the line to {words} here")));
        }
        found
    }
}
