//! Rings of coils that heat does not limit, invented.

/// So many coils on channels 0, 1, 2 ...
pub fn ring(count: usize) -> String {
    format!(
        r#"# my ring, keep this
schema = 1
name = "ring of {count} (invented)"
room_c = 20

[driver]
steps = 4095
polarity = "one_way"
hold_ms = 250

[link]
baud = 1_000_000

[[rail]]
name = "main"
volts = 12
limit_a = 50

[[coil_type]]
name = "cool"
resistance_ohm = 15
reference_c = 20
coil_j_per_k = 400
backing_j_per_k = 4000
coil_to_backing_k_per_w = 0.1
backing_to_around_k_per_w = 0.1
coil_limit_c = 90
backing_limit_c = 60
trust = "estimate"

[[coils]]
group = "ring"   # as seen from the front
type = "cool"
rail = "main"
board = 0
first_channel = 0
place.ring = {{ count = {count}, radius_mm = 150 }}
# the end
"#
    )
}
