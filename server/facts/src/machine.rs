//! What is known of the machine apart from its sources.

use std::sync::Arc;

use reveille_decoders::{Layout, layouts};

/// What is known of the machine apart from its sources: the layouts of its own blocks.
#[derive(Clone, Debug)]
pub struct Machine {
    /// All layouts that a table may have: the machine's own, then the built-in ones.
    pub layouts: Vec<Arc<Layout>>,
}

impl Default for Machine {
    fn default() -> Self {
        Self { layouts: layouts().to_vec() }
    }
}
