//! What stands between a file and the libraries that read it.

use std::fs::File;
use std::io::{self, Read, Seek, SeekFrom};
use std::panic::{AssertUnwindSafe, catch_unwind};

use symphonia::core::io::MediaSource;

/// `None` when `work` panicked; whatever it worked on must not be used again then.
pub(super) fn guarded<T>(work: impl FnOnce() -> T) -> Option<T> {
    catch_unwind(AssertUnwindSafe(work)).ok()
}

/// True for errors of the system, which have a number. The libraries make up others while they
/// parse; those say that the bytes are not as they should be, or at their end.
pub(super) fn is_of_the_system(error: &io::Error) -> bool {
    error.raw_os_error().is_some()
}

/// A file as the libraries see it.
pub(super) struct Bytes {
    file: File,
    length: u64,
    seekable: bool,
}

impl Bytes {
    /// From the start of `file`, whose position it shares.
    pub(super) fn of(file: &File, seekable: bool) -> io::Result<Self> {
        let mut file = file.try_clone()?;
        file.rewind()?;
        Ok(Self { length: file.metadata()?.len(), file, seekable })
    }
}

impl Read for Bytes {
    fn read(&mut self, room: &mut [u8]) -> io::Result<usize> {
        loop {
            match self.file.read(room) {
                Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
                other => return other,
            }
        }
    }
}

impl Seek for Bytes {
    fn seek(&mut self, to: SeekFrom) -> io::Result<u64> {
        self.file.seek(to)
    }
}

impl MediaSource for Bytes {
    fn is_seekable(&self) -> bool {
        self.seekable
    }

    fn byte_len(&self) -> Option<u64> {
        self.seekable.then_some(self.length)
    }
}

#[cfg(test)]
#[allow(clippy::panic, reason = "a panic is what has to be survived")]
mod tests {
    use super::*;

    #[test]
    fn a_panic_inside_a_decoder_is_an_answer_and_no_end() {
        assert_eq!(guarded(|| 7), Some(7));
        assert_eq!(guarded(|| -> i32 { panic!("this text belongs to a test that passes") }), None);
    }
}
