//! Families of blocks: the values that follow from the fields, and the rules that hold them together.

use std::collections::BTreeMap;
use std::sync::LazyLock;

use serde::Deserialize;

use crate::{Block, Formula, Names, Scalar, Template, identifier_for, identifier_geometries};

/// How bad a finding is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Severity {
    /// It cannot work, or data is lost.
    Error,
    /// It works on some systems, or goes against practice.
    Warning,
    /// Worth a look.
    Note,
    /// Legal, worth knowing.
    Hint,
}

impl Severity {
    /// The word for it.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Error => "error",
            Self::Warning => "warning",
            Self::Note => "note",
            Self::Hint => "hint",
        }
    }
}

/// A value that follows from the fields.
#[derive(Debug)]
pub struct Derived {
    /// Its name in formulas and facts.
    pub name: String,
    /// The formula.
    pub formula: Formula,
    /// What it says, in a few words; none for a step that nobody needs to see.
    pub meaning: Option<String>,
}

/// A part of the disk, from one unit to another.
#[derive(Debug)]
pub struct Region {
    /// The character that stands for it in a picture.
    pub mark: char,
    /// What it is, in a few words.
    pub title: String,
    /// The first unit of it.
    pub from: Formula,
    /// The unit behind it.
    pub to: Formula,
}

/// A rule over one block.
#[derive(Debug)]
pub struct Rule {
    /// The finding's code.
    pub code: String,
    /// How bad it is.
    pub severity: Severity,
    /// The finding in one line, without values.
    pub title: String,
    /// When the finding is made.
    pub when: Formula,
    /// The fields it is about, the one to look at first.
    pub fields: Vec<String>,
    /// What was expected, what was found, what to do.
    pub message: Template,
    /// Why it matters on the machine.
    pub why: String,
    /// The published source.
    pub source: String,
    /// A change that mends it: its title, and the new values of fields.
    pub fix: Option<(Template, Vec<(String, Formula)>)>,
}

/// A family of blocks.
#[derive(Debug)]
pub struct Family {
    /// Its name.
    pub name: String,
    /// Names of values that are not in the block, and may be known.
    pub outside: Vec<String>,
    /// Whether a field that is not plausible is a finding by itself: there is no rule that says more.
    pub judges_fields: bool,
    /// The disk in a few words, for blocks that give no cylinders.
    pub summary: Option<Template>,
    /// How many units of `regions` a track has, where the geometry does not say it; and what such a unit is.
    pub row: Option<(Formula, String)>,
    /// The parts of the disk; those that have no length on a disk are not there.
    pub regions: Vec<Region>,
    /// The derived values; each may use those before it.
    pub derived: Vec<Derived>,
    /// The rules, in the order in which findings are made.
    pub rules: Vec<Rule>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct FamilyText {
    name: String,
    #[serde(default)]
    outside: Vec<String>,
    #[serde(default)]
    judges_fields: bool,
    summary: Option<String>,
    row: Option<(String, String)>,
    #[serde(default)]
    region: Vec<RegionText>,
    /// Full titles by the short names that rules use.
    sources: BTreeMap<String, String>,
    #[serde(default)]
    derived: Vec<DerivedText>,
    #[serde(default)]
    rule: Vec<RuleText>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RegionText {
    mark: char,
    title: String,
    from: String,
    to: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct DerivedText {
    name: String,
    formula: String,
    meaning: Option<String>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RuleText {
    code: String,
    severity: Severity,
    title: String,
    when: String,
    fields: Vec<String>,
    message: String,
    why: String,
    source: String,
    fix: Option<FixText>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct FixText {
    title: String,
    set: Vec<(String, String)>,
}

/// The families; one file each.
const FILES: &[&str] = &[
    include_str!("../families/fat.toml"),
    include_str!("../families/word.toml"),
    include_str!("../families/cpm.toml"),
    include_str!("../families/drive.toml"),
    include_str!("../families/controller.toml"),
    include_str!("../families/order.toml"),
    include_str!("../families/recipe.toml"),
    include_str!("../families/track.toml"),
    include_str!("../families/own.toml"),
    include_str!("../families/boot.toml"),
];

static FAMILIES: LazyLock<Vec<Family>> = LazyLock::new(|| {
    // The files are part of the program; the test below reads each.
    FILES.iter().map(|text| read(text).unwrap_or_else(|error| panic!("{error}"))).collect()
});

fn read(text: &str) -> Result<Family, String> {
    let text: FamilyText = toml::from_str(text).map_err(|error| error.to_string())?;
    let source = |owner: &str, short: &str| -> Result<String, String> {
        let titles = short.split("; ").map(|name| match name {
            "derived" => Ok("derived from what the fields mean"),
            name => text.sources.get(name).map(String::as_str).ok_or_else(|| format!("{owner}: no source `{name}`")),
        });
        Ok(titles.collect::<Result<Vec<_>, _>>()?.join("; "))
    };
    let formula = |owner: &str, text: &str| Formula::new(text).map_err(|error| format!("{owner}: `{text}`: {error}"));
    let template = |owner: &str, text: &str| Template::new(text).map_err(|error| format!("{owner}: `{text}`: {error}"));
    let derived = text
        .derived
        .into_iter()
        .map(|it| Ok(Derived { formula: formula(&it.name, &it.formula)?, name: it.name, meaning: it.meaning }));
    let rules = text.rule.into_iter().map(|it| {
        let fix = match it.fix {
            None => None,
            Some(fix) => {
                let set: Result<Vec<_>, String> =
                    fix.set.into_iter().map(|(name, text)| Ok((name, formula(&it.code, &text)?))).collect();
                Some((template(&it.code, &fix.title)?, set?))
            }
        };
        Ok(Rule {
            when: formula(&it.code, &it.when)?,
            message: template(&it.code, &it.message)?,
            code: it.code.clone(),
            severity: it.severity,
            title: it.title,
            fields: it.fields,
            source: source(&it.code, &it.source)?,
            why: it.why,
            fix,
        })
    });
    let regions = text.region.into_iter().map(|it| {
        let (from, to) = (formula(&it.title, &it.from)?, formula(&it.title, &it.to)?);
        Ok(Region { mark: it.mark, title: it.title, from, to })
    });
    let row = text.row.map(|(units, unit)| Ok::<_, String>((formula(&text.name, &units)?, unit))).transpose()?;
    Ok(Family {
        row,
        regions: regions.collect::<Result<_, String>>()?,
        name: text.name.clone(),
        outside: text.outside,
        judges_fields: text.judges_fields,
        summary: text.summary.as_deref().map(|it| template(&text.name, it)).transpose()?,
        derived: derived.collect::<Result<_, String>>()?,
        rules: rules.collect::<Result<_, String>>()?,
    })
}

/// All families.
#[must_use]
pub fn families() -> &'static [Family] {
    &FAMILIES
}

/// A family by its name.
#[must_use]
pub fn family(name: &str) -> Option<&'static Family> {
    FAMILIES.iter().find(|it| it.name == name)
}

/// The names that a block's formulas may use: its fields, what is known from outside, and what follows from them.
#[derive(Debug)]
pub struct Values {
    values: Vec<(String, Scalar)>,
}

impl Values {
    /// Works out all values of a block. `outside` are values that are not in the block, such as the cylinders of the drive.
    #[must_use]
    pub fn new(family: &Family, block: &Block<'_>, outside: &[(String, Scalar)]) -> Self {
        let fields = block.layout().fields.iter().filter_map(|field| Some((field.name.clone(), block.value(field)?)));
        let mut lists: Vec<&str> = block.layout().fields.iter().filter_map(|field| field.list.as_deref()).collect();
        lists.dedup();
        lists.sort_unstable();
        lists.dedup();
        let lists = lists.iter().filter_map(|name| Some(((*name).to_owned(), Scalar::List(block.list(name)?))));
        let mut values = Self { values: fields.chain(lists).chain(outside.iter().cloned()).collect() };
        for derived in &family.derived {
            let value = match derived.name.as_str() {
                // Look-ups in the table of media descriptors, which no formula can do.
                "identifier_fits" => values.identifier().map(|(fits, _)| Scalar::Number(i64::from(fits))),
                "identifier_expected" => values.identifier().map(|(_, expected)| Scalar::Number(expected)),
                _ => derived.formula.value(&values),
            };
            if let Some(value) = value {
                values.values.push((derived.name.clone(), value));
            }
        }
        values
    }

    /// A number by its name.
    #[must_use]
    pub fn number(&self, name: &str) -> Option<i64> {
        self.value(name)?.number()
    }

    /// Whether the media descriptor is one of the geometry's, and the one that would be.
    fn identifier(&self) -> Option<(bool, i64)> {
        let identifier = self.number("format_identifier")?;
        let (total, size) = (self.number("total")?, self.number("legal_sector_size")?);
        let geometry = |it: &[i64; 4]| match (
            self.number("cylinders_of_block"),
            self.number("legal_sides"),
            self.number("legal_sectors_per_track"),
        ) {
            (Some(cylinders), Some(sides), Some(sectors)) => *it == [cylinders, sides, sectors, size],
            // A block without geometry: the total has to do.
            _ => it[0] * it[1] * it[2] == total && it[3] == size,
        };
        if self.number("sectors_per_track").is_some() && self.number("cylinders_of_block").is_none() {
            return None;
        }
        let all = (0xf8..=0xff).flat_map(identifier_geometries);
        let expected = all.filter(geometry).map(identifier_for).next().unwrap_or(0xf0);
        Some((identifier_geometries(identifier).any(|it| geometry(&it)), expected))
    }
}

impl Names for Values {
    fn value(&self, name: &str) -> Option<Scalar> {
        self.values.iter().find(|it| it.0 == name).map(|it| it.1.clone())
    }
}

#[cfg(test)]
mod tests {
    use std::collections::HashSet;

    use super::{Values, families, family};
    use crate::{layout, layouts};

    #[test]
    fn formulas_use_only_names_that_there_are() {
        for family in families() {
            let mut known: HashSet<&str> = family.outside.iter().map(String::as_str).collect();
            let own: Vec<_> = layouts().iter().filter(|it| it.family == family.name).collect();
            known.extend(own.iter().flat_map(|it| &it.fields).map(|it| it.name.as_str()));
            let first_rows = own.iter().filter(|it| it.rows.is_some()).flat_map(|it| &it.fields);
            let first_rows: Vec<String> = first_rows.map(|it| format!("{}_0", it.name)).collect();
            known.extend(first_rows.iter().map(String::as_str));
            for derived in &family.derived {
                for name in derived.formula.names() {
                    assert!(known.contains(name), "{}: {name}", derived.name);
                }
                known.insert(&derived.name);
            }
            let regions = family.regions.iter().flat_map(|it| it.from.names().into_iter().chain(it.to.names()));
            let row = family.row.iter().flat_map(|it| it.0.names());
            for name in family.summary.iter().flat_map(crate::Template::names).chain(regions).chain(row) {
                assert!(known.contains(name), "{}: {name}", family.name);
            }
            let mut codes = HashSet::new();
            for rule in &family.rules {
                assert!(codes.insert(&rule.code), "{} stands twice", rule.code);
                let set = rule
                    .fix
                    .iter()
                    .flat_map(|fix| fix.0.names().into_iter().chain(fix.1.iter().flat_map(|it| it.1.names())));
                for name in rule
                    .when
                    .names()
                    .into_iter()
                    .chain(rule.message.names())
                    .chain(set)
                    .chain(rule.fields.iter().map(String::as_str))
                {
                    assert!(known.contains(name), "{}: {name}", rule.code);
                }
            }
        }
    }

    /// 720 KiB: root 7 sectors, system area 14, 713 clusters, FAT of 3 sectors, 80 cylinders; worked out by hand from
    /// *FAT: General Overview of On-Disk Format* 1.03, FAT Type Determination and FAT Volume Initialization.
    #[test]
    fn a_block_gives_its_layout() {
        let bytes = [0, 2, 2, 1, 0, 2, 112, 0, 0xa0, 5, 0xf9, 3, 0, 9, 0, 2, 0, 0, 0];
        let block = layout("fat-block-19").unwrap().decode(&bytes);
        let values = Values::new(family("fat").unwrap(), &block, &[]);
        for (name, value) in [
            ("root_sectors", 7),
            ("data_start", 14),
            ("clusters", 713),
            ("fat_sectors_needed", 3),
            ("cylinders_of_block", 80),
        ] {
            assert_eq!(values.number(name), Some(value), "{name}");
        }
    }
}
