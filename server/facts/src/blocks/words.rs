//! Words of labels and comments that speak of one layout.

use reveille_decoders::Layout;
use reveille_program::{DataRun, Program};

use super::fact::comments;

/// The words of a table's label and comments, in lower case.
pub(super) struct Words(Vec<String>);

impl Words {
    pub(super) fn new(program: &Program, run: &DataRun) -> Self {
        let label = run.label.map(|it| program.names().text(it).to_string()).unwrap_or_default();
        Self::of(&format!("{label} {}", comments(program, run.first, run.first)))
    }

    pub(super) fn of(text: &str) -> Self {
        let words = text.split(|it: char| !it.is_ascii_alphabetic()).filter(|it| it.len() > 1);
        Self(words.map(str::to_ascii_lowercase).collect())
    }

    /// Whether one of a layout's words is there, or stands at the start of a longer one: `skewtab` speaks of `skew`. Of two words
    /// with a blank between, such as `sector order`, both have to be there.
    pub(super) fn speak_of(&self, layout: &Layout) -> bool {
        let is_it = |own: &str, word: &str| own == word || word.len() >= 4 && own.starts_with(word);
        let is_there = |word: &str| self.0.iter().any(|own| is_it(own, word));
        layout.words.iter().any(|words| words.split(' ').all(is_there))
    }

    /// Whether one of these words is there.
    pub(super) fn have(&self, words: &[&str]) -> bool {
        self.0.iter().any(|own| words.contains(&own.as_str()))
    }
}
