/**
 * @file The words of 68000 source: instructions, directives, registers. One table for all grammars and for no other use.
 * Words are matched without regard to case. `LINES.md` beside this folder says what each list is for.
 */
// @ts-check

const split = (/** @type {string} */ text) => text.trim().split(/\s+/);

const conditions = split('cc cs eq ge gt hi hs le lo ls lt mi ne pl vc vs');

/** What branches whose size the assembler chooses have behind their first letter. */
const stretching = split('ra cc cs eq ge gt hi le ls lt mi ne pl vc vs');

/** Instructions that take operands. */
const instructions = [
  ...split(`
    abcd add adda addi addq addx and andi asl asr bchg bclr bkpt bra bset bsr btst chk clr cmp cmpa cmpi cmpm divs divu
    eor eori exg ext jmp jsr lea link lsl lsr move movea movec movem movep moveq moves muls mulu nbcd neg negx not or ori
    pea rol ror roxl roxr rtd sbcd stop sub suba subi subq subx swap tas trap tst unlk`),
  ...conditions.map(condition => 'b' + condition),
  ...[...conditions, 't', 'f', 'ra'].map(condition => 'db' + condition),
  ...[...conditions, 't', 'f'].map(condition => 's' + condition),
  'jbsr',
  ...stretching.map(condition => 'j' + condition),
];

/** Instructions without operands: what follows them is comment. */
const bareInstructions = split('rts rte rtr nop reset trapv illegal');

/** The instructions that have sizes, by their letters. */
const sizes = {
  b: ['abcd', 'nbcd', 'sbcd', 'tas', ...[...conditions, 't', 'f'].map(condition => 's' + condition)],
  w: [...split('divs divu muls mulu chk link swap'), ...[...conditions, 't', 'f', 'ra'].map(condition => 'db' + condition)],
  l: split('exg lea movc movec moveq movq pea'),
  bl: split('bchg bclr bset btst'),
  wl: split('adda cmpa ext suba movea movem movm movep movp'),
  bwl: split(`
    add addi addq addx and andi asl asr clr cmp cmpi cmpm eor eori lsl lsr mov move moves movs neg negx not or ori rol ror roxl roxr
    sub subi subq subx tst`),
  bwls: ['bra', 'bsr', ...conditions.map(condition => 'b' + condition)],
};

/** Other names of instructions in the Unix dialects. */
const unixInstructions = [...split('movc movm movp movq movs'), ...stretching.map(condition => 'jb' + condition)];

/** The one name that is an instruction with a size alone. */
const sizedInstructions = ['mov'];

// The directives are those of the server's table, `server/source/src/directives.rs`.

/** Directives without operands: what follows them is comment. */
const bareDirectives = split(`
  even text data bss code vsect ends previous rsreset endm mexit exitm endr else elsec endc endif list nolist nol nlist page pag
  eject noformat noobj mask2 mc68000 mc68010 endef altmacro noaltmacro`);

/** Directives whose operands are text, paths, parameters or flags rather than values. */
const looseDirectives = split(`
  include use incdir incbin section psect macro irp irpc fail error warning print message inform idnt ident nam opt ttl title
  sbttl format comline cpu chip arch type version local`);

/** The directive that ends the source: with a bracket directly behind it, it is a macro's name. */
const endDirectives = ['end'];

/** All other directives. */
const directives = split(`
  equ set reg equr dc byte word short hword long int quad float single double extend packed ascii asciz string dcb blk fill ds
  space skip zero align balign p2align cnop org rorg offset rs so rsset rept if ifeq ifne ifgt ifge iflt ifle ifc ifnc ifd ifnd
  ifdef ifndef ifb ifnb elseif elif xdef global globl public weak xref extern comm lcomm spc llen plen psize file line size
  hidden protected internal cfi loc stabs stabn stabd def val scl tag dim ln swbeg`);

/** Directives that are none without a dot. */
const needsDot = split(`
  file line type size hidden protected internal p2align previous psize chip arch cfi loc stabs stabn stabd def val scl tag dim
  endef ln version altmacro noaltmacro`);

/** Directives that are operations where they start in column one without a colon, in Motorola syntax. */
const columnOne = split(`
  incbin even cnop org rorg section include endm mexit exitm rept irp irpc endr if ifeq ifne ifgt ifge iflt ifle ifc ifnc
  ifd ifnd ifdef ifndef ifb ifnb else elsec elseif elif endc endif end xdef xref`);

/** Directives whose names people also give to things: labels in column one, in the Unix dialects too. */
const soft = split(`
  equ set reg equr byte word short hword long int quad float single double extend packed ascii asciz string fill space skip zero
  align balign text data bss code vsect ends offset rs so rsset rsreset macro global globl public weak extern comm lcomm fail
  error warning print message inform idnt ident nam opt list nolist nol nlist page pag eject spc ttl title sbttl llen plen format
  noformat noobj mask2 comline cpu mc68000 mc68010 swbeg use incdir local`);

/** Registers that are neither data nor address registers. The program counter has a rule of its own. */
const specialRegisters = split('sr ccr usp ssp vbr sfc dfc');

/** The words of the C preprocessor (ISO C90, 6.8; `warning` is common practice, no source). */
const preprocessorWords = split('define undef include if ifdef ifndef elif else endif error warning line pragma');

/** Names of instructions with the letter of a size joined to them, but for those that are other operations. */
function joined() {
  const taken = [
    ...instructions, ...unixInstructions, ...bareInstructions, ...directives, ...bareDirectives, ...looseDirectives, ...endDirectives];
  const all = Object.entries(sizes).flatMap(([letters, names]) => names.flatMap(name => [...letters].map(it => name + it)));
  return [...new Set(all)].filter(word => !taken.includes(word));
}

/**
 * Sorts the words into one list a token class. A class is one token, so that the parser's tables stay small.
 * @param {boolean} unix
 * @param {boolean} dotless whether directives have no dots: then all of them are operations in column one
 */
function classes(unix, dotless) {
  const front = (/** @type {string} */ word) => dotless || (unix ? !soft.includes(word) : columnOne.includes(word));
  const parted = (/** @type {string[]} */ list) => {
    const plain = list.filter(word => !needsDot.includes(word));
    return {
      front: plain.filter(front),
      // Every directive may have a leading dot. In the Unix dialects it is an operation then wherever it starts; in Motorola
      // syntax it is a label in column one.
      dotted: list.map(word => '.' + word),
      indented: plain.filter(word => !front(word)),
    };
  };
  return {
    instructions: unix ? [...instructions, ...unixInstructions] : instructions,
    sizedInstructions,
    joinedInstructions: joined(),
    bareInstructions,
    directives: parted(directives),
    bareDirectives: parted(bareDirectives),
    looseDirectives: parted(looseDirectives),
    endDirectives: parted(endDirectives),
  };
}

module.exports = { classes, preprocessorWords, specialRegisters };
