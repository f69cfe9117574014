//! What would turn a condition over: which of its atoms would have to turn. It never tells whether they will.

use crate::house::{AtomId, Condition, House, Truth};

/// So many ways are told at most, the first ones as they are written.
const MOST: usize = 8;

/// The ways to make a condition true, or false, by turning known atoms over: each is a set of atoms, by their places in the
/// order of [`super::for_each_atom`], that suffices if all of it turns. An empty set says that it is so already; no way, that
/// what is unknown stands before it.
pub fn ways(
    house: &House,
    condition: &Condition,
    to: bool,
    truth: &mut impl FnMut(AtomId) -> Truth,
) -> Vec<Vec<usize>> {
    let mut place = 0;
    let mut ways = walk(house, condition, to, truth, &mut place);
    ways.truncate(MOST);
    ways
}

fn walk(
    house: &House,
    condition: &Condition,
    to: bool,
    truth: &mut impl FnMut(AtomId) -> Truth,
    place: &mut usize,
) -> Vec<Vec<usize>> {
    match condition {
        Condition::Atom(id) => {
            let here = *place;
            *place += 1;
            match truth(*id) {
                Truth::Unknown => Vec::new(),
                is if is == Truth::from(to) => vec![Vec::new()],
                _ => vec![vec![here]],
            }
        }
        Condition::Named(id) => walk(house, &house.conditions[id.index()].condition, to, truth, place),
        Condition::Not(part) => walk(house, part, !to, truth, place),
        Condition::All(parts) | Condition::Any(parts) => {
            let takes_all = matches!(condition, Condition::All(_)) == to;
            let parts: Vec<Vec<Vec<usize>>> = parts.iter().map(|part| walk(house, part, to, truth, place)).collect();
            if takes_all { every(&parts) } else { either(parts) }
        }
    }
}

/// One way of each part, combined.
fn every(parts: &[Vec<Vec<usize>>]) -> Vec<Vec<usize>> {
    parts.iter().fold(vec![Vec::new()], |sums, ways| {
        let sums = sums.iter().flat_map(|sum| ways.iter().map(move |way| [sum.as_slice(), way].concat()));
        sums.take(MOST).collect()
    })
}

/// The ways of any part; none is needed where a part is so already.
fn either(parts: Vec<Vec<Vec<usize>>>) -> Vec<Vec<usize>> {
    let ways: Vec<Vec<usize>> = parts.into_iter().flatten().collect();
    if ways.iter().any(Vec::is_empty) {
        return vec![Vec::new()];
    }
    ways.into_iter().take(MOST).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::condition::{evaluate, for_each_atom};
    use crate::house::bare;

    use Condition::{All, Any, Atom, Not};

    fn atom(number: u32) -> Condition {
        Atom(AtomId(number))
    }

    fn truth_of(truths: &str, id: AtomId) -> Truth {
        match truths.as_bytes()[id.index()] {
            b't' => Truth::True,
            b'f' => Truth::False,
            _ => Truth::Unknown,
        }
    }

    /// Atoms are `t`, `f` or `u` in the order of their numbers. Every way that is told is tried as well.
    fn check(condition: &Condition, truths: &str, to: bool, expected: &[&[usize]]) {
        // No condition here has a name, so there is nothing to look up.
        let house = bare::house();
        let found = ways(&house, condition, to, &mut |id| truth_of(truths, id));
        assert_eq!(found, expected, "{condition:?} with {truths} to {to}");
        let mut order = Vec::new();
        for_each_atom(&house, condition, &mut |id| order.push(id));
        for way in &found {
            let turned = |id: AtomId| match truth_of(truths, id) {
                truth if !way.iter().any(|place| order[*place] == id) => truth,
                Truth::True => Truth::False,
                _ => Truth::True,
            };
            assert_eq!(evaluate(&house, condition, &mut |id| turned(id)), Truth::from(to), "{way:?} suffices");
        }
    }

    #[test]
    fn any_one_of_all_ends_it_and_all_of_any_have_to() {
        let all = All(vec![atom(0), atom(1), atom(2)]);
        check(&all, "ttt", false, &[&[0], &[1], &[2]]);
        check(&all, "tff", true, &[&[1, 2]]);
        let any = Any(vec![atom(0), atom(1), atom(2)]);
        check(&any, "ttf", false, &[&[0, 1]]);
        check(&any, "fff", true, &[&[0], &[1], &[2]]);
    }

    #[test]
    fn nested_ones_combine() {
        let tree = All(vec![Any(vec![atom(0), atom(1)]), Not(Box::new(atom(2)))]);
        check(&tree, "fft", true, &[&[0, 2], &[1, 2]]);
        check(&tree, "tff", false, &[&[0], &[2]]);
        check(&tree, "ttf", false, &[&[0, 1], &[2]]);
    }

    #[test]
    fn what_is_so_needs_nothing_and_what_is_unknown_is_no_way() {
        let any = Any(vec![atom(0), atom(1)]);
        check(&any, "tf", true, &[&[]]);
        check(&any, "tu", false, &[]);
        check(&All(vec![atom(0), atom(1)]), "tu", false, &[&[0]]);
        check(&All(Vec::new()), "", true, &[&[]]);
        check(&Any(Vec::new()), "", true, &[]);
    }

    #[test]
    fn however_many_there_are_a_few_are_told() {
        let pairs = (0..10).map(|pair| Any(vec![atom(2 * pair), atom(2 * pair + 1)]));
        assert_eq!(ways(&bare::house(), &All(pairs.collect()), true, &mut |_| Truth::False).len(), MOST);
    }
}
