//! Facts and findings as text, JSON, SARIF and Markdown.

mod boot_json;
mod changed;
mod compare;
mod compare_json;
mod health;
mod image;
mod json;
mod listing;
mod place;
mod sarif;
mod serial_json;
mod sheet;
mod sheet_boot;
mod sheet_html;
mod sheet_object;
mod sheet_serial;
mod text;

pub(crate) use changed::{changed_json, changed_markdown};
pub(crate) use compare::{Compared, DumpFile, compare_text};
pub(crate) use compare_json::compare_json;
pub(crate) use health::health;
pub(crate) use image::{
    NamedTable, image_findings_json, image_findings_text, image_list_json, image_list_text, recipe,
};
pub(crate) use json::{json_lines, sheet_json};
pub(crate) use listing::{listing_json, listing_text};
pub(crate) use place::{Shown, display_path, line_number, place_of, shown};
pub(crate) use sarif::sarif;
pub(crate) use sheet::{picture_in_text, sheet_markdown};
pub(crate) use sheet_html::sheet_html;
pub(crate) use text::text;
