//! The permission: a compare value that the budget has granted.

/// What a coil's driver may be set to: its compare value, 0 to the driver's steps, negative for
/// the other direction of a bridge.
///
/// Only the budget can make one, so nothing reaches a coil that no budget has seen:
///
/// ```compile_fail,E0624
/// use coilscore::budget::Duty;
/// let mine = Duty::permit(255);
/// ```
///
/// Nor can one be built from its field, defaulted or read from a file:
///
/// ```compile_fail,E0423
/// let mine = coilscore::budget::Duty(255);
/// ```
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Duty(i32);

impl Duty {
    /// The safe state, the one duty anyone may name.
    pub const OFF: Self = Self(0);

    /// A permission for this compare value. Visible to the budget only.
    pub(super) fn permit(code: i32) -> Self {
        Self(code)
    }

    /// The compare value.
    pub fn code(self) -> i32 {
        self.0
    }
}
