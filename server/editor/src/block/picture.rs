//! A disk as a picture: in characters for a hover and a terminal, as SVG for a sheet.

use std::fmt::Write;

use reveille_facts::{DiskMap, DiskPart};

/// The most characters of a track's row; where a track has more units, a character stands for several.
const MOST_COLUMNS: i64 = 64;

/// The units that one character stands for.
fn units_of_a_mark(map: &DiskMap) -> i64 {
    (map.per_track + MOST_COLUMNS - 1) / MOST_COLUMNS
}

/// The characters of a track.
fn row(map: &DiskMap, track: i64) -> String {
    let step = units_of_a_mark(map);
    let units = map.units_of(track);
    let starts = (units.start..units.end).step_by(usize::try_from(step).unwrap_or(1).max(1));
    starts.map(|unit| map.part_of(unit).map_or(' ', |it| it.mark)).collect()
}

/// The disk track by track, tracks that look alike left out, and what each character means.
#[must_use]
pub fn disk_text(map: &DiskMap) -> String {
    let mut text = String::new();
    let step = units_of_a_mark(map);
    let each = if step > 1 { format!(", {step} in a character") } else { String::new() };
    let _ = writeln!(text, "cylinder head  {} {}{each}", map.per_track, map.unit);
    let mut track = 0;
    while track < map.tracks {
        let own = row(map, track);
        let same = (track + 1..map.tracks).take_while(|it| row(map, *it) == own).count() as i64;
        let line = |text: &mut String, track: i64| {
            let _ = writeln!(text, "{:>8} {:>4}  {own}", track / map.heads, track % map.heads);
        };
        line(&mut text, track);
        if same > 1 {
            let _ = writeln!(text, "{:>8}", "to");
        }
        if same > 0 {
            line(&mut text, track + same);
        }
        track += same + 1;
    }
    for DiskPart { mark, title, from, to } in &map.parts {
        let _ = writeln!(text, "{mark}  {title}: {}", range(*from, *to));
    }
    text
}

/// The colours of the parts by their marks, on light and on dark paper.
const COLOURS: &[(char, &str, &str)] = &[
    ('B', "#b3541e", "#e08a4f"),
    ('S', "#b3541e", "#e08a4f"),
    ('1', "#2f6f8f", "#6fb0cf"),
    ('2', "#54889c", "#4f90ab"),
    ('3', "#7fa3b0", "#3f7286"),
    ('R', "#6b5b95", "#a797d1"),
    ('D', "#6b5b95", "#a797d1"),
    ('.', "#d9d2c0", "#4a463c"),
    ('-', "#ffffff", "#1e1e1e"),
];

/// The width of a cylinder, the height of a unit, and the room around, in user units.
const CYLINDER: f64 = 8.0;
const HEAD_HEIGHT: f64 = 90.0;
const ROOM: f64 = 24.0;

/// The disk as SVG: cylinders from left to right, one strip a head, units of a track from top to bottom. It needs nothing from outside.
#[must_use]
pub fn disk_svg(map: &DiskMap, title: &str) -> String {
    let cylinders = (map.tracks + map.heads - 1) / map.heads;
    let width = ROOM * 2.0 + 40.0 + CYLINDER * cylinders as f64;
    let heads_height = (HEAD_HEIGHT + 8.0) * map.heads as f64;
    let height = ROOM + heads_height + 30.0 + 16.0 * map.parts.len() as f64;
    let mut text = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {width} {height}\" role=\"img\" aria-label=\"{}\"><style>text{{font:11px sans-serif;fill:#222}}",
        xml(title)
    );
    let class = |mark: char| format!("p{}", u32::from(mark));
    for (mark, light, _) in COLOURS {
        let _ = write!(text, ".{}{{fill:{light}}}", class(*mark));
    }
    text.push_str("@media(prefers-color-scheme:dark){text{fill:#ddd}");
    for (mark, _, dark) in COLOURS {
        let _ = write!(text, ".{}{{fill:{dark}}}", class(*mark));
    }
    text.push_str("}</style>");
    let _ = write!(text, "<title>{}</title>", xml(title));
    let unit = HEAD_HEIGHT / map.per_track as f64;
    for head in 0..map.heads {
        let top = ROOM + (HEAD_HEIGHT + 8.0) * head as f64;
        let _ = write!(text, "<text x=\"4\" y=\"{}\">head {head}</text>", top + HEAD_HEIGHT / 2.0);
        // Cylinders in a row whose tracks are one part become one rectangle.
        let mut cylinder = 0;
        while cylinder < cylinders {
            let pieces = pieces(map, cylinder * map.heads + head);
            let same =
                (cylinder + 1..cylinders).take_while(|it| self::pieces(map, it * map.heads + head) == pieces).count();
            let x = ROOM + 40.0 + CYLINDER * cylinder as f64;
            let piece_width = CYLINDER * (same + 1) as f64;
            for (mark, from, to) in &pieces {
                let (y, high) = (top + unit * *from as f64, unit * (to - from) as f64);
                let _ = write!(
                    text,
                    "<rect class=\"{}\" x=\"{x}\" y=\"{y:.2}\" width=\"{piece_width}\" height=\"{high:.2}\"/>",
                    class(*mark)
                );
            }
            cylinder += same as i64 + 1;
        }
    }
    let bottom = ROOM + heads_height;
    let _ = write!(text, "<text x=\"{}\" y=\"{}\">cylinder 0</text>", ROOM + 40.0, bottom + 12.0);
    let _ = write!(
        text,
        "<text x=\"{}\" y=\"{}\" text-anchor=\"end\">{}</text>",
        width - ROOM,
        bottom + 12.0,
        cylinders - 1
    );
    for (at, part) in map.parts.iter().enumerate() {
        let y = bottom + 24.0 + 16.0 * at as f64;
        let _ = write!(
            text,
            "<rect class=\"{}\" x=\"{}\" y=\"{y}\" width=\"12\" height=\"12\" stroke=\"#888\"/><text x=\"{}\" y=\"{}\">{}: {}</text>",
            class(part.mark),
            ROOM + 40.0,
            ROOM + 58.0,
            y + 10.0,
            xml(&part.title),
            range(part.from, part.to)
        );
    }
    text.push_str("</svg>");
    text
}

/// The parts of a track, in units from its start.
fn pieces(map: &DiskMap, track: i64) -> Vec<(char, i64, i64)> {
    let units = map.units_of(track);
    let cut = |part: &DiskPart| {
        let (from, to) = (part.from.max(units.start), part.to.min(units.end));
        (from < to).then_some((part.mark, from - units.start, to - units.start))
    };
    map.parts.iter().filter_map(cut).collect()
}

/// The units of a part, for people.
fn range(from: i64, to: i64) -> String {
    if to - from == 1 { from.to_string() } else { format!("{from} to {}", to - 1) }
}

pub(crate) fn xml(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;").replace('"', "&quot;")
}
