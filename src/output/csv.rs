//! CSV as a spreadsheet may open it without harm.

/// One line of a file (RFC 4180): every cell quoted, and none that a spreadsheet would run as a formula.
///
/// Quoted everywhere, a cell stays one cell in spreadsheets that separate by semicolons or tabs as well.
///
/// A cell that begins with `=`, `+`, `-`, `@`, a tab or a carriage return gets an apostrophe before it (OWASP, "CSV
/// injection", the common advice; from memory).
///
/// # Example: a driver with a clever name
/// ```
/// use witnessmark::output::csv::line;
/// assert_eq!(line(["7", "=1+1"]), "\"7\",\"'=1+1\"\r\n");
/// assert_eq!(line(["7", "Reyes, Tomas"]), "\"7\",\"Reyes, Tomas\"\r\n");
/// ```
pub fn line<'a>(cells: impl IntoIterator<Item = &'a (impl AsRef<str> + ?Sized + 'a)>) -> String {
    let mut style = csv::WriterBuilder::new();
    style.terminator(csv::Terminator::CRLF).quote_style(csv::QuoteStyle::Always);
    let mut writer = style.from_writer(Vec::new());
    let safe: Vec<String> = cells.into_iter().map(|cell| guarded(cell.as_ref())).collect();
    // Writing a record into memory cannot fail; an empty line is better than a panic were it to.
    let _ = writer.write_record(&safe);
    writer.into_inner().ok().and_then(|bytes| String::from_utf8(bytes).ok()).unwrap_or_default()
}

fn guarded(cell: &str) -> String {
    // A plain number below nought is no formula.
    let is_number = cell.bytes().all(|b| b.is_ascii_digit() || b == b'-' || b == b'.') && cell.parse::<f64>().is_ok();
    let runs = cell.starts_with(['=', '+', '-', '@', '\t', '\r', '\n']) && !is_number;
    if runs { format!("'{cell}") } else { cell.to_owned() }
}

/// A table: the names of its columns and its rows.
pub fn table<const N: usize>(columns: &[&str; N], rows: impl IntoIterator<Item = [String; N]>) -> String {
    line(columns.iter().copied()) + &rows.into_iter().map(|row| line(&row)).collect::<String>()
}
