//! Names as numbers: one table for all files of a workspace.

use std::sync::{Arc, RwLock};

use rustc_hash::FxHashMap;

/// A name. Local labels carry a mark, since one spelling means another thing in each scope.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Symbol(u32);

const LOCAL: u32 = 1 << 31;

impl Symbol {
    /// The empty name.
    pub(crate) const EMPTY: Self = Self(0);

    /// Whether it is a local label's name.
    #[must_use]
    pub fn is_local(self) -> bool {
        self.0 & LOCAL != 0
    }

    pub(crate) fn local(self) -> Self {
        Self(self.0 | LOCAL)
    }

    pub(crate) const fn from_index(index: u32) -> Self {
        Self(index)
    }

    pub(crate) fn index(self) -> usize {
        (self.0 & !LOCAL) as usize
    }
}

#[derive(Debug)]
struct Table {
    by_text: FxHashMap<Arc<str>, u32>,
    texts: Vec<Arc<str>>,
    /// The number of the same name in lower case.
    folded: Vec<u32>,
}

impl Default for Table {
    /// The empty name comes first: it stands where a line defines nothing.
    fn default() -> Self {
        let mut table = Self { by_text: FxHashMap::default(), texts: Vec::new(), folded: Vec::new() };
        let _ = table.intern("");
        table
    }
}

impl Table {
    fn intern(&mut self, text: &str) -> u32 {
        if let Some(id) = self.by_text.get(text) {
            return *id;
        }
        let id = self.texts.len() as u32;
        let text: Arc<str> = text.into();
        self.texts.push(text.clone());
        self.by_text.insert(text.clone(), id);
        self.folded.push(id);
        if text.bytes().any(|byte| byte.is_ascii_uppercase()) {
            self.folded[id as usize] = self.intern(&text.to_ascii_lowercase());
        }
        id
    }
}

/// The names of a workspace. Names are only added, so a number stays good for as long as the workspace lives.
#[derive(Debug, Default)]
pub struct Names(RwLock<Table>);

impl Names {
    /// The name of a text.
    #[must_use]
    pub fn intern(&self, text: &str) -> Symbol {
        if let Some(found) = self.find(text) {
            return found;
        }
        Symbol(self.write().intern(text))
    }

    /// The name of a text that is already known.
    #[must_use]
    pub fn find(&self, text: &str) -> Option<Symbol> {
        self.read().by_text.get(text).copied().map(Symbol)
    }

    /// The text of a name.
    #[must_use]
    pub fn text(&self, symbol: Symbol) -> Arc<str> {
        self.read().texts[symbol.index()].clone()
    }

    /// The name in lower case.
    #[must_use]
    pub fn folded(&self, symbol: Symbol) -> Symbol {
        Symbol(self.read().folded[symbol.index()])
    }

    /// How many names there are.
    #[must_use]
    pub fn len(&self) -> usize {
        self.read().texts.len()
    }

    /// Whether there are none.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }

    /// Interns many texts under one lock.
    pub(crate) fn intern_all<'a>(&self, texts: impl Iterator<Item = &'a str>) -> Vec<Symbol> {
        let mut table = self.write();
        texts.map(|text| Symbol(table.intern(text))).collect()
    }

    // A thread that panics while it holds the lock leaves a table that is whole: entries are only added.
    fn read(&self) -> std::sync::RwLockReadGuard<'_, Table> {
        self.0.read().unwrap_or_else(std::sync::PoisonError::into_inner)
    }

    fn write(&self) -> std::sync::RwLockWriteGuard<'_, Table> {
        self.0.write().unwrap_or_else(std::sync::PoisonError::into_inner)
    }
}
