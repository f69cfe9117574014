//! Comma-separated values as RFC 4180 has them. It never opens a file.

use std::io::{self, Write};

/// Writes one record, with the line end that the standard names.
pub fn record(out: &mut impl Write, fields: &[&str]) -> io::Result<()> {
    for (number, field) in fields.iter().enumerate() {
        if number > 0 {
            out.write_all(b",")?;
        }
        if field.contains([',', '"', '\r', '\n']) {
            write!(out, "\"{}\"", field.replace('"', "\"\""))?;
        } else {
            out.write_all(field.as_bytes())?;
        }
    }
    out.write_all(b"\r\n")
}

#[cfg(test)]
mod tests {
    use super::*;

    fn check(fields: &[&str], expected: &str) {
        let mut out = Vec::new();
        record(&mut out, fields).expect("written");
        assert_eq!(String::from_utf8_lossy(&out), expected);
    }

    /// The examples of RFC 4180, section 2.
    #[test]
    fn fields_are_quoted_where_they_must_be() {
        check(&["aaa", "bbb", "ccc"], "aaa,bbb,ccc\r\n");
        check(&["aaa", "b\r\nbb", "ccc"], "aaa,\"b\r\nbb\",ccc\r\n");
        check(&["aaa", "b\"bb", "c,c"], "aaa,\"b\"\"bb\",\"c,c\"\r\n");
        check(&["", ""], ",\r\n");
    }
}
