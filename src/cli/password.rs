//! `standfast password`: makes the line with the hash of the page's password. It never prints or keeps a password.

use std::io::{self, BufRead, IsTerminal, Read, Write};

use anyhow::{Context, bail};
use rustix::termios::{LocalModes, OptionalActions, Termios, tcgetattr, tcsetattr};

use super::{Answer, Outcome};
use crate::page::password::{BYTES_MAX, CHARS_MIN, hash};

/// Options of `standfast password`.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "It asks twice and shows nothing of what is typed; where its input is no terminal it reads one line. Put \
                        the line that it prints under [page] in standfast.toml and start the daemon again. Another \
                        password ends every log-in."
)]
pub struct Args {
    /// Print one JSON document instead of the line for the file
    #[arg(long)]
    json: bool,
}

/// Asks for a password and prints the line for the server's file.
pub fn run(args: Args) -> Answer {
    let mut input = io::stdin().lock();
    let password = if input.is_terminal() {
        let _hidden = Hidden::new()?;
        writeln!(io::stderr(), "nothing of what you type is shown")?;
        let first = typed(&mut input, "password: ")?;
        check(&first)?;
        if typed(&mut input, "once more: ")? != first {
            bail!("the two are not the same; nothing was made");
        }
        first
    } else {
        let mut line = String::new();
        input.take(BYTES_MAX as u64 + 2).read_line(&mut line).context("the input is no text")?;
        let line = line.trim_end_matches(['\n', '\r']).to_owned();
        check(&line)?;
        line
    };
    let hash = hash(&password).map_err(anyhow::Error::msg)?;
    let mut out = io::stdout();
    if args.json {
        writeln!(out, "{:#}", serde_json::json!({ "password_hash": hash }))?;
    } else {
        writeln!(out, "password_hash = \"{hash}\"")?;
    }
    Ok(Outcome::Yes)
}

fn check(password: &str) -> anyhow::Result<()> {
    if password.chars().count() < CHARS_MIN {
        bail!("a password has at least {CHARS_MIN} characters; a few words are easy to type on a phone");
    }
    if password.len() > BYTES_MAX {
        bail!("a password has at most {BYTES_MAX} bytes");
    }
    Ok(())
}

/// A terminal that shows nothing and hands on each key at once; as before when dropped.
struct Hidden(Termios);

impl Hidden {
    fn new() -> anyhow::Result<Hidden> {
        let before = tcgetattr(io::stdin()).context("the terminal does not say how it is set")?;
        let mut hidden = before.clone();
        // Keys that would end the program are read too, so that it never leaves a terminal that shows nothing.
        hidden.local_modes.remove(LocalModes::ECHO | LocalModes::ICANON | LocalModes::ISIG);
        tcsetattr(io::stdin(), OptionalActions::Drain, &hidden)
            .context("the terminal cannot be told to show nothing")?;
        Ok(Hidden(before))
    }
}

impl Drop for Hidden {
    fn drop(&mut self) {
        // A terminal that is gone needs nothing.
        let _ = tcsetattr(io::stdin(), OptionalActions::Drain, &self.0);
    }
}

/// Asks for a line that is not shown.
fn typed(input: &mut impl Read, question: &str) -> anyhow::Result<String> {
    let mut out = io::stderr();
    write!(out, "{question}").and_then(|()| out.flush())?;
    let line = read_hidden(input);
    writeln!(out)?;
    line
}

fn read_hidden(input: &mut impl Read) -> anyhow::Result<String> {
    let mut line = Vec::new();
    let mut key = [0];
    loop {
        if input.read(&mut key)? == 0 {
            bail!("the input has ended; nothing was made");
        }
        match key[0] {
            b'\n' | b'\r' => break,
            // Ctrl-C, Ctrl-D, Ctrl-\.
            3 | 4 | 28 => bail!("given up; nothing was made"),
            // Ctrl-U.
            21 => line.clear(),
            8 | 127 => {
                // The bytes that follow the first of a character, and that one.
                while line.pop().is_some_and(|byte: u8| byte & 0xc0 == 0x80) {}
            }
            byte if line.len() <= BYTES_MAX => line.push(byte),
            _ => {}
        }
    }
    String::from_utf8(line).context("what was typed is not UTF-8")
}
