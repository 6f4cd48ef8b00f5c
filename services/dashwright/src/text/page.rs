//! A page of text: headings, wrapped lines with hanging indents, and tables.

use anstyle::{AnsiColor, Style};
use comfy_table::{ColumnConstraint, ContentArrangement, Table, presets};
use textwrap::{Options, WordSeparator, WordSplitter};

/// How much deeper a line goes on than it began.
const HANGING: usize = 2;
/// Words up to this length are never broken in a table: an instant, the id of a key.
const WHOLE_WORD: usize = 24;

const BOLD: Style = Style::new().bold();
const GOOD: Style = AnsiColor::Green.on_default();
const WARNING: Style = AnsiColor::Yellow.on_default();
const BAD: Style = AnsiColor::Red.on_default();

/// A page that is being written.
pub(super) struct Page {
    text: String,
    columns: usize,
}

impl Page {
    /// An empty page of a width.
    pub(super) fn new(columns: usize) -> Self {
        Self { text: String::new(), columns }
    }

    /// The text, with a line feed at its end.
    pub(super) fn finish(self) -> String {
        self.text
    }

    /// An empty line.
    pub(super) fn blank(&mut self) {
        self.text.push('\n');
    }

    /// A heading, with an empty line before it unless it is the first.
    pub(super) fn heading(&mut self, text: &str) {
        if !self.text.is_empty() {
            self.blank();
        }
        self.text.push_str(&format!("{BOLD}{}{BOLD:#}\n", tame(text)));
    }

    /// A line, wrapped where it is too long.
    pub(super) fn line(&mut self, indent: usize, text: &str) {
        self.wrapped(&" ".repeat(indent), &" ".repeat(indent + HANGING), text);
    }

    /// A line behind a label of a fixed width; what is too long goes on below itself.
    pub(super) fn labelled(&mut self, indent: usize, label: &str, width: usize, text: &str) {
        let first = format!("{}{label:<width$}  ", " ".repeat(indent));
        self.wrapped(&first, &" ".repeat(indent + width + 2), text);
    }

    /// A table, its columns as wide as the page allows, without those that say nothing in any row.
    pub(super) fn table(&mut self, header: &[&str], rows: Vec<Vec<String>>) {
        let used =
            |column: usize| rows.iter().any(|row| row.get(column).is_some_and(|cell| !cell.is_empty()));
        let used: Vec<bool> = (0..header.len()).map(used).collect();
        if !used.contains(&true) {
            return;
        }
        let mut table = Table::new();
        table.load_style(presets::NOTHING).set_content_arrangement(ContentArrangement::Dynamic);
        table.force_no_tty().set_width(u16::try_from(self.columns - 1).unwrap_or(u16::MAX));
        table.set_header(kept(header, &used).map(|name| name.to_uppercase()));
        table.add_rows(rows.iter().map(|row| kept(row, &used).map(|cell| tame(cell)).collect::<Vec<_>>()));
        for (place, column) in table.column_iter_mut().enumerate() {
            let mut cells = rows.iter().filter_map(|row| kept(row, &used).nth(place));
            if cells.all(|cell| cell.len() <= WHOLE_WORD && !cell.contains(' ')) {
                column.set_constraint(ColumnConstraint::ContentWidth);
            }
        }
        for line in table.trim_fmt().lines() {
            self.text.push_str(&format!(" {line}\n"));
        }
    }

    fn wrapped(&mut self, first: &str, next: &str, text: &str) {
        let options = Options::new(self.columns)
            .initial_indent(first)
            .subsequent_indent(next)
            .word_separator(WordSeparator::AsciiSpace)
            .word_splitter(WordSplitter::NoHyphenation);
        for line in textwrap::wrap(&tame(text), options) {
            self.text.push_str(line.trim_end());
            self.text.push('\n');
        }
    }
}

/// The cells of the columns that are used.
fn kept<'a, T>(cells: &'a [T], used: &'a [bool]) -> impl Iterator<Item = &'a T> {
    cells.iter().zip(used).filter(|(_, used)| **used).map(|(cell, _)| cell)
}

/// Something to find at a glance.
pub(super) fn strong(text: &str) -> String {
    format!("{BOLD}{text}{BOLD:#}")
}

/// Something that goes well.
pub(super) fn good(text: &str) -> String {
    format!("{GOOD}{text}{GOOD:#}")
}

/// Something to look at.
pub(super) fn warning(text: &str) -> String {
    format!("{WARNING}{text}{WARNING:#}")
}

/// Something that does not go.
pub(super) fn bad(text: &str) -> String {
    format!("{BAD}{text}{BAD:#}")
}

/// A text on one line. The model refuses other control characters than line breaks, so that the only escapes in a text
/// are those of our own colours.
pub(super) fn tame(text: &str) -> String {
    text.chars().map(|c| if c.is_control() && c != '\u{1b}' { ' ' } else { c }).collect()
}
