//! `standfast new`: a small house to begin with, commented for somebody who has never written one. It never touches a folder
//! in which something stands already.

mod ask;
mod files;

use std::io::{IsTerminal, Write};
use std::path::{Path, PathBuf};
use std::process::Stdio;

use anyhow::{Context, bail};

use super::{Answer, Outcome};
use crate::daemon::config::FILE_NAME;
use crate::daemon::house_dir::{git, is_work_tree};
use ask::{Answers, Asker};

/// Options of `standfast new`.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// The folder to write into; it is made where there is none, and must be empty otherwise
    #[arg(value_name = "DIR")]
    dir: PathBuf,
    /// Where the house stands, in degrees north
    #[arg(long, value_name = "DEGREES", allow_negative_numbers = true)]
    latitude: Option<f64>,
    /// Where the house stands, in degrees east; west is negative
    #[arg(long, value_name = "DEGREES", allow_negative_numbers = true)]
    longitude: Option<f64>,
    /// Its time zone by IANA name, such as Europe/London
    #[arg(long)]
    zone: Option<String>,
    /// The name of the first relay board, which is also its name on the wire
    #[arg(long, value_name = "NAME")]
    board: Option<String>,
    /// How many relays that board has, 1 to 16
    #[arg(long, value_name = "NUMBER")]
    relays: Option<u8>,
    /// Print one JSON document instead of what to do next
    #[arg(long)]
    json: bool,
}

/// What became of git.
#[derive(Debug, PartialEq, Eq)]
enum Kept {
    /// A repository was made and the house committed.
    Committed,
    /// A repository was made, and the commit is left to the person.
    Initialised,
    /// The folder lies in a repository already.
    Inside,
    /// There is no git.
    NoGit,
}

impl Kept {
    /// For programs.
    const fn word(&self) -> &'static str {
        match self {
            Kept::Committed => "committed",
            Kept::Initialised => "not committed",
            Kept::Inside => "inside another repository",
            Kept::NoGit => "none",
        }
    }
}

/// Writes a house, after asking for what was not given where there is somebody to ask.
pub fn run(args: Args) -> Answer {
    refuse_occupied(&args.dir)?;
    let asker = if std::io::stdin().is_terminal() { Asker::terminal() } else { Asker::nobody() };
    let answers = ask::answers(&args, asker)?;
    write_house(&args.dir, &answers)?;
    let kept = keep(&args.dir);
    let mut out = std::io::stdout().lock();
    if args.json {
        let files = files::files(&answers).into_iter().map(|(name, _)| name).collect::<Vec<_>>();
        let git = kept.word();
        let document = serde_json::json!({ "folder": args.dir, "files": files, "board": answers.board, "git": git });
        writeln!(out, "{document:#}")?;
    } else {
        write!(out, "{}", farewell(&args.dir, &answers, &kept))?;
    }
    out.flush()?;
    Ok(Outcome::Yes)
}

/// An empty folder may hold a new repository, nothing else.
fn refuse_occupied(dir: &Path) -> anyhow::Result<()> {
    let entries = match std::fs::read_dir(dir) {
        Ok(entries) => entries,
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => return Ok(()),
        Err(error) => bail!("cannot write a house into {}: {error}", dir.display()),
    };
    for entry in entries {
        let name = entry.with_context(|| format!("cannot look into {}", dir.display()))?.file_name();
        if name != ".git" {
            bail!(
                "{} is not empty ({} is there); name a folder that is, or one that does not exist yet",
                dir.display(),
                name.to_string_lossy()
            );
        }
    }
    Ok(())
}

fn write_house(dir: &Path, answers: &Answers) -> anyhow::Result<()> {
    for (name, text) in files::files(answers) {
        let path = dir.join(name);
        let folder = path.parent().unwrap_or(dir);
        std::fs::create_dir_all(folder).with_context(|| format!("cannot make the folder {}", folder.display()))?;
        let mut file = std::fs::File::create_new(&path).with_context(|| format!("cannot write {}", path.display()))?;
        file.write_all(text.as_bytes()).with_context(|| format!("cannot write {}", path.display()))?;
    }
    Ok(())
}

/// Makes a repository and commits the house, so that a daemon that applies commits has something to apply.
fn keep(dir: &Path) -> Kept {
    if is_work_tree(dir) {
        return Kept::Inside;
    }
    match git(dir, &["init", "--quiet"]) {
        None => Kept::NoGit,
        Some(false) => Kept::NoGit,
        Some(true) => {
            let added = git(dir, &["add", "--", "."]) == Some(true);
            // Without a name and address of the person git refuses, and it is theirs to give.
            let committed = added && git(dir, &["commit", "--quiet", "-m", "Begin the house"]) == Some(true);
            if committed { Kept::Committed } else { Kept::Initialised }
        }
    }
}

/// Whether git did it; `None` where there is no git. It gets no chance to ask anything.
fn git(dir: &Path, arguments: &[&str]) -> Option<bool> {
    let mut command = git::command(dir);
    command.args(["-c", "commit.gpgSign=false", "-c", "core.hooksPath=/dev/null"]).args(arguments);
    command.stdin(Stdio::null()).stdout(Stdio::null()).stderr(Stdio::null());
    command.status().ok().map(|status| status.success())
}

fn farewell(dir: &Path, answers: &Answers, kept: &Kept) -> String {
    let dir = dir.display().to_string();
    let kept = match kept {
        Kept::Committed => {
            "It is a git repository, and this state of it is committed. What runs is what is committed:\nedit, check, then \
             commit."
                .to_owned()
        }
        Kept::Initialised => format!(
            "It is a git repository. What runs is what is committed, and git wants to know first who commits:\n  git config \
             --global user.name \"...\" and user.email \"...\", then\n  git -C {dir} add . && git -C {dir} commit -m \"Begin \
             the house\""
        ),
        Kept::Inside => format!(
            "It lies in a git repository that was there. What runs is what is committed:\n  git -C {dir} add . && git -C \
             {dir} commit -m \"Begin the house\""
        ),
        Kept::NoGit => "There is no git here, so what runs is what is saved. With git you can go back to what worked.".to_owned(),
    };
    format!(
        "A house is in {dir}:\n  {FILE_NAME:<18} the server's own settings\n  {site:<18} where the house stands, and its \
         board\n  {lamp:<18} a lamp, a rule, a push button\n\n{kept}\n\nNext:\n  standfast check {dir}\n  standfast almanac \
         {dir}\n  standfast run --config {dir}/{FILE_NAME}\n  standfast stand-in {board} --house {dir}/rules     plays the \
         board until you have it\n",
        site = "rules/site.toml",
        lamp = "rules/lamp.toml",
        board = answers.board,
    )
}

#[cfg(test)]
mod tests;
