/**
 * @file 68000 assembly source in the Unix style with `&` for immediates, and `#` before comments.
 */
// @ts-check

const define = require('../common/define');

module.exports = define({ name: 'm68k_sgs', unix: true, hash: true, percent: true });
