//! Boot sectors: what the rules of `families/boot.toml` look at, and new ones.

use crate::volume::Geometry;
use crate::{Names, Rule, Scalar, Values, family};

/// The byte of a boot sector at which the parameter block starts. *FAT: General Overview of On-Disk Format* 1.03, Boot Sector and BPB.
pub const BLOCK_START: usize = 11;

/// The byte at which the signature stands, whatever the sector size; the same source.
const SIGNATURE: usize = 510;

/// What is summed up and signed.
const SECTOR: usize = 512;

/// The named values of an image's boot sector, and of the block that its volume is read by.
#[derive(Debug)]
pub struct BootSector<'a> {
    block: &'a Values,
    own: Vec<(String, Scalar)>,
}

impl Names for BootSector<'_> {
    fn value(&self, name: &str) -> Option<Scalar> {
        self.own.iter().find(|it| it.0 == name).map(|it| it.1.clone()).or_else(|| self.block.value(name))
    }
}

impl<'a> BootSector<'a> {
    /// Reads the start of an image. `block` are the values that the volume is read by; `block_bytes` is the length of their block, behind
    /// which code may lie; `image_bytes` is the whole length.
    #[must_use]
    pub fn new(image: &[u8], image_bytes: u64, block: &'a Values, block_bytes: usize) -> Self {
        let mut found = Self { block, own: Vec::new() };
        let mut number = |name: &str, value: i64| found.own.push((name.to_owned(), Scalar::Number(value)));
        number("image_bytes", i64::try_from(image_bytes).unwrap_or(i64::MAX));
        number("block_end", (BLOCK_START + block_bytes) as i64);
        let sector_bytes = block.number("legal_sector_size").unwrap_or(SECTOR as i64);
        if let Some(sector) = image.get(..SECTOR).filter(|_| sector_bytes >= SECTOR as i64) {
            number("signature", i64::from(sector[SIGNATURE]) << 8 | i64::from(sector[SIGNATURE + 1]));
            number("word_sum", word_sum(sector).into());
        }
        if let Some(branch) = image.first_chunk::<3>() {
            number("first_byte", branch[0].into());
            let (kind, target) = branch_of(*branch);
            target.into_iter().for_each(|it| number("branch_target", it));
            let shown = branch.map(|it| format!("{it:02X}")).join(" ");
            found.own.push(("branch".to_owned(), Scalar::Text(shown)));
            found.own.push(("branch_kind".to_owned(), Scalar::Text(kind.to_owned())));
        }
        let fat = block.number("fat_start").and_then(|it| it.checked_mul(sector_bytes));
        if let Some([first, second, third, ..]) = fat.and_then(|it| image.get(usize::try_from(it).ok()?..)) {
            found.own.push(("first_fat_byte".to_owned(), Scalar::Number((*first).into())));
            let filler = i64::from(*second) << 8 | i64::from(*third);
            found.own.push(("fat_filler".to_owned(), Scalar::Number(filler)));
        }
        for derived in family("boot").into_iter().flat_map(|it| &it.derived) {
            if let Some(value) = derived.formula.value(&found) {
                found.own.push((derived.name.clone(), value));
            }
        }
        found
    }

    /// The rules that the sector breaks.
    pub fn broken_rules(&self) -> impl Iterator<Item = &'static Rule> {
        family("boot").into_iter().flat_map(|it| &it.rules).filter(|rule| rule.when.holds(self))
    }

    /// The byte of the image that a value is read from; none for one of the block.
    #[must_use]
    pub fn offset(&self, name: &str) -> Option<u64> {
        let number = |name: &str| self.value(name).and_then(|it| it.number()).and_then(|it| u64::try_from(it).ok());
        Some(match name {
            "branch" | "first_byte" | "word_sum" => 0,
            "signature" => SIGNATURE as u64,
            "image_bytes" => {
                let volume = number("volume_bytes").unwrap_or(u64::MAX);
                number("image_bytes").unwrap_or(0).min(volume)
            }
            "first_fat_byte" => number("fat_start")? * number("legal_sector_size")?,
            "fat_filler" => number("fat_start")? * number("legal_sector_size")? + 1,
            _ => return None,
        })
    }
}

/// The kind of a branch at the start of a sector, and the byte that it leads to.
fn branch_of(bytes: [u8; 3]) -> (&'static str, Option<i64>) {
    let short = 2 + i64::from(bytes[1] as i8);
    match bytes {
        [0, 0, 0] => ("none", None),
        [0x60, 1..=0xff, _] => ("68000", Some(short)),
        [0xeb, _, 0x90] => ("8086", Some(short)),
        [0xe9, low, high] => ("8086", Some(3 + i64::from(i16::from_le_bytes([low, high])))),
        _ => ("unknown", None),
    }
}

/// The sum of the words of a sector, most significant byte first.
fn word_sum(sector: &[u8]) -> u16 {
    let words = sector[..SECTOR].chunks_exact(2).map(|it| u16::from_be_bytes([it[0], it[1]]));
    words.fold(0, u16::wrapping_add)
}

/// How a new boot sector begins.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Branch {
    /// `60 xx`: BRA.S of a 68000.
    M68000,
    /// `EB xx 90`: a short jump of an 8086.
    I8086,
    /// Zeros: nobody is meant to execute it.
    None,
}

/// A new boot sector.
#[derive(Clone, Debug)]
pub struct NewBoot<'a> {
    /// How it begins.
    pub branch: Branch,
    /// The parameter block, from byte 11 on.
    pub block: &'a [u8],
    /// The code behind the block; where it is empty, an instruction that branches to itself stands there.
    pub code: &'a [u8],
    /// A number that tells this disk from others.
    pub serial: u32,
    /// Whether 55 AA stands at byte 510.
    pub has_signature: bool,
    /// What the 256 words of the first 512 bytes sum up to.
    pub word_sum: Option<u16>,
}

/// What an 8086-like sector carries where systems put their name.
const SYSTEM: &[u8; 8] = b"REVEILLE";

impl NewBoot<'_> {
    /// The byte behind the block at which code starts: an even one.
    #[must_use]
    pub fn code_start(&self) -> usize {
        (BLOCK_START + self.block.len()).next_multiple_of(2)
    }

    /// Writes it into the reserved sectors of a volume.
    ///
    /// The branch leads behind the block. Without code an instruction lies there that branches to itself (`60 FE`, `EB FE`): a machine that
    /// executes the sector stops visibly, and does not run into the zeros behind it.
    ///
    /// # Errors
    /// What does not fit into the reserved sectors.
    pub fn write(&self, volume: &mut [u8], geometry: &Geometry) -> Result<(), String> {
        let reserved = geometry.reserved_sectors as usize * geometry.sector_bytes as usize;
        let area = volume.get_mut(..reserved).ok_or("the volume ends in its reserved sectors")?;
        let is_marked = self.has_signature || self.word_sum.is_some();
        if is_marked && geometry.sector_bytes < SECTOR as u32 {
            return Err(format!(
                "a sector of {} bytes has no byte 510; leave signature and sum out",
                geometry.sector_bytes
            ));
        }
        let start = self.code_start();
        let end = match (self.has_signature, self.word_sum) {
            (true, Some(_)) => SIGNATURE - 2,
            (true, None) | (false, Some(_)) => SIGNATURE,
            (false, None) => reserved,
        };
        let hang: &[u8] = match self.branch {
            Branch::M68000 => &[0x60, 0xfe],
            Branch::I8086 => &[0xeb, 0xfe],
            Branch::None => &[],
        };
        let code = if self.code.is_empty() { hang } else { self.code };
        if start + code.len() > end {
            let room = end.saturating_sub(start);
            return Err(format!("the boot code has {} bytes, and there is room for {room}", code.len()));
        }
        area.fill(0);
        let step = (start - 2) as u8;
        let serial = self.serial.to_be_bytes();
        match self.branch {
            Branch::M68000 => {
                area[..2].copy_from_slice(&[0x60, step]);
                // 68000 systems keep a number of 24 bits here, and tell a change of disks by it.
                area[8..11].copy_from_slice(&serial[1..]);
            }
            Branch::I8086 => {
                area[..3].copy_from_slice(&[0xeb, step, 0x90]);
                area[3..11].copy_from_slice(SYSTEM);
            }
            Branch::None => area[8..11].copy_from_slice(&serial[1..]),
        }
        area[BLOCK_START..BLOCK_START + self.block.len()].copy_from_slice(self.block);
        area[start..start + code.len()].copy_from_slice(code);
        if self.has_signature {
            area[SIGNATURE..SECTOR].copy_from_slice(&[0x55, 0xaa]);
        }
        if let Some(wanted) = self.word_sum {
            let word = wanted.wrapping_sub(word_sum(area)).to_be_bytes();
            area[end..end + 2].copy_from_slice(&word);
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::{BootSector, Branch, NewBoot, branch_of};
    use crate::volume::Geometry;
    use crate::{Values, family, layout};

    /// The worked block of 720 KiB: `FAT: General Overview of On-Disk Format` 1.03, worked out by hand.
    const BLOCK: [u8; 19] = [0, 2, 2, 1, 0, 2, 112, 0, 0xa0, 5, 0xf9, 3, 0, 9, 0, 2, 0, 0, 0];

    fn values() -> Values {
        Values::new(family("fat").unwrap(), &layout("fat-block-19").unwrap().decode(&BLOCK), &[])
    }

    fn codes(image: &[u8]) -> Vec<&'static str> {
        let values = values();
        BootSector::new(image, 737_280, &values, 19).broken_rules().map(|it| it.code.as_str()).collect()
    }

    fn image(branch: Branch, has_signature: bool, word_sum: Option<u16>) -> Vec<u8> {
        let geometry = Geometry::from_names(&values()).unwrap();
        let mut image = vec![0; 2048];
        let boot = NewBoot { branch, block: &BLOCK, code: &[], serial: 0x123_4567, has_signature, word_sum };
        boot.write(&mut image, &geometry).unwrap();
        image[512..515].copy_from_slice(&[0xf9, 0xff, 0xff]);
        image
    }

    /// `60 1C`: mkfs.fat -A 4.2, observed.
    #[test]
    fn a_new_68000_sector_branches_behind_its_block_and_stays_there() {
        let image = image(Branch::M68000, false, None);
        assert_eq!(
            (&image[..2], &image[8..11], &image[30..32]),
            (&[0x60, 0x1c][..], &[0x23, 0x45, 0x67][..], &[0x60, 0xfe][..])
        );
        assert_eq!(codes(&image), ["boot-015"]);
    }

    #[test]
    fn a_new_8086_sector_has_its_signature() {
        let image = image(Branch::I8086, true, None);
        assert_eq!(
            (&image[..3], &image[30..32], &image[510..512]),
            (&[0xeb, 0x1c, 0x90][..], &[0xeb, 0xfe][..], &[0x55, 0xaa][..])
        );
        assert!(codes(&image).is_empty());
        assert_eq!(codes(&self::image(Branch::None, false, None)), ["boot-001"]);
    }

    /// The sum: boot-sector description of 68000 desktop systems.
    #[test]
    fn the_sum_of_words_is_what_was_asked_for() {
        for has_signature in [false, true] {
            let image = image(Branch::M68000, has_signature, Some(0x1234));
            assert!(codes(&image).contains(&"boot-014"));
            assert_eq!(codes(&image).contains(&"boot-015"), !has_signature);
        }
    }

    #[test]
    fn code_that_does_not_fit_is_refused() {
        let geometry = Geometry::from_names(&values()).unwrap();
        for (length, has_signature, fits) in
            [(482, false, true), (483, false, false), (480, true, true), (481, true, false)]
        {
            let code = vec![0x4e; length];
            let boot = NewBoot {
                branch: Branch::M68000,
                block: &BLOCK,
                code: &code,
                serial: 0,
                has_signature,
                word_sum: None,
            };
            assert_eq!(boot.write(&mut [0; 512], &geometry).is_ok(), fits, "{length}");
        }
    }

    #[test]
    fn branches_lead_where_their_processors_go() {
        assert_eq!(branch_of([0x60, 0x1c, 0]), ("68000", Some(30)));
        assert_eq!(branch_of([0x60, 0xfe, 0]), ("68000", Some(0)));
        assert_eq!(branch_of([0xeb, 0x3c, 0x90]), ("8086", Some(62)));
        assert_eq!(branch_of([0xe9, 0x3b, 0x00]), ("8086", Some(62)));
        assert_eq!(branch_of([0xe9, 0xfd, 0xff]), ("8086", Some(0)));
        assert_eq!(branch_of([0, 0, 0]), ("none", None));
        for other in [[0x60, 0, 0], [0xeb, 0x3c, 0], [0x4e, 0x71, 0]] {
            assert_eq!(branch_of(other), ("unknown", None));
        }
    }

    #[test]
    fn each_rule_finds_its_damage() {
        let sound = image(Branch::I8086, true, None);
        let damaged = |changes: &[(usize, u8)]| {
            let mut image = sound.clone();
            changes.iter().for_each(|(at, byte)| image[*at] = *byte);
            codes(&image)
        };
        assert_eq!(damaged(&[(510, 0)]), ["boot-001"]);
        assert_eq!(damaged(&[(510, 0xaa), (511, 0x55)]), ["boot-002"]);
        assert_eq!(damaged(&[(0, 0x4e)]), ["boot-003"]);
        assert_eq!(damaged(&[(1, 0x10)]), ["boot-004"]);
        assert_eq!(damaged(&[(0, 0x60), (1, 0x1d)]), ["boot-005"]);
        assert_eq!(damaged(&[(512, 0xf8)]), ["boot-006"]);
        assert_eq!(damaged(&[(513, 0xf8)]), ["boot-007"]);
        let values = values();
        let sizes = |bytes: u64| -> Vec<&str> {
            BootSector::new(&sound, bytes, &values, 19).broken_rules().map(|it| it.code.as_str()).collect()
        };
        assert_eq!(sizes(737_280), Vec::<&str>::new());
        assert_eq!(sizes(736_768), ["boot-011"]);
        assert_eq!(sizes(737_792), ["boot-012"]);
        assert_eq!(sizes(737_281), ["boot-012", "boot-013"]);
    }
}
