//! One measure a file: strokes and notes in, numbers out.
