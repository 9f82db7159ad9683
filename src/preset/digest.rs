//! A short name for what a file means.

use serde::Serialize;
use xxhash_rust::xxh3::xxh3_128;

/// XXH3-128 over the JSON of a checked file, in hexadecimal.
///
/// Covers every value, defaults included; comments, layout, the order of keys and the file's path
/// do not reach it.
pub(super) fn digest_hex(checked: &impl Serialize) -> String {
    // Plain structs of numbers and texts always become JSON.
    let json = serde_json::to_vec(checked).unwrap_or_default();
    format!("{:032x}", xxh3_128(&json))
}
