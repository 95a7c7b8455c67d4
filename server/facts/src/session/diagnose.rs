//! What the firmware's own source says of a text that came back: where it has it, who prints it, and on which condition.

use reveille_program::{DataRun, Place, data_runs};

use super::source::Firmware;
use crate::finding::Evidence;

/// A text of the firmware.
#[derive(Clone, Debug)]
pub(super) struct FirmwareText {
    /// What can be read of it, without line ends at its start and end.
    pub(super) text: String,
    /// The operand that it begins in.
    pub(super) at: Evidence,
    /// The first line of its data.
    pub(super) run: Place,
}

/// Something that the source says of an answer.
#[derive(Clone, Debug)]
pub struct Cause {
    /// What it says.
    pub message: String,
    /// Where.
    pub at: Evidence,
}

/// The fewest characters of a text, and of one that tells something.
const LEAST: usize = 3;
const LEAST_TELLING: usize = 5;

/// The texts in data: what can be read between other bytes.
fn texts(run: &DataRun, found: &mut Vec<FirmwareText>) {
    let mut text = String::new();
    let mut at = None;
    let mut close = |text: &mut String, at: &mut Option<Evidence>| {
        let words = text.trim().to_owned();
        text.clear();
        if let Some(at) = at.take().filter(|_| words.chars().count() >= LEAST) {
            found.push(FirmwareText { text: words, at, run: run.first });
        }
    };
    for item in &run.items {
        for byte in &item.bytes {
            match byte {
                Some(it @ b' '..=b'~') => {
                    at.get_or_insert(Evidence { place: item.place, span: item.span });
                    text.push(char::from(*it));
                }
                _ => close(&mut text, &mut at),
            }
        }
    }
    close(&mut text, &mut at);
}

impl Firmware {
    /// The texts that the firmware has.
    pub(super) fn texts(&self) -> &[FirmwareText] {
        self.texts.get_or_init(|| {
            let mut found = Vec::new();
            for unit in self.units() {
                for run in data_runs(self.model.program(), unit, &|_| true) {
                    texts(&run, &mut found);
                }
            }
            found
        })
    }

    /// Whether a text of the firmware has these words in it.
    pub(super) fn has_text(&self, words: &str) -> bool {
        self.texts().iter().any(|it| it.text.contains(words))
    }

    /// What the source says of a text that came back.
    pub(super) fn causes(&self, said: &str) -> Vec<Cause> {
        let own = self.texts().iter().filter(|it| it.text.chars().count() >= LEAST_TELLING && said.contains(&it.text));
        // The longest says most; one that is a part of another says nothing more.
        let Some(best) = own.max_by_key(|it| it.text.len()) else { return Vec::new() };
        vec![Cause { message: format!("`{}` is a text of the firmware", best.text), at: best.at }]
    }
}
