//! What a text of trouble tells a person to look at. All of it is common practice, no source.

/// Words of a text, and what to look at where it has one of them.
struct Advice {
    /// In small letters; each stands for itself or begins a longer word.
    words: &'static [&'static str],
    /// Of these one has to be there, too; none where the words alone tell.
    beside: &'static [&'static str],
    advice: &'static str,
}

/// A text without one of these tells of no trouble.
const TROUBLE: &[&str] = &[
    "no",
    "not",
    "bad",
    "error",
    "err",
    "fail",
    "cannot",
    "can't",
    "wrong",
    "too",
    "unknown",
    "damaged",
    "broken",
    "lost",
    "outside",
    "protected",
    "illegal",
    "invalid",
    "missing",
    "timeout",
    "timed",
    "wants",
    "odd",
    "do not",
    "does",
    "without",
    "crc",
    "corrupt",
];

const ADVICE: &[Advice] = &[
    Advice {
        words: &["not ready", "no disk turns", "no drive", "drive not", "no disk", "timeout", "time out", "timed out"],
        beside: &[],
        advice: "drive selected and turning, disk in it and the right way up, cable and terminator; the ready line, if the drive has one",
    },
    Advice {
        words: &[
            "crc",
            "bad data",
            "read error",
            "cannot read",
            "sector",
            "seek",
            "not found on track",
            "data lost",
            "lost data",
            "i/o error",
            "disk error",
        ],
        beside: &[],
        advice: "try a copy of the disk first; clean the heads, then compare the track's format with the disk's (`image check`), and image what can still be read",
    },
    Advice {
        words: &["format", "laid out", "unknown disk", "parameter block", "media", "geometry"],
        beside: &[],
        advice: "the disk's boot sector against the firmware's tables: `reveille image check` names the fields that differ",
    },
    Advice {
        words: &["fat", "cluster", "directory"],
        beside: &[],
        advice: "the file system of the disk: `reveille image check` follows every chain",
    },
    Advice {
        words: &[
            "no file",
            ".sys",
            ".abs",
            ".bin",
            ".prg",
            ".com",
            ".img",
            "file not",
            "cannot open",
            "can't open",
            "not on disk",
        ],
        beside: &[],
        advice: "the boot file's name, character by character, and whether it stands in the root directory: `reveille image list`",
    },
    Advice {
        words: &[
            "not a program",
            "no program",
            "is no program",
            "header",
            "magic",
            "executable",
            "not executable",
            "relocat",
        ],
        beside: &[],
        advice: "the boot file's first bytes against what the loader asks for: `reveille image extract`, then look at its header",
    },
    Advice {
        words: &["program"],
        beside: &["not a", "not an", "is no", "bad"],
        advice: "the boot file's first bytes against what the loader asks for: `reveille image extract`, then look at its header",
    },
    Advice {
        words: &["checksum", "wrong sum", "bad sum", " sum"],
        beside: &[],
        advice: "the file may be damaged or of another release: compare it with another copy",
    },
    Advice {
        words: &[
            "too big",
            "too large",
            "does not fit",
            "outside",
            "out of memory",
            "no memory",
            "no room",
            "memory full",
        ],
        beside: &[],
        advice: "the sizes and the load address in the file's header against the memory that is fitted",
    },
    Advice {
        words: &["ram", "memory"],
        beside: &["bad", "fail", "error", "at "],
        advice: "the memory chips of the address that is printed with it: both halves of the bus, their sockets, refresh",
    },
    Advice {
        words: &["rom", "prom", "eprom"],
        beside: &["bad", "fail", "sum", "error", "check"],
        advice: "the ROMs: even and odd exchanged, one of another release, a bent pin (`reveille rom compare`)",
    },
    Advice {
        words: &["write-protect", "write protect", "protected"],
        beside: &[],
        advice: "leave it protected unless something has to be written, and then only on a copy",
    },
    Advice {
        words: &["bus error"],
        beside: &[],
        advice: "the address that was touched: a board that is not fitted, or a device that does not answer",
    },
    Advice {
        words: &["address error", "illegal instruction", "trap", "interrupt", "exception"],
        beside: &[],
        advice: "what ran last: a damaged boot file, or ROMs that do not belong together",
    },
];

/// What a text tells to look at; empty where it tells of nothing that is known.
pub(super) fn of(text: &str) -> Vec<&'static str> {
    let text = text.to_ascii_lowercase();
    let has = |word: &str| {
        text.match_indices(word).any(|(at, _)| {
            let before = text[..at].chars().next_back();
            !word.starts_with(|it: char| it.is_alphanumeric()) || before.is_none_or(|it| !it.is_alphanumeric())
        })
    };
    let is_beside = |it: &&Advice| it.beside.is_empty() || it.beside.iter().any(|it| text.contains(it));
    let of_trouble = TROUBLE.iter().any(|it| has(it));
    let found = ADVICE.iter().filter(|it| of_trouble && it.words.iter().any(|it| has(it))).filter(is_beside);
    found.map(|it| it.advice).collect()
}

#[cfg(test)]
mod tests {
    use super::of;

    // Common practice, no source.
    #[test]
    fn a_text_of_trouble_tells_what_to_look_at() {
        assert!(of("E1 drive not ready")[0].contains("drive selected"));
        assert!(of("E6 no SKERRY.SYS on disk")[0].contains("name"));
        assert!(of("SKERRY 12 at your service").is_empty());
        assert!(
            !of("bad PROGRAM at 4").iter().any(|it| it.contains("memory chips")),
            "`ram` only where a word begins so"
        );
        assert!(of("SKERRY 12  ROM 1.3").is_empty(), "no trouble");
    }
}
