//! C as it was written beside assembly: texts in, meaning out.
//!
//! It reads what compilers of 1978 to 1990 took, and tells functions, objects, macros, values and bytes, each with its place in the
//! original text. It knows no files: whoever asks gives the texts of includes. Nothing is an error here: what cannot be read is
//! broken, and all that stands around it is there.
//!
//! ```
//! use reveille_c::{FileKey, Settings, Text, Unit};
//!
//! let text = Text { key: FileKey(0), text: "#define BASE 0x100\n#define LAST BASE + 4\nmain() { return LAST * 2; }\n".into() };
//! let unit = Unit::read(&text, &mut |_, _, _| None, &Settings::default());
//! assert_eq!(&*unit.functions()[0].name, "main");
//! assert_eq!(unit.constant("LAST").map(|it| it.value), Some(0x104));
//! ```

mod data;
mod evaluate;
mod macros;
mod names;
mod parse;
mod preprocess;
mod text;
mod tokens;
mod tree;
mod types;
mod unit;

pub use data::{Element, Pointee};
pub use macros::Define;
pub use names::{NameUse, Role, is_keyword};
pub use preprocess::{Find, Include, MissingInclude};
pub use text::{FileKey, Settings, Span, Text};
pub use tree::{
    Arm, Assembly, Declaration, Designator, Expr, ExprKind, Function, Init, Object, Statement, StatementKind,
};
pub use types::{Enum, EnumConstant, Field, Integer, Number, Record, Type, Typedef, Types};
pub use unit::Unit;
