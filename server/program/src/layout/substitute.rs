//! The text of a macro's body with a call's arguments in it.

use reveille_source::is_word_byte;

/// A parameter with a name.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Parameter {
    pub(super) name: String,
    /// What stands for it where a call gives nothing.
    pub(super) default: String,
    /// It takes all the arguments from its place on.
    pub(super) takes_rest: bool,
}

impl Parameter {
    /// `name`, `\name`, `name=5`, `name:req`, `name:vararg`, `name{anything}`.
    pub(super) fn read(text: &str) -> Option<Self> {
        let text = text.strip_prefix('\\').unwrap_or(text);
        let len = text.bytes().position(|byte| !is_word_byte(byte)).unwrap_or(text.len());
        let (name, rest) = text.split_at(len);
        let default = rest.split_once('=').map_or("", |it| it.1);
        let takes_rest = rest.starts_with(":vararg");
        (!name.is_empty()).then(|| Self { name: name.to_owned(), default: unquoted(default).to_owned(), takes_rest })
    }
}

/// What a body is read with.
#[derive(Debug, Default)]
pub(super) struct Names {
    pub(super) parameters: Vec<Parameter>,
    /// Names that every expansion has its own of.
    pub(super) locals: Vec<String>,
    /// Parameters stand in the body without a backslash, too: Motorola syntax (GNU as 2.40 with `-M`).
    pub(super) are_bare: bool,
}

/// What a call gives.
#[derive(Debug, Default)]
pub(super) struct Call<'a> {
    pub(super) arguments: Vec<&'a str>,
    /// How many arguments there are: NARG.
    pub(super) count: usize,
    /// The size suffix of the call.
    pub(super) size: &'a str,
    /// A number that no other expansion has.
    pub(super) number: usize,
}

impl<'a> Call<'a> {
    /// The arguments of a call, from its operands as they are written.
    pub(super) fn new(operands: &[&'a str], is_unix: bool, names: &Names) -> Self {
        let bare = |text: &'a str| match text.strip_prefix('<').and_then(|it| it.strip_suffix('>')) {
            Some(inside) => inside,
            None if is_unix => unquoted(text),
            None => text,
        };
        // No arguments at all are one empty operand.
        let count = if operands.iter().all(|it| it.is_empty()) { 0 } else { operands.len() };
        let mut arguments: Vec<&str> = Vec::with_capacity(operands.len());
        for (at, operand) in operands.iter().enumerate() {
            // `name=value` goes to its parameter, wherever it stands.
            let named = operand.split_once('=').filter(|_| is_unix).and_then(|(name, value)| {
                let place = names.parameters.iter().position(|it| it.name == name.trim())?;
                Some((place, value))
            });
            let (place, value) = named.unwrap_or((at, operand));
            if arguments.len() <= place {
                arguments.resize(place + 1, "");
            }
            arguments[place] = bare(value);
        }
        Self { arguments, count, ..Self::default() }
    }
}

/// A text without the double quotes around it.
fn unquoted(text: &str) -> &str {
    let inside = text.strip_prefix('"').and_then(|it| it.strip_suffix('"'));
    inside.filter(|it| !it.contains('"')).unwrap_or(text)
}

fn parameter(names: &Names, call: &Call<'_>, at: usize, text: &mut String) {
    let parameter = names.parameters.get(at);
    if parameter.is_some_and(|it| it.takes_rest) {
        text.push_str(&call.arguments.get(at..).unwrap_or(&[]).join(","));
        return;
    }
    match call.arguments.get(at).copied().unwrap_or("") {
        "" => text.push_str(parameter.map_or("", |it| it.default.as_str())),
        argument => text.push_str(argument),
    }
}

/// The name that a local name of a macro has in one expansion.
fn own_name(name: &str, number: usize) -> String {
    format!("{name}__{number:03}")
}

/// Adds a line of a body with the call's arguments in it. `\1` to `\9` and `\A` to `\Z` are arguments, `\0` is the size of the call, `\@` a number
/// that no other expansion has, `\#` and NARG the count of arguments, `\name` a parameter, `\()` nothing.
pub(super) fn line(own: &str, names: &Names, call: &Call<'_>, text: &mut String) {
    let bytes = own.as_bytes();
    let mut at = 0;
    let mut quote = None;
    while at < bytes.len() {
        let byte = bytes[at];
        if byte == b'\\' {
            at += 1 + escape(&own[at + 1..], names, call, text);
            continue;
        }
        if is_word_byte(byte) {
            let end =
                bytes[at..].iter().position(|it| !is_word_byte(*it) || *it == b'\\').map_or(bytes.len(), |it| at + it);
            let is_pasted = text.ends_with(|it: char| it.is_ascii_alphanumeric() || it == '_') && at > 0;
            word(&own[at..end], names, call, quote.is_some() || is_pasted, text);
            at = end;
            continue;
        }
        match (byte, quote) {
            (b'\'' | b'"', None) => quote = Some(byte),
            (byte, Some(open)) if byte == open => quote = None,
            _ => (),
        }
        // What is no word byte is one byte of ASCII.
        text.push(char::from(byte));
        at += 1;
    }
}

/// A word that stands in a body as it is, or for a parameter.
fn word(word: &str, names: &Names, call: &Call<'_>, is_text: bool, text: &mut String) {
    if is_text {
        return text.push_str(word);
    }
    if word.eq_ignore_ascii_case("narg") {
        return text.push_str(&call.count.to_string());
    }
    if names.locals.is_empty() && !names.are_bare {
        return text.push_str(word);
    }
    // A size may stand behind it.
    let (name, size) = match word.len().checked_sub(2) {
        Some(dot) if dot > 0 && word.as_bytes()[dot] == b'.' => word.split_at(dot),
        _ => (word, ""),
    };
    if let Some(local) = names.locals.iter().find(|it| *it == name) {
        text.push_str(&own_name(local, call.number));
        return text.push_str(size);
    }
    match names.parameters.iter().position(|it| it.name == name).filter(|_| names.are_bare) {
        Some(at) => {
            parameter(names, call, at, text);
            text.push_str(size);
        }
        None => text.push_str(word),
    }
}

/// What follows a backslash; gives how many bytes of it were used.
fn escape(rest: &str, names: &Names, call: &Call<'_>, text: &mut String) -> usize {
    let named = names.parameters.iter().enumerate().filter(|it| rest.starts_with(it.1.name.as_str()));
    if let Some((at, it)) = named.max_by_key(|it| it.1.name.len()) {
        parameter(names, call, at, text);
        return it.name.len();
    }
    let Some(mark) = rest.chars().next() else {
        text.push('\\');
        return 0;
    };
    let place = match mark {
        '1'..='9' => Some(mark as usize - '1' as usize),
        'A'..='Z' => Some(mark as usize - 'A' as usize + 9),
        'a'..='z' => Some(mark as usize - 'a' as usize + 9),
        _ => None,
    };
    match (mark, place) {
        // Without a size the dot before it goes too.
        ('0', _) if call.size.is_empty() && text.ends_with('.') => {
            text.pop();
        }
        ('0', _) => text.push_str(call.size),
        ('@', _) => text.push_str(&format!("{:03}", call.number)),
        ('#', _) => text.push_str(&call.count.to_string()),
        ('(', _) if rest.starts_with("()") => return 2,
        (_, Some(place)) if names.parameters.is_empty() || mark.is_ascii_digit() => parameter(names, call, place, text),
        _ => {
            text.push('\\');
            text.push(mark);
        }
    }
    mark.len_utf8()
}

#[cfg(test)]
mod tests {
    use super::{Call, Names, Parameter, line};

    fn expand(own: &str, parameters: &[&str], locals: &[&str], operands: &[&str], is_unix: bool) -> String {
        let names = Names {
            parameters: parameters.iter().filter_map(|it| Parameter::read(it)).collect(),
            locals: locals.iter().map(|it| (*it).to_owned()).collect(),
            are_bare: !is_unix,
        };
        let call = Call { number: 7, size: "w", ..Call::new(operands, is_unix, &names) };
        let mut text = String::new();
        line(own, &names, &call, &mut text);
        text
    }

    // `\1`, `\0`, `\@`, NARG: the CPU maker's manual (from memory); names without a backslash, defaults, keywords, `\()`: GNU as 2.40.
    #[test]
    fn arguments_stand_where_their_parameters_do() {
        let motorola = |own, operands: &[&str]| expand(own, &[], &[], operands, false);
        assert_eq!(motorola(" move.\\0 \\1,\\2 ; é", &["d0", "<4(a0,d1)>"]), " move.w d0,4(a0,d1) ; é");
        assert_eq!(motorola("l\\@ dc.b NARG,'narg','\\1'", &["x", "y"]), "l007 dc.b 2,'narg','x'");
        assert_eq!(motorola(" \\3\\# \\?", &["x"]), " 1 \\?");
        assert_eq!(
            expand(" move.w from,to.w,fromage", &["from", "to"], &[], &["d0", "x"], false),
            " move.w d0,x.w,fromage"
        );
        assert_eq!(expand("loop: bra loop,'loop'", &[], &["loop"], &[], false), "loop__007: bra loop__007,'loop'");
        let unix = |own, parameters: &[&str], operands: &[&str]| expand(own, parameters, &[], operands, true);
        assert_eq!(unix("\\a\\()_x a \\b", &["a", "b=5"], &["q"]), "q_x a 5");
        assert_eq!(unix("\\a,\\b", &["a:req", "b"], &["b=2", "a=1"]), "1,2");
        assert_eq!(
            unix(".ascii \"\\s\" \\long", &["s", "long:vararg", "lo"], &["\"hi\"", "1", "2"]),
            ".ascii \"hi\" 1,2"
        );
    }
}
