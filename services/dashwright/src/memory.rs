//! Giving memory back to the system.

/// Gives back what is free after a start or a load, which hold every record in passing. Without it the allocator keeps about
/// as much again as the dataset takes, until somebody asks for memory.
#[expect(
    unsafe_code,
    reason = "a foreign function without arguments that could be wrong; it frees nothing in use"
)]
pub(crate) fn give_back() {
    // SAFETY: `mi_collect` may be called at any time from any thread; it only releases pages that hold nothing.
    unsafe { libmimalloc_sys::mi_collect(true) }
}
