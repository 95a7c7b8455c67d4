/**
 * @file The grammar of monitor-session scripts. `LANGUAGE.md` says what they mean.
 *
 * - A step is read along the table `STATES`: what may stand next, and where that leads. Any state may be a line's last, and any
 *   state takes a `broken` rest of the line, so an error cannot leave its line and no text makes an ERROR.
 * - What an expression lacks at its end is left out of its node. Such an expression (`_cut`) ends its line: were it followed by
 *   words of the step, each of these would be no name where an operand stands.
 * - Words of steps are words where one can stand, and names everywhere else.
 * - The last line may lack its end, so blocks come twice: closed by a line's end, and ended by the file's.
 */
// @ts-check

const { LAST, END, regex } = require('../common/patterns');

const BLANK = ' \\t';
const LINE_END = '(\\r\\n|\\r|\\n)';
/** A quoted text, with or without its second quote. */
const quoted = (/** @type {string} */ mark) =>
  `${mark}([^${mark}${END}\\\\]|\\\\[^${END}]|\\\\${LINE_END})*(${mark}|\\\\)?`;
/** What the rest of a line is made of, besides blanks; a comment is no part of it. */
const JUNK = `([^"'#${BLANK}${END}\\\\]|\\\\|\\\\${LINE_END}|${quoted('"')}|${quoted("'")})`;
const DIGITS = '[0-9](_?[0-9])*';

/** Binary operators by rank, the weakest first: those of C. */
const OPERATORS = [
  ['or', '||'], ['and', '&&'], ['|'], ['^'], ['&'], ['==', '!='], ['<', '<=', '>', '>='], ['<<', '>>'], ['+', '-'], ['*', '/', '%'],
];
const UNARY = OPERATORS.length + 1;
const POSTFIX = UNARY + 1;

// What may stand in a step. `names` tells that any name is read there, so that one cannot be the start of a `broken` rest.
const word = (/** @type {string} */ text) => ({ rule: () => text });
const value = (/** @type {string} */ name) =>
  ({ rule: $ => field(name, $._expression), cut: $ => field(name, $._cut), names: true });
const name = (/** @type {string} */ field_name) =>
  ({ rule: $ => field(field_name, alias($._word, $.name)), names: true });
/** A name that may have hyphens. */
const term = (/** @type {string} */ field_name) =>
  ({ rule: $ => field(field_name, choice(alias($._word, $.term), alias($._hyphened, $.term))), names: true });
const text = (/** @type {string} */ name) =>
  ({ rule: $ => field(name, $.string), cut: $ => field(name, alias($._open_string, $.string)) });
const item = (/** @type {string} */ name, /** @type {($: any) => any} */ rule) => ({ rule: $ => field(name, rule($)) });
const oneOf = (/** @type {string} */ name, /** @type {string[]} */ ...words) => item(name, () => choice(...words));

const WITHIN = [word('within'), 'time'];
const OR = [word('or'), 'or'];
/** Behind a value `or` alone may be the operator, so what follows it there is the business of expressions. */
const OR_STOP = [{ rule: () => seq('or', 'stop') }, 'stop_text'];

/** The steps: their first words, and the state behind. */
const STEPS = {
  machine: 'machine', console: 'console', log: 'log', pace: 'pace', press: 'press', send: 'send', await: 'await', ask: 'ask',
  dump: 'dump', fill: 'fill', poke: 'poke', registers: 'result', read: 'read', write: 'write', load: 'load', start: 'start',
  check: 'check', keep: 'keep', confirm: 'confirm', pause: 'pause', include: 'include',
};

/**
 * Reading and writing of a sector differ in one word alone.
 * @param {string} verb
 * @param {string} side what stands before the address
 */
const sector = (verb, side) => ({
  [verb]: [[word('sector'), `${verb}_sector`]],
  [`${verb}_sector`]: [[value('sector'), `${verb}_rest`]],
  [`${verb}_rest`]: [[word('of'), `${verb}_of`], [word(side), 'address']],
  [`${verb}_of`]: ['track', 'side', 'drive'].map(it => [word(it), `${verb}_${it}`]),
  ...Object.fromEntries(['track', 'side', 'drive'].map(it => [`${verb}_${it}`, [[value(it), `${verb}_rest`]]])),
});

/** By state: what may stand next, and the state that it leads to. */
const STATES = {
  // What many steps end with.
  end: [],
  tail: [WITHIN, OR],
  value_tail: [WITHIN, OR_STOP],
  time: [[item('within', $ => $.time), 'failure']],
  failure: [OR],
  or: [[word('stop'), 'stop_text']],
  stop_text: [[text('stop'), 'end']],
  result: [[word('as'), 'result_name'], WITHIN, OR],
  result_name: [[name('as'), 'tail']],
  address: [[value('address'), 'value_tail']],

  machine: [[term('machine'), 'end']],
  console: [[word('from'), 'console_from'], [item('rate', $ => $.decimal), 'frame']],
  console_from: [[word('source'), 'end']],
  frame: [[item('frame', $ => $.frame), 'line']],
  line: [[word('flow'), 'flow'], [word('rts'), 'rts'], [word('dtr'), 'dtr']],
  flow: [[oneOf('flow', 'none', 'xon-xoff', 'rts-cts'), 'line']],
  rts: [[oneOf('rts', 'on', 'off'), 'line']],
  dtr: [[oneOf('dtr', 'on', 'off'), 'line']],
  log: [[text('file'), 'end']],
  pace: [[item('character', $ => $.time), 'pace_line']],
  pace_line: [[word('line'), 'pace_line_time']],
  pace_line_time: [[item('line', $ => $.time), 'end']],

  stage: [[text('title'), 'end']],
  press: [[item('key', $ => choice($.key, $.character)), 'end']],
  send: [[text('text'), 'end']],
  await: [[word('prompt'), 'tail'], [word('pattern'), 'pattern'], [text('text'), 'tail']],
  pattern: [[text('pattern'), 'tail']],
  ask: [[term('verb'), 'ask_rest']],
  ask_rest: [[term('argument'), 'ask_value'], ...[[word('as'), 'result_name'], WITHIN, OR]],
  ask_value: [[value('value'), 'ask_next']],
  ask_next: [[word(','), 'ask_argument'], [word('as'), 'result_name'], WITHIN, OR_STOP],
  ask_argument: [[term('argument'), 'ask_value']],

  dump: [[value('from'), 'dump_range']],
  dump_range: [[word('..'), 'dump_to'], [word('+:'), 'dump_bytes']],
  dump_to: [[value('to'), 'dump_rest']],
  dump_bytes: [[value('bytes'), 'dump_rest']],
  dump_rest: [[word('as'), 'dump_name'], [word('using'), 'dump_layout'], WITHIN, OR_STOP],
  dump_name: [[name('as'), 'dump_using']],
  dump_using: [[word('using'), 'dump_layout'], WITHIN, OR],
  dump_layout: [[term('layout'), 'tail']],
  fill: [[value('from'), 'fill_range']],
  fill_range: [[word('..'), 'fill_to'], [word('+:'), 'fill_bytes']],
  fill_to: [[value('to'), 'with']],
  fill_bytes: [[value('bytes'), 'with']],
  poke: [[oneOf('width', 'byte', 'word', 'long'), 'poke_address'], [value('address'), 'with']],
  poke_address: [[value('address'), 'with']],
  with: [[word('with'), 'with_value']],
  with_value: [[value('value'), 'value_tail']],
  ...sector('read', 'into'),
  ...sector('write', 'from'),
  load: [[word('boot'), 'load_boot'], [text('file'), 'load_into']],
  load_boot: [[word('file'), 'load_into']],
  load_into: [[word('into'), 'address'], WITHIN, OR],
  start: [[word('at'), 'address']],

  check: [[value('value'), 'check_rest']],
  check_rest: [[word('matches'), 'matches'], OR_STOP],
  matches: [[word('source'), 'failure'], [word('file'), 'check_file']],
  check_file: [[text('file'), 'failure']],
  keep: [[name('name'), 'keep_in']],
  keep_in: [[word('in'), 'keep_file']],
  keep_file: [[text('file'), 'end']],
  confirm: [[text('question'), 'end']],
  pause: [[item('time', $ => $.time), 'end']],
  repeat: [[value('count'), 'times']],
  times: [[word('times'), 'end']],
  if: [[value('condition'), 'end']],
  include: [[text('file'), 'end']],
};

const state = (/** @type {string} */ name) => `_at_${name}`;
const rest = $ => alias($._rest, $.broken);
const then = ($, /** @type {string} */ next) => optional($[state(next)]);

/** The rules of all states. */
const states = Object.fromEntries(Object.entries(STATES).map(([name, edges]) => [state(name), $ => choice(
  edges.some(([it]) => it.names) ? rest($) : $.broken,
  ...edges.map(([it, next]) => seq(it.rule($), then($, next))),
  ...edges.filter(([it]) => it.cut).map(([it]) => it.cut($)),
)]));

const steps = Object.fromEntries(Object.entries(STEPS).map(([verb, next]) => [`${verb}_step`, $ => seq(verb, then($, next))]));

// Expressions. `cut` is what stands at a line's end where an operand is not there, or not all of it.
const cut = $ => optional(choice($._cut, rest($)));
/** A value that something not there should follow. */
const last = $ => choice(seq($._expression, optional($.broken)), $._cut, rest($));

const binary = ($, right) => choice(...OPERATORS.flatMap((signs, rank) =>
  signs.map(sign => prec.left(rank + 1, seq(field('left', $._expression), field('operator', sign), right)))));
const unary = right => prec(UNARY, seq(field('operator', choice('not', '!', '-', '~')), right));
const opened = ($, ...content) => prec(POSTFIX, seq(field('block', $._expression), '[', ...content));
/** @param {(name: string) => any} end what stands behind the sign, by its field's name */
const range = ($, end) =>
  seq(field('from', $._expression), choice(seq('..', end('to')), seq('+:', end('bytes'))));

module.exports = grammar({
  name: 'session',
  word: $ => $._word,
  extras: $ => [/[ \t]/, $._continuation, $.comment],

  rules: {
    source_file: $ => choice(
      seq(repeat($._outer), repeat($.section), optional(alias($._last_section, $.section))),
      seq(repeat($._outer), $._last_outer),
    ),

    // A part of the script: up to the next stage, so that what lacks its `end` ends there too.
    section: $ => seq($.stage_step, $._line_end, repeat($._outer)),
    _last_section: $ => seq($.stage_step, optional(seq($._line_end, repeat($._outer), $._last_outer))),

    _outer: $ => choice($._inner, seq($._stray, $._line_end)),
    _last_outer: $ => choice($._last_inner, $._stray),
    _inner: $ => choice($._line_end, seq($._step, $._line_end), $.repeat_block, $.if_block),
    _last_inner: $ => choice($._step, alias($._last_repeat, $.repeat_block), alias($._last_if, $.if_block)),
    // What ends or divides nothing.
    _stray: $ => alias($._stray_word, $.broken),
    _stray_word: $ => seq(choice('end', 'else'), optional(choice($._rest, seq($._word, optional($._rest))))),

    repeat_block: $ => prec.right(seq($._repeat_line, $._line_end, repeat($._inner), optional(seq($._end, $._line_end)))),
    _last_repeat: $ => seq($._repeat_line, optional(seq($._line_end, repeat($._inner), choice($._last_inner, $._end)))),
    _repeat_line: $ => seq('repeat', then($, 'repeat')),

    if_block: $ => prec.right(seq(
      $._if_line, $._line_end, repeat($._inner), optional($.else_branch), optional(seq($._end, $._line_end)))),
    _last_if: $ => seq($._if_line, optional(seq($._line_end, repeat($._inner), choice(
      $._last_inner,
      alias($._last_else, $.else_branch),
      seq(optional($.else_branch), $._end),
    )))),
    _if_line: $ => seq('if', then($, 'if')),
    else_branch: $ => prec.right(seq($._else, $._line_end, repeat($._inner))),
    _last_else: $ => seq($._else, optional(seq($._line_end, repeat($._inner), $._last_inner))),
    _else: $ => seq('else', optional($.broken)),
    _end: $ => seq('end', optional($.broken)),

    _step: $ => choice($.broken, ...Object.keys(steps).map(it => $[it])),
    stage_step: $ => seq('stage', then($, 'stage')),
    ...steps,
    ...states,

    broken: $ => choice($._rest, seq($._word, optional($._rest))),

    _expression: $ => choice(
      alias($._word, $.name), $.decimal, $.hexadecimal, $.binary, $.size, $.character, $.string,
      $.parenthesized_expression, $.unary_expression, $.binary_expression, $.field_expression, $.index_expression,
      $.slice_expression,
    ),
    _cut: $ => choice(
      alias($._open_string, $.string),
      alias($._cut_parenthesized, $.parenthesized_expression),
      alias($._cut_unary, $.unary_expression),
      alias($._cut_binary, $.binary_expression),
      alias($._cut_field, $.field_expression),
      alias($._cut_index, $.index_expression),
      alias($._cut_slice, $.slice_expression),
    ),

    parenthesized_expression: $ => seq('(', $._expression, ')'),
    _cut_parenthesized: $ => seq('(', optional(last($))),
    unary_expression: $ => unary(field('operand', $._expression)),
    _cut_unary: $ => unary(cut($)),
    binary_expression: $ => binary($, field('right', $._expression)),
    _cut_binary: $ => binary($, cut($)),
    field_expression: $ => prec(POSTFIX, seq(
      field('block', $._expression), '.', field('field', choice(alias($._word, $.field), alias($._hyphened, $.field))))),
    _cut_field: $ => prec(POSTFIX, seq(field('block', $._expression), '.', optional(rest($)))),
    index_expression: $ => opened($, field('index', $._expression), ']'),
    _cut_index: $ => opened($, optional(last($))),
    slice_expression: $ => opened($, range($, name => field(name, $._expression)), ']'),
    _cut_slice: $ => opened($, range($, () => optional(last($)))),

    string: $ => seq('"', repeat($._piece), token.immediate('"')),
    _open_string: $ => seq('"', repeat($._piece)),
    _piece: $ => choice($._text, $.escape, alias($._lone_backslash, $.broken)),
    _text: _ => token.immediate(prec(1, regex(`[^"\\\\${END}]+`))),
    escape: _ => token.immediate(prec(1, regex('\\\\([rnte0"\\\\]|x[0-9A-Fa-f]{2})'))),
    _lone_backslash: _ => token.immediate(regex('\\\\')),

    decimal: _ => regex(DIGITS),
    hexadecimal: _ => regex('(\\$|0x)[0-9A-Fa-f](_?[0-9A-Fa-f])*'),
    binary: _ => regex('%[01](_?[01])*'),
    size: _ => regex(DIGITS + '[km]'),
    time: _ => regex(DIGITS + '(ms|s|min)'),
    character: _ => regex(`'([^'${END}\\\\]|\\\\[^${END}])+'`),
    frame: _ => regex('[5-8][neoms](1|1\\.5|2)'),
    key: _ => token(choice('return', 'escape', 'space', 'tab', 'backspace', 'delete', regex('control-[A-Za-z]'))),

    comment: _ => regex(`#[^${END}]*`),
    _word: _ => regex('[A-Za-z_][A-Za-z0-9_$]*'),
    _hyphened: _ => regex('[A-Za-z_][A-Za-z0-9_]*-[A-Za-z0-9_-]*'),
    _continuation: _ => regex('\\\\' + LINE_END),
    _line_end: _ => regex(LINE_END),
    // The rest of a line without the blanks at its end.
    _rest: _ => token(prec(LAST, regex(`${JUNK}([${BLANK}]*${JUNK})*`))),
  },
});
