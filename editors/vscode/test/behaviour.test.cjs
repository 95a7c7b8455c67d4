// Runs inside VS Code's extension host (drive.mjs starts it), on a copy of the damaged demo firmware: what the editor
// shows of the server's answers, and what the extension does when its server comes and goes.

const assert = require('node:assert');
const fs = require('node:fs');
const path = require('node:path');
const vscode = require('vscode');

const folder = () => vscode.workspace.workspaceFolders[0].uri;
const file = (name) => vscode.Uri.joinPath(folder(), name);
const pause = (ms) => new Promise((ok) => setTimeout(ok, ms));

/** What `probe` gives as soon as it is something. */
async function eventually(what, probe, seconds = 20) {
    const end = Date.now() + seconds * 1000;
    for (;;) {
        const found = await probe();
        if (found) return found;
        if (Date.now() > end) throw new Error(`${what}: not within ${seconds} s`);
        await pause(40);
    }
}

const code = (finding) => String(finding.code?.value ?? finding.code ?? '');
const ours = (uri) => vscode.languages.getDiagnostics(uri).filter((finding) => finding.source === 'reveille');
const fat = (uri) => ours(uri).filter((finding) => code(finding).startsWith('fat-'));
/** A finding without its place, so that it can be looked for after an edit. */
const name = (finding) => `${code(finding)}: ${finding.message}`;

async function show(uri) {
    const document = await vscode.workspace.openTextDocument(uri);
    await vscode.window.showTextDocument(document);
    return document;
}

function rangeOf(document, text) {
    const at = document.getText().indexOf(text);
    assert.notStrictEqual(at, -1, `no ${text} in ${document.uri.path}`);
    return new vscode.Range(document.positionAt(at), document.positionAt(at + text.length));
}

async function replace(document, from, to) {
    const edit = new vscode.WorkspaceEdit();
    edit.replace(document.uri, rangeOf(document, from), to);
    assert.ok(await vscode.workspace.applyEdit(edit), 'the edit was refused');
}

async function hoverText(uri, position) {
    const hovers = await vscode.commands.executeCommand('vscode.executeHoverProvider', uri, position);
    return hovers.flatMap((hover) => hover.contents.map((part) => part.value ?? part)).join('\n');
}

/** The process numbers of the servers that this extension host has started. */
function servers() {
    return fs.readdirSync('/proc').filter((entry) => {
        if (!/^\d+$/.test(entry)) return false;
        try {
            const parent = fs.readFileSync(`/proc/${entry}/stat`, 'utf8').replace(/^.*\) \S /s, '').split(' ')[0];
            return Number(parent) === process.pid && fs.readFileSync(`/proc/${entry}/cmdline`, 'utf8').includes('\0serve\0');
        } catch {
            return false; // it has just ended
        }
    });
}

const NEEDED = 'a damaged boot table has findings';
const WRONG_TOTAL = '$08,$05,$FB';
const RIGHT_TOTAL = '$00,$05,$FB';

const tests = {
    async 'every file name of the trade is 68000 assembly'() {
        const elsewhere = fs.mkdtempSync(path.join(folder().fsPath, '..', 'names-'));
        for (const ending of ['s', 'S', 'asm', 'a68', 'x68', '68k', 'inc', 'i', 'sa', 'src']) {
            const source = path.join(elsewhere, `a-${ending === 'S' ? 'capital' : ending}.${ending}`);
            fs.writeFileSync(source, '\trts\n');
            const document = await vscode.workspace.openTextDocument(vscode.Uri.file(source));
            assert.strictEqual(document.languageId, 'm68k', ending);
        }
    },

    async [NEEDED]() {
        const document = await show(file('disk.s'));
        const findings = await eventually('a finding of the FAT rules', () => {
            const found = fat(document.uri);
            return found.length > 0 && found;
        }, 60);
        for (const finding of findings) {
            assert.match(code(finding), /^fat-[a-z0-9-]+$/);
            assert.ok(finding.message.length > 0);
        }
        assert.ok(findings.some((finding) => finding.severity === vscode.DiagnosticSeverity.Error), 'none is an error');
    },

    async 'a row of bytes tells its disk'() {
        const document = await show(file('disk.s'));
        const row = rangeOf(document, '$A0,$05,$F9,$03,$00,$09').start.translate(0, 1);
        assert.match(await hoverText(document.uri, row), /80 x 2 x 9 x 512/);
    },

    async 'an instruction tells its words and cycles, and what it takes'() {
        const document = await show(file('disk.s'));
        const place = rangeOf(document, 'MULU\tD2,D4').start.translate(0, 1);
        const text = await hoverText(document.uri, place);
        assert.match(text, /C8C2/); // MULU D2,D4: 1100 100 0 11 000 010
        assert.match(text, /38 to 70 cycles/);
        const help = await vscode.commands.executeCommand(
            'vscode.executeSignatureHelpProvider', document.uri, rangeOf(document, 'D2,D4').end);
        assert.match(help.signatures[help.activeSignature].label, /^mulu\.w <ea>,Dn$/);
        const lenses = await vscode.commands.executeCommand('vscode.executeCodeLensProvider', document.uri);
        assert.ok(lenses.some((lens) => /bytes, .* cycles/.test(lens.command?.title ?? '')), 'no routine has its cost above it');
    },

    async 'addresses and cycles stand behind the lines when they are wanted'() {
        const document = await show(file('disk.s'));
        const line = rangeOf(document, 'MULU\tD2,D4').start.line;
        const range = new vscode.Range(line, 0, line + 1, 0);
        const hints = async () => {
            const found = await vscode.commands.executeCommand('vscode.executeInlayHintProvider', document.uri, range);
            return (found ?? []).map((hint) => String(hint.label));
        };
        assert.deepEqual(await hints(), []);
        const settings = vscode.workspace.getConfiguration('reveille');
        await settings.update('hints.cycles', true, vscode.ConfigurationTarget.Global);
        await eventually('the cycles', async () => (await hints()).some((text) => text === '38-70 cycles'));
        await settings.update('hints.cycles', undefined, vscode.ConfigurationTarget.Global);
        await eventually('no hint', async () => (await hints()).length === 0);
    },

    async 'lines are laid out, all of a document or the one that was typed'() {
        const document = await show(file('disk.s'));
        const edits = async (name, ...rest) =>
            await vscode.commands.executeCommand(`vscode.${name}`, document.uri, ...rest, { tabSize: 8, insertSpaces: false }) ?? [];
        const place = rangeOf(document, 'MULU\tD2,D4');
        const line = document.lineAt(place.start.line);
        assert.deepEqual(await edits('executeFormatRangeProvider', line.range), []);
        const change = new vscode.WorkspaceEdit();
        change.replace(document.uri, place, 'MULU  D2,D4');
        assert.ok(await vscode.workspace.applyEdit(change), 'the edit was refused');
        for (const found of [
            await edits('executeFormatDocumentProvider'),
            await edits('executeFormatOnTypeProvider', line.range.start.translate(1), '\n'),
        ]) {
            const own = found.filter((edit) => edit.range.start.line === place.start.line);
            assert.deepEqual(own.map((edit) => edit.newText), ['\t'], 'the tab is put back');
        }
        await vscode.commands.executeCommand('undo');
        assert.equal(document.lineAt(place.start.line).text, line.text);
    },

    async 'a repair in the buffer takes the finding away, undo brings it back'() {
        const document = await show(file('disk.s'));
        const before = await eventually('findings', () => fat(document.uri).length > 0 && fat(document.uri).map(name));
        await replace(document, WRONG_TOTAL, RIGHT_TOTAL);
        await eventually('one finding less', () => {
            const now = fat(document.uri).map(name);
            return now.length < before.length && now.every((finding) => before.includes(finding));
        });
        assert.ok(document.isDirty, 'the repair was saved');
        assert.ok(fs.readFileSync(document.uri.fsPath, 'utf8').includes(WRONG_TOTAL), 'the file on disk was changed');

        await vscode.commands.executeCommand('undo');
        await eventually('the finding again', () => {
            const now = fat(document.uri).map(name);
            return before.every((finding) => now.includes(finding));
        });
        assert.ok(!document.isDirty);
    },

    async 'restart: another server answers'() {
        const document = await show(file('disk.s'));
        const old = await eventually('one server', () => servers().length === 1 && servers()[0]);
        await vscode.commands.executeCommand('reveille.restart');
        await eventually('one server, a new one', () => servers().length === 1 && servers()[0] !== old);
        const row = rangeOf(document, '$A0,$05,$F9,$03,$00,$09').start.translate(0, 1);
        await eventually('its hover', async () => /80 x 2 x 9 x 512/.test(await hoverText(document.uri, row)));
        await eventually('its findings', () => fat(document.uri).length > 0, 60);
    },

    async 'a wrong path is told, a right one starts the server again'() {
        const { uri } = await show(file('disk.s'));
        const settings = vscode.workspace.getConfiguration('reveille.server');
        const right = settings.get('path');
        await settings.update('path', `${right}-that-is-not-there`, vscode.ConfigurationTarget.Global);
        await eventually('no findings without a server', () => ours(uri).length === 0);
        await settings.update('path', right, vscode.ConfigurationTarget.Global);
        await eventually('findings', () => fat(uri).length > 0, 60);
    },

    async 'C beside the assembly leads to it, and the machine\'s start to the sheet'() {
        const document = await show(file('cside/float.c'));
        assert.equal(document.languageId, 'c');
        const call = rangeOf(document, 'floatin()').start;
        await eventually('the label in the hover', async () => /stand\.s/.test(await hoverText(document.uri, call)));
        const found = await vscode.commands.executeCommand('vscode.executeDefinitionProvider', document.uri, call);
        const target = found.map((it) => (it.targetUri ?? it.uri).path);
        assert.ok(target.some((it) => it.endsWith('/stand.s')), target.join());
        const boot = await show(file('boot.s'));
        const lenses = await vscode.commands.executeCommand('vscode.executeCodeLensProvider', boot.uri);
        const lens = lenses.find((it) => it.command?.command === 'reveille.sheet');
        assert.ok(lens, 'nothing leads to the sheet');
        await vscode.commands.executeCommand('reveille.sheet', ...lens.command.arguments);
        const tabs = () => vscode.window.tabGroups.all.flatMap((group) => group.tabs).map((tab) => tab.label);
        await eventually('a tab with the sheet', () => tabs().includes('Bring-up sheet'));
        await vscode.commands.executeCommand('workbench.action.closeActiveEditor');
    },

    async 'a session has its own language, and the server is told of it'() {
        const settings = vscode.workspace.getConfiguration('reveille.server');
        const right = settings.get('path');
        const elsewhere = fs.mkdtempSync(path.join(folder().fsPath, '..', 'session-'));
        const [told, between] = ['told', 'between'].map((name) => path.join(elsewhere, name));
        fs.writeFileSync(told, '');
        // Writes down what the client says, on its way to the server.
        fs.writeFileSync(between, `#!/bin/sh\ntee '${told}' | '${right}' "$@"\n`, { mode: 0o755 });
        await settings.update('path', between, vscode.ConfigurationTarget.Global);
        try {
            const script = path.join(elsewhere, 'first.session');
            fs.writeFileSync(script, 'machine skerry\n');
            const document = await vscode.workspace.openTextDocument(vscode.Uri.file(script));
            assert.strictEqual(document.languageId, 'reveille-session');
            await eventually('the session at the server', () => {
                const said = fs.readFileSync(told, 'utf8');
                return said.includes('first.session') && said.includes('"languageId":"reveille-session"');
            });
        } finally {
            await settings.update('path', right, vscode.ConfigurationTarget.Global);
        }
    },
};

exports.run = async () => {
    let failed = 0;
    for (const [title, test] of Object.entries(tests)) {
        try {
            await test();
            console.log(`REPORT ok ${title}`);
        } catch (error) {
            failed += 1;
            console.log(`REPORT not ok ${title}\n    ${String(error.stack ?? error).replaceAll('\n', '\n    ')}`);
            if (title === NEEDED) break; // without findings the rest can only wait in vain
        }
    }
    if (failed > 0) throw new Error(`${failed} failed`);
};
