//! The `tautpool` program.

/// One heap for all threads: that of the C library keeps one for each, and under load what each once
/// needed adds up (DEVELOPERS.md, "Load").
#[global_allocator]
static ALLOCATOR: mimalloc::MiMalloc = mimalloc::MiMalloc;

fn main() -> std::process::ExitCode {
    tautpool::cli::run()
}
