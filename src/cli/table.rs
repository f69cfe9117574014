//! Tables that fit 80 columns, and colour where a terminal shows it. It never asks a daemon anything.

use std::fmt::Write;
use std::io::IsTerminal;

/// No line is longer, in characters.
pub const WIDTH: usize = 80;

/// Whether standard output may be coloured: on a terminal, unless `NO_COLOR` is set to anything (no-color.org).
pub fn may_colour() -> bool {
    let refused = std::env::var_os("NO_COLOR").is_some_and(|set| !set.is_empty());
    !refused && std::io::stdout().is_terminal() && std::env::var_os("TERM").is_none_or(|term| term != "dumb")
}

/// Columns under a heading; the last one is broken over lines so that no line is longer than [`WIDTH`]. The heading is bold
/// where that is wanted.
pub fn table(heading: &[&str], rows: &[Vec<String>], bold: bool) -> String {
    let last = heading.len().saturating_sub(1);
    let mut widths: Vec<usize> = heading.iter().map(|title| title.chars().count()).collect();
    for row in rows {
        for (width, cell) in widths.iter_mut().zip(row) {
            *width = (*width).max(cell.chars().count());
        }
    }
    let indent = widths[..last].iter().map(|width| width + 2).sum::<usize>();
    // Where the columns before it leave no room, the last one stands on lines of its own.
    let (indent, is_below) = if indent > WIDTH * 5 / 8 { (4, true) } else { (indent, false) };
    let mut text = String::new();
    let mut line = |cells: &[String], is_heading: bool| {
        let mut head = String::new();
        for (cell, width) in cells[..last].iter().zip(&widths) {
            let _ = write!(head, "{cell:<width$}  ");
        }
        let (start, end) = if is_heading && bold { ("\x1b[1m", "\x1b[0m") } else { ("", "") };
        let mut parts = broken(&cells[last], WIDTH - indent).into_iter();
        if is_below {
            let _ = writeln!(text, "{start}{}{end}", head.trim_end());
        } else {
            let first = parts.next().unwrap_or_default();
            let _ = writeln!(text, "{start}{}{end}", format!("{head}{first}").trim_end());
        }
        for part in parts {
            let _ = writeln!(text, "{start}{:indent$}{part}{end}", "");
        }
    };
    let titles: Vec<String> = heading.iter().map(ToString::to_string).collect();
    line(&titles, true);
    rows.iter().for_each(|row| line(row, false));
    text
}

/// Lines broken so that none is longer than [`WIDTH`]; what goes on is indented a little deeper than its line.
pub fn wrapped(text: &str) -> String {
    let mut wrapped = String::new();
    for line in text.lines() {
        if line.chars().count() <= WIDTH {
            let _ = writeln!(wrapped, "{line}");
            continue;
        }
        let indent = line.chars().take_while(|c| *c == ' ').count().min(WIDTH / 2);
        for (number, part) in broken(line, WIDTH - indent - 2).iter().enumerate() {
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
            let rest = word.split_off(width);
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
        let text = table(heading, &rows, false);
        assert!(text.lines().all(|line| line.chars().count() <= WIDTH), "{text}");
        assert_eq!(text, expected);
    }

    #[test]
    fn tables_fit_eighty_columns() {
        check(
            &["load", "on"],
            &[&["fan", "4.0"], &["sunroom-fan", "12.5"]],
            "load         on\nfan          4.0\nsunroom-fan  12.5\n",
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
        let unbroken = "x".repeat(150);
        check(&["what"], &[&[&unbroken]], &format!("what\n{}\n{}\n", "x".repeat(80), "x".repeat(70)));
    }
}
