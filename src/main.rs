//! The `tautpool` program.

fn main() -> std::process::ExitCode {
    tautpool::cli::run()
}
