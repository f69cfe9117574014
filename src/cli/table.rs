//! Tables that fit 80 columns or a narrower terminal, and colour where a terminal shows it. It never asks a daemon anything.

use std::fmt::Write;

use crate::daemon::log;

/// No line is longer, in characters.
pub const WIDTH: usize = 80;

/// No terminal is taken to be narrower, in characters: there words would be cut to pieces.
const NARROWEST: usize = 24;

/// The moment of an answer, `2026-11-26T14:02:07+00:00`, as people read it on the clock of the house: `2026-11-26 14:02:07`.
pub fn moment(at: &str) -> String {
    at.get(..19).unwrap_or(at).replace('T', " ")
}

/// Whether standard output may be coloured.
pub fn may_colour() -> bool {
    log::may_colour(&std::io::stdout())
}

/// How long a line of standard output may be, in characters: [`WIDTH`], or less where its terminal or `COLUMNS` says so
/// (POSIX.1-2017, XBD 8.3).
pub fn width() -> usize {
    let said = std::env::var("COLUMNS").ok().and_then(|columns| columns.parse().ok()).filter(|columns| *columns > 0);
    let terminal = || rustix::termios::tcgetwinsize(std::io::stdout()).ok().map(|size| usize::from(size.ws_col));
    // A terminal that knows no width says 0.
    let columns = said.or_else(|| terminal().filter(|columns| *columns > 0));
    columns.map_or(WIDTH, |columns| columns.clamp(NARROWEST, WIDTH))
}

/// A column is not made narrower than this, in characters.
const LEAST: usize = 8;

/// Columns under a heading, numbers to the right. Where a line would be longer than `width`, the widest columns are broken
/// over lines; where that is not enough, each row is a few lines, its cells behind their headings. The heading is bold where
/// that is wanted.
pub fn table(heading: &[&str], rows: &[Vec<String>], width: usize, bold: bool) -> String {
    let mut widths: Vec<usize> = heading.iter().map(|title| title.chars().count()).collect();
    for row in rows {
        for (width, cell) in widths.iter_mut().zip(row) {
            *width = (*width).max(cell.chars().count());
        }
    }
    let (start, end) = if bold { ("\x1b[1m", "\x1b[0m") } else { ("", "") };
    if !fit(&mut widths, width) {
        return listed(heading, rows, width, (start, end));
    }
    let is_number = |cell: &String| cell == "-" || cell.parse::<f64>().is_ok();
    let right: Vec<bool> =
        (0..heading.len()).map(|column| rows.iter().filter_map(|row| row.get(column)).all(is_number)).collect();
    let titles: Vec<String> = heading.iter().map(ToString::to_string).collect();
    let mut text = String::new();
    for (number, row) in std::iter::once(&titles).chain(rows).enumerate() {
        let (start, end) = if number == 0 { (start, end) } else { ("", "") };
        let cells: Vec<Vec<String>> = row.iter().zip(&widths).map(|(cell, width)| broken(cell, *width)).collect();
        for part in 0..cells.iter().map(Vec::len).max().unwrap_or_default() {
            let mut line = String::new();
            for ((cell, width), right) in cells.iter().zip(&widths).zip(&right) {
                let cell = cell.get(part).map_or("", String::as_str);
                let _ = if *right { write!(line, "{cell:>width$}  ") } else { write!(line, "{cell:<width$}  ") };
            }
            let _ = writeln!(text, "{start}{}{end}", line.trim_end());
        }
    }
    text
}

/// Narrows the widest columns until a line has at most `width` characters; whether it came to that.
fn fit(widths: &mut [usize], width: usize) -> bool {
    let between = 2 * widths.len().saturating_sub(1);
    while widths.iter().sum::<usize>() + between > width {
        let Some(widest) = widths.iter_mut().max().filter(|widest| **widest > LEAST) else { return false };
        *widest -= 1;
    }
    true
}

/// Each row as a few lines: its first cell, and the others behind their headings.
fn listed(heading: &[&str], rows: &[Vec<String>], width: usize, (start, end): (&str, &str)) -> String {
    let mut text = String::new();
    for row in rows {
        for (column, (title, cell)) in heading.iter().zip(row).enumerate() {
            if column == 0 {
                for line in broken(cell, width) {
                    let _ = writeln!(text, "{start}{line}{end}");
                }
            } else {
                text.push_str(&wrapped(&format!("  {title} {cell}"), width));
            }
        }
    }
    text
}

/// Lines broken so that none is longer than `width`; what goes on is indented a little deeper than its line.
pub fn wrapped(text: &str, width: usize) -> String {
    let mut wrapped = String::new();
    for line in text.lines() {
        if line.chars().count() <= width {
            let _ = writeln!(wrapped, "{line}");
            continue;
        }
        let indent = line.chars().take_while(|c| *c == ' ').count().min(width / 2);
        for (number, part) in broken(line, width - indent - 2).iter().enumerate() {
            let indent = if number == 0 { indent } else { indent + 2 };
            let _ = writeln!(wrapped, "{:indent$}{part}", "");
        }
    }
    wrapped
}

/// A text in lines of so many characters at most, broken at blanks where there are any.
pub fn broken(text: &str, width: usize) -> Vec<String> {
    let mut lines = vec![String::new()];
    let mut length = 0;
    for word in text.split_whitespace() {
        let mut word: Vec<char> = word.chars().collect();
        if length > 0 && length + 1 + word.len() > width {
            lines.push(String::new());
            length = 0;
        }
        while word.len() > width {
            // Names are broken behind a hyphen or a slash where that leaves much of the line.
            let at = word[..width].iter().rposition(|c| matches!(c, '-' | '/')).map_or(width, |at| at + 1);
            let rest = word.split_off(if at > width / 2 { at } else { width });
            lines.last_mut().expect("it begins with one").extend(word);
            lines.push(String::new());
            word = rest;
        }
        let line = lines.last_mut().expect("it begins with one");
        if length > 0 {
            line.push(' ');
            length += 1;
        }
        length += word.len();
        line.extend(word);
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;

    fn check(heading: &[&str], rows: &[&[&str]], expected: &str) {
        let rows: Vec<Vec<String>> = rows.iter().map(|row| row.iter().map(ToString::to_string).collect()).collect();
        assert_eq!(table(heading, &rows, WIDTH, false), expected);
        for width in NARROWEST..=WIDTH {
            let text = table(heading, &rows, width, false);
            assert!(text.lines().all(|line| line.chars().count() <= width), "{width}: {text}");
            let plain = |text: &str| text.replace(char::is_whitespace, "");
            for cell in rows.iter().flatten().filter(|cell| cell.len() <= LEAST) {
                assert!(plain(&text).contains(&plain(cell)), "{width}: {cell} is lost: {text}");
            }
        }
    }

    #[test]
    fn tables_fit_eighty_columns() {
        check(
            &["load", "on"],
            &[&["fan", "4.0"], &["sunroom-fan", "12.5"]],
            "load           on\nfan           4.0\nsunroom-fan  12.5\n",
        );
        let long = "word ".repeat(20);
        check(
            &["when", "what"],
            &[&["12:00", &long]],
            &format!(
                "when   what\n12:00  {}\n       {}\n",
                "word ".repeat(14).trim_end(),
                "word ".repeat(6).trim_end()
            ),
        );
        // Names as long as names may be, with a reason as long.
        let (load, reason) = (["wash-house-towel-rail"; 3].join("-"), format!("rule {}", ["never-cold"; 6].join("-")));
        check(
            &["load", "reason", "hours on", "kWh", "switched on", "% of life"],
            &[&[&load, &reason, "1234.50", "-", "3", "0.01"], &["fan", "rule x", "0.25", "0.10", "12", "-"]],
            "load                 reason               hours on   kWh  switched on  % of life\n\
             wash-house-towel-    rule                  1234.50     -            3       0.01\n\
             rail-wash-house-     never-cold-never-\n\
             towel-rail-wash-     cold-never-cold-\n\
             house-towel-rail     never-cold-never-\n                     cold-never-cold\n\
             fan                  rule x                   0.25  0.10           12          -\n",
        );
        let unbroken = "x".repeat(150);
        check(&["what"], &[&[&unbroken]], &format!("what\n{}\n{}\n", "x".repeat(80), "x".repeat(70)));
    }

    #[test]
    fn where_columns_have_no_room_each_row_is_a_few_lines() {
        let rows = [["sunroom-fan", "rule vents-when-hot", "4.00", "0.18", "3", "0.01"].map(str::to_owned).to_vec()];
        let heading = ["load", "reason", "hours on", "kWh", "switched on", "% of life"];
        assert_eq!(
            table(&heading, &rows, 30, true),
            "\x1b[1msunroom-fan\x1b[0m\n  reason rule vents-when-hot\n  hours on 4.00\n  kWh 0.18\n  switched on 3\n  % of life 0.01\n"
        );
        assert_eq!(
            wrapped("  a line that has too many words for it", 24),
            "  a line that has too\n    many words for it\n"
        );
    }
}
