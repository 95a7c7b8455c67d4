//! Specimens.
