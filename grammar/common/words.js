/**
 * @file The words of 68000 source: instructions, directives, registers. One table for both grammars and for no other use.
 * Words are matched without regard to case. `LINES.md` beside this folder says what each list is for.
 */
// @ts-check

const split = (/** @type {string} */ text) => text.trim().split(/\s+/);

const conditions = split('cc cs eq ge gt hi hs le lo ls lt mi ne pl vc vs');

/** Instructions that take operands. */
const instructions = [
  ...split(`
    abcd add adda addi addq addx and andi asl asr bchg bclr bkpt bra bset bsr btst chk clr cmp cmpa cmpi cmpm divs divu
    eor eori exg ext jmp jsr lea link lsl lsr move movea movec movem movep moveq moves muls mulu nbcd neg negx not or ori
    pea rol ror roxl roxr rtd sbcd stop sub suba subi subq subx swap tas trap tst unlk`),
  ...conditions.map(condition => 'b' + condition),
  ...[...conditions, 't', 'f', 'ra'].map(condition => 'db' + condition),
  ...[...conditions, 't', 'f'].map(condition => 's' + condition),
  // Branches whose size the assembler chooses: dotted style.
  ...split('jra jbsr jcc jcs jeq jge jgt jhi jle jls jlt jmi jne jpl jvc jvs'),
];

/** Instructions without operands: what follows them is comment. */
const bareInstructions = split('rts rte rtr nop reset trapv illegal');

/** Directives without operands: what follows them is comment. */
const bareDirectives = split('endc endif endm endr else even mexit page list nolist nol nlist text data bss');

/** Directives whose operands are text, paths or flags rather than values. */
const looseDirectives = split(`
  include incbin incdir ttl title nam stitle subttl idnt opt fail error message print inform comline format noformat
  charset macro local type cpu arch ident irp irpc for repeat until use section psect vsect`);

/** All other directives. */
const directives = split(`
  align ascii asciz balign blk byte case cnop comm dc dcb dephase ds double elif elseif elsec end endf endgen endi ends
  endw equ equr equrl extern exitm file fill float fequ function genif global globl hidden if ifb ifc ifd ifdef ifeq ifge ifgt
  ifle iflt ifnb ifnc ifnd ifndef ifne lcomm line llen local long mask2 noobj offset org p2align phase purge quad
  reg rept restore rorg rs rsreset rsset save set shift short size skip so space spc string weak while
  word xdef xref`);

/** Directives that are operations where they start in column one without a colon, in Motorola syntax. */
const columnOne = split(`
  include incbin section org rorg xdef xref end endc endif endm endr else elseif elif mexit if ifeq ifne ifgt ifge iflt
  ifle ifc ifnc ifd ifnd ifdef ifndef ifb ifnb rept even cnop`);

/** Directives whose names people also give to things: labels in column one, in the dotted style too. */
const soft = split(`
  align byte long word short ascii asciz string space skip text data bss offset size file line page list nolist title type
  global globl set reg equ fail print comm lcomm macro extern local function`);

/** Registers that are neither data nor address registers. The program counter has a rule of its own. */
const specialRegisters = split('sr ccr usp ssp vbr sfc dfc');

/**
 * Sorts the words into one list a token class. A class is one token, so that the parser's tables stay small.
 * @param {boolean} dotted
 */
function classes(dotted) {
  const front = (/** @type {string} */ word) => (dotted ? !soft.includes(word) : columnOne.includes(word));
  const parted = (/** @type {string[]} */ list) => ({
    front: list.filter(front),
    // Every directive may have a leading dot, and then it is an operation wherever it starts.
    dotted: list.map(word => '.' + word),
    indented: list.filter(word => !front(word)),
  });
  return {
    instructions,
    bareInstructions,
    directives: parted(directives),
    bareDirectives: parted(bareDirectives),
    looseDirectives: parted(looseDirectives),
  };
}

module.exports = { classes, specialRegisters };
