//! The parameter block that a volume is read and written by: of the source, of a standard format, or of the image itself.

use std::sync::Arc;

use reveille_decoders::boot::BLOCK_START;
use reveille_decoders::volume::{Geometry, NoVolume, RawName};
use reveille_decoders::{Family, Format, Layout, Scalar, Values, family, layout};

use crate::blocks::BlockFact;
use crate::finding::Evidence;

/// A parameter block, with where it is from.
#[derive(Debug)]
pub struct Table {
    /// What it is called in messages.
    pub subject: String,
    /// Its layout.
    pub layout: Arc<Layout>,
    /// Its bytes; fewer than its layout has where the image ends.
    pub bytes: Vec<u8>,
    /// Its values, and what follows from them.
    pub values: Values,
    /// The geometry that they give.
    pub geometry: Geometry,
    /// Whether it is the image's own.
    pub is_own: bool,
    /// What the geometry has that the block does not say, and from where.
    pub note: Option<String>,
    /// The lines of the source that lay down a field.
    fields: Vec<(String, Evidence)>,
    /// The first bytes of the boot sector, where the source has them too.
    pub sector_start: Option<Vec<u8>>,
}

impl Table {
    /// The block of a source.
    ///
    /// # Errors
    /// The first value that makes no volume.
    pub fn of_block(fact: &BlockFact) -> Result<Self, NoVolume> {
        if !fact.holes.is_empty() || fact.bytes.len() < fact.layout.len() {
            return Err(NoVolume(format!("`{}` has bytes that are not known", fact.subject)));
        }
        let (layout, bytes) = as_in_a_sector(fact)?;
        let mut table = Self::new(format!("`{}`", fact.subject), layout, bytes)?;
        let missing = table.geometry.track_sectors.is_none() || table.geometry.sides.is_none();
        if missing && table.layout.field("sectors_per_track").is_none() {
            table.note = Some(match fact.format {
                Some(format) => {
                    table.geometry.track_sectors = u32::try_from(format.sectors_per_track).ok();
                    table.geometry.sides = u32::try_from(format.sides).ok();
                    let (sectors, sides) = (format.sectors_per_track, format.sides);
                    let name = &format.name;
                    format!("a block of 13 bytes has no geometry: {sectors} sectors per track and {sides} heads are those of `{name}`, which it equals")
                }
                None => "a block of 13 bytes has no geometry, and it equals no standard format: sectors per track and heads are left 0".to_owned(),
            });
        }
        let fields = table.layout.fields.iter();
        table.fields = fields.filter_map(|it| Some((it.name.clone(), *fact.evidence(&it.name).first()?))).collect();
        table.sector_start = fact.bytes_before(BLOCK_START);
        Ok(table)
    }

    /// A standard format.
    ///
    /// # Errors
    /// None for the formats of the table, which a test makes sure of.
    pub fn of_format(format: &Format) -> Result<Self, NoVolume> {
        let layout = named("fat-block-19")?;
        let bytes = layout.fields.iter().flat_map(|it| layout.encode(it, format.value(&it.name).unwrap_or(0)));
        let bytes: Vec<u8> = bytes.collect();
        Self::new(format!("the standard format `{}`", format.name), layout, bytes)
    }

    /// The block in the boot sector of an image.
    ///
    /// # Errors
    /// An image without one, and the first value that makes no volume.
    pub fn of_image(image: &[u8]) -> Result<Self, NoVolume> {
        let block = image.get(BLOCK_START..).unwrap_or(&[]);
        if block.len() < named("fat-block-19")?.len() {
            return Err(NoVolume(format!("{} bytes have no boot sector in them", image.len())));
        }
        let layout = own_layout(block)?;
        let bytes = block[..layout.len().min(block.len())].to_vec();
        let table = Self::new("the boot sector".to_owned(), layout, bytes)?;
        Ok(Self { is_own: true, ..table })
    }

    fn new(subject: String, layout: Arc<Layout>, bytes: Vec<u8>) -> Result<Self, NoVolume> {
        let values = values(&layout, &bytes)?;
        let geometry = Geometry::from_names(&values)?;
        let (fields, sector_start) = (Vec::new(), None);
        Ok(Self { subject, layout, bytes, values, geometry, is_own: false, note: None, fields, sector_start })
    }

    /// Where the source lays a field down.
    #[must_use]
    pub fn evidence(&self, field: &str) -> Option<Evidence> {
        self.fields.iter().find(|it| it.0 == field).map(|it| it.1)
    }

    /// Whether a field of the block is the same on all disks of the format: the label and what stands with it is not.
    pub(super) fn geometry_field(&self, name: &str) -> bool {
        layout("fat-block-25").is_some_and(|it| it.field(name).is_some())
    }

    /// The block for a boot sector: of 19 bytes at least, since whoever reads a disk looks for its geometry there. A block that has room
    /// for label and number of the disk gets them.
    #[must_use]
    pub fn block_to_write(&self, label: Option<RawName>, serial: u32) -> Vec<u8> {
        let mut block = self.bytes.clone();
        let word = |value: Option<u32>| (value.unwrap_or(0) as u16).to_le_bytes();
        let geometry = [word(self.geometry.track_sectors), word(self.geometry.sides), [0, 0]].concat();
        if let Some(rest) = geometry.get(block.len().saturating_sub(13)..).filter(|_| block.len() >= 13) {
            block.extend_from_slice(rest);
        }
        let mut set = |name: &str, bytes: &[u8]| {
            if let Some(field) = self.layout.field(name) {
                block[field.offset..field.offset + bytes.len()].copy_from_slice(bytes);
            }
        };
        set("volume_id", &serial.to_le_bytes());
        if let Some(label) = label {
            set("volume_label", &label);
        }
        block
    }
}

/// A block as it stands in a boot sector. A layout of a user's own may have the same fields otherwise.
fn as_in_a_sector(fact: &BlockFact) -> Result<(Arc<Layout>, Vec<u8>), NoVolume> {
    let is_of_sectors =
        ["fat-block-13", "fat-block-19", "fat-block-25", "fat-block-51"].contains(&fact.layout.name.as_str());
    if is_of_sectors {
        return Ok((fact.layout.clone(), fact.bytes.clone()));
    }
    let layout = named("fat-block-19")?;
    let mut bytes = Vec::new();
    for field in &layout.fields {
        let value = fact.number(&field.name).or_else(|| (field.name == "hidden_sectors").then_some(0));
        let value = value.ok_or_else(|| NoVolume(format!("`{}` has no `{}`", fact.subject, field.name)))?;
        bytes.extend(layout.encode(field, value));
    }
    Ok((layout, bytes))
}

fn named(name: &str) -> Result<Arc<Layout>, NoVolume> {
    layout(name).cloned().ok_or_else(|| NoVolume(format!("there is no layout `{name}`")))
}

/// The values of a FAT block that stands in a boot sector.
pub(super) fn values(layout: &Layout, bytes: &[u8]) -> Result<Values, NoVolume> {
    let family: &Family = family(&layout.family).ok_or_else(|| NoVolume(format!("no family `{}`", layout.family)))?;
    let block = layout.decode(bytes);
    let text = layout.field("file_system_type").and_then(|it| block.value(it));
    let says_fat12 = matches!(text, Some(Scalar::Text(text)) if text.starts_with("FAT12"));
    let outside = [("says_fat12".to_owned(), Scalar::Number(says_fat12.into()))];
    Ok(Values::new(family, &block, &outside))
}

/// The layout of the block in a boot sector: how much of it counts is told by the signature of its extension, and by the 16-bit total,
/// which is 0 where the 32-bit one counts. *FAT: General Overview of On-Disk Format* 1.03, Boot Sector and BPB.
pub(super) fn own_layout(block: &[u8]) -> Result<Arc<Layout>, NoVolume> {
    let long = named("fat-block-51")?;
    let is_signed = matches!(long.decode(block).number("extended_boot_signature"), Some(0x28 | 0x29));
    if is_signed && block.len() >= long.len() {
        return Ok(long);
    }
    let has_small_total = long.decode(block).number("total_sectors") != Some(0);
    named(if has_small_total { "fat-block-19" } else { "fat-block-25" })
}
