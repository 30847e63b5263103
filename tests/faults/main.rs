//! What breaks: the process killed at any moment, a statement that fails, a full disk, a caller who hangs up, an old file.
//!
//! After each of them the history, the pages and the board must agree, and nothing that was answered may be lost.

#[path = "../club/mod.rs"]
mod club;

mod bound_columns;
mod changed_bytes;
mod dice;
mod every_column;
mod full_club;
mod full_disk;
mod half_a_deed;
mod hang_up;
mod injury;
mod killed;
mod load;
mod neighbours;
mod nth_write;
mod old_files;
mod raised_meanwhile;
mod server;
