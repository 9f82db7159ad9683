//! Hands on the wishes: held, turned down, off.

use crate::frame::Hands;
use crate::units::Share;

/// What hands have set, and the wishes they hold. All memory is taken in [`Grip::new`].
#[derive(Debug)]
pub(super) struct Grip {
    hands: Hands,
    holding: bool,
    held: Box<[Share]>,
    shown: Box<[Share]>,
}

impl Grip {
    pub(super) fn new(coils: usize) -> Self {
        let none = vec![Share::NONE; coils];
        Self { hands: Hands::FREE, holding: false, held: none.clone().into(), shown: none.into() }
    }

    pub(super) fn hands(&self) -> Hands {
        self.hands
    }

    /// A hold that begins takes the wishes of the next frame.
    pub(super) fn set(&mut self, hands: Hands) {
        self.hands = Hands { level_percent: hands.level_percent.min(100), ..hands };
    }

    /// The wishes of one frame after the hands have had their say.
    pub(super) fn on<'a>(&'a mut self, wishes: &'a [Share]) -> &'a [Share] {
        let Hands { all_off, hold, level_percent, .. } = self.hands;
        if hold && !self.holding {
            for (held, &wish) in self.held.iter_mut().zip(wishes) {
                *held = wish;
            }
        }
        self.holding = hold;
        let wishes = if hold { &*self.held } else { wishes };
        if all_off {
            self.shown.fill(Share::NONE);
        } else if level_percent < 100 {
            let level = f64::from(level_percent) / 100.0;
            for (shown, wish) in self.shown.iter_mut().zip(wishes) {
                *shown = Share::saturating(wish.get() * level);
            }
        } else {
            return wishes;
        }
        &self.shown
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn shares(list: &[f64]) -> Vec<Share> {
        list.iter().map(|&share| Share::saturating(share)).collect()
    }

    #[test]
    fn hands_hold_turn_down_and_switch_off() {
        let (loud, soft) = (shares(&[1.0, -0.5]), shares(&[0.1, 0.2]));
        let mut grip = Grip::new(2);
        assert_eq!(grip.on(&loud), loud, "free hands change nothing");
        grip.set(Hands { level_percent: 50, ..Hands::FREE });
        assert_eq!(grip.on(&loud), shares(&[0.5, -0.25]));
        grip.set(Hands { hold: true, ..Hands::FREE });
        assert_eq!(grip.on(&loud), loud);
        assert_eq!(grip.on(&soft), loud, "held");
        grip.set(Hands { hold: true, level_percent: 10, ..Hands::FREE });
        assert_eq!(grip.on(&soft), shares(&[0.1, -0.05]), "a held wish can be turned down");
        grip.set(Hands { hold: true, all_off: true, ..Hands::FREE });
        assert_eq!(grip.on(&soft), shares(&[0.0, 0.0]), "off is over everything");
        grip.set(Hands::FREE);
        assert_eq!(grip.on(&soft), soft);
        grip.set(Hands { hold: true, ..Hands::FREE });
        assert_eq!(grip.on(&soft), soft, "a new hold takes what is wished now");
    }
}
