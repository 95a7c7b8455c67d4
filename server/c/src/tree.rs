//! What a text says: expressions, statements, objects, functions.

use std::sync::Arc;

use crate::text::Span;
use crate::types::{Number, Type};

/// Expressions higher than this are broken: a walk over one must fit a thread's stack.
pub(crate) const HIGHEST: u16 = 250;

/// An expression.
#[derive(Debug, Clone, PartialEq)]
pub struct Expr {
    /// What it is.
    pub kind: ExprKind,
    /// Where it stands; for what a macro lays down, the use.
    pub span: Span,
    /// Levels below it, and whether a token of it comes from a macro's body.
    height: u16,
    is_made: bool,
}

/// The kinds of expressions. Operators are as they are written.
#[derive(Debug, Clone, PartialEq)]
pub enum ExprKind {
    /// A whole number.
    Number(Number),
    /// A number with a point or an exponent.
    Float(f64),
    /// A character constant; its value.
    Character(Number),
    /// A string, or several beside each other, without the closing zero.
    Text(Vec<u8>),
    /// A name: of an object, a function, a constant or a macro.
    Name(Arc<str>),
    /// A call, of a function or a macro.
    Call {
        /// What is called.
        function: Box<Expr>,
        /// In order.
        arguments: Vec<Expr>,
    },
    /// `-`, `+`, `!`, `~`, `*`, `&`, `++`, `--`; behind the operand they are `x++` and `x--`.
    Unary(&'static str, Box<Expr>),
    /// An operator with two operands.
    Binary(&'static str, Box<Expr>, Box<Expr>),
    /// `=`, `+=` and so on; the old `=+` is `+=`.
    Assign(&'static str, Box<Expr>, Box<Expr>),
    /// `a ? b : c`.
    Conditional(Box<Expr>, Box<Expr>, Box<Expr>),
    /// `(type) a`.
    Cast(Type, Box<Expr>),
    /// `a[b]`.
    Index(Box<Expr>, Box<Expr>),
    /// `a.b` or `a->b`.
    Member {
        /// The record, or what points to it.
        of: Box<Expr>,
        /// The field.
        name: Arc<str>,
        /// Where the field's name stands.
        name_span: Span,
        /// It is `->`.
        is_arrow: bool,
    },
    /// `sizeof(type)`.
    SizeofType(Type),
    /// `sizeof a`.
    SizeofExpr(Box<Expr>),
    /// A type where an expression would stand: an argument of a macro that nobody knows.
    Type(Type),
    /// `a, b`.
    Comma(Box<Expr>, Box<Expr>),
    /// Something that cannot be read.
    Broken,
}

impl Expr {
    /// An expression; broken where it would be too high.
    pub(crate) fn new(kind: ExprKind, span: Span, is_made: bool) -> Expr {
        let mut height = 0;
        kind.parts(&mut |part| height = height.max(part.height + 1));
        if height > HIGHEST {
            return Expr { kind: ExprKind::Broken, span, height: 0, is_made };
        }
        Expr { kind, span, height, is_made }
    }

    /// Where that stands which is called; of what is no call, the whole of it.
    pub fn called_span(&self) -> Span {
        match &self.kind {
            ExprKind::Call { function, .. } => function.span,
            _ => self.span,
        }
    }

    /// Whether a part of it comes from a macro's body, so that its text is not at its span.
    pub(crate) fn is_made(&self) -> bool {
        self.is_made
    }

    /// Shows this expression and all in it, outer ones first.
    pub fn visit<'a>(&'a self, see: &mut dyn FnMut(&'a Expr)) {
        see(self);
        self.kind.parts(&mut |part| part.visit(see));
    }
}

impl ExprKind {
    /// The expressions directly in it.
    fn parts<'a>(&'a self, see: &mut dyn FnMut(&'a Expr)) {
        match self {
            ExprKind::Call { function, arguments } => {
                see(function);
                arguments.iter().for_each(see);
            }
            ExprKind::Unary(_, a) | ExprKind::Cast(_, a) | ExprKind::SizeofExpr(a) => see(a),
            ExprKind::Member { of, .. } => see(of),
            ExprKind::Binary(_, a, b) | ExprKind::Assign(_, a, b) | ExprKind::Index(a, b) | ExprKind::Comma(a, b) => {
                see(a);
                see(b);
            }
            ExprKind::Conditional(a, b, c) => {
                see(a);
                see(b);
                see(c);
            }
            ExprKind::Number(_)
            | ExprKind::Float(_)
            | ExprKind::Character(_)
            | ExprKind::Text(_)
            | ExprKind::Name(_)
            | ExprKind::Type(_)
            | ExprKind::SizeofType(_)
            | ExprKind::Broken => (),
        }
    }
}

/// A statement.
#[derive(Debug, Clone, PartialEq)]
pub struct Statement {
    /// What it is.
    pub kind: StatementKind,
    /// Where it stands; for what a macro lays down, the use.
    pub span: Span,
}

/// The kinds of statements.
#[derive(Debug, Clone, PartialEq)]
pub enum StatementKind {
    /// An expression for its effect.
    Expression(Expr),
    /// `if`.
    If {
        /// What is asked.
        condition: Expr,
        /// What is done then.
        then: Vec<Statement>,
        /// What is done otherwise; empty without `else`.
        otherwise: Vec<Statement>,
    },
    /// `while`.
    While {
        /// What is asked before each round.
        condition: Expr,
        /// What is done.
        body: Vec<Statement>,
    },
    /// `do` with its `while`.
    DoWhile {
        /// What is done.
        body: Vec<Statement>,
        /// What is asked behind each round.
        condition: Expr,
    },
    /// `for`.
    For {
        /// Done once.
        start: Option<Expr>,
        /// What is asked before each round; nothing is true.
        condition: Option<Expr>,
        /// Done behind each round.
        step: Option<Expr>,
        /// What is done.
        body: Vec<Statement>,
    },
    /// `switch`.
    Switch {
        /// What decides.
        value: Expr,
        /// In order. An arm that does not end with a break runs into the next.
        arms: Vec<Arm>,
    },
    /// `return`.
    Return(Option<Expr>),
    /// `goto`, with the label and its place.
    Goto(Arc<str>, Span),
    /// A label and its place; the statement behind it is the next one of the list.
    Label(Arc<str>, Span),
    /// `break`.
    Break,
    /// `continue`.
    Continue,
    /// `{ }`.
    Block(Vec<Statement>),
    /// Local objects.
    Declaration(Vec<Object>),
    /// Assembly: the lines between `#asm` and `#endasm`, or the text of `asm("")`.
    Assembly(Arc<str>),
    /// A semicolon by itself.
    Empty,
    /// Something that cannot be read.
    Broken,
}

/// What a switch does for some values.
#[derive(Debug, Clone, PartialEq)]
pub struct Arm {
    /// The values; None is `default`. Empty for what stands before the first `case`.
    pub labels: Vec<Option<Expr>>,
    /// What is done.
    pub body: Vec<Statement>,
    /// From the first label to the end of the body.
    pub span: Span,
}

impl Statement {
    /// Shows this statement and all in it, outer ones first.
    pub fn visit<'a>(&'a self, see: &mut dyn FnMut(&'a Statement)) {
        see(self);
        let mut all = |list: &'a [Statement]| list.iter().for_each(|it| it.visit(see));
        match &self.kind {
            StatementKind::If { then, otherwise, .. } => {
                all(then);
                all(otherwise);
            }
            StatementKind::While { body, .. }
            | StatementKind::DoWhile { body, .. }
            | StatementKind::For { body, .. }
            | StatementKind::Block(body) => all(body),
            StatementKind::Switch { arms, .. } => arms.iter().for_each(|arm| all(&arm.body)),
            _ => (),
        }
    }

    /// Shows the expressions of this statement itself, without those of statements in it.
    pub fn expressions<'a>(&'a self, see: &mut dyn FnMut(&'a Expr)) {
        match &self.kind {
            StatementKind::Expression(it)
            | StatementKind::If { condition: it, .. }
            | StatementKind::While { condition: it, .. }
            | StatementKind::DoWhile { condition: it, .. } => see(it),
            StatementKind::For { start, condition, step, .. } => {
                [start, condition, step].into_iter().flatten().for_each(see);
            }
            StatementKind::Switch { value, arms } => {
                see(value);
                arms.iter().flat_map(|it| &it.labels).flatten().for_each(see);
            }
            StatementKind::Return(it) => it.iter().for_each(see),
            StatementKind::Declaration(objects) => {
                objects.iter().filter_map(|it| it.init.as_ref()).for_each(|it| it.expressions(see));
            }
            _ => (),
        }
    }
}

/// What an object starts with.
#[derive(Debug, Clone, PartialEq)]
pub enum Init {
    /// One expression.
    Value(Expr),
    /// A list in braces.
    List(Vec<Init>, Span),
    /// `.field =` or `[index] =` with what is said for it.
    Designated(Designator, Box<Init>),
}

/// Which part of an object is meant.
#[derive(Debug, Clone, PartialEq)]
pub enum Designator {
    /// A field of a record.
    Field(Arc<str>, Span),
    /// An item of an array.
    Index(Expr),
}

impl Init {
    /// Where it stands.
    pub fn span(&self) -> Span {
        match self {
            Init::Value(value) => value.span,
            Init::List(_, span) => *span,
            Init::Designated(_, init) => init.span(),
        }
    }

    /// Shows its expressions, in order.
    pub fn expressions<'a>(&'a self, see: &mut dyn FnMut(&'a Expr)) {
        match self {
            Init::Value(value) => see(value),
            Init::List(list, _) => list.iter().for_each(|it| it.expressions(see)),
            Init::Designated(designator, init) => {
                if let Designator::Index(index) = designator {
                    see(index);
                }
                init.expressions(see);
            }
        }
    }
}

/// A variable or a parameter.
#[derive(Debug, Clone, PartialEq)]
pub struct Object {
    /// Its name; empty for a parameter without one.
    pub name: Arc<str>,
    /// Where the name stands.
    pub name_span: Span,
    /// Its declarator with what it starts with.
    pub span: Span,
    /// Its type.
    pub ty: Type,
    /// It says `static`.
    pub is_static: bool,
    /// It says `extern`.
    pub is_extern: bool,
    /// What it starts with.
    pub init: Option<Init>,
}

/// Assembly in a text.
#[derive(Debug, Clone, PartialEq)]
pub struct Assembly {
    /// The lines, or the statement.
    pub span: Span,
    /// What an assembler gets.
    pub text: Arc<str>,
}

/// A function with its body.
#[derive(Debug, Clone, PartialEq)]
pub struct Function {
    /// Its name.
    pub name: Arc<str>,
    /// Where the name stands.
    pub name_span: Span,
    /// All of it.
    pub span: Span,
    /// What it returns; `int` where nothing is said.
    pub result: Type,
    /// It says `static`.
    pub is_static: bool,
    /// Its parameters are declared behind the brackets.
    pub is_old_style: bool,
    /// In order.
    pub parameters: Vec<Object>,
    /// What it does.
    pub body: Vec<Statement>,
    /// The assembly in it, in order.
    pub assembly: Vec<Assembly>,
}

impl Function {
    /// Shows its statements, outer ones first.
    pub fn visit<'a>(&'a self, see: &mut dyn FnMut(&'a Statement)) {
        self.body.iter().for_each(|it| it.visit(see));
    }

    /// Shows every expression in it, outer ones first.
    pub fn expressions<'a>(&'a self, see: &mut dyn FnMut(&'a Expr)) {
        self.visit(&mut |statement| statement.expressions(&mut |it| it.visit(see)));
    }
}

/// A function that is told of without its body.
#[derive(Debug, Clone, PartialEq)]
pub struct Declaration {
    /// Its name.
    pub name: Arc<str>,
    /// Where the name stands.
    pub name_span: Span,
    /// Its declarator.
    pub span: Span,
    /// What it returns.
    pub result: Type,
    /// It says `static`.
    pub is_static: bool,
    /// Its parameters, where they are said.
    pub parameters: Option<Vec<Object>>,
}
