//! The `bolster` program: everything it does is in the library.

fn main() -> std::process::ExitCode {
    bolster::cmd::main()
}
