//! What a client sets: in the options of `initialize`, and later in `workspace/didChangeConfiguration`.

use std::collections::BTreeMap;

use reveille_cpu::Cpu;
use reveille_editor::HintKinds;
use reveille_facts::Given;
use reveille_program::Sizing;
use serde::Deserialize;

/// The options, as a client writes them. What is left out keeps its default.
#[derive(Debug, Default, Deserialize)]
#[serde(rename_all = "camelCase", default)]
struct Written {
    /// `68000`, `68008` or `68010`; without it that of the machine file.
    cpu: Option<String>,
    /// The processor's clock in Hz.
    clock: Option<u32>,
    /// Where code without ORG is taken to lie.
    origin: Option<i64>,
    /// Rules for lengths that the source leaves open, as on the command line.
    sizing: BTreeMap<String, String>,
    /// Names that get values, as if the source had them: numbers, or text such as `$1F`.
    defines: BTreeMap<String, serde_json::Value>,
    /// Which hints are shown behind the lines.
    hints: Hints,
}

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
struct Hints {
    addresses: bool,
    cycles: bool,
}

/// What is set, and what of it could not be understood.
#[derive(Debug, Default)]
pub(crate) struct ClientOptions {
    /// What holds before what a machine file says.
    pub(crate) given: Given,
    pub(crate) hints: HintKinds,
    pub(crate) defines: Vec<(String, i64)>,
    pub(crate) problems: Vec<String>,
}

impl ClientOptions {
    /// Reads options: the object itself, or one with it under `reveille`, as clients send configuration.
    pub(crate) fn read(value: &serde_json::Value) -> Self {
        let own = value.get("reveille").unwrap_or(value);
        if own.is_null() {
            return Self::default();
        }
        let written = match serde_json::from_value::<Written>(own.clone()) {
            Ok(written) => written,
            Err(error) => {
                let problems = vec![format!("the options cannot be read and are left out: {error}")];
                return Self { problems, ..Self::default() };
            }
        };
        let mut options = Self {
            hints: HintKinds { addresses: written.hints.addresses, cycles: written.hints.cycles },
            ..Self::default()
        };
        if let Some(name) = &written.cpu {
            match Cpu::from_name(name) {
                Some(cpu) => options.given.cpu = Some(cpu),
                None => options.problems.push(format!("`{name}` is no processor that is known: 68000, 68008, 68010")),
            }
        }
        options.given.clock = written.clock.filter(|it| *it > 0);
        options.given.origin = written.origin;
        let mut sizing = Sizing::default();
        for (rule, value) in &written.sizing {
            if let Err(problem) = sizing.set(rule, value) {
                options.problems.push(problem);
            }
        }
        options.given.sizing = sizing;
        for (name, value) in &written.defines {
            let number = match value {
                serde_json::Value::Bool(is_set) => Ok(i64::from(*is_set)),
                serde_json::Value::String(text) => crate::cli::number(text),
                value => value.as_i64().ok_or_else(|| format!("`{value}` is no number")),
            };
            match number {
                Ok(number) => options.defines.push((name.clone(), number)),
                Err(problem) => options.problems.push(format!("the value of `{name}` is left out: {problem}")),
            }
        }
        options
    }
}

#[cfg(test)]
mod tests {
    use super::ClientOptions;
    use serde_json::json;

    #[test]
    fn options_are_read_and_what_is_wrong_is_said() {
        let options = ClientOptions::read(&json!({"cpu": "68010", "clock": 8_000_000, "hints": {"cycles": true}}));
        assert_eq!((options.given.cpu.map(|it| it.name()), options.given.clock), (Some("68010"), Some(8_000_000)));
        assert!(options.hints.cycles && !options.hints.addresses && options.problems.is_empty());
        let options = ClientOptions::read(&json!({"defines": {"ROM": 1, "BASE": "$FC0000", "BAD": [2]}}));
        assert_eq!(options.defines, [("BASE".to_owned(), 0xfc_0000), ("ROM".to_owned(), 1)]);
        assert_eq!(options.problems.len(), 1);
        let options = ClientOptions::read(&json!({"reveille": {"cpu": "6502", "sizing": {"references": "far"}}}));
        assert_eq!(options.problems.len(), 2, "{:?}", options.problems);
        assert_eq!(ClientOptions::read(&json!({"clock": "fast"})).problems.len(), 1);
    }
}
