/**
 * @file One grammar for 68000 assembly source, told by its argument which of four dialects it reads.
 *
 * `LINES.md` is what this must do. A line is read by four things only, none of which needs a scanner:
 *
 * - Nothing is skipped: blanks are tokens with a place. A label in column one is a word that follows an end of line at once;
 *   a word that follows an end of line *and blanks* (`_eol_indent`) is an operation.
 * - A word class is one token. Where a word may be of several classes the longest match wins, then the class named first.
 * - The dot and the letter of a size are no part of a word token, so that they can be a node.
 * - Tokens of a negative precedence match only where no other token does: they are the `broken` ends of operands and lines.
 *   Every state within a line has one, so an error cannot leave its line.
 */
// @ts-check

const { classes, preprocessorWords, specialRegisters } = require('./words');

const {
  PREC, LAST, BLANK, END, LETTER, MARK, BACKSLASH, W, START, REST, EXPRESSION_LETTERS, MODELESS, regex, anyOf, pieces,
} = require('./patterns');

/**
 * What a dialect is told apart by. The Unix dialects take blanks in operands, and have marks before comments.
 * @typedef {object} Dialect
 * @property {string} name the grammar's
 * @property {boolean} unix whether it is one of the Unix dialects
 * @property {boolean} [bar] whether `|` starts a comment wherever it stands outside of brackets
 * @property {boolean} [hash] whether `#` does, and `&` alone is the sign of an immediate
 * @property {boolean} [percent] whether names may hold `%` and `~` behind their first character
 */

/** @param {Dialect} dialect */
module.exports = function define(dialect) {
  const { name, unix, bar, hash, percent } = dialect;
  // Where `#` starts comments directives have no dots.
  const dotless = !!hash;
  const word = classes(unix, dotless);
  /** What starts a comment anywhere outside of brackets, as `;` does. */
  const mark = bar ? '|' : hash ? '#' : '';

  const last = (/** @type {string} */ source) => token(prec(LAST, regex(source)));
  /** A token that blanks may precede in the Unix dialects. */
  const spaced = (/** @type {string} */ source) => (unix ? regex(`[${BLANK}]*${source}`) : regex(source));

  /** A token and the blanks that may follow it in the Unix dialects. */
  const gapped = (/** @type {any} */ $, /** @type {any} */ it) =>
    unix ? choice(seq(it, $._blank), prec(PREC.missing, it)) : it;

  const gap = ($) => (unix ? [optional($._blank)] : []);

  // Word tokens, by what the word can be.
  const frontKeywords = $ => [
    $._front_directive, $._front_bare_directive, $._front_loose_directive, $._front_end_directive,
    ...(unix ? [$._instruction, $._bare_instruction] : []),
  ];
  // Words of the Unix dialects that are instructions without a size behind them alone, and with one alone.
  const joinedKeywords = $ => [$._joined_instruction];
  const sizedKeywords = $ => [$._sized_instruction];
  const dottedKeywords = $ => [
    $._dotted_directive, $._dotted_bare_directive, $._dotted_loose_directive, $._dotted_end_directive];
  const indentedDirective = $ => (dotless ? [] : [$._indented_directive]);
  const indentedBareDirective = $ => (dotless ? [] : [$._indented_bare_directive]);
  const indentedLooseDirective = $ => (dotless ? [] : [$._indented_loose_directive]);
  const indentedKeywords = $ => [
    ...indentedDirective($), ...indentedBareDirective($), ...indentedLooseDirective($),
    ...(unix ? [] : [$._instruction, $._bare_instruction]),
  ];
  const named = (tokens, node) => tokens.map(it => alias(it, node));

  /**
   * Words that go on with dots and single letters after one of the tokens of a class. One letter is a size where the word is an
   * operation; with more, or with a dot at its end, a keyword is no keyword.
   */
  const longer = (prefix, tokens) => ({
    [prefix + '_sized']: $ => choice(...tokens($).map(it => seq(it, '.', $._letter))),
    [prefix + '_longer']: $ => choice(
      ...tokens($).map(it => seq(it, '.')),
      ...[$[prefix + '_sized'], $[prefix + '_longer']].map(it => seq(it, '.', optional($._letter))),
    ),
    [prefix + '_dot']: $ => choice(...[...tokens($), $[prefix + '_sized'], $[prefix + '_longer']].map(it => seq(it, '.'))),
  });
  /** All that a word of a class can be. */
  const whole = ($, prefix, tokens) => (tokens.length ? [...tokens, $[prefix + '_sized'], $[prefix + '_longer']] : []);

  const unixNames = $ => named([
    ...(unix ? [...whole($, '_joined', joinedKeywords($)), ...whole($, '_sized', sizedKeywords($))] : []),
    ...(percent ? [$._percent_word] : []),
  ], $.symbol);

  // An operation's node: a name and a size.
  const size = $ => seq('.', field('size', alias($._letter, $.size)));
  const sized = ($, tokens, node) => seq(field('name', choice(...named(tokens, node))), size($));
  const operation = ($, tokens, node) =>
    seq(field('name', choice(...named(tokens, node))), optional(size($)));

  // Comments.
  // Their tokens stop at the last character that is no blank; blanks between that and the end of the file have no other place.
  const ended = ($, it) => seq(it, optional($._blank));
  const commented = ($, rule) => ended($, field('comment', alias(rule, $.comment)));
  const broken = ($, rule) => ended($, alias(rule, $.broken));
  const rest = $ => broken($, $._rest);
  const unmarkedRest = $ => broken($, mark ? $._unmarked_rest : $._rest);

  /** What may follow the operand field. */
  const trailer = $ => optional(choice(
    commented($, $._mark_comment),
    broken($, $._closing_rest),
    seq($._blank, optional(commented($, $._comment_text))),
  ));

  const fieldAndComment = ($, operands) => choice(
    seq(field('operands', operands), trailer($)),
    ...(unix && operands.name === 'operands'
      ? [seq(field('operands', alias($._dangling_operands, $.operands)), commented($, $._mark_after_sign))]
      : []),
  );

  /** Operands that start with a bracket directly behind the operation; the first is text. */
  const called = ($, node, prefix) => seq(field('operation', node), fieldAndComment($, alias($[prefix + '_call_operands'], $.operands)));
  const callOperands = (prefix, item) => ({
    [prefix + '_call_operands']: $ => choice(
      field('operand', alias($._call_argument, $.argument)),
      seq($[prefix + '_some_call_operands'], optional(field('operand', item($))))),
    [prefix + '_some_call_operands']: $ => choice(
      seq(field('operand', alias($._call_argument, $.argument)), $._comma),
      seq($[prefix + '_some_call_operands'], optional(field('operand', item($))), $._comma)),
  });

  const withOperands = ($, node, operands) => seq(
    field('operation', node),
    optional(choice(
      commented($, $._mark_comment),
      unmarkedRest($),
      seq($._blank, optional(choice(
        commented($, $._operand_comment),
        broken($, $._closing_rest),
        fieldAndComment($, operands),
      ))),
    )),
  );

  const bare = ($, node) => seq(
    field('operation', node),
    optional(choice(
      commented($, $._mark_comment),
      unmarkedRest($),
      seq($._blank, optional(commented($, $._comment_text))),
    )),
  );

  /** A list with commas in which anything may be left out, but not all; `some` is the rule of one that ends with a comma. */
  const list = ($, some, item) => choice(item, seq(some, optional(item)));
  const some = ($, self, item) => seq(optional(self), optional(item), $._comma);

  // Brackets whose end may be missing: they end with the operand.
  const closed = ($, ...content) => [
    prec(PREC.primary, seq($._open, ...content, $._close)),
    prec(PREC.unclosed_mode, seq($._open, ...content)),
  ];

  // Modes of the Unix dialects with an `@` behind the register, and brackets behind that.
  const atMode = (base, modes) => modes.map(it => seq(base, '@', it));
  const loneIndex = $ => choice(alias($._lone_index, $.index), alias($._broken_index, $.broken));
  const atDisplacement = ($, base) => (unix ? atMode(base, [
    ...closed($, field('displacement', $._inner_expression)),
    prec(PREC.primary, seq($._open, $._close)),
    prec(PREC.missing, $._open),
  ]) : []);
  const atIndex = ($, base) => (unix ? atMode(base, [
    ...closed($, optional(choice(field('displacement', $._inner_expression), loneIndex($))), $._comma, optional($._indexes)),
    ...closed($, loneIndex($)),
  ]) : []);

  /** Operators: rule, sign, precedence, and whether blanks may stand before it where the operands of the Unix dialects can end. */
  const OPERATORS = [
    ['or_or', '||', PREC.logical_or, false],
    ['and_and', '&&', PREC.logical_and, true],
    ['or', '|', PREC.or, false],
    ['bang', '!', PREC.or, true],
    ['caret', '^', PREC.exclusive_or, true],
    ['and', '&', PREC.and, true],
    ['equal_equal', '==', PREC.equality, true],
    ['equal', '=', PREC.equality, true],
    ['bang_equal', '!=', PREC.equality, true],
    ['unequal', '<>', PREC.equality, true],
    ['less_equal', '<=', PREC.relation, true],
    ['greater_equal', '>=', PREC.relation, true],
    ['less', '<', PREC.relation, true],
    ['greater', '>', PREC.relation, true],
    ['shift_left', '<<', PREC.shift, true],
    ['shift_right', '>>', PREC.shift, true],
    ['plus', '+', PREC.sum, true],
    ['minus', '-', PREC.sum, true],
    ['star', '*', PREC.product, false],
    ['slash', '/', PREC.product, false],
    ['double_slash', '//', PREC.product, false],
    ['percent', '%', PREC.product, false],
  ];
  /** Those outside of brackets. */
  const OUTER = OPERATORS.filter(it => !(bar && it[1].startsWith('|')));
  const literally = (/** @type {string} */ it) => it.replace(/[|^+*\/\-]/g, '\\$&');

  /** The rules of the binary operators' signs; the Unix dialects have two of those that blanks make a comment's mark. */
  const signs = {};
  const addSign = (rule, sign, source, gaps = true) => {
    signs[rule + '_sign'] = _ => regex(source);
    signs[rule] = $ => {
      const it = field('operator', alias($[rule + '_sign'], sign));
      return gaps ? gapped($, it) : it;
    };
  };
  for (const [rule, sign, , blanks] of OPERATORS) {
    const source = literally(sign);
    if (!unix) {
      addSign('_' + rule, sign, source);
    } else if (blanks) {
      addSign('_' + rule, sign, `[${BLANK}]*${source}`);
    } else {
      // As long as the sign outside of brackets, which may stand there too: brackets need no end.
      addSign('_inner_' + rule, sign, `[${BLANK}]*${source}` + (rule === 'slash' ? `|[${BLANK}]+\\/[${BLANK}]+` : ''));
      // A slash with a blank on each side cannot be the start of a comment. Blanks after a percent sign end the operand.
      if (OUTER.some(it => it[0] === rule)) addSign('_' + rule, sign, rule === 'slash' ? `\\/|[${BLANK}]+\\/[${BLANK}]+` : source, rule !== 'percent');
    }
  }
  const signOf = ($, level, [rule, , , blanks]) => $[(unix && !blanks ? level : '') + '_' + rule];

  const unary = ($, signs, operand) => choice(...signs.flatMap(sign => [
    prec(PREC.unary, seq(sign, ...gap($), field('operand', operand))),
    prec(PREC.alone, sign),
    ...(unix ? [prec(PREC.missing, seq(sign, $._blank))] : []),
  ]));
  /** A sign with blanks before it and nothing on its left is unary. */
  const rightSide = ($, level) =>
    (unix && !level
      ? choice($._expression, alias($._spaced_unary, $.unary_expression))
      : $[level + '_expression']);

  /**
   * The rules of expressions. They come twice: within brackets the Unix dialects take blanks that end an operand outside.
   * @param {string} level empty outside of brackets, `_inner` inside
   */
  const expressions = level => ({
    [level + '_expression']: $ => choice(
      $._atom,
      ...(level
        ? [alias($._inner_parenthesized, $.parenthesized_expression), alias($._inner_list, $.broken)]
        : [$.parenthesized_expression, alias($._inner_list, $.broken)]),
      alias($[level + '_unary'], $.unary_expression),
      alias($[level + '_binary'], $.binary_expression),
      alias($[level + '_broken'], $.broken),
      ...(level ? [alias($._inner_absolute, $.absolute)] : []),
    ),

    [level + '_unary']: $ => unary(
      $, [$._unary_sign, ...(unix && level ? [$._spaced_unary_sign] : [])], $[level + '_expression']),

    // The right side may be missing; `(name)+` with another name for a register reads so, too.
    [level + '_binary']: $ => choice(...(level ? OPERATORS : OUTER).flatMap(it => {
      const start = seq(field('left', $[level + '_expression']), signOf($, level, it));
      return [
        prec.left(it[2], seq(start, field('right', rightSide($, level)))),
        prec.left(it[2] - 1, start),
      ];
    })),

    [level + '_broken']: $ => choice(
      prec(PREC.primary, $[level + '_start_tail']),
      prec.left(PREC.broken, seq($[level + '_expression'], $[level + '_tail'])),
      ...(level ? [
        prec(PREC.broken, seq(choice($._register, $._program_counter), $._inner_open_tail)),
        prec(PREC.register, choice($._register, $._program_counter)),
        prec.right(PREC.sized, seq(
          choice($._register, $._program_counter), $._dot, optional($._operand_size), optional($._inner_tail))),
      ] : []),
    ),
  });

  /** Text of any kind up to a comma, a blank or a closing bracket; `more` where it is not the first. */
  const textItems = ($, level, more) => (unix && !level
    ? [$._text, $._sign_item, ...(more ? [$._spaced_sign_item] : []), $._quoted, $._group]
    : [unix ? $._inner_text : $._text, $._quoted, $._group]);

  /**
   * The rest of an operand that cannot be read. What may start it differs: after an expression, brackets and a dot mean something.
   */
  const tails = level => {
    const junk = $ => (unix ? (level ? [$._inner_junk] : [$._junk, $._sign_item]) : [$._junk]);
    const spacedJunk = $ => (unix ? [level ? $._blank : $._spaced_sign_item] : []);
    const words = $ => [
      // None that starts with an operator's sign.
      $.symbol, $.hexadecimal, $.binary, $.octal, $.floating_number, $.decimal, $.macro_parameter, $._quoted,
    ];
    const tail = ($, ...first) =>
      prec.right(PREC.tail, seq(choice(...first), repeat(choice(...textItems($, level, true)))));
    return {
      // An operator at a bracket's start would otherwise be one behind the bracket.
      [level + '_start_tail']: $ => tail($, ...junk($), ...(level ? [
        ...OPERATORS.filter(it => !['!', '+', '-', '*'].includes(it[1])).map(it => alias($[signOf($, level, it).name + '_sign'], it[1])),
        $._dot,
      ] : [])),
      [level + '_tail']: $ => tail($, ...junk($), ...spacedJunk($), ...words($), ...(level ? [$._group] : [])),
      [level + '_open_tail']: $ =>
        tail($, ...junk($), ...spacedJunk($), ...words($), ...(level ? [] : [$._dot]), $._group),
    };
  };

  /** A comment that may go on over lines, as the first of some alternatives; in Motorola syntax only where it is alone. */
  const alone = `\\/\\*([^*]|\\*+[^*\\/])*\\*+\\/${REST}|`;
  const long = unix ? alone : '';
  /** Where a backslash at its end carries a line of the preprocessor on. */
  const onward = `[^${END}]*${BACKSLASH}(\\r\\n|[${END}])`;
  const quoteless = `${END},;()\\[\\]'"`;
  /** Characters that a word or a number may start with: junk does not, or it would win over a word and its size. */
  const wordy = `${LETTER}0-9${MARK}${BACKSLASH}.`;
  /** A line with a word of the preprocessor; where `#` starts comments, directly behind it. */
  const ownLine =
    `#${hash ? '' : `[${BLANK}]*`}${anyOf(preprocessorWords).replace(/\[(.).\]/g, '$1')}(` +
    `[^${wordy}${END}]${onward}(${onward})*${REST}|[^${wordy}${END}][^${END}]*[^${END}${BLANK}]|[^${wordy}${END}${BLANK}])?`;
  /** Signs after which blanks do not end an operand of the Unix dialects, as the inside of brackets. */
  const SIGN = '+\\-\\/&!^<>=~' + (hash ? '' : '#');
  /** They and the marks that end text of the Unix dialects. */
  const STOPS = SIGN + '*|' + (hash ? '#' : '');

  /**
   * Whether a word in column one is a label or the operation is told by the word behind it, in the Unix dialects. What it would be
   * as either, without a size, with one, and with more dots.
   */
  const labelConflicts = $ => {
    const directives = dotless ? [] : [$.directive, $._bare_directive, $._loose_directive];
    const classes = ['_word', '_local', '_front', '_dotted', '_joined', '_sized', ...(dotless ? [] : ['_indented'])];
    return [
      [$._word_label, $._pasted_name, $.macro_call],
      ...directives.map(it => [$._word_label, it]),
      ...['_word_sized', '_local_sized', '_joined_sized'].map(it => [$[it], $.macro_call]),
      ...directives.map(it => [$._indented_sized, it]),
      ...classes.flatMap(it => [[$[it + '_longer'], $[it + '_dot']], [$[it + '_longer'], $.macro_call]]),
    ];
  };

  return grammar({
    name,

    extras: _ => [],

    conflicts: $ => [
      // Whether brackets behind a word are a part of its name is told by the colon behind them.
      [$._pasted_name, $.macro_call],
      ...(unix ? labelConflicts($) : [[$._pasted_name, $._plain_label]]),
      ...(percent ? [[$._word_label, $._pasted_name, $._percent_name], [$._pasted_name, $._percent_name]] : []),
    ],

    inline: $ => [$._mark_comment, $._unary_sign, ...(unix ? [$._spaced_unary_sign] : [])],

    rules: {
      source_file: $ => seq(
        optional(choice(
          seq($._feeds, optional(alias($._front_line, $.line))),
          alias($._front_line, $.line),
          seq($._blank, optional(alias($._indented_line, $.line))),
        )),
        repeat(choice(
          seq($._eol, optional(alias($._front_line, $.line))),
          seq($._eol_indent, optional(alias($._indented_line, $.line))),
        )),
      ),

      // --------------------------------------------------------------------------------------------------- keywords
      // They come before all other words: of two tokens of equal length the one named first wins.

      _instruction: _ => regex(anyOf(word.instructions)),
      ...(unix ? {
        _joined_instruction: _ => regex(anyOf(word.joinedInstructions)),
        _sized_instruction: _ => regex(anyOf(word.sizedInstructions)),
      } : {}),
      _bare_instruction: _ => regex(anyOf(word.bareInstructions)),
      _front_directive: _ => regex(anyOf(word.directives.front)),
      _front_bare_directive: _ => regex(anyOf(word.bareDirectives.front)),
      _front_loose_directive: _ => regex(anyOf(word.looseDirectives.front)),
      _dotted_directive: _ => regex(anyOf(word.directives.dotted)),
      _dotted_bare_directive: _ => regex(anyOf(word.bareDirectives.dotted)),
      _dotted_loose_directive: _ => regex(anyOf(word.looseDirectives.dotted)),
      ...(dotless ? {} : {
        _indented_directive: _ => regex(anyOf(word.directives.indented)),
        _indented_bare_directive: _ => regex(anyOf(word.bareDirectives.indented)),
        _indented_loose_directive: _ => regex(anyOf(word.looseDirectives.indented)),
      }),
      _front_end_directive: _ => regex(anyOf(word.endDirectives.front)),
      _dotted_end_directive: _ => regex(anyOf(word.endDirectives.dotted)),
      _cfi_directive: _ => regex(`\\.[cC][fF][iI]_${W}*${pieces('')}`),

      // ------------------------------------------------------------------------------------------------------ lines

      /** A line that starts in column one. */
      _front_line: $ => choice(
        commented($, $._line_comment),
        ended($, field('comment', $.preprocessor)),
        unix ? $._operation : $._front_operation,
        seq(field('label', alias($._colon_label, $.label)), optional(choice($._after_colon, $._assignment))),
        seq(field('label', alias($._pasted_label, $.label)), optional(choice($._after_colon, $._assignment))),
        seq(field('label', alias($._plain_label, $.label)), optional($._after_label)),
        // In the Unix dialects a word is a label there only before an instruction or a directive.
        ...(unix ? [prec.dynamic(1, seq(field('label', alias($._word_label, $.label)), $._blank, $._known_operation))] : []),
        ...(percent ? [alias($._percent_line, $.broken)] : []),
        seq(field('label', alias($._assigned, $.label)), $._assignment),
        alias($._bad_number_line, $.broken),
        rest($),
      ),

      /** A line that starts with blanks, from its first character that is none. */
      _indented_line: $ => choice(
        commented($, $._line_comment),
        ended($, field('comment', alias($._indented_preprocessor, $.preprocessor))),
        $._operation,
        seq(field('label', alias($._colon_label, $.label)), optional(choice($._after_colon, $._assignment))),
        seq(field('label', alias($._pasted_label, $.label)), optional(choice($._after_colon, $._assignment))),
        seq(field('label', alias($._assigned, $.label)), $._assignment),
        alias($._number_line, $.broken),
        ...(percent ? [alias($._percent_line, $.broken)] : []),
        rest($),
      ),
      /** A line that starts with a number which is no label. */
      _number_line: $ => seq(
        choice($._digits, $._bad_number),
        optional(choice(ended($, $._rest), seq($._blank, optional(ended($, $._any_rest)))))),

      ...(percent ? {
        /** A line with a name in the place of the operation that none can have. */
        _percent_line: $ => seq(
          $._percent_name,
          optional(choice($._bracket_rest, ended($, $._rest), seq($._blank, optional(ended($, $._any_rest)))))),
        _percent_name: $ => $._percent_word,
        _bracket_rest: $ => seq('(', optional(choice($._blank, ended($, $._any_rest)))),
      } : {}),

      _bad_number_line: $ => seq(
        $._bad_number,
        optional(choice(ended($, $._rest), seq($._blank, optional(ended($, $._any_rest)))))),

      _after_label: $ => choice(
        commented($, $._semicolon_comment),
        rest($),
        seq($._blank, optional($._statement)),
      ),
      _after_colon: $ => choice($._statement, seq($._blank, optional($._statement))),
      _statement: $ => choice(
        commented($, $._label_comment),
        $._operation,
        alias($._bad_number_line, $.broken),
        ...(percent ? [alias($._percent_line, $.broken)] : []),
        rest($),
      ),

      _assignment: $ => seq(
        field('operation', alias($._assign, $.directive)),
        optional(choice(
          $._blank,
          seq(optional($._blank), choice(
            commented($, $._operand_comment),
            broken($, $._closing_rest),
            fieldAndComment($, $.operands),
          )),
        )),
      ),
      _assign: $ => field('name', alias($._assign_sign, $.directive_name)),

      // ----------------------------------------------------------------------------------------------------- labels

      [unix ? '_word_label' : '_plain_label']: $ => field('name', choice(
        ...named([
          ...whole($, '_word', [$._word]), ...whole($, '_indented', indentedKeywords($)), $._front_longer,
        ], $.symbol),
        ...named([
          ...whole($, '_local', [$._local_word]),
          // Motorola syntax has local labels of these names; the Unix dialects have operations.
          ...(unix ? [$._dotted_longer] : [...whole($, '_dotted', dottedKeywords($)), ...whole($, '_cfi', [$._cfi_directive])]),
          ...(unix ? [] : [$._digits]),
        ], $.local_symbol),
        ...(unix ? named([$._joined_sized, $._joined_longer, $._sized_instruction, $._sized_longer], $.symbol) : []),
        ...(percent ? named([$._percent_word], $.symbol) : []),
      )),
      ...(unix ? { _plain_label: $ => field('name', alias($._digits, $.local_symbol)) } : {}),
      /** A name and brackets behind which a colon stands. */
      _pasted_label: $ => {
        const name = field('name', alias($._pasted_name, $.symbol));
        // With the sign of an assignment it is none: the other way to read it wins.
        return choice(prec.dynamic(1, seq(name, $._pasted_colon)), prec.dynamic(-1, seq(name, $._pasted_assign)));
      },
      _pasted_name: $ => seq(
        choice(
          $._word, $._local_word, ...(unix ? [$._sized_instruction] : []), ...(percent ? [$._percent_word] : [])),
        optional($._blank), '(', $._pasted_rest),
      _colon_label: $ => seq($._label_name, choice(':', '::')),
      _assigned: $ => $._label_name,
      _label_name: $ => field('name', choice(
        ...named([
          ...whole($, '_word', [$._word]),
          ...whole($, '_front', frontKeywords($)),
          ...whole($, '_indented', indentedKeywords($)),
        ], $.symbol),
        ...unixNames($),
        ...named(
          [...whole($, '_local', [$._local_word]), ...whole($, '_dotted', dottedKeywords($)), ...whole($, '_cfi', [$._cfi_directive]), $._digits],
          $.local_symbol),
      )),

      ...(unix ? { ...longer('_joined', joinedKeywords), ...longer('_sized', sizedKeywords) } : {}),
      ...longer('_word', $ => [$._word]),
      ...longer('_local', $ => [$._local_word]),
      ...longer('_front', frontKeywords),
      ...longer('_dotted', dottedKeywords),
      ...(dotless ? {} : longer('_indented', indentedKeywords)),
      ...longer('_cfi', $ => [$._cfi_directive]),

      // ------------------------------------------------------------------------------------------------- operations

      ...(unix ? {} : {
        /** What may stand in column one without a label. */
        _front_operation: $ => choice(
          withOperands($, alias($._front_plain, $.directive), $.operands),
          withOperands($, alias($._front_loose, $.directive), alias($._loose_operands, $.operands)),
          bare($, alias($._front_bare, $.directive)),
          $._call,
        ),
        _front_plain: $ => operation($, [$._front_directive, $._front_end_directive], $.directive_name),
        _front_loose: $ => operation($, [$._front_loose_directive], $.directive_name),
        _front_bare: $ => operation($, [$._front_bare_directive], $.directive_name),
      }),
      /** An operation with its brackets directly behind it. */
      ...(unix ? {} : { _call: $ => choice($._known_call, called($, $.macro_call, '_macro')) }),
      _known_call: $ => choice(
        ...[
          $.instruction, alias($._bare, $.instruction), $.directive, alias($._bare_directive, $.directive),
        ].map(it => called($, it, '')),
        called($, alias($._loose_directive, $.directive), '_loose'),
        called($, alias($._end_call, $.macro_call), '_macro'),
      ),
      ...callOperands('', $ => $._operand),
      ...callOperands('_loose', $ => alias($._loose_argument, $.argument)),
      ...callOperands('_macro', $ => $.argument),
      _call_argument: $ => prec.right(PREC.tail, seq(
        $._call_brackets, repeat(choice(...textItems($, '', true))))),
      _call_brackets: $ => choice(
        prec(PREC.primary, seq(gapped($, '('), repeat($._group_item), $._close)),
        prec(PREC.unclosed, seq(gapped($, '('), repeat($._group_item)))),
      _operation: $ => choice(
        $._known_operation,
        withOperands($, $.macro_call, alias($._macro_operands, $.operands)),
        called($, $.macro_call, '_macro'),
      ),
      /** An instruction or a directive. */
      _known_operation: $ => choice(
        withOperands($, $.instruction, $.operands),
        bare($, alias($._bare, $.instruction)),
        withOperands($, $.directive, $.operands),
        withOperands($, alias($._end, $.directive), $.operands),
        withOperands($, alias($._loose_directive, $.directive), alias($._loose_operands, $.operands)),
        bare($, alias($._bare_directive, $.directive)),
        $._known_call,
      ),
      instruction: $ => (unix
        ? choice(
          operation($, [$._instruction], $.mnemonic),
          field('name', alias($._joined_instruction, $.mnemonic)),
          sized($, [$._sized_instruction], $.mnemonic))
        : operation($, [$._instruction], $.mnemonic)),
      _bare: $ => operation($, [$._bare_instruction], $.mnemonic),
      directive: $ => choice(
        operation($, [$._front_directive, $._dotted_directive, ...indentedDirective($), $._cfi_directive], $.directive_name),
        sized($, [$._cfi_sized, $._cfi_longer], $.directive_name),
        field('name', alias($._cfi_dot, $.directive_name)),
      ),
      _end: $ => operation($, [$._front_end_directive, $._dotted_end_directive], $.directive_name),
      _end_call: $ => operation($, [$._front_end_directive, $._dotted_end_directive], $.macro_name),
      _loose_directive: $ => operation(
        $, [$._front_loose_directive, $._dotted_loose_directive, ...indentedLooseDirective($)], $.directive_name),
      _bare_directive: $ => operation(
        $, [$._front_bare_directive, $._dotted_bare_directive, ...indentedBareDirective($)], $.directive_name),
      macro_call: $ => {
        const classes = ['_word', '_local', '_front', '_dotted', ...(dotless ? [] : ['_indented']), ...(unix ? ['_joined', '_sized'] : [])];
        return choice(
          operation($, [$._word, $._local_word], $.macro_name),
          // The last of several letters is the size.
          sized($, classes.flatMap(it => [$[it + '_sized'], $[it + '_longer']]), $.macro_name),
          field('name', choice(...named(classes.map(it => $[it + '_dot']), $.macro_name))),
          ...(unix ? [
            sized($, [$._joined_instruction], $.macro_name),
            field('name', alias($._sized_instruction, $.macro_name)),
          ] : []),
        );
      },

      // --------------------------------------------------------------------------------------------------- operands

      operands: $ => list($, $._some_operands, field('operand', $._operand)),
      _some_operands: $ => some($, $._some_operands, field('operand', $._operand)),
      _loose_operands: $ => list($, $._some_loose, field('operand', alias($._loose_argument, $.argument))),
      _some_loose: $ => some($, $._some_loose, field('operand', alias($._loose_argument, $.argument))),
      _macro_operands: $ => list($, $._some_arguments, field('operand', $.argument)),
      _some_arguments: $ => some($, $._some_arguments, field('operand', $.argument)),

      ...(unix ? {
        // Operands that end in a sign and blanks before a comment: `(name)+ | text`, with another name for a register.
        _dangling_operands: $ => seq(optional($._some_operands), field('operand', alias($._dangling, $.binary_expression))),
        _dangling: $ => choice(...OUTER.filter(it => it[1] !== '%').map(([rule, sign]) => seq(
          field('left', $._expression), field('operator', alias($['_' + rule + '_sign'], sign)), $._blank))),
      } : {}),

      _comma: $ => choice(
        seq(alias($._comma_sign, ','), $._blank),
        prec(PREC.missing, alias($._comma_sign, ',')),
      ),

      _operand: $ => choice(
        $._expression,
        $.immediate,
        $._register,
        alias($._program_counter, $.special_register),
        $.register_list,
        $.indirect,
        $.postincrement,
        $.predecrement,
        $.displacement,
        $.indexed,
        $.pc_displacement,
        $.pc_indexed,
        $.absolute,
        alias($._angle_operand, $.argument),
        alias($._predecrement_list, $.broken),
        alias($._broken_mode, $.broken),
      ),

      _broken_mode: $ => prec(PREC.broken, seq(
        choice(
          $.immediate, $._register, alias($._program_counter, $.special_register), $.register_list, $.indirect,
          $.postincrement, $.predecrement, $.displacement, $.indexed, $.pc_displacement, $.pc_indexed, $.absolute,
          alias($._angle_operand, $.argument), $._predecrement_list,
        ),
        $._open_tail,
      )),

      immediate: $ => choice(
        // A size may stand behind it in the Unix dialects.
        prec.right(PREC.primary, seq(
          $._number_sign, field('value', rightSide($, '')),
          ...(unix ? [repeat(seq($._dot, optional(field('size', alias($._operand_size, $.size)))))] : []))),
        prec(PREC.missing, $._number_sign),
      ),
      _number_sign: $ => gapped($, field('operator', hash ? '&' : unix ? choice('#', '&') : '#')),

      _register: $ => choice($.data_register, $.address_register, $.special_register),
      data_register: _ => regex(`${unix ? '%?' : ''}[dD][0-7]`),
      address_register: _ => regex(`${unix ? '%?' : ''}([aA][0-7]|[sS][pP]${unix ? '|[fF][pP]' : ''})`),
      special_register: _ => regex((unix ? '%?' : '') + anyOf([...specialRegisters, ...(unix ? ['cc'] : [])])),
      _program_counter: _ => regex((unix ? '%?' : '') + '[pP][cC]'),

      register_list: $ => choice(
        prec.left(seq(choice($._register, $.register_range), repeat1(seq($._list_slash, optional(choice($._register, $.register_range)))))),
        $.register_range,
      ),
      register_range: $ => prec.right(seq(
        field('first', $._register), $._list_minus, optional(field('last', $._register)))),

      indirect: $ => choice(
        ...closed($, field('base', $._register)),
        ...(unix ? [prec(PREC.missing, seq(field('base', $._register), '@'))] : [])),
      postincrement: $ => choice(
        prec(PREC.primary, seq($._open, field('base', $._register), $._close, '+')),
        ...(unix ? [prec(PREC.primary, seq(field('base', $._register), '@', '+'))] : []),
      ),
      predecrement: $ => choice(...[
        seq($._open, field('base', $._register), $._close),
        seq($._open, field('base', $._register)),
      ].map((it, i) => prec(i ? PREC.unclosed_mode : PREC.primary, seq('-', it))),
      ...(unix ? [prec(PREC.primary, seq(field('base', $._register), '@', '-'))] : [])),

      /** No operand of a 68000, but one operand. */
      _predecrement_list: $ => choice(
        ...closed($, $._register, $._comma, optional($._indexes)).map(it => seq('-', it))),

      // A register by another name, or a macro's parameter, may be the base. Any part may be missing, but for the brackets.
      displacement: $ => choice(
        ...closed($, field('base', choice($._register, $._inner_expression)))
          .map(it => seq(field('displacement', $._expression), it)),
        prec(PREC.primary, seq(field('displacement', $._expression), $._open, $._close)),
        prec(PREC.missing, seq(field('displacement', $._expression), $._open)),
        ...closed($, optional(field('displacement', $._inner_expression)), $._comma,
          optional(field('base', choice($._register, $._inner_expression)))),
        ...atDisplacement($, field('base', $._register)),
      ),
      indexed: $ => choice(
        ...closed($, field('base', $._register), $._comma, optional($._indexes)),
        ...closed($, optional(field('base', choice($._register, $._inner_expression))), $._comma, optional($._indexes))
          .map(it => seq(field('displacement', $._expression), it)),
        ...closed($, optional(field('displacement', $._inner_expression)), $._comma,
          optional(field('base', choice($._register, $._inner_expression))), $._comma, optional($._indexes)),
        ...atIndex($, field('base', $._register)),
      ),
      pc_displacement: $ => {
        const base = field('base', alias($._program_counter, $.special_register));
        return choice(
          ...closed($, base),
          ...closed($, base).map(it => seq(field('displacement', $._expression), it)),
          ...closed($, optional(field('displacement', $._inner_expression)), $._comma, base),
          ...atDisplacement($, base),
          ...(unix ? [prec(PREC.missing, seq(base, '@'))] : []),
        );
      },
      pc_indexed: $ => {
        const base = field('base', alias($._program_counter, $.special_register));
        return choice(
          ...closed($, base, $._comma, optional($._indexes)),
          ...closed($, base, $._comma, optional($._indexes)).map(it => seq(field('displacement', $._expression), it)),
          ...closed($, optional(field('displacement', $._inner_expression)), $._comma, base, $._comma, optional($._indexes)),
          ...atIndex($, base),
        );
      },
      _indexes: $ => prec.right(PREC.unclosed, choice($.index, seq($._some_indexes, optional($.index)))),
      _some_indexes: $ => prec(PREC.item, seq(optional($._some_indexes), optional($.index), $._comma)),
      index: $ => prec(PREC.item, choice(
        $._index_register,
        field('register', $._inner_expression),
        alias($._broken_index, $.broken),
      )),
      _index_register: $ => prec.right(PREC.primary, seq(
        field('register', $._register),
        repeat(seq($._dot, optional(field('size', alias($._operand_size, $.size))))),
        optional(seq('*', optional(field('scale', $.decimal)))),
      )),
      ...(unix ? { _lone_index: $ => prec(PREC.item, $._index_register) } : {}),
      _broken_index: $ => prec(PREC.broken, seq($._index_register, $._inner_open_tail)),

      absolute: $ => prec.right(PREC.missing, seq(
        field('address', $._expression), repeat1(seq($._dot, optional(field('size', alias($._operand_size, $.size))))))),
      _inner_absolute: $ => prec.right(PREC.sized, seq(
        field('address', $._inner_expression), repeat1(seq($._dot, optional(field('size', alias($._operand_size, $.size))))))),

      // ------------------------------------------------------------------------------------------------ expressions

      ...expressions(''),
      ...expressions('_inner'),

      _unary_sign: _ => field('operator', choice('-', '+', '~', '!')),
      ...(unix ? {
        // Blanks before a sign make one token with it, as if it stood between two operands.
        _spaced_unary_sign: $ => field('operator', choice(
          alias($._minus_sign, '-'), alias($._plus_sign, '+'), alias($._bang_sign, '!'))),
        _spaced_unary: $ => unary($, [$._spaced_unary_sign], $._expression),
      } : {}),

      parenthesized_expression: $ => choice(
        prec(PREC.primary, seq($._open, $._inner_expression, $._close)),
        prec(PREC.unclosed, seq($._open, $._inner_expression)),
        prec(PREC.primary, seq($._open, $._close)),
        prec(PREC.missing, $._open),
      ),

      _inner_parenthesized: $ => choice(
        prec(PREC.primary, seq($._open, $._inner_item, $._close)),
        prec(PREC.unclosed, seq($._open, $._inner_item)),
        prec(PREC.primary, seq($._open, $._close)),
        prec(PREC.missing, $._open),
      ),
      // Brackets within brackets hold no list that a 68000 knows.
      _inner_list: $ => choice(...closed($, $._inner_some, optional($._inner_item))),
      _inner_some: $ => choice(
        prec(PREC.item, seq(optional($._inner_item), $._comma)),
        prec(PREC.broken, seq($._inner_some, optional($._inner_item), $._comma)),
      ),
      _inner_item: $ => prec(PREC.item, $._inner_expression),

      _open: $ => gapped($, choice('(', '[')),
      _close: $ => (unix ? choice(alias($._close_round, ')'), alias($._close_square, ']')) : choice(')', ']')),

      _atom: $ => prec(PREC.primary, choice(
        $.hexadecimal, $.binary, $.octal, $.floating_number, $.decimal,
        alias($._percent_binary, $.binary),
        ...(unix ? [] : [alias($._ampersand_decimal, $.decimal)]),
        $.location_counter,
        $.macro_parameter,
        $.local_symbol,
        $.symbol,
        $._quoted,
      )),
      _quoted: $ => choice($.character_constant, $.string),

      // ------------------------------------------------------------------------------------- text that is not read further

      ...tails(''),
      ...tails('_inner'),

      /** Brackets in text: anything up to the one that closes them, or to the operand's end. */
      _group: $ => choice(
        prec(PREC.primary, seq($._open, repeat($._group_item), $._close)),
        prec(PREC.unclosed, seq($._open, repeat($._group_item))),
      ),
      _group_item: $ => choice(unix ? $._inner_text : $._text, $._quoted, $._group, $._comma),

      _loose_argument: $ => prec.right(PREC.tail, seq(
        choice(alias($._angle_operand, $.angle), ...textItems($, '', false)), repeat(choice(...textItems($, '', true))))),

      // Angle brackets around an argument, or its start, protect what is in them.
      argument: $ => prec.right(PREC.tail, seq(
        choice(
          alias($._angle, $.angle),
          ...(unix ? textItems($, '', false) : [$._argument_text, '<', $._quoted, $._group]),
        ),
        repeat(choice(...textItems($, '', true))),
      )),

      // ---------------------------------------------------------------------------------------------------- comments
      // They come before text: a mark at the start of a field is no text.

      preprocessor: _ => regex(ownLine + (hash ? '' : `|#${REST}`)),
      _indented_preprocessor: _ => regex(ownLine),
      comment: $ => $._line_comment,
      _line_comment: _ => regex(alone + `([*;|#]|\\/\\/|\\/\\*)${REST}`),
      _label_comment: _ => regex(long + `([*;|${hash ? '#' : ''}]|\\/\\/|\\/\\*)${REST}`),
      _operand_comment: _ => regex(
        long + `(;|\\/\\/|\\/\\*${unix ? '|\\|' : ''}${hash ? '|#' : ''})${REST}` +
          `|\\*[${BLANK}][^${END}]*[^${END}${BLANK}]|\\*\\*${REST}`),
      _semicolon_comment: _ => regex(';' + REST),
      // Within brackets the mark is text, closed or not: any other token goes first.
      ...(mark ? { _marked_comment: _ => token(prec(2 * LAST, regex(`[;${mark}]${REST}`))) } : {}),
      _mark_comment: $ => (mark ? $._marked_comment : $._semicolon_comment),
      ...(unix ? { _mark_after_sign: _ => regex(long + `(${bar ? '' : '\\||'}\\/\\/|\\/\\*)${REST}`) } : {}),
      _comment_text: _ => regex(long + `[^${END}${BLANK}]${REST}`),

      // In the Unix dialects a sign is an item of its own, since blanks after it do not end the operand.
      ...(unix ? {
        // Those within brackets first: what may follow a bracket without an end must not win over what may stand in it.
        _inner_junk: _ => last(`[^${quoteless}${wordy}][^${quoteless}]*`),
        _inner_text: _ => regex(`[^${quoteless}]+`),
        _junk: _ => last(`[^${quoteless}${BLANK}${STOPS}${wordy}][^${quoteless}${BLANK}${STOPS}]*`),
        // Behind an `@` a sign is the end of a mode, and blanks behind it are the operand's end.
        _text: _ => regex(`[^${quoteless}${BLANK}${STOPS}]+|[^${quoteless}${BLANK}${STOPS}]*@[+\\-]`),
        _sign_item: $ => gapped($, $._sign),
        _sign: _ => last(`[${SIGN}*${bar ? '' : '|'}]`),
        _spaced_sign_item: $ => gapped($, $._spaced_sign),
      } : {
        _junk: _ => last(`[^${quoteless}${BLANK}${wordy}][^${quoteless}${BLANK}]*`),
        _text: _ => regex(`[^${quoteless}${BLANK}]+`),
        _argument_text: _ => regex(`[^${quoteless}${BLANK}<][^${quoteless}${BLANK}]*`),
      }),

      // ------------------------------------------------------------------------------------------------------ tokens

      // A local name before any other, for the same reason as keywords.
      _local_word: _ => regex(`(\\.${W}*|@${W}*)${pieces('')}|${START}${W}*\\$`),
      _word: _ => regex(START + W + '*' + pieces('')),
      ...(percent ? { _percent_word: _ => regex(`(${START}|\\.)(${W}|\\.)*([%~](${W}|\\.)*)+`) } : {}),
      // The brackets of a name that the preprocessor makes, and the colon behind them.
      _pasted_rest: _ => last(`[^)${END}]*\\)`),
      _pasted_colon: _ => regex(`[${BLANK}]*:`),
      _pasted_assign: _ => regex(`[${BLANK}]*:=`),
      _digits: _ => regex('[0-9]+\\$?'),
      _letter: _ => regex(`[${LETTER}]|${BACKSLASH}${W}?`),
      _operand_size: _ => regex(`[wWlLbBsS]|${BACKSLASH}${W}?`),

      hexadecimal: _ => regex('\\$[0-9a-fA-F_]+|0[xX][0-9a-fA-F_]+'),
      binary: _ => regex('0[bB][01_]+'),
      _percent_binary: _ => regex('%[01][01_]*'),
      ...(unix ? {} : { _ampersand_decimal: _ => regex('&[0-9][0-9_]*') }),
      octal: _ => regex('@[0-7_]+'),
      floating_number: _ => regex(
        '[0-9]+\\.[0-9]+([eE][+\\-]?[0-9]+)?|[0-9]+[eE][+\\-]?[0-9]+|0[rR][+\\-]?[0-9.]+([eE][+\\-]?[0-9]+)?|0[dDfFeE][+\\-]?[0-9]*\\.[0-9]+([eE][+\\-]?[0-9]+)?'),
      decimal: _ => regex('[0-9][0-9_]*'),
      location_counter: _ => (unix ? token(choice('*', '.')) : '*'),
      macro_parameter: _ => regex(`${BACKSLASH}([0-9@${hash ? '' : '#'}*?]|[A-Za-z_][A-Za-z0-9_]*)`),
      local_symbol: _ => regex(
        `(\\.+${W}*|@${W}*)${pieces(EXPRESSION_LETTERS)}|${unix ? MODELESS : START + W + '*'}\\$|[0-9]+\\$` + (unix ? '|[0-9]+[bBfF]' : '')),
      symbol: _ => regex((unix ? MODELESS : START + W + '*') + (percent ? `([%~]${W}+)*` : '') + pieces(EXPRESSION_LETTERS)),

      // In the Unix dialects a backslash, a character and a quote after the first quote end the constant, whatever follows.
      character_constant: _ => regex(unix
        ? `'([^'${BACKSLASH}${END}]|'')([^'${END}]|''){0,3}'|'${BACKSLASH}[^'${END}][^'${END}]([^'${END}]|'')?'` +
          `|'${BACKSLASH}[^${END}]'?|'[^'${BACKSLASH}${END}]`
        : `'([^'${END}]|''){1,4}'`),
      string: _ => regex(unix
        ? `'(([^'${BACKSLASH}${END}]|'')([^'${END}]|'')*)?'|'${BACKSLASH}[^'${END}][^'${END}]([^'${END}]|'')*'|'|"([^"${BACKSLASH}${END}]|${BACKSLASH}[^${END}]|"")*"|"(([^"${BACKSLASH}${END}]|${BACKSLASH}[^${END}]|"")*([^"${BACKSLASH}${END}${BLANK}]|${BACKSLASH}[^${END}]?|""))?`
        : `'([^'${END}]|'')*'|'(([^'${END}]|'')*([^'${END}${BLANK}]|''))?|"([^"${END}]|"")*"|"(([^"${END}]|"")*([^"${END}${BLANK}]|""))?`),

      _angle: _ => regex(`<[^>${END}]*>`),
      _angle_operand: _ => regex(`<[^<>${quoteless}${BLANK}${unix ? '|#' : ''}]*>`),

      _comma_sign: _ => spaced(','),
      ...(unix ? { _close_round: _ => spaced('\\)'), _close_square: _ => spaced('\\]') } : {}),
      _list_slash: $ => gapped($, alias($._slash_sign, '/')),
      _list_minus: $ => gapped($, alias($._minus_sign, '-')),
      _assign_sign: _ => regex(`[${BLANK}]*(=|==|:=)`),

      // The signs of operators come after text: where both may stand, an operand is already past reading.
      ...signs,
      _dot: _ => regex(unix ? '[.:]' : '\\.'),
      ...(unix ? { _spaced_sign: _ => regex(`[${BLANK}]+([+\\-&!^<>=]|\\/[${BLANK}])`) } : {}),

      // --------------------------------------------------------------------------------------------- blanks, ends, rests

      // Column one comes behind form feeds.
      _feeds: _ => regex('\\f+'),
      _blank: _ => regex(`[${BLANK}]+`),
      // Lines of blanks are part of the end of the line before them.
      _eol: _ => regex(`([${BLANK}]*[${END}])+\\f*`),
      _eol_indent: _ => regex(`([${BLANK}]*[${END}])+[${BLANK}]+`),

      _bad_number: _ => regex(`[0-9](${W}|\\.)*` + (percent ? `([%~](${W}|\\.)*)*` : '')),
      _rest: _ => last(`[^${END}${BLANK}${wordy}]${REST}`),
      ...(mark ? { _unmarked_rest: _ => last(`[^${END}${BLANK}${wordy};${mark}]${REST}`) } : {}),
      _any_rest: _ => regex(`[^${END}]*[^${END}${BLANK}]`),
      _closing_rest: _ => last(`[)\\]]${REST}`),
    },
  });
};
