//! What the budget did, for meters, pictures and reports.

/// What happened at the last frame, for meters, pictures and reports.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Load<'a> {
    /// Modelled temperature of every node: coils, backings, enclosure where there is one.
    pub node_c: &'a [f64],
    /// Mean supply current per rail, A, counted as its limit is: with windings at 10 C (or the room,
    /// if colder) and each coil's power factor, so that the real current is no higher.
    pub rail_a: &'a [f64],
    /// Sizes of all wishes added up (in coils: 3.5 means three and a half coils' worth). The wish of
    /// a coil whose pull is known counts as the duty that it asks for.
    pub wished: f64,
    /// Sizes of all granted duties added up.
    pub granted: f64,
    /// Duty taken by heat, added up.
    pub cut_heat: f64,
    /// Duty taken by the rails.
    pub cut_rail: f64,
    /// Duty taken by the driver: wrong way for it, or finer than its steps.
    pub cut_driver: f64,
}

/// What every coil was wished, granted and denied so far: per coil, the sum over frames of the
/// size of its duty.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Totals<'a> {
    /// Wished.
    pub wished: &'a [f64],
    /// Granted.
    pub granted: &'a [f64],
    /// Taken by heat.
    pub cut_heat: &'a [f64],
    /// Taken by the rails.
    pub cut_rail: &'a [f64],
    /// Taken by the driver: wrong way for it, or finer than its steps.
    pub cut_driver: &'a [f64],
}
