//! A roster as spreadsheets write it (CSV): the rows with their lines, columns found by their names in any order.
//!
//! The work grows with the bytes of the file and with nothing else. Lines of which only the separators are left, which
//! spreadsheets write below a table, are skipped; of rows that say something no more are read than an event has room for.

use super::answer::Trouble;
use std::collections::BTreeMap;

/// The columns, in the order in which the page and the example name them.
pub const COLUMNS: [&str; 5] = ["number", "name", "car", "group", "mail"];
/// The columns that must be there.
const NEEDED: [&str; 4] = ["number", "name", "car", "group"];
/// The largest file, in bytes: a thousand rows have about 80 kB.
pub const LARGEST: usize = 512 * 1024;
/// The most rows: an event has at most this many entries.
pub const MOST_ROWS: usize = 1000;

/// A row's texts by column.
pub type Row = BTreeMap<&'static str, String>;
/// A row with its line in the file, or what is wrong with its form.
pub type NumberedRow = (usize, Result<Row, String>);

/// Why no row of a file is read.
#[derive(Clone, Debug, PartialEq)]
pub enum NoRows {
    /// Something in the file.
    Trouble(Trouble),
    /// More than [`MOST_ROWS`] rows say something. Reading stopped there.
    TooMany,
}

fn wrong(message: String) -> NoRows {
    NoRows::Trouble(Trouble { field: "file".into(), message })
}

/// Reads the rows of a file.
///
/// # Errors
/// [`NoRows`]: too large, not UTF-8, no such columns, no rows, too many.
///
/// # Example: empty lines below the table are no rows
/// ```
/// use witnessmark::rules::roster_csv::read;
/// let rows = read(b"number;name;car;group\n27;Ines;Corvane;B\n;;;\n;;;\n").unwrap();
/// assert_eq!(rows.len(), 1);
/// assert_eq!((rows[0].0, rows[0].1.as_ref().unwrap()["name"].as_str()), (2, "Ines"));
/// ```
pub fn read(file: &[u8]) -> Result<Vec<NumberedRow>, NoRows> {
    let file = file.strip_prefix(b"\xEF\xBB\xBF").unwrap_or(file);
    if file.len() > LARGEST {
        return Err(wrong(format!("The file is larger than {} kB.", LARGEST / 1024)));
    }
    let text = std::str::from_utf8(file).map_err(|error| {
        let line = ends(&file[..error.valid_up_to()]) + 1;
        wrong(format!("Line {line} is not UTF-8. Save the file as CSV UTF-8 and send it again."))
    })?;
    let header = text.lines().next().unwrap_or_default();
    // Spreadsheets of many countries write semicolons.
    let delimiter = if header.matches(';').count() > header.matches(',').count() { b';' } else { b',' };
    let mut reader =
        csv::ReaderBuilder::new().delimiter(delimiter).flexible(true).trim(csv::Trim::All).from_reader(text.as_bytes());
    let columns = columns(reader.headers().map_err(|error| wrong(error.to_string()))?)?;
    let (mut rows, mut record, mut lines) = (Vec::new(), csv::StringRecord::new(), Lines { text, until: 0, line: 1 });
    while reader.read_record(&mut record).map_err(|error| wrong(format!("The file cannot be read as CSV: {error}.")))? {
        if record.iter().all(str::is_empty) {
            continue;
        }
        if rows.len() >= MOST_ROWS {
            return Err(NoRows::TooMany);
        }
        let line = lines.at(record.position().map_or(0, csv::Position::byte));
        rows.push((line, row(&columns, &record)));
    }
    if rows.is_empty() { Err(wrong("The file has no entries.".into())) } else { Ok(rows) }
}

/// What each column of the file is; `None` for one that is not ours.
fn columns(header: &csv::StringRecord) -> Result<Vec<Option<&'static str>>, NoRows> {
    let mut columns: Vec<Option<&'static str>> = Vec::with_capacity(header.len());
    for name in header {
        let known = COLUMNS.into_iter().find(|column| name.eq_ignore_ascii_case(column));
        if known.is_some() && columns.contains(&known) {
            return Err(wrong(format!("The column {name} is there twice.")));
        }
        columns.push(known);
    }
    match NEEDED.into_iter().find(|column| !columns.contains(&Some(*column))) {
        Some(missing) => Err(wrong(format!("The first line names the columns ({}); {missing} is missing.", COLUMNS.join(", ")))),
        None => Ok(columns),
    }
}

fn row(columns: &[Option<&'static str>], record: &csv::StringRecord) -> Result<Row, String> {
    if record.len() > columns.len() {
        return Err(format!("This line has {} fields, the first line names {}.", record.len(), columns.len()));
    }
    Ok(columns.iter().zip(record).filter_map(|(column, text)| column.map(|column| (column, text.to_owned()))).collect())
}

/// Lines as an editor counts them. It goes through the text once: rows are asked for in their order.
struct Lines<'t> {
    text: &'t str,
    /// So many bytes are counted.
    until: usize,
    /// The line on which they end, from 1.
    line: usize,
}

impl Lines<'_> {
    /// The line of the row that begins at a byte. The CSV reader stops before line ends, so the blank lines are skipped here.
    fn at(&mut self, byte: u64) -> usize {
        let bytes = self.text.as_bytes();
        let begin = usize::try_from(byte).unwrap_or(bytes.len()).clamp(self.until, bytes.len());
        let blank = bytes[begin..].iter().take_while(|byte| matches!(byte, b'\r' | b'\n')).count();
        self.line += ends(&bytes[self.until..begin + blank]);
        self.until = begin + blank;
        self.line
    }
}

fn ends(bytes: &[u8]) -> usize {
    bytes.iter().filter(|byte| **byte == b'\n').count()
}
