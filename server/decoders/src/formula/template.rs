//! Texts with formulas in them: messages and titles.

use super::{Formula, FormulaError, Names, Scalar};

/// A text with formulas in it: `{total}` gives the number, `{format_identifier:hex}` as `$F9`.
#[derive(Clone, Debug)]
pub struct Template {
    parts: Vec<Part>,
}

#[derive(Clone, Debug)]
enum Part {
    Text(String),
    Decimal(Formula),
    Hex(Formula),
}

impl Template {
    /// Reads a template.
    ///
    /// # Errors
    /// The first formula in it that cannot be read, or a brace without its fellow.
    pub fn new(text: &str) -> Result<Self, FormulaError> {
        let (mut parts, mut at) = (Vec::new(), 0);
        while let Some(open) = text[at..].find('{') {
            parts.push(Part::Text(text[at..at + open].to_owned()));
            let start = at + open + 1;
            let close = text[start..].find('}').ok_or(FormulaError { at: start, message: "`}` is missing".into() })?;
            let inside = &text[start..start + close];
            let shifted = |error: FormulaError| FormulaError { at: error.at + start, ..error };
            parts.push(match inside.strip_suffix(":hex") {
                Some(formula) => Part::Hex(Formula::new(formula).map_err(shifted)?),
                None => Part::Decimal(Formula::new(inside).map_err(shifted)?),
            });
            at = start + close + 1;
        }
        parts.push(Part::Text(text[at..].to_owned()));
        Ok(Self { parts })
    }

    /// The text with the values put in; `?` for a value that is not there.
    #[must_use]
    pub fn text(&self, names: &dyn Names) -> String {
        let mut text = String::new();
        for part in &self.parts {
            match part {
                Part::Text(part) => text.push_str(part),
                Part::Decimal(formula) => match formula.value(names) {
                    Some(Scalar::Number(number)) => text.push_str(&number.to_string()),
                    Some(Scalar::Text(part)) => text.push_str(part.trim_end()),
                    Some(Scalar::List(list)) => {
                        let list: Vec<_> = list.iter().map(i64::to_string).collect();
                        text.push_str(&list.join(" "));
                    }
                    None => text.push('?'),
                },
                Part::Hex(formula) => match formula.number(names) {
                    Some(number) => text.push_str(&format!("${number:02X}")),
                    None => text.push('?'),
                },
            }
        }
        text
    }

    /// The names of all formulas in it.
    #[must_use]
    pub fn names(&self) -> Vec<&str> {
        let formulas = self.parts.iter().filter_map(|part| match part {
            Part::Text(_) => None,
            Part::Decimal(formula) | Part::Hex(formula) => Some(formula),
        });
        formulas.flat_map(Formula::names).collect()
    }
}
