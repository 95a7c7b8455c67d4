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

// The directives are those of the server's table, `server/source/src/directives.rs`.

/** Directives without operands: what follows them is comment. */
const bareDirectives = split(`
  even text data bss code rsreset endm mexit exitm endr else elsec endc endif list nolist nol nlist page eject noformat
  noobj mask2 mc68000 mc68010`);

/** Directives whose operands are text, paths, parameters or flags rather than values. */
const looseDirectives = split(`
  include incbin section psect macro irp irpc fail error warning print message idnt ident nam opt ttl title sbttl format
  comline cpu type local`);

/** All other directives. */
const directives = split(`
  equ set reg equr dc byte word short hword long int quad ascii asciz string dcb blk fill ds space skip zero align balign cnop
  org rorg offset rs so rsset rept if ifeq ifne ifgt ifge iflt ifle ifc ifnc ifd ifnd ifdef ifndef ifb ifnb elseif elif end
  xdef global globl public weak xref extern comm lcomm spc llen plen file line size hidden`);

/** Directives that are operations where they start in column one without a colon, in Motorola syntax. */
const columnOne = split(`
  incbin even cnop org rorg section include endm mexit exitm rept irp irpc endr if ifeq ifne ifgt ifge iflt ifle ifc ifnc
  ifd ifnd ifdef ifndef ifb ifnb else elsec elseif elif endc endif end xdef xref`);

/** Directives whose names people also give to things: labels in column one, in the dotted style too. */
const soft = split(`
  equ set reg equr byte word short hword long int quad ascii asciz string fill space skip zero align balign text data bss code
  offset rs so rsset rsreset macro global globl public weak extern comm lcomm fail error warning print message idnt ident nam
  opt list nolist nol nlist page eject spc ttl title sbttl llen plen format noformat noobj mask2 comline cpu mc68000 mc68010
  file line type size hidden local`);

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
    // Every directive may have a leading dot. In the dotted style it is an operation then wherever it starts; in Motorola syntax
    // it is a label in column one.
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
