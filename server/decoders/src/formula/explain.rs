//! A formula with the numbers put in, for people.

use super::{FUNCTIONS, Function, Names, Node, OPERATORS, Scalar, value};

/// The rank above all operators.
const TIGHT: u8 = 9;

/// The text of a node with the values of its names in their places, and only the branch that counts of what chooses.
pub(super) fn explain(node: &Node, names: &dyn Names, above: u8) -> String {
    match node {
        Node::Value(Scalar::Number(number)) => number.to_string(),
        Node::Value(Scalar::Text(text)) => format!("\"{text}\""),
        Node::Value(Scalar::List(_)) => "...".to_owned(),
        Node::Name(name) => match names.value(name) {
            Some(Scalar::Number(number)) => number.to_string(),
            Some(Scalar::Text(text)) => format!("\"{}\"", text.trim_end()),
            Some(Scalar::List(_)) | None => name.clone(),
        },
        Node::Not(inner) => format!("not {}", explain(inner, names, 2)),
        Node::Negative(inner) => format!("-{}", explain(inner, names, TIGHT)),
        Node::Binary(operator, left, right) => {
            let (spelling, rank) = OPERATORS.iter().find(|it| it.1 == *operator).map_or(("?", 0), |it| (it.0, it.2));
            let text = format!("{} {spelling} {}", explain(left, names, rank - 1), explain(right, names, rank));
            if rank <= above { format!("({text})") } else { text }
        }
        Node::In(inner, set) => {
            let element = |(from, to): &(Node, Node)| {
                let (from, to) = (explain(from, names, 3), explain(to, names, 3));
                if from == to { from } else { format!("{from}..{to}") }
            };
            let set: Vec<String> = set.iter().map(element).collect();
            format!("{} in {{{}}}", explain(inner, names, 3), set.join(", "))
        }
        Node::Call(function, arguments) => call(*function, arguments, names, above),
    }
}

fn call(function: Function, arguments: &[Node], names: &dyn Names, above: u8) -> String {
    let chosen = |at: usize| arguments.get(at).map_or_else(String::new, |it| explain(it, names, above));
    let number = |at: usize| value(arguments.get(at)?, names)?.number();
    match function {
        Function::Given => chosen(1),
        Function::If => chosen(if number(0) == Some(0) { 2 } else { 1 }),
        Function::First => chosen((0..arguments.len()).find(|at| number(*at).is_some_and(|it| it != 0)).unwrap_or(0)),
        _ => {
            let name = FUNCTIONS.iter().find(|it| it.1 == function).map_or("?", |it| it.0);
            let inner: Vec<String> = arguments.iter().map(|it| explain(it, names, 0)).collect();
            format!("{name}({})", inner.join(", "))
        }
    }
}
