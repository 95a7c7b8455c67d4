//! Serial lines and their constants as JSON.

use reveille_decoders::serial::{Item, Rate};
use reveille_facts::{ClockFrom, FamilyFact, LineFact, Member};
use serde_json::{Value, json};

/// A number to three decimals: more is not known of any crystal.
fn rounded(value: f64) -> f64 {
    (value * 1000.0).round() / 1000.0
}

fn clock_from(from: ClockFrom) -> &'static str {
    match from {
        ClockFrom::MachineFile => "machine file",
        ClockFrom::Comment => "comment",
        ClockFrom::Constant => "constant",
        ClockFrom::Usual => "assumed",
    }
}

/// What a line is set to.
pub(super) fn line_value(fact: &LineFact) -> Value {
    let line = &fact.line;
    let text = |it: &Option<Item<String>>| it.as_ref().map(|it| it.value.clone());
    let flag = |it: &Option<Item<i64>>| it.as_ref().map(|it| it.value != 0);
    let flow: Vec<&str> = line.flow.iter().map(|it| it.value.as_str()).collect();
    let notes: Vec<&str> = line.notes.iter().chain(&line.wrong).map(|it| it.value.as_str()).collect();
    // What holds for one direction holds for the line, unless they differ.
    let both = |of: fn(&Rate) -> Option<f64>| {
        let (rx, tx) = (line.rx.as_ref().and_then(of), line.tx.as_ref().and_then(of));
        match (rx, tx) {
            (Some(rx), Some(tx)) if rx != tx => None,
            (rx, tx) => rx.or(tx).map(rounded),
        }
    };
    let exact = |rate: &Option<Rate>| rate.as_ref().and_then(|it| it.exact).map(rounded);
    let made = |rate: &Option<Rate>| rate.as_ref().map(|it| it.text.clone());
    let candidates = fact.candidates.iter().map(|(variant, rates)| json!({"variant": variant.name, "rates": rates}));
    let writes = fact.writes.iter().map(|it| {
        let channel = it.channel.filter(|_| fact.chip.channels.len() > 1).and_then(|at| fact.chip.channels.get(at));
        json!({"register": it.register.name, "channel": channel, "value": it.value})
    });
    json!({
        "words": fact.words(),
        "chip": fact.chip.name,
        "channel": fact.chip.channels.get(fact.channel),
        "address": fact.address,
        "variant": fact.variant.map(|it| it.name.as_str()),
        "candidates": candidates.collect::<Vec<_>>(),
        "form": fact.form.name(),
        "routine": fact.subject,
        "data": line.data.as_ref().map(|it| it.value),
        "data_rx": line.data_rx.as_ref().map(|it| it.value),
        "parity": text(&line.parity),
        "stop": line.stop(),
        "rx": exact(&line.rx),
        "tx": exact(&line.tx),
        "rx_from": made(&line.rx),
        "tx_from": made(&line.tx),
        "nominal": both(|it| it.nominal),
        "error": both(Rate::error),
        "flow": (!flow.is_empty()).then(|| flow.join(", ")),
        "rts": text(&line.rts),
        "dtr": text(&line.dtr),
        "irq": text(&line.irq),
        "receiver": flag(&line.receiver),
        "transmitter": flag(&line.transmitter),
        "notes": notes,
        "clock": fact.clock.hertz,
        "clock_from": clock_from(fact.clock.from),
        "writes": writes.collect::<Vec<_>>(),
    })
}

/// What constants select.
pub(super) fn family_value(family: &FamilyFact) -> Value {
    let member = |it: &Member| {
        json!({
            "name": it.name,
            "value": it.value,
            "selects": it.selects.words(),
            "exact": it.exact.map(rounded),
            "error": it.error().map(rounded),
        })
    };
    json!({
        "chip": family.chip.name,
        "register": family.register.name,
        "kind": family.title,
        "clock": family.clock.map(|it| it.hertz),
        "clock_from": family.clock.map(|it| clock_from(it.from)),
        "members": family.members.iter().map(member).collect::<Vec<_>>(),
    })
}
