//! A child process whose output is read line by line, with bounded waits. It never outlives the test that started it, unless
//! that test is itself killed.

use std::ffi::OsStr;
use std::io::{BufRead, BufReader, Read, Write};
use std::process::{Child, ChildStdin, Command, ExitStatus, Stdio};
use std::sync::mpsc::{Receiver, RecvTimeoutError, Sender, channel};
use std::thread;
use std::time::{Duration, Instant};

use rustix::process::{Pid, Signal, kill_process};

/// The usual bound of a wait: far more than anything here needs, so that a loaded machine does not fail a test.
pub const TEN_SECONDS: Duration = Duration::from_secs(10);

/// A moment after which a wait has failed.
#[derive(Clone, Copy, Debug)]
pub struct Deadline(Instant);

impl Deadline {
    /// That long from now.
    #[expect(
        clippy::disallowed_methods,
        reason = "a test's patience is measured in real time; nothing is decided by it"
    )]
    pub fn after(patience: Duration) -> Deadline {
        Deadline(Instant::now() + patience)
    }

    /// What is left of it; zero when it has passed.
    #[expect(
        clippy::disallowed_methods,
        reason = "a test's patience is measured in real time; nothing is decided by it"
    )]
    pub fn left(self) -> Duration {
        self.0.saturating_duration_since(Instant::now())
    }

    /// Whether it has passed.
    pub fn passed(self) -> bool {
        self.left().is_zero()
    }
}

/// Which output a line came from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Stream {
    /// Standard output.
    Out,
    /// Standard error.
    Err,
}

/// A line that the process printed.
#[derive(Clone, Debug)]
pub struct Line {
    /// Where it was printed.
    pub stream: Stream,
    /// The line, without its end; bytes that are not UTF-8 are replaced.
    pub text: String,
}

/// A running child.
pub struct Process {
    name: String,
    child: Child,
    incoming: Receiver<Line>,
    seen: Vec<Line>,
    input: Option<ChildStdin>,
}

impl Process {
    /// Starts a command with both outputs captured and no input. `name` is for messages.
    pub fn start(name: &str, command: &mut Command) -> Process {
        Process::start_with(name, command, Stdio::null())
    }

    /// The same with an input to [`Process::type_line`] into.
    pub fn start_typing(name: &str, command: &mut Command) -> Process {
        Process::start_with(name, command, Stdio::piped())
    }

    /// A command line on a terminal of its own, with an input to type into. `script` of util-linux makes the terminal and
    /// hands the line to a shell, which is to step aside: one that stays would be interrupted by Ctrl-C as well, and its end
    /// would hide how the command ended.
    pub fn start_at_terminal(name: &str, line: &str) -> Process {
        let mut script = command("script");
        script.env("SHELL", "/bin/sh").env("TERM", "xterm").args([
            "-qe",
            "-E",
            "never",
            "-c",
            &format!("exec {line}"),
            "/dev/null",
        ]);
        Process::start_typing(name, &mut script)
    }

    fn start_with(name: &str, command: &mut Command, input: Stdio) -> Process {
        let mut child = command
            .stdin(input)
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap_or_else(|error| panic!("cannot start {name}: {error} (the set-up is `tests/run`)"));
        let (sender, incoming) = channel();
        forward(Stream::Out, child.stdout.take().expect("it was piped"), sender.clone());
        forward(Stream::Err, child.stderr.take().expect("it was piped"), sender);
        let input = child.stdin.take();
        Process { name: name.to_owned(), child, incoming, seen: Vec::new(), input }
    }

    /// Types a line. Panics where the process has ended or was started without an input.
    pub fn type_line(&mut self, line: &str) {
        let input = self.input.as_mut().expect("it was started with an input");
        writeln!(input, "{line}").and_then(|()| input.flush()).expect("it reads its input");
    }

    /// The next line of either output; `None` when the time is over or both outputs have ended.
    pub fn next_line(&mut self, patience: Duration) -> Option<Line> {
        match self.incoming.recv_timeout(patience) {
            Ok(line) => {
                self.seen.push(line.clone());
                Some(line)
            }
            Err(RecvTimeoutError::Timeout | RecvTimeoutError::Disconnected) => None,
        }
    }

    /// Reads on until a line is `wanted`. Panics with everything printed so far when none comes in time.
    pub fn expect_line(&mut self, wanted: impl Fn(&str) -> bool, patience: Duration) -> Line {
        let deadline = Deadline::after(patience);
        while let Some(line) = self.next_line(deadline.left()) {
            if wanted(&line.text) {
                return line;
            }
        }
        let printed = self.transcript();
        panic!("{} did not print the line in {patience:?}; it printed:\n{printed}", self.name);
    }

    /// Everything read so far, and what waits to be read.
    pub fn lines(&mut self) -> &[Line] {
        while let Ok(line) = self.incoming.try_recv() {
            self.seen.push(line);
        }
        &self.seen
    }

    /// Everything printed so far as one text, for messages.
    pub fn transcript(&mut self) -> String {
        self.lines().iter().map(|line| format!("{:?}: {}\n", line.stream, line.text)).collect()
    }

    /// Its process id.
    pub fn id(&self) -> u32 {
        self.child.id()
    }

    /// Ends it as a power cut would (SIGKILL) and waits for the end.
    pub fn kill(&mut self) {
        // An error means that it has ended already.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }

    /// Freezes it (SIGSTOP): its sockets stay open and silent.
    pub fn freeze(&self) {
        self.signal(Signal::STOP);
    }

    /// Lets it go on (SIGCONT).
    pub fn thaw(&self) {
        self.signal(Signal::CONT);
    }

    /// Asks it to end (SIGTERM).
    pub fn terminate(&self) {
        self.signal(Signal::TERM);
    }

    /// Sends a signal; one to a process that has ended is no error.
    pub fn signal(&self, signal: Signal) {
        let id = i32::try_from(self.child.id()).ok().and_then(Pid::from_raw).expect("a child's id is positive");
        let _ = kill_process(id, signal);
    }

    /// Waits for the end, reading on meanwhile. Panics when it does not end in time.
    pub fn expect_end(&mut self, patience: Duration) -> ExitStatus {
        let deadline = Deadline::after(patience);
        // Its outputs end with it, so this waits for the end and not for a guessed time.
        while self.next_line(deadline.left()).is_some() {}
        while !deadline.passed() {
            if let Some(status) = self.child.try_wait().expect("it is our child") {
                return status;
            }
            pause();
        }
        let printed = self.transcript();
        panic!("{} did not end in {patience:?}; it printed:\n{printed}", self.name);
    }

    /// Whether it still runs.
    pub fn runs(&mut self) -> bool {
        self.child.try_wait().expect("it is our child").is_none()
    }
}

impl Drop for Process {
    fn drop(&mut self) {
        self.kill();
    }
}

/// A command whose environment is the same on every machine: of the caller's it has what finds programs and folders. What a
/// build server, a narrow terminal or a hook of git says there reaches nothing that a test starts.
pub fn command(program: impl AsRef<OsStr>) -> Command {
    let mut command = Command::new(program);
    command.env_clear();
    for name in ["PATH", "HOME", "TMPDIR"] {
        if let Some(value) = std::env::var_os(name) {
            command.env(name, value);
        }
    }
    command.envs([
        ("LC_ALL", "C.UTF-8"),
        ("TZ", "UTC"),
        ("GIT_CONFIG_GLOBAL", "/dev/null"),
        ("GIT_CONFIG_NOSYSTEM", "1"),
    ]);
    command
}

/// Lets others run between two looks at something that cannot be waited for otherwise.
pub fn pause() {
    thread::sleep(Duration::from_millis(2));
}

fn forward(stream: Stream, output: impl Read + Send + 'static, sender: Sender<Line>) {
    thread::spawn(move || {
        let mut reader = BufReader::new(output);
        let mut bytes = Vec::new();
        while reader.read_until(b'\n', &mut bytes).is_ok_and(|count| count > 0) {
            let text = String::from_utf8_lossy(&bytes).trim_end_matches(['\n', '\r']).to_owned();
            bytes.clear();
            if sender.send(Line { stream, text }).is_err() {
                return;
            }
        }
    });
}
