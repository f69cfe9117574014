//! Pages as a person reads them: the words of a part, and what its forms lead to. It knows HTML as this program writes it: well
//! formed, with no tag of a name left open but the void ones.

use super::client::{Reply, Site};

const FORM: (&str, &str) = ("Content-Type", "application/x-www-form-urlencoded");

/// The element of an id with all that it holds. Panics where there is none.
pub fn element<'h>(html: &'h str, id: &str) -> &'h str {
    let at = html.find(&format!(" id=\"{id}\"")).unwrap_or_else(|| panic!("nothing has the id {id}: {html}"));
    let start = html[..at].rfind('<').expect("an id stands in a tag");
    let tag: String = html[start + 1..].chars().take_while(char::is_ascii_alphanumeric).collect();
    let (open, close) = (format!("<{tag}"), format!("</{tag}>"));
    let (mut depth, mut end) = (0_usize, start);
    loop {
        let rest = &html[end..];
        let next_close = rest.find(&close).unwrap_or_else(|| panic!("{tag} {id} never ends: {html}"));
        let is_tag = |at: &usize| rest[at + open.len()..].starts_with([' ', '>']);
        match rest.match_indices(&open).map(|(at, _)| at).find(is_tag).filter(|at| *at < next_close) {
            Some(at) => {
                depth += 1;
                end += at + open.len();
            }
            None => {
                depth -= 1;
                end += next_close + close.len();
                if depth == 0 {
                    return &html[start..end];
                }
            }
        }
    }
}

/// What a person reads of a piece of HTML; between two tags stands a blank, lines stay lines.
pub fn words(html: &str) -> String {
    let mut text = String::new();
    let mut rest = html;
    while let Some((before, tag)) = rest.split_once('<') {
        text.push_str(before);
        text.push(' ');
        rest = tag.split_once('>').map_or("", |(_, rest)| rest);
    }
    text.push_str(rest);
    let text = text.replace("&lt;", "<").replace("&gt;", ">").replace("&quot;", "\"").replace("&amp;", "&");
    let lines = text.lines().map(|line| line.split_whitespace().collect::<Vec<_>>().join(" "));
    lines.filter(|line| !line.is_empty()).collect::<Vec<_>>().join("\n")
}

/// The rows of the table within a piece of HTML, cell by cell, without its heading.
pub fn rows(html: &str) -> Vec<Vec<String>> {
    let body =
        html.split_once("<tbody>").and_then(|(_, rest)| rest.split_once("</tbody>")).map_or("", |(body, _)| body);
    let cells = |row: &str| -> Vec<String> {
        let ends = row.replace("</th>", "</td>");
        ends.split("</td>").map(words).filter(|cell| !cell.is_empty()).collect()
    };
    body.split("</tr>").map(cells).filter(|row| !row.is_empty()).collect()
}

/// The page at a path.
pub fn page(site: &Site, path: &str, headers: &[(&str, &str)]) -> String {
    let reply = site.request("GET", path, headers, "");
    assert_eq!(reply.status, 200, "{path}: {reply:?}");
    assert_eq!(reply.header("content-type"), Some("text/html; charset=utf-8"), "{path}");
    reply.body
}

/// Sends a form as the page would, and yields the page that it leads to.
pub fn submit(site: &Site, path: &str, fields: &[(&str, &str)], headers: &[(&str, &str)]) -> String {
    let plain = |byte: u8| byte.is_ascii_alphanumeric() || matches!(byte, b'-' | b'_' | b'.');
    let encoded = |text: &str| -> String {
        let each =
            text.bytes().map(|byte| if plain(byte) { char::from(byte).to_string() } else { format!("%{byte:02X}") });
        each.collect()
    };
    let body: Vec<String> = fields.iter().map(|(name, value)| format!("{name}={}", encoded(value))).collect();
    let all: Vec<(&str, &str)> = headers.iter().copied().chain([FORM]).collect();
    let reply: Reply = site.request("POST", path, &all, &body.join("&"));
    assert_eq!(reply.status, 303, "{path}: {reply:?}");
    page(site, reply.header("location").expect("a way on"), headers)
}
