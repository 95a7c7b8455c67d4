//! Tables that set a serial chip: pairs of register and value, of address and value, or values alone.

use reveille_decoders::serial::{Chip, chips, meanings};
use reveille_program::{DataRun, Program, Unit, data_run_at, data_runs, made_runs, uses_of};
use rustc_hash::FxHashSet;

use super::fact::{Form, LineFact, Step, To, settle};
use super::ports::{NamedRegisters, Port, chip_of_text};
use crate::finding::Evidence;

/// The longest table that is looked at, in items.
const MOST_ITEMS: usize = 256;

/// Words of a table that is sent to a chip as it stands. Common practice, no source.
const SETTING_WORDS: &[&str] =
    &["init", "setup", "set", "config", "cfg", "param", "params", "mode", "tab", "table", "cmds", "commands"];

/// An item of a table.
struct Cell<'a> {
    value: Option<u32>,
    bytes: u32,
    text: &'a str,
    comment: &'a str,
    at: Evidence,
}

/// What is known of a table before its items are read.
struct About {
    chip: &'static Chip,
    channel: Option<usize>,
    /// A comment says by `@chip` what it is for.
    is_marked: bool,
    /// Its words say that it sets something.
    sets: bool,
}

/// The settings that tables of a unit make.
pub(super) fn tables(program: &Program, unit: &Unit, ports: &[Port], named: &NamedRegisters) -> Vec<LineFact> {
    let wants = |head: reveille_program::Head<'_>| head.is_marked || head.subjects.has_serial();
    let mut runs = data_runs(program, unit, &wants);
    runs.extend(made_runs(program, unit, &wants));
    if !named.is_empty() {
        let symbols: FxHashSet<_> = named.registers.keys().copied().collect();
        let mut lines: Vec<_> = uses_of(program, unit, &symbols).into_iter().map(|it| it.0).collect();
        lines.dedup();
        for line in lines {
            let is_read = |it: &DataRun| it.file == line.file && (it.first..=it.last).contains(&line);
            let is_data =
                program.file(line.file).is_some_and(|it| it.at(line.chunk, line.line).1.op.directive().is_some());
            if is_data && unit.is_active(line) && !runs.iter().any(is_read) {
                runs.extend(data_run_at(program, unit, line));
            }
        }
    }
    let mut seen = FxHashSet::default();
    runs.retain(|it| seen.insert(it.first));
    runs.iter().filter_map(|run| table(program, ports, run)).collect()
}

/// The setting that one table makes.
fn table(program: &Program, ports: &[Port], run: &DataRun) -> Option<LineFact> {
    if run.items.len() < 2 || run.items.len() > MOST_ITEMS {
        return None;
    }
    let label = run.label.map(|it| program.names().text(it).to_string());
    let cells = cells(program, run);
    let about = about(program, ports, run, label.as_deref().unwrap_or(""), &cells)?;
    let own = ports.iter().find(|it| {
        std::ptr::eq(it.chip, about.chip)
            && (it.channel.is_none() || about.channel.is_none() || it.channel == about.channel)
    });
    let unplaced;
    let port = match own {
        Some(port) => port,
        None => {
            unplaced = Port::unplaced(about.chip, about.channel, run_at(&cells)?);
            &unplaced
        }
    };
    let channel = about.channel.or_else(|| only_channel(port));
    let forms = [
        named_pairs(&cells, about.chip, channel),
        numbered_pairs(&cells, port, channel),
        addressed(&cells, port),
        commented(&cells, about.chip, channel),
        stream(&cells, &about, channel),
    ];
    let settled = forms.into_iter().flatten().filter_map(|steps| {
        let facts = settle(port, &steps, Form::Table, label.as_deref(), &mut |_, _| ());
        let wanted = |it: &LineFact| channel.is_none_or(|own| own == it.channel);
        facts.into_iter().filter(wanted).find(|it| is_enough(it, about.is_marked))
    });
    let mut best: Option<LineFact> = None;
    for fact in settled {
        let weight = |it: &LineFact| (it.line.is_whole(), it.line.wrong.is_empty(), it.line.tags().len());
        if best.as_ref().is_none_or(|it| weight(&fact) > weight(it)) {
            best = Some(fact);
        }
    }
    best
}

/// Whether a setting is one, and no other table that happens to fit.
fn is_enough(fact: &LineFact, is_marked: bool) -> bool {
    let line = &fact.line;
    if is_marked {
        return !line.is_empty();
    }
    let has_rate = line.rx.is_some() || line.tx.is_some() || !fact.candidates.is_empty();
    line.data.is_some() && line.parity.is_some() && line.stop_16.is_some() && has_rate && line.wrong.is_empty()
}

fn run_at(cells: &[Cell<'_>]) -> Option<Evidence> {
    cells.first().map(|it| it.at)
}

/// The channel that the machine file speaks of, where it speaks of one alone.
fn only_channel(port: &Port) -> Option<usize> {
    match port.entries.as_slice() {
        [(channel, _)] => *channel,
        _ if port.chip.channels.len() == 1 => Some(0),
        _ => port.channel,
    }
}

fn cells<'a>(program: &'a Program, run: &DataRun) -> Vec<Cell<'a>> {
    let mut found = Vec::new();
    for item in &run.items {
        // An alignment's zero byte is none of the table's.
        if item.span.is_empty() {
            continue;
        }
        let Some(file) = program.file(item.place.file) else { continue };
        let (_, line, text) = file.at(item.place.chunk, item.place.line);
        let own = text.get(item.span.range()).unwrap_or("");
        let at = Evidence { place: item.place, span: item.span };
        let comment = line.comment.of(text);
        let size = item.item_bytes as usize;
        if size == 0 || size > 4 {
            continue;
        }
        for bytes in item.bytes.chunks(size) {
            let value = bytes.iter().try_fold(0_u32, |sum, byte| Some(sum << 8 | u32::from((*byte)?)));
            found.push(Cell { value, bytes: item.item_bytes, text: own, comment, at });
        }
    }
    found
}

/// Which chip a table is for: by its mark, by words of its label and comments, by names in it, or because there is but one.
fn about(program: &Program, ports: &[Port], run: &DataRun, label: &str, cells: &[Cell<'_>]) -> Option<About> {
    let comments = crate::blocks::comments(program, run.first, run.first);
    let text = format!("{label} {comments}");
    let words: Vec<String> = words(&text);
    let sets = words.iter().any(|it| {
        SETTING_WORDS.contains(&it.as_str())
            || it.len() > 4 && SETTING_WORDS.iter().any(|word| word.len() > 3 && it.ends_with(word))
    });
    if let Some(mark) = &run.chip {
        let (name, channel) = mark.split_once('.').map_or((mark.as_str(), None), |it| (it.0, Some(it.1)));
        let chip = reveille_decoders::serial::chip(name)?;
        return Some(About { chip, channel: channel.and_then(|it| chip.channel(it)), is_marked: true, sets: true });
    }
    // `SCC_INIT_B`, `duart channel a`: a letter by itself.
    let channel_of = |chip: &'static Chip| {
        (chip.channels.len() > 1)
            .then(|| chip.channels.iter().position(|letter| words.iter().any(|word| word == letter)))
            .flatten()
    };
    let new = |chip: &'static Chip, channel| Some(About { chip, channel, is_marked: false, sets });
    let by_names = cells.iter().filter(|it| is_name(it.text)).flat_map(|it| meanings(it.text));
    let by_names: Vec<_> = by_names.collect();
    let is_port = |chip: &'static Chip| ports.iter().any(|it| std::ptr::eq(it.chip, chip));
    let best = chips().iter().map(|chip| {
        let own = by_names.iter().filter(|it| std::ptr::eq(it.chip, chip)).count();
        (own, is_port(chip), chip)
    });
    if let Some((_, _, chip)) = best.max_by_key(|it| (it.0, it.1)).filter(|it| it.0 >= 2) {
        let channel = by_names.iter().filter(|it| std::ptr::eq(it.chip, chip)).find_map(|it| it.channel);
        return new(chip, channel.or_else(|| channel_of(chip)));
    }
    if let Some(chip) = chip_of_text(&text) {
        return new(chip, channel_of(chip));
    }
    let spoken = chips().iter().find(|chip| {
        chip.words.iter().any(|word| {
            words
                .iter()
                .any(|own| own == word || own.len() > word.len() && own.starts_with(word.as_str()) && word.len() > 2)
        })
    });
    if let Some(chip) = spoken {
        // A word such as `uart` is said of other chips too.
        let other = ports.iter().map(|it| it.chip).next().filter(|_| !is_port(chip) && chip.tells.is_empty());
        let chip = other.unwrap_or(chip);
        return new(chip, channel_of(chip));
    }
    let mut chips: Vec<&'static Chip> = ports.iter().map(|it| it.chip).collect();
    chips.dedup_by(|one, other| std::ptr::eq(*one, *other));
    match chips.as_slice() {
        [only] => new(only, channel_of(only)),
        _ => None,
    }
}

/// Words of a text in lower case, split at what is no letter and where capitals follow small letters.
fn words(text: &str) -> Vec<String> {
    let mut found: Vec<String> = Vec::new();
    let mut word = String::new();
    let mut last_small = false;
    for it in text.chars().chain([' ']) {
        let is_border = !it.is_ascii_alphabetic() || it.is_ascii_uppercase() && last_small;
        if is_border && !word.is_empty() {
            found.push(std::mem::take(&mut word));
        }
        if it.is_ascii_alphabetic() {
            word.push(it.to_ascii_lowercase());
        }
        last_small = it.is_ascii_lowercase();
    }
    found
}

fn is_name(text: &str) -> bool {
    text.starts_with(|it: char| it.is_ascii_alphabetic() || it == '_')
        && text.bytes().all(|it| it.is_ascii_alphanumeric() || it == b'_' || it == b'.')
}

/// The register that an operand names, alone or as a distance: `CRA`, `MR1A-DUART`.
fn named_register(text: &str, chip: &'static Chip) -> Option<To> {
    let first = text.split(['-', '+']).next().unwrap_or("").trim_start_matches('#').trim();
    is_name(first).then(|| chip.register_named(first)).flatten().map(|(register, channel)| To::Named(register, channel))
}

/// What pairs are made of: every second cell says where, the next what. A count before them and an end behind them are left out.
fn pairs(cells: &[Cell<'_>], where_to: &dyn Fn(&Cell<'_>) -> Option<To>) -> Option<Vec<Step>> {
    let read = |cells: &[Cell<'_>]| -> Option<Vec<Step>> {
        let mut steps = Vec::new();
        for pair in cells.chunks(2) {
            let [selector, value] = pair else {
                // One cell behind the pairs ends the table.
                break;
            };
            let is_end =
                matches!((selector.bytes, selector.value), (1, Some(0xff)) | (2, Some(0xffff)) | (4, Some(u32::MAX)));
            if is_end {
                break;
            }
            steps.push(Step { to: where_to(selector)?, value: value.value, at: value.at, value_at: None });
        }
        (steps.len() >= 2).then_some(steps)
    };
    read(cells).or_else(|| {
        let (count, rest) = cells.split_first()?;
        let told = count.value? as usize;
        let fits = told == rest.len() || told == rest.len() / 2 || told + 1 == rest.len() / 2;
        if fits { read(rest) } else { None }
    })
}

fn named_pairs(cells: &[Cell<'_>], chip: &'static Chip, channel: Option<usize>) -> Option<Vec<Step>> {
    pairs(cells, &|cell| match named_register(cell.text, chip)? {
        To::Named(register, own) => Some(To::Named(register, own.or(channel))),
        other => Some(other),
    })
}

fn numbered_pairs(cells: &[Cell<'_>], port: &Port, channel: Option<usize>) -> Option<Vec<Step>> {
    if cells.iter().any(|it| it.bytes == 4) {
        return None;
    }
    if port.chip.pairs {
        return pairs(cells, &|cell| {
            let number = cell.value?;
            let register = port.chip.registers.iter().find(|it| it.index == Some(number))?;
            Some(To::Named(register, channel))
        });
    }
    [port.stride, 1, 2].into_iter().find_map(|stride| {
        pairs(cells, &|cell| {
            let number = i64::from(cell.value?);
            let offset = u32::try_from(number / stride).ok().filter(|_| number % stride == 0)?;
            port.chip.at(offset, channel).any(|it| it.0.can_write).then_some(To::Write(offset))
        })
    })
}

/// Longs that are addresses of registers, each with a value behind it.
fn addressed(cells: &[Cell<'_>], port: &Port) -> Option<Vec<Step>> {
    if port.base == 0 || !cells.iter().any(|it| it.bytes == 4) {
        return None;
    }
    pairs(cells, &|cell| {
        let address = i64::from(cell.value?) & 0x00ff_ffff;
        port.offset(address).map(To::Write)
    })
}

/// Values whose comments name the registers, one a line.
fn commented(cells: &[Cell<'_>], chip: &'static Chip, channel: Option<usize>) -> Option<Vec<Step>> {
    let mut steps = Vec::new();
    let mut last = None;
    for cell in cells {
        if last == Some(cell.at.place) {
            return None;
        }
        last = Some(cell.at.place);
        let words = cell.comment.split(|it: char| !it.is_ascii_alphanumeric() && it != '_');
        let named = words.filter(|it| it.len() > 1).take(4).find_map(|it| chip.register_named(it));
        if let Some((register, own)) = named.filter(|it| it.0.can_write) {
            steps.push(Step {
                to: To::Named(register, own.or(channel)),
                value: cell.value,
                at: cell.at,
                value_at: None,
            });
        }
    }
    (steps.len() >= 2 && steps.len() + 1 >= cells.len()).then_some(steps)
}

/// Values alone, in the order in which the chip wants them.
fn stream(cells: &[Cell<'_>], about: &About, channel: Option<usize>) -> Option<Vec<Step>> {
    let chip = about.chip;
    let all_values = cells.iter().all(|it| it.bytes == 1)
        || cells.iter().all(|it| it.bytes == 2 && it.value.is_some_and(|it| it < 0x100));
    if chip.stream.is_empty() || !all_values || !about.sets || cells.len() > 16 {
        return None;
    }
    // An end of the table that no register takes.
    let cells = match cells {
        [rest @ .., last] if last.value == Some(0xff) && rest.len() > 1 => rest,
        _ => cells,
    };
    let steps = cells.iter().enumerate().map(|(at, cell)| {
        let name = chip.stream.get(at).or(chip.stream.last())?;
        let register = chip.register(name)?;
        let place = register.places.iter().find(|it| it.0.is_none() || channel.is_none() || it.0 == channel)?;
        Some(Step { to: To::Write(place.1), value: cell.value, at: cell.at, value_at: None })
    });
    steps.collect()
}

#[cfg(test)]
mod tests {
    use super::words;

    #[test]
    fn words_are_split_where_people_read_them_apart() {
        assert_eq!(words("SCC_INIT_B  set up"), ["scc", "init", "b", "set", "up"]);
        assert_eq!(words("uartInit2"), ["uart", "init"]);
    }
}
