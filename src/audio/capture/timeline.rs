//! How much silence stands for sound that was lost, and what comes too late to count.
//!
//! While sound arrives, its own clock drives the frames and this does nothing. Once none has come
//! for longer than the patience, silence goes in at the pace of the clock, so that frames go on,
//! coils fade to off and heat goes on being modelled. When sound is back, what is still missing of
//! the lost length goes in before it; what a stalled device delivers late, after silence has taken
//! its place, is dropped. Time is an argument, in nanoseconds of a clock that never goes back.

/// Longest time between two looks that counts as a loss of sound, ns. Beyond it this program itself
/// did not run (a laptop asleep, a stopped process): the board has gone off by its own watchdog and
/// nothing is made up for. The heat model stays as it was, which is warmer than the coils then are.
const LONGEST_NAP_NS: u64 = 2_000_000_000;

/// How long after a loss late sound is told from new sound, ns.
const SETTLING_NS: u64 = 5_000_000_000;

/// What a clock may be ahead of sound that comes in pieces, ns, besides two pieces.
const JITTER_NS: u64 = 20_000_000;

/// What to do with sound that has arrived.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(super) struct Arrival {
    /// Instants of silence that go in before it.
    pub(super) silence: u64,
    /// Instants of it, from its beginning, that come too late.
    pub(super) late: u64,
}

/// Follows one input through its losses.
#[derive(Debug, Clone)]
pub(super) struct Timeline {
    rate_hz: u64,
    block: u64,
    patience_ns: u64,
    looked_ns: u64,
    /// When sound last arrived.
    arrived_ns: u64,
    /// Silence given since, instants.
    silence: u64,
    /// True when the next sound comes from a stream that was opened anew.
    reopened: bool,
    /// After a loss: since when, and the instants that arrived since.
    settling: Option<(u64, u64)>,
    /// What came too late in earlier losses and was still taken for jitter, instants: the next loss
    /// makes up for it, so that many do not add up.
    ahead: u64,
    slept_ns: u64,
}

impl Timeline {
    /// For an input of `rate_hz` instants a second from `now_ns` on.
    pub(super) fn new(rate_hz: u32, now_ns: u64, patience_ns: u64) -> Self {
        Self {
            rate_hz: u64::from(rate_hz),
            block: 0,
            patience_ns,
            looked_ns: now_ns,
            arrived_ns: now_ns,
            silence: 0,
            reopened: false,
            settling: None,
            ahead: 0,
            slept_ns: 0,
        }
    }

    /// A stream was opened that delivers `block` instants at a time.
    pub(super) fn opened(&mut self, block: u64) {
        self.block = block;
        self.reopened = true;
    }

    /// Takes notice of the time. To be called at every look, whether anything came or not.
    pub(super) fn look(&mut self, now_ns: u64) {
        let gap_ns = now_ns.saturating_sub(self.looked_ns);
        self.looked_ns = self.looked_ns.max(now_ns);
        if gap_ns > LONGEST_NAP_NS {
            self.arrived_ns += gap_ns;
            self.slept_ns += gap_ns;
            self.settling = self.settling.map(|(since_ns, came)| (since_ns + gap_ns, came));
        }
    }

    /// Silence that is due now, in instants; counts as given.
    pub(super) fn due(&mut self, now_ns: u64) -> u64 {
        let gone_ns = now_ns.saturating_sub(self.arrived_ns);
        if gone_ns <= self.patience_ns {
            return 0;
        }
        self.settle(self.arrived_ns);
        // One block is on its way when the device lives.
        let owed = self.instants(gone_ns).saturating_sub(self.block + self.silence + self.ahead);
        self.silence += owed;
        owed
    }

    /// `instants` of sound have come.
    pub(super) fn arrived(&mut self, now_ns: u64, instants: u64) -> Arrival {
        let now_ns = now_ns.max(self.looked_ns);
        let gone = self.instants(now_ns.saturating_sub(self.arrived_ns));
        let lost = self.silence > 0 || self.reopened;
        let mut answer = Arrival::default();
        if lost {
            self.settle(self.arrived_ns);
            let there = self.silence + instants + self.ahead;
            answer.silence = gone.saturating_sub(there);
            if self.silence > 0 {
                answer.late = there.saturating_sub(gone).min(instants);
            }
            self.ahead = there.saturating_sub(gone + answer.late);
            self.settling = Some((now_ns, 0));
        } else if let Some((since_ns, came)) = self.settling {
            let came = came + instants;
            let may = self.instants(now_ns.saturating_sub(since_ns) + JITTER_NS) + 2 * self.block;
            answer.late = came.saturating_sub(may).min(instants);
            let over = now_ns.saturating_sub(since_ns) > SETTLING_NS;
            self.settling = Some((since_ns, came - answer.late));
            if over {
                self.settle(now_ns);
            }
        }
        self.arrived_ns = now_ns;
        self.silence = 0;
        self.reopened = false;
        answer
    }

    /// Ends the telling of late from new: what came beyond the clock counts as ahead of it.
    fn settle(&mut self, now_ns: u64) {
        if let Some((since_ns, came)) = self.settling.take() {
            let due = self.instants(now_ns.saturating_sub(since_ns));
            self.ahead = (self.ahead + came).saturating_sub(due);
        }
    }

    /// How long this program did not run, ns, naps beyond two seconds added up.
    pub(super) fn slept_ns(&self) -> u64 {
        self.slept_ns
    }

    fn instants(&self, span_ns: u64) -> u64 {
        let instants = u128::from(span_ns) * u128::from(self.rate_hz) / 1_000_000_000;
        u64::try_from(instants).unwrap_or(u64::MAX)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const MS: u64 = 1_000_000;

    /// 48 kHz in blocks of 5 ms, with a patience of 150 ms, running for a second.
    fn running() -> Timeline {
        let mut line = Timeline::new(48_000, 0, 150 * MS);
        line.opened(240);
        for block in 1..=200 {
            let now = block * 5 * MS;
            line.look(now);
            assert_eq!(line.due(now), 0);
            assert_eq!(line.arrived(now, 240), Arrival::default(), "block {block}");
        }
        line
    }

    /// Looks every 5 ms from `from` to `to` (ms) and adds up the silence.
    fn wait(line: &mut Timeline, from: u64, to: u64) -> u64 {
        (from..=to)
            .step_by(5)
            .map(|ms| {
                line.look(ms * MS);
                line.due(ms * MS)
            })
            .sum()
    }

    #[test]
    fn a_device_that_is_gone_leaves_silence_of_exactly_the_lost_length() {
        let mut line = running();
        assert_eq!(wait(&mut line, 1005, 1150), 0, "patience");
        let first = wait(&mut line, 1155, 1155);
        assert_eq!(first, 155 * 48 - 240, "what was missed, less the block that may be coming");
        let later = wait(&mut line, 1160, 4000);
        line.opened(240);
        // 3 s gone, of which the arriving block is the last 5 ms.
        let back = line.arrived(4000 * MS, 240);
        assert_eq!(first + later + back.silence, 2995 * 48);
        assert_eq!(back.late, 0);
        assert_eq!(line.arrived(4005 * MS, 240), Arrival::default());
    }

    #[test]
    fn a_device_that_is_back_within_the_patience_is_made_up_for_as_well() {
        let mut line = running();
        assert_eq!(wait(&mut line, 1005, 1100), 0);
        line.opened(240);
        assert_eq!(line.arrived(1105 * MS, 240), Arrival { silence: 100 * 48, late: 0 });
    }

    #[test]
    fn sound_that_is_only_late_is_kept_within_the_patience_and_dropped_beyond() {
        let mut line = running();
        wait(&mut line, 1005, 1140);
        for block in 0..28 {
            assert_eq!(line.arrived(1140 * MS, 240), Arrival::default(), "late block {block}");
        }
        let mut line = running();
        let silence = wait(&mut line, 1005, 1300);
        assert_eq!(silence, 295 * 48);
        // Sixty blocks at once: 300 ms of sound, for 295 of which silence has gone in.
        let kept: u64 = (0..60).map(|_| 240 - line.arrived(1300 * MS, 240).late).sum();
        // One was due; 20 ms and two blocks more may be mere jitter.
        assert_eq!(kept, 240 + 960 + 480);
        let kept: u64 = (1..=200).map(|n| 240 - line.arrived((1300 + 5 * n) * MS, 240).late).sum();
        assert_eq!(kept, 200 * 240, "what comes in time after that is kept");
    }

    #[test]
    fn many_stalls_do_not_add_up() {
        let mut line = running();
        let (mut now, mut given) = (1000, 0_u64);
        for _ in 0..50 {
            // 300 ms of nothing, all of it delivered at once afterwards; then half a second in time.
            given += wait(&mut line, now + 5, now + 300);
            now += 300;
            for _ in 0..60 {
                let arrival = line.arrived(now * MS, 240);
                given += 240 + arrival.silence - arrival.late;
            }
            for _ in 0..100 {
                now += 5;
                line.look(now * MS);
                assert_eq!(line.due(now * MS), 0);
                let arrival = line.arrived(now * MS, 240);
                given += 240 + arrival.silence - arrival.late;
            }
        }
        let ahead = given.abs_diff((now - 1000) * 48);
        assert!(ahead <= 960 + 2 * 240, "{ahead} instants ahead after 50 stalls");
    }

    #[test]
    fn jitter_after_a_loss_costs_nothing() {
        let mut line = running();
        wait(&mut line, 1005, 1500);
        line.arrived(1500 * MS, 240);
        // Blocks of 5 ms that come in threes, every 15 ms.
        for n in 1..400 {
            for _ in 0..3 {
                assert_eq!(line.arrived((1500 + 15 * n) * MS, 240), Arrival::default());
            }
        }
    }

    #[test]
    fn a_night_asleep_is_not_made_up_for() {
        let mut line = running();
        let morning = 1000 + 8 * 3_600_000;
        line.look(morning * MS);
        assert_eq!(line.due(morning * MS), 0, "not one instant");
        assert_eq!(line.slept_ns(), 8 * 3_600_000 * MS);
        assert_eq!(line.arrived(morning * MS, 240), Arrival::default());
        // A clock that goes back, which it must not, does no harm.
        line.look(5 * MS);
        assert_eq!(line.due(5 * MS), 0);
        assert_eq!(line.arrived(5 * MS, 240), Arrival::default());
        // Two seconds are still a loss, and no sleep.
        let mut line = running();
        assert_eq!(wait(&mut line, 3000, 3000), 2000 * 48 - 240);
        assert_eq!(line.slept_ns(), 0);
    }
}
