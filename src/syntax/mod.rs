//! TOML text to a spanned tree to a house: one key table per section drives decoding and suggestions. It never reads files.
