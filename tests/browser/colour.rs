//! Colour is never the only sign. What has a colour has words too, and the same words or the same drawing never stand in two
//! colours: whoever sees none of them misses nothing.

use std::collections::{BTreeMap, BTreeSet};

use super::driver::Browser;
use super::looks::{PAGES, demo};

/// Looks for what the page has that is coloured, and yields for each its kind, what is read or drawn there, its colours, and whether that says
/// anything. A colour is one where its parts differ by more than a tint does.
const LOOK: &str = r#"
  function look() {
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
  }
"#;

/// What is wrong with what has a colour on the page that is open, as a script looks at it; each drawing and each text is held
/// against those that are known.
fn faults(browser: &Browser, script: &str, known: &mut BTreeMap<(String, String), String>) -> Vec<String> {
    let found = browser.script(&format!("{LOOK} {script}"));
    let mut faults = Vec::new();
    for one in found.as_array().expect("a list") {
        let text = |at: usize| one[at].as_str().expect("a text").to_owned();
        let (kind, sign, colour) = (text(0), text(1), text(2));
        if one[3] != true {
            faults.push(format!("{kind} {sign:?} in {colour} says nothing"));
        }
        let before = known.entry((kind.clone(), sign.clone())).or_insert_with(|| colour.clone());
        if *before != colour {
            faults.push(format!("{kind} {sign:?} stands in {before} and in {colour}"));
        }
    }
    faults
}

#[test]
fn whatever_has_a_colour_has_words_or_a_drawing_of_its_own() {
    let (_demo, url) = demo();
    let browser = Browser::start(360);
    let mut kinds = BTreeSet::new();
    for scheme in ["light", "dark"] {
        browser.prefer(scheme);
        let mut known = BTreeMap::new();
        for page in PAGES {
            browser.go(&format!("{url}{page}"));
            let all =
                "document.querySelectorAll('details').forEach((details) => { details.open = true; }); return look();";
            assert_eq!(faults(&browser, all, &mut known), [""; 0], "{page} {scheme}");
        }
        kinds.extend(known.into_keys().map(|(kind, _)| kind));
    }
    assert_eq!(kinds.into_iter().collect::<Vec<_>>(), ["figure", "lamp", "words"], "it looks at some of each kind");
    // It does look: a drawing in another colour, and a coloured patch without words. Before and after are of one moment, since
    // the page changes by itself.
    let check = |change: &str, expected: &str| {
        browser.go(&url);
        let script = format!("const before = look(); {change} return [...before, ...look()];");
        let found = faults(&browser, &script, &mut BTreeMap::new());
        assert!(found.len() == 1 && found[0].contains(expected), "{expected}: {found:?}");
    };
    check("document.querySelector('svg.lamp .plate').style.fill = 'rgb(200, 0, 200)';", "and in rgb(200, 0, 200)");
    check(
        "const patch = document.createElement('p');
         Object.assign(patch.style, { width: '9px', height: '9px', backgroundColor: 'rgb(200, 0, 0)' });
         document.querySelector('main').append(patch);",
        "in rgb(200, 0, 0) says nothing",
    );
}
