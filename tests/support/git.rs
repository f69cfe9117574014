//! git, as somebody whom no configuration knows. It never touches a repository but that of the folder it is told.

use std::path::Path;

use super::process::command;

/// Runs git in a folder, and yields what it prints. Panics where it fails.
pub fn git(folder: &Path, arguments: &[&str]) -> String {
    let mut git = command("git");
    git.args(["-c", "user.name=Test", "-c", "user.email=test@example.org"]).args(arguments).current_dir(folder);
    let output = git.output().expect("git runs");
    assert!(output.status.success(), "{arguments:?}: {}", String::from_utf8_lossy(&output.stderr));
    String::from_utf8_lossy(&output.stdout).into_owned()
}
