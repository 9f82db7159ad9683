//! An allocator that counts, per thread, so that tests may run side by side.

use std::alloc::{GlobalAlloc, Layout, System};
use std::cell::Cell;

/// The system's allocator, with every request for memory counted.
struct Counting;

#[global_allocator]
static COUNTING: Counting = Counting;

thread_local! {
    // Needs no memory of its own: a constant start and nothing to drop.
    static REQUESTS: Cell<usize> = const { Cell::new(0) };
}

fn count() {
    // Fails only while a thread ends, when nothing is measured any more.
    let _ = REQUESTS.try_with(|requests| requests.set(requests.get() + 1));
}

#[allow(unsafe_code, reason = "an allocator cannot be written otherwise; it only passes on")]
// SAFETY: every call goes to the system's allocator unchanged; counting neither allocates nor panics.
unsafe impl GlobalAlloc for Counting {
    unsafe fn alloc(&self, layout: Layout) -> *mut u8 {
        count();
        unsafe { System.alloc(layout) }
    }

    unsafe fn alloc_zeroed(&self, layout: Layout) -> *mut u8 {
        count();
        unsafe { System.alloc_zeroed(layout) }
    }

    unsafe fn realloc(&self, block: *mut u8, layout: Layout, size: usize) -> *mut u8 {
        count();
        unsafe { System.realloc(block, layout, size) }
    }

    unsafe fn dealloc(&self, block: *mut u8, layout: Layout) {
        unsafe { System.dealloc(block, layout) }
    }
}

/// How often this thread asked for memory, or for more of it, during the work.
pub(crate) fn allocations_during(work: impl FnOnce()) -> usize {
    let before = REQUESTS.get();
    work();
    REQUESTS.get() - before
}
