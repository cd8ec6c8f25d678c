//! The test instrument and the take maker.
