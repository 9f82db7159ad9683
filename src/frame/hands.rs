//! What a person's hands do to a run, besides the sound.

use serde::{Deserialize, Serialize};

/// Everything that hands have set. In force from one frame on, until it is set anew.
///
/// Hands change wishes, never duties: whatever they ask for passes through the budget.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Hands {
    /// Every coil off until this is taken back.
    pub all_off: bool,
    /// The wishes of the moment stay, whatever is heard.
    pub hold: bool,
    /// Factor on all wishes, percent, 0 to 100.
    pub level_percent: u8,
    /// Which of the run's mappings is at work, counted from 0.
    pub mapping: u8,
}

impl Default for Hands {
    fn default() -> Self {
        Self::FREE
    }
}

impl Hands {
    /// Hands off: the music alone, by the first mapping.
    pub const FREE: Self = Self { all_off: false, hold: false, level_percent: 100, mapping: 0 };

    /// As four bytes: flags (bit 0 all off, bit 1 hold), percent, mapping, 0.
    pub fn to_bytes(self) -> [u8; 4] {
        let flags = u8::from(self.all_off) | u8::from(self.hold) << 1;
        [flags, self.level_percent, self.mapping, 0]
    }

    /// Back from four bytes. Flags of a later version are passed over; more than 100 percent
    /// counts as 100.
    pub fn from_bytes(bytes: [u8; 4]) -> Self {
        let [flags, level, mapping, _] = bytes;
        Self {
            all_off: flags & 1 != 0,
            hold: flags & 2 != 0,
            level_percent: level.min(100),
            mapping,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn four_bytes_hold_everything() {
        for (all_off, hold) in [(false, false), (true, false), (false, true), (true, true)] {
            let hands = Hands { all_off, hold, level_percent: 35, mapping: 7 };
            assert_eq!(Hands::from_bytes(hands.to_bytes()), hands);
        }
        let loud = Hands::from_bytes([0xFC, 200, 0, 9]);
        assert_eq!(loud, Hands::FREE, "what a later version may add is passed over");
    }
}
