//! Where the frames of a show go: to the board first, then to the recording.

use super::{Notices, Recording};
use crate::budget::Duty;
use crate::frame::{Hands, Meter};
use crate::sink::{Sink, SinkError};

/// A sink, and a recording that ends without ending the show.
pub struct Outlet<'a> {
    main: &'a mut dyn Sink,
    recording: Option<Recording>,
    notices: Notices,
}

impl<'a> Outlet<'a> {
    /// Frames go to `main` and `recording`; `notices` hears when a recording ends early.
    pub fn new(main: &'a mut dyn Sink, recording: Option<Recording>, notices: Notices) -> Self {
        Self { main, recording, notices }
    }

    /// Lets go of the sink and gives the recording back, to be ended when all is off.
    pub fn release(self) -> Option<Recording> {
        self.recording
    }

    fn keep(&mut self, put: impl FnOnce(&mut Recording) -> Option<String>) {
        if let Some(sentence) = self.recording.as_mut().and_then(put) {
            self.notices.say(format!("{sentence}; the show goes on"));
        }
    }
}

impl Sink for Outlet<'_> {
    fn duty(&mut self, number: u32, duties: &[Duty]) -> Result<(), SinkError> {
        let sent = self.main.duty(number, duties);
        self.keep(|recording| recording.duty(number, duties));
        sent
    }

    fn meter(&mut self, meter: &Meter) -> Result<(), SinkError> {
        let sent = self.main.meter(meter);
        self.keep(|recording| recording.meter(meter));
        sent
    }

    fn hands(&mut self, number: u32, hands: Hands) -> Result<(), SinkError> {
        let sent = self.main.hands(number, hands);
        self.keep(|recording| recording.hands(number, hands));
        sent
    }

    fn off(&mut self, number: u32) -> Result<(), SinkError> {
        let sent = self.main.off(number);
        self.keep(|recording| recording.off(number));
        sent
    }
}
