//! The serial part of the bring-up sheet: what to set a terminal to, how to wire it, and what to mind before it is plugged in.

use std::io::Write;

use reveille_decoders::serial::{Item, SIGNALS, Signal};
use reveille_editor::clock_words;
use reveille_facts::{Fact, FamilyFact, LineFact, Model};

use super::sheet::place;

/// Cautions before a cable is plugged in: EIA-232 and common practice, from memory.
const CAUTIONS: &[&str] = &[
    "A 25-pin socket is not always serial: it may be a parallel printer port or SCSI (pin 25 carries terminator power), or carry a current loop or test voltages. The 12 V of an EIA-232 line destroy TTL inputs. Find out what it is before anything is plugged in, and do not trust its gender: gender changers and old habits made all kinds.",
    "A 9-pin socket may be video, a joystick or a keyboard.",
    "EIA-232 levels are -3 to -15 V for 1 and +3 to +15 V for 0. The 3.3 or 5 V of a modern adapter's bare pins are not EIA-232, and are upside down: put a level converter between them.",
    "Measure first, with nothing connected: an output that idles sits at -5 to -12 V against signal ground (pin 7 of 25, 5 of 9).",
    "Old machines have mains at the supply and, where there is a picture tube, a charge of kilovolts that stays when they are switched off. Leave that to people trained for it, and follow the electrical code of the place.",
];

/// Writes the section; nothing where the source has no serial line.
pub(super) fn serial(model: &Model, out: &mut dyn Write) -> anyhow::Result<()> {
    let lines: Vec<&LineFact> = model.lines().collect();
    let families = model.facts().filter_map(|it| match it {
        Fact::Family(family) => Some(family),
        _ => None,
    });
    let families: Vec<&FamilyFact> = families.collect();
    if lines.is_empty() && families.is_empty() {
        return Ok(());
    }
    writeln!(out, "## Serial lines\n")?;
    for line in &lines {
        one_line(model, line, out)?;
    }
    for family in families {
        constants(model, family, out)?;
    }
    if lines.is_empty() {
        return Ok(());
    }
    wiring(&lines, out)?;
    writeln!(out, "### Before a cable is plugged in\n")?;
    for caution in CAUTIONS {
        writeln!(out, "- {caution} *(common practice)*")?;
    }
    writeln!(out)?;
    Ok(())
}

fn one_line(model: &Model, fact: &LineFact, out: &mut dyn Write) -> anyhow::Result<()> {
    let line = &fact.line;
    writeln!(out, "### `{}`: {}\n", fact.name, fact.words())?;
    let by = match (&fact.subject, fact.form.name()) {
        (Some(subject), form) => format!("{form} of `{subject}`"),
        (None, form) => form.to_owned(),
    };
    let address = fact.address.map_or_else(String::new, |it| format!(" at ${it:06X}"));
    let letter = fact.letter().map_or_else(String::new, |it| format!(", channel {it}"));
    let variant = fact.variant.map_or_else(String::new, |it| format!(", version {}", it.name));
    writeln!(
        out,
        "{}{letter}{variant}{address}, set by {by} ({}). What its registers say: {}.\n",
        fact.chip.title,
        place(model, fact.at),
        fact.chip.source
    )?;
    writeln!(out, "| what to set | value | from |")?;
    writeln!(out, "|---|---|---|")?;
    let mut row = |what: &str, value: &str, tags: &[usize]| -> anyhow::Result<()> {
        let from: Vec<String> = tags
            .iter()
            .filter_map(|it| fact.writes.get(*it))
            .map(|it| {
                let value = it.value.map_or_else(|| "?".to_owned(), |value| format!("${value:02X}"));
                format!("{} {value} {}", it.register.name, place(model, it.at))
            })
            .collect();
        writeln!(out, "| {what} | {value} | {} |", from.join("; "))?;
        Ok(())
    };
    for (verb, rate) in fact.rates() {
        let what = if verb == "sends" { "rate at which it sends" } else { "rate at which it receives" };
        let nominal = rate.nominal.map(|it| format!("**{it}** bit/s"));
        let exact = rate.exact.map(|it| match rate.error() {
            Some(error) if error.abs() < 0.005 => "exactly".to_owned(),
            Some(error) => format!("really {it:.1}, {error:+.2} %"),
            None => format!("{it:.1} bit/s, no standard rate"),
        });
        let parts: Vec<String> = nominal.into_iter().chain(exact).chain([rate.text.clone()]).collect();
        row(what, &parts.join("; "), &rate.tags)?;
    }
    for (variant, rates) in &fact.candidates {
        let rates = rates.clone().unwrap_or_else(|| "not known".to_owned());
        let clock = variant.clock;
        row(&format!("rate, if the chip is version {}", variant.name), &format!("{rates} bit/s of {clock} Hz"), &[])?;
    }
    if let Some(it) = &line.data {
        row("data bits", &format!("**{}**", it.value), &it.tags)?;
    }
    if let Some(it) = line.data_rx.as_ref().filter(|it| line.data.as_ref().is_none_or(|own| own.value != it.value)) {
        row("data bits that it receives", &format!("**{}**", it.value), &it.tags)?;
    }
    if let Some(it) = &line.parity {
        row("parity", &format!("**{}**", it.value), &it.tags)?;
    }
    if let (Some(it), Some(stop)) = (&line.stop_16, line.stop()) {
        row("stop bits", &format!("**{stop}**"), &it.tags)?;
    }
    let flow: Vec<&str> = line.flow.iter().map(|it| it.value.as_str()).collect();
    let tags: Vec<usize> = line.flow.iter().flat_map(|it| it.tags.iter().copied()).collect();
    let words =
        if flow.is_empty() { "none by the chip; the program may use XON/XOFF".to_owned() } else { flow.join(", ") };
    row("flow control", &words, &tags)?;
    let mut text =
        |what: &str, it: &Option<Item<String>>| it.as_ref().map_or(Ok(()), |it| row(what, &it.value, &it.tags));
    text("RTS output", &line.rts)?;
    text("DTR output", &line.dtr)?;
    text("interrupts", &line.irq)?;
    for note in line.notes.iter().chain(&line.wrong) {
        row("mind", &note.value, &note.tags)?;
    }
    let at = fact.clock.at.map_or_else(String::new, |it| place(model, it));
    writeln!(out, "| clock | {} | {at} |\n", clock_words(fact))?;
    Ok(())
}

fn constants(model: &Model, family: &FamilyFact, out: &mut dyn Write) -> anyhow::Result<()> {
    let clock = family.clock.map_or_else(String::new, |it| format!(", of {} Hz", it.hertz));
    writeln!(out, "### Constants for {} of the {}: {}{clock}\n", family.register.name, family.chip.name, family.title)?;
    writeln!(out, "| constant | value | selects | really | where |")?;
    writeln!(out, "|---|---|---|---|---|")?;
    for member in &family.members {
        let really = match (member.exact, member.error()) {
            (Some(exact), Some(error)) => format!("{exact:.1} bit/s, {error:+.2} %"),
            _ => "as it says".to_owned(),
        };
        let at = place(model, member.at);
        writeln!(out, "| `{}` | ${:02X} | {} | {really} | {at} |", member.name, member.value, member.selects.words())?;
    }
    writeln!(out)?;
    Ok(())
}

/// The pins of the socket, and the cable that goes with them.
fn wiring(lines: &[&LineFact], out: &mut dyn Write) -> anyhow::Result<()> {
    writeln!(out, "### The cable\n")?;
    let mut seen: Vec<&str> = Vec::new();
    for line in lines.iter().filter(|it| it.socket != (None, None)) {
        if seen.contains(&line.name.as_str()) {
            continue;
        }
        seen.push(&line.name);
        let socket = line.socket.0.map_or_else(|| "socket".to_owned(), |it| format!("{it} socket"));
        match line.socket.1 {
            Some("as DTE") => writeln!(
                out,
                "The {socket} of `{}` is wired as a DTE, by the machine file, and so is a terminal: a **null modem cable** is needed.\n",
                line.name
            )?,
            Some(_) => writeln!(
                out,
                "The {socket} of `{}` is wired as a DCE, by the machine file, and a terminal is a DTE: a **straight cable**, pin to pin.\n",
                line.name
            )?,
            None => writeln!(out, "`{}` has a {socket}, by the machine file.\n", line.name)?,
        }
    }
    if lines.iter().any(|it| it.socket.1.is_none()) {
        writeln!(
            out,
            "**Null modem or straight? The source does not say it**, nor whether there are line drivers, nor the socket's gender. Measure at the idle machine: -5 to -12 V on pin 2 of 25 (3 of 9) says that it is wired as a DTE and needs a null modem cable; on pin 3 of 25 (2 of 9), that it is a DCE and needs a straight one. Write it into the machine file: `wired = \"as DTE\"` or `wired = \"as DCE\"`.\n"
        )?;
    }
    let waits = |what: &str| -> Vec<String> {
        let own = lines.iter().filter(|it| it.line.flow.iter().any(|it| it.value.contains(what)));
        let mut names: Vec<String> = own.map(|it| format!("`{}`", it.name)).collect();
        names.dedup();
        names
    };
    let (cts, dcd) = (waits("CTS"), waits("DCD"));
    if cts.is_empty() {
        writeln!(
            out,
            "No transmitter of these waits for CTS: three wires do (transmitted data, received data, signal ground).\n"
        )?;
    } else {
        writeln!(
            out,
            "{} sends only while CTS is asserted: the cable has to carry it, or RTS and CTS have to be joined at the machine's end.\n",
            cts.join(", ")
        )?;
    }
    if !dcd.is_empty() {
        writeln!(
            out,
            "{} receives only while DCD is asserted: join it with DTR at the machine's end if the cable does not carry it.\n",
            dcd.join(", ")
        )?;
    }
    writeln!(out, "| signal | pin of 25 | pin of 9 | machine wired as DTE | as DCE | null modem: goes to |")?;
    writeln!(out, "|---|---|---|---|---|---|")?;
    for signal in SIGNALS.iter() {
        let (dte, dce) = match signal.from_dte {
            Some(true) => ("it drives it", "it listens"),
            Some(false) => ("it listens", "it drives it"),
            None => ("ground", "ground"),
        };
        let (title, name) = (&signal.title, &signal.name);
        writeln!(out, "| {name}, {title} | {} | {} | {dte} | {dce} | {} |", signal.db25, signal.de9, crossed(signal))?;
    }
    writeln!(out)?;
    Ok(())
}

/// What a signal is joined with at the other end of a null modem cable.
fn crossed(signal: &Signal) -> &'static str {
    match signal.name.as_str() {
        "TD" => "RD",
        "RD" => "TD",
        "RTS" => "CTS",
        "CTS" => "RTS",
        "DTR" => "DSR and DCD",
        "DSR" | "DCD" => "DTR",
        "SG" => "SG",
        _ => "",
    }
}
