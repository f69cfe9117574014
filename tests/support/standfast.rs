//! The `standfast` binary under test.

use std::ffi::OsStr;
use std::ops::{Deref, DerefMut};
use std::path::Path;
use std::process::{Command, Output};

use super::process::{Process, command};

/// A running `standfast`, ended when dropped. It derefs to its [`Process`].
pub struct Standfast(Process);

impl Standfast {
    /// Starts it with these arguments, in the tests' own working folder.
    pub fn start<S: AsRef<OsStr>>(arguments: &[S]) -> Standfast {
        Standfast(Process::start("standfast", standfast().args(arguments)))
    }

    /// Starts it with these arguments and an input to type into.
    pub fn start_typing<S: AsRef<OsStr>>(arguments: &[S]) -> Standfast {
        Standfast(Process::start_typing("standfast", standfast().args(arguments)))
    }

    /// Starts it in another working folder.
    pub fn start_in<S: AsRef<OsStr>>(folder: &Path, arguments: &[S]) -> Standfast {
        Standfast(Process::start("standfast", standfast().current_dir(folder).args(arguments)))
    }

    /// Starts it with further variables in its environment.
    pub fn start_with<S: AsRef<OsStr>>(arguments: &[S], environment: &[(&str, &OsStr)]) -> Standfast {
        Standfast(Process::start("standfast", standfast().args(arguments).envs(environment.iter().copied())))
    }

    /// Runs it to its end in another working folder, with further variables in its environment.
    pub fn run_in<S: AsRef<OsStr>>(folder: &Path, arguments: &[S], environment: &[(&str, &str)]) -> Output {
        let mut command = standfast();
        command.current_dir(folder).args(arguments).envs(environment.iter().copied());
        command.output().expect("the binary under test is built")
    }

    /// Runs it to its end and returns all that it printed.
    pub fn run<S: AsRef<OsStr>>(arguments: &[S]) -> Output {
        standfast().args(arguments).output().expect("the binary under test is built")
    }
}

impl Deref for Standfast {
    type Target = Process;
    fn deref(&self) -> &Process {
        &self.0
    }
}

impl DerefMut for Standfast {
    fn deref_mut(&mut self) -> &mut Process {
        &mut self.0
    }
}

/// The binary, which prints without colour.
fn standfast() -> Command {
    let mut command = command(env!("CARGO_BIN_EXE_standfast"));
    command.env("NO_COLOR", "1");
    command
}
