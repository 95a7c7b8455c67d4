/**
 * @file 68000 assembly source in Motorola syntax: the operand field ends at the first blank, and comments need no mark.
 */
// @ts-check

const define = require('../common/define');

module.exports = define({ name: 'm68k', unix: false });
