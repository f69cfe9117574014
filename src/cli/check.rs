//! `standfast check`: all that is wrong with a house, before it runs. It reads the files as they are saved and changes
//! nothing.

use std::io::Write;
use std::path::{Path, PathBuf};

use anyhow::bail;

use super::table::may_colour;
use super::{Answer, Outcome};
use crate::check::Examined;
use crate::daemon::config::{self, Config, FILE_NAME, Surroundings};
use crate::daemon::house_dir::{self, HouseText};
use crate::daemon::zones::zones;
use crate::diagnostic::render::{self, Style};
use crate::diagnostic::{Diagnostic, count_line, errors};
use crate::units::counted;

/// Options of `standfast check`.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// The house's folder, or the folder of its standfast.toml [default: the working folder, else /etc/standfast]
    #[arg(value_name = "DIR")]
    dir: Option<PathBuf>,
    /// Print one JSON object instead of text for people
    #[arg(long)]
    json: bool,
}

/// Checks a house and prints what was found: yes without errors, no with errors.
pub fn run(args: Args) -> Answer {
    let dir = house_folder(args.dir.as_deref())?;
    let text = house_dir::read_saved(&dir)?;
    let examined = text.examine(&zones());
    let found = errors(&examined.diagnostics);
    let mut out = std::io::stdout().lock();
    if args.json {
        writeln!(out, "{}", json(&dir, &text, &examined.diagnostics))?;
    } else {
        let style = if may_colour() { Style::Coloured } else { Style::Plain };
        write!(out, "{}", for_people(&dir, &text, &examined, style))?;
    }
    out.flush()?;
    Ok(if found == 0 { Outcome::Yes } else { Outcome::No })
}

/// The folder of the house that is meant, by the one that was named or by where the command runs.
pub(super) fn house_folder(named: Option<&Path>) -> anyhow::Result<PathBuf> {
    let by_config =
        |file: &Path| -> anyhow::Result<PathBuf> { Ok(Config::read(file, &Surroundings::of_process())?.house) };
    if let Some(dir) = named {
        if dir.is_file() {
            bail!("{} is a file; name the folder of the house, all of whose files are one", dir.display());
        }
        let config = dir.join(FILE_NAME);
        return if config.is_file() { by_config(&config) } else { Ok(dir.to_owned()) };
    }
    let here = Path::new(".");
    if here.join(FILE_NAME).is_file() {
        return by_config(&here.join(FILE_NAME));
    }
    if house_dir::has_house_files(here) {
        return Ok(here.to_owned());
    }
    match config::find(None) {
        Ok(file) => by_config(&file),
        Err(_) => bail!(
            "there is no house here: the working folder has neither a {FILE_NAME} nor any *.toml; name the folder with \
             `standfast check DIR`, or write a first house with `standfast new DIR`"
        ),
    }
}

/// Everything that was found, and what there is of a house.
fn for_people(dir: &Path, text: &HouseText, examined: &Examined, style: Style) -> String {
    let (diagnostics, files) = from_here(dir, &examined.diagnostics, &text.files);
    let mut shown = render::text(&diagnostics, &files, style);
    if !shown.is_empty() {
        shown.push_str("\n\n");
    }
    let mut parts = vec![counted(text.files.len(), "file")];
    if let Some(house) = &examined.house {
        parts.push(counted(house.boards.len(), "board"));
        parts.push(counted(house.loads.len(), "load"));
        parts.push(counted(house.rules.len(), "rule"));
    }
    shown.push_str(&format!("{}: {}: {}\n", dir.display(), parts.join(", "), count_line(&diagnostics)));
    if let Some(revision) = text.revision.as_ref().filter(|revision| revision.dirty) {
        shown.push_str(&format!(
            "These files differ from commit {revision}; a daemon that applies commits takes them over when they are \
             committed.\n"
        ));
    }
    shown
}

/// The same with paths as they are seen from the working folder, so that a terminal or an editor can open them.
fn from_here(
    dir: &Path,
    diagnostics: &[Diagnostic],
    files: &[(String, String)],
) -> (Vec<Diagnostic>, Vec<(String, String)>) {
    let here = std::env::current_dir().unwrap_or_default();
    let dir = dir.strip_prefix(&here).unwrap_or(dir);
    let dir = dir.strip_prefix(".").unwrap_or(dir);
    let longer = |path: &str| dir.join(path).display().to_string();
    let mut diagnostics = diagnostics.to_vec();
    for label in diagnostics.iter_mut().flat_map(|one| one.at.iter_mut().chain(one.also.iter_mut())) {
        label.file = longer(&label.file);
    }
    (diagnostics, files.iter().map(|(path, text)| (longer(path), text.clone())).collect())
}

fn json(dir: &Path, text: &HouseText, diagnostics: &[Diagnostic]) -> serde_json::Value {
    let found = errors(diagnostics);
    serde_json::json!({
        "house": dir.display().to_string(),
        "revision": text.revision.as_ref().map(|revision| &revision.commit),
        "dirty": text.revision.as_ref().map(|revision| revision.dirty),
        "errors": found,
        "warnings": diagnostics.len() - found,
        "diagnostics": render::json(diagnostics, &text.files),
    })
}
