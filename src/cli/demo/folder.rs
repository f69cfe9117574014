//! The demo's folder: a throw-away place for the server's own file and its data, and the example house where it is not at
//! hand. It never writes into a house that is there.

use std::fs;
use std::io;
use std::net::SocketAddr;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU32, Ordering};

use anyhow::Context;

use crate::daemon::config::FILE_NAME;
use crate::daemon::house_dir::has_house_files;

/// The example house, as it was when this was built.
const EXAMPLE: [(&str, &str); 8] = [
    ("cellar-sump.toml", include_str!("../../../rules/cellar-sump.toml")),
    ("cellar.toml", include_str!("../../../rules/cellar.toml")),
    ("hall.toml", include_str!("../../../rules/hall.toml")),
    ("hen-house.toml", include_str!("../../../rules/hen-house.toml")),
    ("site.toml", include_str!("../../../rules/site.toml")),
    ("sun-room.toml", include_str!("../../../rules/sun-room.toml")),
    ("wash-house.toml", include_str!("../../../rules/wash-house.toml")),
    ("yard.toml", include_str!("../../../rules/yard.toml")),
];

/// Where the example house stands in a copy of the project.
const AT_HAND: &str = "rules";

/// The folder; gone with the demo.
pub struct Folder {
    root: PathBuf,
    house: PathBuf,
}

impl Folder {
    /// Makes the folder, with the house that is named, or the one at hand, or a copy of the example.
    ///
    /// # Errors
    /// When nothing can be written, or the folder that is named holds no house.
    pub fn new(named: Option<&Path>) -> anyhow::Result<Folder> {
        let root = make_root().context("the demo needs a folder for a while, and cannot make one")?;
        let mut folder = Folder { house: root.join(AT_HAND), root };
        match named {
            Some(dir) if has_house_files(dir) => folder.house = fs::canonicalize(dir)?,
            Some(dir) => anyhow::bail!("{} holds no house; leave --house out to see the example", dir.display()),
            None if is_example(Path::new(AT_HAND)) => folder.house = fs::canonicalize(AT_HAND)?,
            None => folder.write_example()?,
        }
        Ok(folder)
    }

    /// The folder of the house.
    pub fn house(&self) -> &Path {
        &self.house
    }

    /// Whether the house is a copy, which goes with the folder.
    pub fn is_copy(&self) -> bool {
        self.house.starts_with(&self.root)
    }

    /// Writes the server's own file and yields its path.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn write_config(&self, port: u16, page: SocketAddr) -> anyhow::Result<PathBuf> {
        let house = self.house.to_str().context("the path of the house is not UTF-8")?;
        let text = format!(
            "# Written by `standfast demo`, which removes it in the end.\nhouse = {house:?}\ndata = \"data\"\nsettle = \"30s\"\n\
             clock = \"always\"\napply = \"save\"\n\n[broker]\nurl = \"mqtt://127.0.0.1:{port}\"\n\n[page]\nlisten = \"{page}\"\n"
        );
        let file = self.root.join(FILE_NAME);
        fs::write(&file, text).with_context(|| format!("{} cannot be written", file.display()))?;
        Ok(file)
    }

    /// The server's own file.
    pub fn config(&self) -> PathBuf {
        self.root.join(FILE_NAME)
    }

    fn write_example(&self) -> anyhow::Result<()> {
        fs::create_dir(&self.house)?;
        for (name, text) in EXAMPLE {
            fs::write(self.house.join(name), text)?;
        }
        Ok(())
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        // What cannot be removed is left to whoever cleans the system's place for such things.
        let _ = fs::remove_dir_all(&self.root);
    }
}

/// Whether a folder is the example house: another house has no physics behind it.
fn is_example(dir: &Path) -> bool {
    EXAMPLE.iter().all(|(name, _)| dir.join(name).is_file())
}

/// A folder that nobody else has, for its owner only.
fn make_root() -> io::Result<PathBuf> {
    use std::os::unix::fs::DirBuilderExt;
    static COUNT: AtomicU32 = AtomicU32::new(0);
    loop {
        let number = COUNT.fetch_add(1, Ordering::Relaxed);
        let root = std::env::temp_dir().join(format!("standfast-demo-{}-{number}", std::process::id()));
        match fs::DirBuilder::new().mode(0o700).create(&root) {
            Err(error) if error.kind() == io::ErrorKind::AlreadyExists => {}
            made => return made.map(|()| root),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_copy_of_the_example_has_every_file_of_it() {
        let rules = Path::new(env!("CARGO_MANIFEST_DIR")).join(AT_HAND);
        let files = fs::read_dir(rules).unwrap().map(|entry| entry.unwrap().file_name().into_string().unwrap());
        let mut files: Vec<String> = files.filter(|name| crate::daemon::house_dir::is_house_file(name)).collect();
        files.sort();
        assert_eq!(files, EXAMPLE.map(|(name, _)| name));
    }

    #[test]
    fn the_folder_is_gone_with_the_demo() {
        let folder = Folder::new(None).unwrap();
        let file = folder.write_config(1883, "127.0.0.1:8420".parse().unwrap()).unwrap();
        assert!(file.is_file());
        drop(folder);
        assert!(!file.exists() && !file.parent().unwrap().exists());
    }
}
