//! What a file's packets amount to.

use super::super::wire::{self, Kind, Packet};
use super::super::{Head, Meter, NodeMeter, RecordedCode, Tail};
use super::order::{Order, Place};
use super::reader::{Damage, Flaw};

/// Damage that is listed one by one.
const LISTED: usize = 100;

/// What came out of one packet.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Step {
    /// Nothing to hand out.
    Pass,
    /// `codes` hold this frame.
    Duty(u32),
    /// `meter` is new.
    Meter,
    /// Off from this frame on.
    Off(u32),
    /// `tail` is there.
    Tail,
    /// Nothing will follow.
    End,
}

/// The latest of everything, and what was wrong. Whatever it hands out fits the head: so many codes,
/// levels, currents and sums, coil numbers that exist.
#[derive(Debug)]
pub(super) struct Contents {
    pub(super) codes: Vec<RecordedCode>,
    pub(super) meter: Meter,
    pub(super) tail: Option<Tail>,
    pub(super) order: Order,
    pub(super) damage: Vec<Damage>,
    pub(super) damage_count: u64,
}

impl Contents {
    pub(super) fn new(head: &Head) -> Self {
        let meter = Meter {
            band_dbfs: vec![0.0; head.bands.len()],
            rail_mean_a: vec![0.0; head.rails.len()],
            rail_peak_a: vec![0.0; head.rails.len()],
            ..Meter::default()
        };
        Self {
            codes: Vec::with_capacity(head.coil_count()),
            meter,
            tail: None,
            order: Order::default(),
            damage: Vec::with_capacity(LISTED),
            damage_count: 0,
        }
    }

    /// Takes a packet or damage in.
    pub(super) fn accept(&mut self, head: &Head, event: Result<Packet<'_>, wire::Damage>) -> Step {
        let at = match event {
            Ok(packet) => packet.at,
            Err(damage) => damage.at,
        };
        if self.tail.is_some() {
            self.report(at, Flaw::AfterTail);
            return Step::End;
        }
        let packet = match event {
            Ok(packet) => packet,
            Err(damage) => {
                self.report(at, damage.fault.into());
                return Step::Pass;
            }
        };
        match packet.kind {
            Kind::Duty => self.duty(head, packet),
            Kind::Meter => self.meter(head, packet),
            Kind::Off => self.off(packet),
            Kind::Tail => self.tail(head, packet),
            Kind::Head => {
                self.report(at, Flaw::SecondHead);
                Step::End
            }
            // Of a link, or of a version to come.
            Kind::Hello
            | Kind::Status
            | Kind::Limits
            | Kind::Start
            | Kind::Gap
            | Kind::Edit
            | Kind::Observed => Step::Pass,
        }
    }

    /// The input ended, at `end`, within a packet that began at `unfinished` if there is one.
    pub(super) fn end(&mut self, unfinished: Option<u64>, end: u64) {
        match (self.tail.is_some(), unfinished) {
            (true, Some(at)) => self.report(at, Flaw::AfterTail),
            (true, None) => {}
            (false, at) => self.report(at.unwrap_or(end), Flaw::Cut),
        }
    }

    fn duty(&mut self, head: &Head, packet: Packet<'_>) -> Step {
        let frame = packet.frame;
        if let Err(source) = head.packing.unpack(packet.payload, &head.coils, &mut self.codes) {
            self.report(packet.at, Flaw::Duty { frame, source });
            return Step::Pass;
        }
        if !self.in_order(packet) {
            return Step::Pass;
        }
        self.order.duty(frame);
        Step::Duty(frame)
    }

    fn meter(&mut self, head: &Head, packet: Packet<'_>) -> Step {
        let frame = packet.frame;
        let read = super::meter::get(frame, packet.payload, &mut self.meter).is_some();
        let known = |node: NodeMeter| (node.coil as usize) < head.coil_count();
        if !read || !known(self.meter.coil) || !known(self.meter.backing) {
            self.report(packet.at, Flaw::Meter { frame });
            return Step::Pass;
        }
        Step::Meter
    }

    /// Off is safe at any time, so it is handed out even when it comes out of order.
    fn off(&mut self, packet: Packet<'_>) -> Step {
        self.in_order(packet);
        self.order.off(packet.frame);
        Step::Off(packet.frame)
    }

    fn tail(&mut self, head: &Head, packet: Packet<'_>) -> Step {
        let tail = match serde_json::from_slice::<Tail>(packet.payload) {
            Ok(tail) => tail,
            Err(error) => {
                self.report(packet.at, Flaw::Tail(error.to_string()));
                return Step::Pass;
            }
        };
        if tail.per_coil().iter().any(|sums| sums.len() != head.coil_count()) {
            self.report(packet.at, Flaw::Tail("it has not one sum for each coil".into()));
            return Step::Pass;
        }
        let (said, read) = (u64::from(tail.frames), self.order.frames);
        if said != read && self.damage_count == 0 {
            let text = format!("it says {said} frames, the file has {read}");
            self.report(packet.at, Flaw::Tail(text));
        }
        self.tail = Some(tail);
        Step::Tail
    }

    fn in_order(&mut self, packet: Packet<'_>) -> bool {
        let frame = packet.frame;
        match self.order.place(frame) {
            Place::Right => true,
            Place::After(first) => {
                let last = u64::from(frame).saturating_sub(1);
                self.report(packet.at, Flaw::Missing { first, last });
                true
            }
            Place::Before => {
                let expected = self.order.expected();
                self.report(packet.at, Flaw::Repeated { frame, expected });
                false
            }
        }
    }

    fn report(&mut self, at: u64, flaw: Flaw) {
        self.damage_count += 1;
        if self.damage.len() < LISTED {
            self.damage.push(Damage { at, flaw });
        }
    }
}
