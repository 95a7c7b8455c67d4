/**
 * @file What the tokens of the grammars are made of: precedences, classes of characters, and patterns of words.
 */
// @ts-check

const PREC = {
  // What is left out: a closing bracket, an operand of an operator. Anything present goes first.
  alone: -30,
  missing: -20,
  tail: -18,
  unclosed: -15,
  item: -14,
  register: -13,
  unclosed_mode: -12,
  broken: -11,
  sized: -10,
  // Even: the odd number below is the same operator with nothing on its right.
  logical_or: 2,
  logical_and: 4,
  or: 6,
  exclusive_or: 8,
  and: 10,
  equality: 12,
  relation: 14,
  shift: 16,
  sum: 18,
  product: 20,
  unary: 22,
  primary: 40,
};

/** Precedence of the tokens that match where no other does. */
const LAST = -1;

// Character classes, as the inside of a regular expression's brackets.
const BLANK = ' \\t\\f\\x0b\\x1a';
const END = '\\r\\n';
const LETTER = 'A-Za-z';
const BEYOND = '\\u{80}-\\u{10ffff}';
const MARK = '_$@?' + BEYOND;
const BACKSLASH = '\\\\';
/** A word character but the dot. */
const W = `[${LETTER}0-9${MARK}${BACKSLASH}]`;
/** The first character of a word that starts with no dot. */
const START = `[${LETTER}${MARK}${BACKSLASH}]`;
/** The rest of a line without the blanks at its end. */
const REST = `([^${END}]*[^${END}${BLANK}])?`;

/**
 * A pattern. Its negated classes leave out the last code point, which is no character: a class that holds it would be generated
 * without the zero byte.
 */
const regex = (/** @type {string} */ source) => new RustRegex(source.replace(/\[\^/g, '[^\\u{10ffff}'));

/** A regular expression for any of some words in any case. */
const anyOf = (/** @type {string[]} */ words) =>
  '(' +
  [...new Set(words)]
    .map(word => word.replace(/./g, it => (it === '.' ? '\\.' : /[a-z]/.test(it) ? `[${it}${it.toUpperCase()}]` : it)))
    .join('|') +
  ')';

/** The letters that are a part of a name, not a size, where they follow a dot at the end of an operand's word. */
const EXPRESSION_LETTERS = 'AC-KM-RT-VX-Zac-km-rt-vx-z';

/**
 * The rest of a word after its head: pieces, each with its dot, the last of which is no size.
 * @param {string} letters single letters that are no size
 */
const pieces = letters =>
  `((\\.${W}*)*\\.([0-9${MARK}${letters}]|[${LETTER}0-9${MARK}]${W}|${W}${W}${W}+))?`;

/**
 * A name but its pieces in the Unix dialects, where `@` behind an address register or the program counter is a mode's: it ends
 * before that.
 */
const MODELESS = (() => {
  const rest = (/** @type {string} */ letters, /** @type {string} */ others) => `[${letters}${others}${BACKSLASH}]${W}*`;
  const noAt = rest(LETTER + '0-9', '_$?' + BEYOND);
  const pair = (first, second, letters, digits) => `${first}(${second}(${noAt})?|${rest(letters + digits, MARK)})?`;
  return `([B-EG-OQRT-Zb-eg-oqrt-z${MARK}${BACKSLASH}]${W}*`
    + `|${pair('[aA]', '[0-7]', LETTER, '89')}`
    + `|${pair('[fFsS]', '[pP]', 'A-OQ-Za-oq-z', '0-9')}`
    + `|${pair('[pP]', '[cC]', 'ABD-Zabd-z', '0-9')})`;
})();

module.exports = {
  PREC, LAST, BLANK, END, LETTER, MARK, BACKSLASH, W, START, REST, EXPRESSION_LETTERS, MODELESS, regex, anyOf, pieces,
};
