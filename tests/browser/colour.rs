//! Colour is never the only sign. What has a colour has words too, and the same words or the same drawing never stand in two
//! colours: whoever sees none of them misses nothing.

use std::collections::BTreeMap;

use super::driver::Browser;
use super::looks::{PAGES, demo};

/// What the page has that is coloured: for each its kind, what is read or drawn there, its colours, and whether that says
/// anything. A colour is one where its parts differ by more than a tint does.
const COLOURED: &str = r#"
    const parts = (colour) => (colour.match(/[\d.]+/g) ?? []).map(Number);
    const isColour = (colour) => {
      const [red, green, blue, alpha = 1] = parts(colour);
      return red !== undefined && alpha > 0 && Math.max(red, green, blue) - Math.min(red, green, blue) > 24;
    };
    const found = [];
    const shown = (one) => one.getClientRects().length > 0;
    const plain = (text) => text.replace(/[\d.,:–-]+/g, '#').replace(/\s+/g, ' ').trim();
    for (const lamp of document.querySelectorAll('svg.lamp')) {
      const drawn = [...lamp.children].map((one) => one.tagName + (one.getAttribute('d') ?? '')).join(' ');
      const style = getComputedStyle(lamp.querySelector('.plate'));
      const marked = lamp.querySelector('.mark') !== null;
      const beside = lamp.parentElement.innerText.trim();
      found.push(['lamp', drawn, `${style.fill} ${style.stroke}`, marked && beside !== '']);
    }
    for (const shape of document.querySelectorAll('svg:not(.lamp) *')) {
      const style = getComputedStyle(shape);
      const coloured = [style.fill, style.stroke].filter(isColour);
      const told = shape.closest('svg[role=img]')?.getAttribute('aria-label') ?? '';
      if (coloured.length > 0) found.push(['figure', `${shape.tagName} ${told}`, '', told !== '']);
    }
    for (const one of document.querySelectorAll('body *:not(svg, svg *)')) {
      const style = getComputedStyle(one);
      const sides = ['Top', 'Right', 'Bottom', 'Left'];
      const edges = sides.filter((side) => parseFloat(style[`border${side}Width`]) > 0).map((side) => style[`border${side}Color`]);
      const coloured = [style.backgroundColor, ...edges].filter(isColour);
      const words = plain(one.innerText ?? '');
      if (shown(one) && coloured.length > 0) found.push(['words', words, [...new Set(coloured)].join(' '), words !== '']);
    }
    return found;
"#;

/// What is wrong with what has a colour on the page that is open; each drawing and each text is held against those of all
/// pages before.
fn faults(browser: &Browser, page: &str, known: &mut BTreeMap<(String, String), String>) -> (Vec<String>, usize) {
    let found = browser.script(COLOURED);
    let found = found.as_array().expect("a list");
    let mut faults = Vec::new();
    for one in found {
        let text = |at: usize| one[at].as_str().expect("a text").to_owned();
        let (kind, sign, colour) = (text(0), text(1), text(2));
        if one[3] != true {
            faults.push(format!("{page}: {kind} {sign:?} in {colour} says nothing"));
        }
        let before = known.entry((kind.clone(), sign.clone())).or_insert_with(|| colour.clone());
        if *before != colour {
            faults.push(format!("{page}: {kind} {sign:?} stands in {before} and in {colour}"));
        }
    }
    (faults, found.len())
}

#[test]
fn whatever_has_a_colour_has_words_or_a_drawing_of_its_own() {
    let (_demo, url) = demo();
    let browser = Browser::start(360);
    let (mut wrong, mut kinds) = (Vec::new(), BTreeMap::new());
    for scheme in ["light", "dark"] {
        browser.prefer(scheme);
        let mut known = BTreeMap::new();
        for page in PAGES {
            browser.go(&format!("{url}{page}"));
            browser.script("document.querySelectorAll('details').forEach((details) => { details.open = true; })");
            wrong.extend(faults(&browser, &format!("{page} {scheme}"), &mut known).0);
        }
        for (kind, _) in known.keys() {
            *kinds.entry(kind.clone()).or_insert(0) += 1;
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    assert!(
        ["lamp", "figure", "words"].iter().all(|kind| kinds.contains_key(*kind)),
        "it looks at something: {kinds:?}"
    );
    // It does look: a drawing in another colour, and a coloured patch without words.
    browser.go(&url);
    let mut known = BTreeMap::new();
    assert!(faults(&browser, "before", &mut known).0.is_empty());
    browser.script("document.querySelector('svg.lamp .plate').style.fill = 'rgb(200, 0, 200)'");
    assert_eq!(faults(&browser, "painted", &mut known).0.len(), 1);
    browser.go(&url);
    browser.script(
        "const patch = document.createElement('p');
         Object.assign(patch.style, { width: '9px', height: '9px', backgroundColor: 'rgb(200, 0, 0)' });
         document.querySelector('main').append(patch);",
    );
    assert_eq!(faults(&browser, "patched", &mut known).0.len(), 1);
}
