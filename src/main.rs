//! The `coilscore` program: see [`cli`] for its commands.

mod cli;

fn main() -> std::process::ExitCode {
    cli::main()
}
