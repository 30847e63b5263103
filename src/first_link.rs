//! The first organizer's one-time link: on the terminal of whoever starts the server, or in a file that only they can read. What a
//! service writes is kept in a log that others read, and the link would be in it.

use std::fs::{self, OpenOptions};
use std::io::{self, IsTerminal, Write};
use std::path::{Path, PathBuf};

/// The file's name, beside the database.
pub const NAME: &str = "first-organizer.link";

/// Gives the link to whoever runs the server; `None` where nobody needs it any more, and a file of before is removed.
///
/// # Errors
/// What the disc says: without its link nobody could come in.
pub fn give(database: &Path, link: Option<&str>) -> io::Result<()> {
    let file = database.parent().map_or_else(|| PathBuf::from(NAME), |folder| folder.join(NAME));
    match fs::remove_file(&file) {
        Err(error) if error.kind() != io::ErrorKind::NotFound => return Err(error),
        _ => {}
    }
    let Some(link) = link else { return Ok(()) };
    if io::stdout().is_terminal() {
        println!("Nobody can come in yet. The organizer's one-time link, for setting a passphrase:\n\n  {link}\n");
        return Ok(());
    }
    write_privately(&file, link)?;
    tracing::warn!(file = %file.display(), "nobody can come in yet; this file has the organizer's one-time link");
    Ok(())
}

/// Writes a new file that its owner alone may read.
fn write_privately(file: &Path, link: &str) -> io::Result<()> {
    let mut options = OpenOptions::new();
    // New: a file or a link that somebody else laid there is not written to.
    options.write(true).create_new(true);
    #[cfg(unix)]
    std::os::unix::fs::OpenOptionsExt::mode(&mut options, 0o600);
    let mut out = options.open(file)?;
    writeln!(out, "{link}")?;
    out.sync_all()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_file_is_for_its_owner_alone_and_goes_once_nobody_needs_it() {
        let folder = tempfile::TempDir::new().expect("a folder");
        let (database, file) = (folder.path().join("club.sqlite"), folder.path().join(NAME));
        write_privately(&file, "http://localhost/in/secret").expect("written");
        assert_eq!(fs::read_to_string(&file).expect("a text"), "http://localhost/in/secret\n");
        #[cfg(unix)]
        {
            use std::os::unix::fs::PermissionsExt;
            assert_eq!(fs::metadata(&file).expect("a file").permissions().mode() & 0o777, 0o600);
        }
        assert!(write_privately(&file, "another").is_err(), "what is there is not written to");
        give(&database, None).expect("removed");
        assert!(!file.exists());
        give(&database, None).expect("nothing to remove");
    }
}
