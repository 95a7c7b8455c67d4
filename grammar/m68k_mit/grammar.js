/**
 * @file 68000 assembly source in MIT syntax: the dotted Unix style with modes like `a0@`, and `|` before comments wherever they
 * stand.
 */
// @ts-check

const define = require('../common/define');

module.exports = define({ name: 'm68k_mit', unix: true, bar: true });
