//! Named conditions that lead back to themselves, or through too many names. It never changes one.

use super::super::context::Context;
use crate::house::Condition;

/// How far the search has come with a condition.
#[derive(Clone, Copy, PartialEq)]
enum Mark {
    New,
    Open,
    Done,
}

/// How many names may lead from one to the next, so that whoever follows them needs little room.
const CHAIN_MAX: usize = 32;

/// Reports each circle of named conditions, and the first chain that is too long.
pub(in super::super) fn report_circles(context: &mut Context<'_>) {
    let uses: Vec<Vec<usize>> = context
        .draft
        .conditions
        .iter()
        .map(|named| {
            let mut names = Vec::new();
            if let Some(named) = named {
                collect(&named.condition, &mut names);
            }
            names
        })
        .collect();
    let mut marks = vec![Mark::New; uses.len()];
    // How many names lie at most below each.
    let mut below = vec![0_usize; uses.len()];
    for start in 0..uses.len() {
        // Depth first with a path of our own: names may form a chain as long as the house.
        let mut path: Vec<(usize, usize)> = Vec::new();
        if marks[start] == Mark::New {
            marks[start] = Mark::Open;
            path.push((start, 0));
        }
        while let Some((at, next)) = path.last_mut() {
            let Some(&to) = uses[*at].get(*next) else {
                marks[*at] = Mark::Done;
                below[*at] = uses[*at].iter().filter_map(|to| below.get(*to)).max().map_or(0, |most| most + 1);
                path.pop();
                continue;
            };
            *next += 1;
            match marks.get(to) {
                Some(Mark::New) => {
                    marks[to] = Mark::Open;
                    path.push((to, 0));
                }
                Some(Mark::Open) => {
                    let from = path.iter().position(|(index, _)| *index == to).unwrap_or(0);
                    let circle: Vec<usize> = path[from..].iter().map(|(index, _)| *index).collect();
                    report(context, &circle);
                }
                Some(Mark::Done) | None => {}
            }
        }
    }
    if let Some(first) = below.iter().position(|names| *names > CHAIN_MAX) {
        report_chain(context, first);
    }
}

fn report_chain(context: &mut Context<'_>, index: usize) {
    let Some(item) = context.items.get("condition").and_then(|all| all.get(index)).copied() else { return };
    let message = format!("condition \"{}\" leads through more than {CHAIN_MAX} names", item.name);
    let diagnostic =
        context.error("too-deep", item.name_spot, message, "").help("let it say more itself, with fewer names between");
    context.push(diagnostic);
}

/// The names that a condition uses.
fn collect(condition: &Condition, names: &mut Vec<usize>) {
    match condition {
        Condition::Atom(_) => {}
        Condition::Named(id) => names.push(id.index()),
        Condition::All(members) | Condition::Any(members) => {
            members.iter().for_each(|member| collect(member, names));
        }
        Condition::Not(inner) => collect(inner, names),
    }
}

fn report(context: &mut Context<'_>, circle: &[usize]) {
    let items: Vec<_> = circle
        .iter()
        .filter_map(|&index| context.items.get("condition").and_then(|all| all.get(index)).copied())
        .collect();
    let Some(first) = items.first() else { return };
    let mut chain: Vec<String> = items.iter().map(|item| format!("\"{}\"", item.name)).collect();
    chain.push(format!("\"{}\"", first.name));
    let message = match items.len() {
        1 => format!("condition \"{}\" is defined by itself", first.name),
        _ => format!("conditions go round in a circle: {}", chain.join(" needs ")),
    };
    let mut diagnostic = context
        .error("circle", first.name_spot, message, "")
        .because("what needs itself is never known")
        .help("let one of them say what it is without the others");
    for item in items.iter().skip(1).take(8) {
        diagnostic = diagnostic.also(context.file(item.name_spot), item.name_spot.range(), "");
    }
    context.push(diagnostic);
}
