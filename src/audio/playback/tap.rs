//! A source whose sound is also played.

use super::kept_back::Feed;
use crate::audio::{SampleBlock, SoundError, SoundFormat, Source};

/// Hands every block on, and to a [`Feed`].
pub struct Tap<'a> {
    source: &'a mut dyn Source,
    feed: Option<Feed>,
}

impl<'a> Tap<'a> {
    /// Of `source`; without a feed it only hands on.
    pub fn new(source: &'a mut dyn Source, feed: Option<Feed>) -> Self {
        Self { source, feed }
    }
}

impl Source for Tap<'_> {
    fn format(&self) -> SoundFormat {
        self.source.format()
    }

    fn next_block(&mut self) -> Result<Option<SampleBlock<'_>>, SoundError> {
        let block = self.source.next_block()?;
        if let (Some(block), Some(feed)) = (block, &mut self.feed) {
            feed.put(block);
        }
        Ok(block)
    }

    fn expected_instants(&self) -> Option<u64> {
        self.source.expected_instants()
    }

    fn remarks(&self) -> &[String] {
        self.source.remarks()
    }
}
