/**
 * @file 68000 assembly source in dotted Unix style: directives start with a dot, expressions may have blanks, and comments
 * have a mark.
 */
// @ts-check

const define = require('../common/define');

module.exports = define({ name: 'm68k_dotted', unix: true });
