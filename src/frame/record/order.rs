//! Which frame numbers may come next.

/// Follows the frame numbers of a file.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Order {
    /// Number that should come next.
    expected: u64,
    /// DUTY packets that came in order.
    pub(super) frames: u64,
    /// True between an OFF and the next DUTY.
    pub(super) off: bool,
}

/// How a number stands to the one that should have come.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Place {
    /// It is the one.
    Right,
    /// Some are missing, from this number on.
    After(u64),
    /// It was there before, or should have been.
    Before,
}

impl Order {
    /// Where `number` stands.
    pub(super) fn place(&self, number: u32) -> Place {
        match u64::from(number).cmp(&self.expected) {
            std::cmp::Ordering::Less => Place::Before,
            std::cmp::Ordering::Equal => Place::Right,
            std::cmp::Ordering::Greater => Place::After(self.expected),
        }
    }

    /// Number that should come next.
    pub(super) fn expected(&self) -> u64 {
        self.expected
    }

    /// A DUTY came.
    pub(super) fn duty(&mut self, number: u32) {
        self.expected = u64::from(number) + 1;
        self.frames += 1;
        self.off = false;
    }

    /// An OFF came.
    pub(super) fn off(&mut self, number: u32) {
        self.expected = self.expected.max(number.into());
        self.off = true;
    }
}
