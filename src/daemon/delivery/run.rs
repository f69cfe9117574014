//! Running the program that tells a person of an alarm: without a shell, one at a time, bounded in time and in what it may
//! say, tried again when it fails. It never decides what is told.

use std::path::PathBuf;
use std::process::{ExitStatus, Stdio};
use std::time::Duration;

use jiff::tz::TimeZone;
use tokio::io::{AsyncRead, AsyncReadExt, AsyncWriteExt};
use tokio::process::{Child, Command};
use tokio::sync::mpsc;
use tokio::time::{sleep, timeout};

use super::Notice;
use crate::engine::rfc3339;

/// So many notices wait at most: more than go out in two hours.
const WAITING: usize = 64;
/// So much of what it writes is logged, in bytes.
const HEARD: u64 = 2048;
/// How long after a failure it is tried again, each time.
const AGAIN: [Duration; 2] = [Duration::from_secs(60), Duration::from_secs(300)];
/// How long it may take.
const WITHIN: Duration = Duration::from_secs(30);

/// What a service manager gave this process and no other needs.
const OURS: [&str; 4] = ["CREDENTIALS_DIRECTORY", "NOTIFY_SOCKET", "WATCHDOG_USEC", "WATCHDOG_PID"];

/// The program of the user's choice.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Program {
    /// The program: a path, or a name to be found in `$PATH`.
    pub program: PathBuf,
    /// Its arguments.
    pub arguments: Vec<String>,
}

/// Whether the program took a notice; why not, where it did not.
type End = Result<(), String>;

/// What became of a notice.
#[derive(Debug)]
pub struct Outcome {
    /// The notice.
    pub notice: Notice,
    /// Whether it reached the program in the end.
    pub end: End,
}

/// Starts the task that runs the program for each notice, with times in the zone beside it. It ends when the sender is
/// dropped.
pub fn start(program: Program) -> (mpsc::Sender<(Notice, TimeZone)>, mpsc::Receiver<Outcome>) {
    let (notices, mut waiting) = mpsc::channel::<(Notice, TimeZone)>(WAITING);
    let (outcomes, heard) = mpsc::channel(WAITING);
    tokio::spawn(async move {
        while let Some((notice, zone)) = waiting.recv().await {
            let end = persist(&program, &notice, &zone).await;
            if outcomes.send(Outcome { notice, end }).await.is_err() {
                break;
            }
        }
    });
    (notices, heard)
}

async fn persist(program: &Program, notice: &Notice, zone: &TimeZone) -> End {
    let mut end = once(program, notice, zone, WITHIN).await;
    for pause in AGAIN {
        let Err(why) = &end else { break };
        tracing::warn!("the alarm program failed: {why}; tried again in {} s", pause.as_secs());
        sleep(pause).await;
        end = once(program, notice, zone, WITHIN).await;
    }
    end
}

/// Runs it once. The alarm is in its environment, and its text is the one line of its input.
async fn once(program: &Program, notice: &Notice, zone: &TimeZone, within: Duration) -> End {
    let mut command = Command::new(&program.program);
    command
        .args(&program.arguments)
        .env("STANDFAST_ALARM", &notice.alarm)
        .env("STANDFAST_NEWS", notice.news.word())
        .env("STANDFAST_TEXT", &notice.text)
        .env("STANDFAST_RAISED", rfc3339(notice.raised, zone))
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        // What it starts can be ended with it.
        .process_group(0)
        .kill_on_drop(true);
    OURS.iter().for_each(|name| {
        command.env_remove(name);
    });
    let mut child =
        command.spawn().map_err(|error| format!("{} does not start: {error}", program.program.display()))?;
    let group = Group(child.id());
    let mut heard = Heard::default();
    if timeout(within, attend(&mut child, format!("{}\n", notice.text), &mut heard)).await.is_err() {
        group.end();
        // It has been killed, so this does not wait for long.
        let _ = timeout(Duration::from_secs(1), child.wait()).await;
    }
    group.leave();
    heard.log();
    match heard.status {
        Some(Ok(status)) if status.success() => Ok(()),
        Some(Ok(status)) => Err(format!("it ended with {status}")),
        Some(Err(error)) => Err(format!("it cannot be waited for: {error}")),
        None => Err(format!("{} took longer than {} s and was ended", program.program.display(), within.as_secs_f32())),
    }
}

/// What a program did by itself.
#[derive(Default)]
struct Heard {
    said: Vec<u8>,
    complained: Vec<u8>,
    /// How it ended; what it left in the background may go on.
    status: Option<std::io::Result<ExitStatus>>,
}

impl Heard {
    fn log(&self) {
        for bytes in [&self.said, &self.complained] {
            let text = String::from_utf8_lossy(bytes);
            for line in text.lines().filter(|line| !line.trim().is_empty()) {
                let line: String = line.chars().map(|each| if each.is_control() { ' ' } else { each }).collect();
                tracing::info!("the alarm program says: {line}");
            }
        }
    }
}

/// Feeds it, hears it, and waits for its end and for that of what it left behind with its output in hand.
async fn attend(child: &mut Child, input: String, heard: &mut Heard) {
    let (stdin, stdout, stderr) = (child.stdin.take(), child.stdout.take(), child.stderr.take());
    let feed = async {
        if let Some(mut stdin) = stdin {
            // A program that does not read its input is as good.
            let _ = stdin.write_all(input.as_bytes()).await;
        }
    };
    let end = async { heard.status = Some(child.wait().await) };
    tokio::join!(feed, hear(stdout, &mut heard.said), hear(stderr, &mut heard.complained), end);
}

/// Reads to the end, and keeps the beginning as it comes.
async fn hear(from: Option<impl AsyncRead + Unpin>, kept: &mut Vec<u8>) {
    let Some(mut from) = from else { return };
    let _ = (&mut from).take(HEARD).read_to_end(kept).await;
    // The rest is read and dropped, so that nobody waits in a full pipe.
    let _ = tokio::io::copy(&mut from, &mut tokio::io::sink()).await;
}

/// A program with all that it started. Left to itself it is ended, so that nothing of it outlives this daemon.
struct Group(Option<u32>);

impl Group {
    fn end(&self) {
        let leader = self.0.and_then(|id| i32::try_from(id).ok()).and_then(rustix::process::Pid::from_raw);
        if let Some(leader) = leader {
            // It may have ended by itself meanwhile.
            let _ = rustix::process::kill_process_group(leader, rustix::process::Signal::KILL);
        }
    }

    /// It is over, and its number may be another's by now.
    fn leave(mut self) {
        self.0 = None;
    }
}

impl Drop for Group {
    fn drop(&mut self) {
        self.end();
    }
}

#[cfg(test)]
mod tests {
    use super::super::News;
    use super::*;
    use crate::units::WallTime;

    async fn run(script: &str, within: Duration) -> End {
        let program = Program { program: PathBuf::from("sh"), arguments: vec!["-c".to_owned(), script.to_owned()] };
        let notice = Notice {
            alarm: "board-yard".to_owned(),
            text: "board \"yard\" is not heard; $(false) `false`".to_owned(),
            raised: WallTime(1_780_000_000_000),
            news: News::Raised,
        };
        once(&program, &notice, &TimeZone::UTC, within).await
    }

    const LONG: Duration = Duration::from_secs(20);

    #[tokio::test]
    async fn the_alarm_is_in_its_input_and_its_environment() {
        let script = r#"read -r line
            [ "$line" = 'board "yard" is not heard; $(false) `false`' ] || exit 2
            [ "$STANDFAST_TEXT" = "$line" ] || exit 3
            [ "$STANDFAST_ALARM $STANDFAST_NEWS" = "board-yard raised" ] || exit 4
            [ "$STANDFAST_RAISED" = "2026-05-28T20:26:40+00:00" ] || exit 5"#;
        assert_eq!(run(script, LONG).await, Ok(()));
    }

    #[tokio::test]
    async fn a_failure_says_how_it_ended() {
        let why = run("exit 3", LONG).await.expect_err("it fails");
        assert!(why.contains("exit status: 3"), "{why}");
        let program = Program { program: PathBuf::from("/nowhere/tell"), arguments: Vec::new() };
        let notice = Notice { alarm: String::new(), text: String::new(), raised: WallTime(0), news: News::Many };
        let why = once(&program, &notice, &TimeZone::UTC, LONG).await.expect_err("it is not there");
        assert!(why.starts_with("/nowhere/tell does not start: "), "{why}");
    }

    #[tokio::test]
    async fn one_that_hangs_is_ended_with_what_it_started() {
        let folder = tempfile::tempdir().expect("a folder");
        let file = folder.path().join("started");
        // Half a second is more than it takes to start, and whoever needs longer on a busy machine is tried again.
        let started = loop {
            let script = format!("sleep 600 & echo $! >'{}'; sleep 600", file.display());
            let why = run(&script, Duration::from_millis(500)).await.expect_err("it hangs");
            assert!(why.contains("took longer than 0.5 s"), "{why}");
            if let Ok(text) = std::fs::read_to_string(&file)
                && text.ends_with('\n')
            {
                break text;
            }
        };
        gone(&started).await;
    }

    /// Waits until the process with this number is gone.
    async fn gone(id: &str) {
        let stat = format!("/proc/{}/stat", id.trim());
        // Killed, it is gone or waits for its parent to hear of it.
        let lives = || std::fs::read_to_string(&stat).is_ok_and(|stat| !stat.contains(") Z "));
        timeout(LONG, async {
            while lives() {
                tokio::task::yield_now().await;
            }
        })
        .await
        .expect("it outlives what started it");
    }

    #[tokio::test]
    async fn one_that_is_left_in_the_middle_ends_with_what_it_started() {
        let folder = tempfile::tempdir().expect("a folder");
        let file = folder.path().join("started");
        let script = format!("sleep 600 & echo $! >'{}'; wait", file.display());
        let started = async {
            loop {
                match std::fs::read_to_string(&file) {
                    Ok(text) if text.ends_with('\n') => break text,
                    _ => tokio::time::sleep(Duration::from_millis(5)).await,
                }
            }
        };
        // As when the daemon is stopped.
        let started = tokio::select! {
            outcome = run(&script, LONG) => panic!("it hangs, and yet: {outcome:?}"),
            started = started => started,
        };
        gone(&started).await;
    }

    #[tokio::test]
    async fn one_that_has_done_its_work_and_leaves_something_behind_has_not_failed() {
        assert_eq!(run("sleep 600 & exit 0", Duration::from_secs(2)).await, Ok(()));
        let why = run("sleep 600 & exit 3", Duration::from_secs(2)).await.expect_err("it fails");
        assert!(why.contains("exit status: 3"), "{why}");
    }

    #[tokio::test]
    async fn what_one_said_before_it_was_ended_is_heard() {
        let heard = loop {
            let mut command = Command::new("sh");
            command.args(["-c", "echo looking for the mail server; exec sleep 600"]).kill_on_drop(true);
            let mut child = command.stdout(Stdio::piped()).spawn().expect("a shell");
            let mut heard = Heard::default();
            let ended = timeout(Duration::from_millis(500), attend(&mut child, String::new(), &mut heard)).await;
            ended.expect_err("it hangs");
            if !heard.said.is_empty() {
                break heard;
            }
        };
        assert_eq!(String::from_utf8_lossy(&heard.said), "looking for the mail server\n");
        assert!(heard.status.is_none());
    }

    #[tokio::test]
    async fn one_that_reads_nothing_or_says_much_is_heard_to_its_end() {
        assert_eq!(run("exec <&-; head -c 300000 /dev/zero", LONG).await, Ok(()));
    }
}
