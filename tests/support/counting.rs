//! An allocator that counts what the whole process has allocated and not freed. For a test or a benchmark with a process of its
//! own; SQLite, which is not written in Rust, allocates beside it.

use std::alloc::{GlobalAlloc, Layout, System};
use std::sync::atomic::{AtomicUsize, Ordering};

struct Counting;

static LIVE: AtomicUsize = AtomicUsize::new(0);

#[global_allocator]
static ALLOCATOR: Counting = Counting;

#[expect(unsafe_code, reason = "an allocator is unsafe by nature; this one only counts")]
// SAFETY: each call is the system's own.
unsafe impl GlobalAlloc for Counting {
    unsafe fn alloc(&self, layout: Layout) -> *mut u8 {
        LIVE.fetch_add(layout.size(), Ordering::Relaxed);
        // SAFETY: as the caller promises.
        unsafe { System.alloc(layout) }
    }

    unsafe fn dealloc(&self, memory: *mut u8, layout: Layout) {
        LIVE.fetch_sub(layout.size(), Ordering::Relaxed);
        // SAFETY: as the caller promises.
        unsafe { System.dealloc(memory, layout) }
    }
}

/// Allocated now, in bytes.
pub fn live() -> usize {
    LIVE.load(Ordering::Relaxed)
}
