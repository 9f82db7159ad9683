//! What entered a recorded run besides sound: the heat at its start, and hands.

use super::super::Hands;
use crate::budget::Start;
use crate::units::Celsius;

/// Hands of one run that are read; far more than anyone sets.
const MOST_HANDS: usize = 1 << 20;

/// Everything besides sound that a run was given, as its duty file keeps it.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Inputs {
    /// Heat at frame 0, where the file says.
    pub start: Option<Start>,
    /// Hands, each in force from this frame on; numbers grow.
    pub hands: Vec<(u32, Hands)>,
}

impl Inputs {
    /// Takes a START in.
    pub(super) fn put_start(&mut self, payload: &[u8]) -> Option<()> {
        if self.start.is_some() {
            return None;
        }
        self.start = Some(start_from(payload)?);
        Some(())
    }

    /// Takes an EDIT in; one for the same frame replaces the one before.
    pub(super) fn put_hands(&mut self, frame: u32, payload: &[u8]) -> Option<()> {
        let hands = Hands::from_bytes(*payload.first_chunk()?);
        let full = self.hands.len() >= MOST_HANDS;
        match self.hands.last_mut() {
            Some((at, _)) if *at > frame => return None,
            Some((at, there)) if *at == frame => *there = hands,
            _ if full => return None,
            _ => self.hands.push((frame, hands)),
        }
        Some(())
    }
}

/// START: one byte that says which, then one f64 for each node of a start by nodes.
pub(super) fn start_bytes(start: &Start) -> Vec<u8> {
    let mut payload = vec![match start {
        Start::Cold => 0,
        Start::Warm => 1,
        Start::Unknown => 2,
        Start::Nodes(_) => 3,
    }];
    if let Start::Nodes(nodes) = start {
        payload.extend(nodes.iter().flat_map(|node| node.0.to_le_bytes()));
    }
    payload
}

fn start_from(payload: &[u8]) -> Option<Start> {
    let (which, nodes) = payload.split_first()?;
    Some(match which {
        0 => Start::Cold,
        1 => Start::Warm,
        2 => Start::Unknown,
        3 => {
            let (nodes, rest) = nodes.as_chunks::<8>();
            let nodes: Vec<_> = nodes.iter().map(|c| f64::from_le_bytes(*c)).collect();
            if !rest.is_empty() || !nodes.iter().all(|c| c.is_finite()) {
                return None;
            }
            Start::Nodes(nodes.into_iter().map(Celsius).collect())
        }
        _ => return None,
    })
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests stop at the first surprise")]
mod tests {
    use super::*;

    #[test]
    fn every_start_comes_back_to_the_bit() {
        let nodes = Start::Nodes([20.0, 31.400_000_000_000_006, -3.5].map(Celsius).to_vec());
        for start in [Start::Cold, Start::Warm, Start::Unknown, nodes] {
            let mut inputs = Inputs::default();
            inputs.put_start(&start_bytes(&start)).unwrap();
            assert_eq!(inputs.start.as_ref(), Some(&start));
            assert_eq!(inputs.put_start(&start_bytes(&start)), None, "there is one start");
        }
        for bad in [&[][..], &[9], &[3, 1, 2], &[3, 0, 0, 0, 0, 0, 0, 0xF8, 0x7F]] {
            assert_eq!(Inputs::default().put_start(bad), None, "{bad:?}");
        }
    }

    #[test]
    fn hands_come_in_order_and_the_last_of_a_frame_counts() {
        let mut inputs = Inputs::default();
        let level = |percent| Hands { level_percent: percent, ..Hands::FREE };
        inputs.put_hands(4, &level(90).to_bytes()).unwrap();
        inputs.put_hands(4, &level(80).to_bytes()).unwrap();
        inputs.put_hands(9, &[0, 70, 0, 0, 1, 2]).unwrap();
        assert_eq!(inputs.put_hands(8, &level(60).to_bytes()), None, "goes back");
        assert_eq!(inputs.put_hands(10, &[0, 1]), None, "too short");
        assert_eq!(inputs.hands, [(4, level(80)), (9, level(70))]);
    }
}
