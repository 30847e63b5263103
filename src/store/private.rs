//! The club's file is private to the user that runs the program: it has names, mail addresses and the keys of passes in it.

use std::io;
use std::path::{Path, PathBuf};

/// The file itself, and what SQLite keeps beside it.
const ENDINGS: [&str; 4] = ["", "-wal", "-shm", "-journal"];

fn beside(path: &Path, ending: &str) -> PathBuf {
    let mut name = path.as_os_str().to_owned();
    name.push(ending);
    name.into()
}

/// Makes the file private before SQLite opens it. A folder that is missing is made, for this user alone; a file that others could
/// read is closed to them, and the log says so. A folder that is there stays as it is: others may have things in it.
///
/// # Errors
/// What the operating system says of a folder or file that cannot be made.
#[cfg(unix)]
pub(super) fn keep(path: &Path) -> io::Result<()> {
    use std::fs::{DirBuilder, OpenOptions, Permissions, metadata, set_permissions};
    use std::os::unix::fs::{DirBuilderExt, OpenOptionsExt, PermissionsExt};
    if let Some(folder) = path.parent().filter(|folder| !folder.as_os_str().is_empty()) {
        DirBuilder::new().recursive(true).mode(0o700).create(folder)?;
        if metadata(folder)?.permissions().mode() & 0o002 != 0 {
            tracing::warn!(folder = %folder.display(), "every user of this machine can put files into the database's folder");
        }
    }
    if !path.exists() {
        OpenOptions::new().write(true).create_new(true).mode(0o600).open(path)?;
    }
    for file in ENDINGS.map(|ending| beside(path, ending)) {
        let Ok(mode) = metadata(&file).map(|there| there.permissions().mode()) else { continue };
        if mode & 0o077 == 0 {
            continue;
        }
        match set_permissions(&file, Permissions::from_mode(mode & 0o700)) {
            Ok(()) => tracing::warn!(file = %file.display(), "other users of this machine could read this file; now they cannot"),
            Err(error) => tracing::error!(file = %file.display(), %error, "other users of this machine can read this file"),
        }
    }
    Ok(())
}

/// As on Unix, as far as it goes: the folder's own rules say who may read.
///
/// # Errors
/// What the operating system says of a folder that cannot be made.
#[cfg(not(unix))]
pub(super) fn keep(path: &Path) -> io::Result<()> {
    path.parent().filter(|folder| !folder.as_os_str().is_empty()).map_or(Ok(()), std::fs::create_dir_all)
}
