// Starts a real VS Code (the one inside code-server), looks at it through a headless browser, and tests the extension
// in two ways, each with a fresh profile and a fresh copy of the demo firmware:
//
//   inside   the extension is loaded from its folder and behaviour.test.cjs runs in the extension host, with VS Code's
//            own interface
//   seen     the package is installed, and the page is used as a person would use it; pictures are taken
//
// run.sh starts this file.

import { spawn, spawnSync } from 'node:child_process';
import { cpSync, mkdirSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { createRequire } from 'node:module';
import { createServer } from 'node:net';
import { tmpdir } from 'node:os';
import { dirname, join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { parseArgs } from 'node:util';

const here = dirname(fileURLToPath(import.meta.url));
const { values: given } = parseArgs({
    options: Object.fromEntries(
        ['code-server', 'tools', 'extension', 'vsix', 'demo', 'shots'].map((name) => [name, { type: 'string' }]),
    ),
});
const { chromium } = createRequire(join(given.tools, 'package.json'))('playwright-core');
const debug = process.env.DEBUG ? (...words) => console.error(...words) : () => {};

let passed = 0;
let failed = 0;

/** Counts one line of the form `ok NAME` or `not ok NAME`, and shows it. */
function report(line) {
    if (/^ok /.test(line)) passed += 1;
    if (/^not ok /.test(line)) failed += 1;
    console.log(line);
}

async function check(name, body) {
    try {
        await body();
        report(`ok ${name}`);
        return true;
    } catch (error) {
        report(`not ok ${name}\n    ${String(error.stack ?? error).replaceAll('\n', '\n    ')}`);
        return false;
    }
}

/** Rejects when `promise` has not settled after `seconds`. */
function within(seconds, what, promise) {
    let timer;
    const late = new Promise((_, no) => {
        timer = setTimeout(() => no(new Error(`${what}: nothing after ${seconds} s`)), seconds * 1000);
    });
    return Promise.race([promise, late]).finally(() => clearTimeout(timer));
}

function freePort() {
    return new Promise((ok, no) => {
        const probe = createServer();
        probe.once('error', no);
        probe.listen(0, '127.0.0.1', () => {
            const { port } = probe.address();
            probe.close(() => ok(port));
        });
    });
}

/** What must not be left behind when somebody ends the test: filled and emptied by `workbench`. */
const leftovers = new Set();
for (const signal of ['SIGHUP', 'SIGINT', 'SIGTERM']) {
    process.once(signal, () => {
        for (const remove of leftovers) remove();
        process.exit(2);
    });
}

/** A VS Code with a profile of its own, on a copy of the demo firmware, and a browser page for it. */
async function workbench(body) {
    const home = mkdtempSync(join(tmpdir(), 'reveille-code-'));
    const user = join(home, 'user');
    const extensions = join(home, 'extensions');
    const folder = join(home, 'skerry');
    cpSync(given.demo, folder, { recursive: true });
    mkdirSync(join(user, 'User'), { recursive: true });
    mkdirSync(extensions);
    // A program's path is a setting of the machine: VS Code ignores it among the user's settings of a remote window.
    mkdirSync(join(user, 'Machine'));
    writeFileSync(
        join(user, 'Machine', 'settings.json'),
        JSON.stringify({ 'reveille.server.path': process.env.REVEILLE }),
    );
    writeFileSync(
        join(user, 'User', 'settings.json'),
        JSON.stringify({
            'chat.disableAIFeatures': true,
            'reveille.clock': 8_000_000,
            'editor.fontSize': 13,
            'editor.minimap.enabled': false,
            'extensions.autoCheckUpdates': false,
            'extensions.autoUpdate': false,
            'files.autoSave': 'off',
            'files.hotExit': 'off',
            'security.workspace.trust.enabled': false,
            'telemetry.telemetryLevel': 'off',
            'update.mode': 'none',
            'window.restoreWindows': 'none',
            'workbench.enableExperiments': false,
            'workbench.secondarySideBar.defaultVisibility': 'hidden',
            'workbench.startupEditor': 'none',
            'workbench.tips.enabled': false,
            'workbench.welcomePage.walkthroughs.openOnInstall': false,
        }),
    );

    const program = join(given['code-server'], 'lib/vscode/out/server-main.js');
    const where = ['--server-data-dir', home, '--user-data-dir', user, '--extensions-dir', extensions];
    const agreed = ['--accept-server-license-terms', '--telemetry-level', 'off'];
    const env = { ...process.env, HOME: home };
    let served;
    let browser;
    const abandon = () => {
        if (served?.pid !== undefined && served.exitCode === null) process.kill(-served.pid, 'SIGKILL');
        rmSync(home, { recursive: true, force: true, maxRetries: 5 });
    };
    leftovers.add(abandon);
    try {
        const install = (vsix) => {
            const run = spawnSync(process.execPath, [program, ...where, ...agreed, '--install-extension', vsix], {
                env,
                encoding: 'utf8',
                timeout: 60_000,
            });
            debug(run.stdout, run.stderr);
            if (run.status !== 0 || !/successfully installed/.test(run.stdout)) {
                throw new Error(`the package does not install: ${run.stdout}${run.stderr}${run.error ?? ''}`);
            }
        };
        const open = async (payload = []) => {
            const port = await freePort();
            // Only with the smoke-test driver does a built VS Code accept tests from the page's address.
            const args = [program, ...where, ...agreed, '--host', '127.0.0.1', '--port', String(port)];
            args.push('--without-connection-token', '--disable-workspace-trust', '--enable-smoke-test-driver');
            served = spawn(process.execPath, args, { env, stdio: ['ignore', 'pipe', 'pipe'], detached: true });
            served.stderr.on('data', (data) => debug(String(data)));
            await within(60, 'start of VS Code', new Promise((ok, no) => {
                served.once('error', no);
                served.once('exit', (code) => no(new Error(`VS Code ended with ${code}`)));
                let said = '';
                served.stdout.on('data', (data) => {
                    said += data;
                    debug(String(data));
                    if (said.includes('host agent listening')) ok();
                });
            }));
            browser = await chromium.launch({
                executablePath: process.env.CHROMIUM,
                args: ['--no-sandbox', '--disable-gpu', '--disable-quic', '--no-first-run', '--disable-sync',
                    '--disable-background-networking', '--disable-component-update'],
            });
            const page = await browser.newPage({ viewport: { width: 1280, height: 800 } });
            page.setDefaultTimeout(30_000);
            const remote = (path) => `vscode-remote://127.0.0.1:${port}${path}`;
            const query = new URLSearchParams({
                folder,
                payload: JSON.stringify(payload.map(([key, path]) => [key, path === true ? 'true' : remote(path)])),
            });
            return { page, go: () => page.goto(`http://127.0.0.1:${port}/?${query}`) };
        };
        await body({ install, open, folder });
    } finally {
        await browser?.close().catch(debug);
        if (served?.pid !== undefined && served.exitCode === null) {
            const gone = new Promise((ok) => served.once('exit', ok));
            process.kill(-served.pid, 'SIGTERM');
            await within(5, 'end of VS Code', gone).catch(() => process.kill(-served.pid, 'SIGKILL'));
        }
        leftovers.delete(abandon);
        rmSync(home, { recursive: true, force: true, maxRetries: 5 });
    }
}

async function inside() {
    await workbench(async ({ open }) => {
        const { page, go } = await open([
            ['extensionDevelopmentPath', given.extension],
            ['extensionTestsPath', join(here, 'behaviour.test.cjs')],
            ['skipWelcome', true],
        ]);
        let lines = 0;
        await page.exposeFunction('codeAutomationLog', (type, words) => {
            const text = words.map(String).join(' ');
            if (text.startsWith('REPORT ')) {
                lines += 1;
                report(text.slice('REPORT '.length));
            } else {
                debug(`${type}: ${text}`);
            }
        });
        const ended = new Promise((ok) => page.exposeFunction('codeAutomationExit', ok));
        await go();
        await within(120, 'the tests in the extension host', ended);
        if (lines === 0) throw new Error('the tests in the extension host did not run');
    });
}

/** Where in disk.s the total of the 720 K disk is: line and column from 1. "Go to Line" counts a tab as far as it reaches. */
function total720(folder) {
    const lines = readFileSync(join(folder, 'disk.s'), 'utf8').split('\n');
    const index = lines.findIndex((line) => line.includes('$A0,$05,$F9,$03,$00,$09'));
    const before = lines[index].slice(0, lines[index].indexOf('$A0'));
    const width = [...before].reduce((column, letter) => (letter === '\t' ? column + 8 - (column % 8) : column + 1), 0);
    return { line: index + 1, column: width + 2 };
}

async function seen() {
    const shot = (name) => join(given.shots, name);
    await workbench(async ({ install, open, folder }) => {
        let page;
        try {
            if (!await check('the package installs', () => install(given.vsix))) return;
            const opened = await open();
            page = opened.page;
            await opened.go();
            await page.locator('.monaco-workbench .part.editor').click();

            const quick = page.locator('.quick-input-widget:visible input.input');
            const say = async (key, text) => {
                await page.keyboard.press(key);
                await quick.waitFor({ state: 'visible' });
                await quick.fill(text);
                await page.locator('.quick-input-list .monaco-list-row').first().waitFor();
                await page.keyboard.press('Enter');
                await quick.waitFor({ state: 'hidden' });
            };

            if (!await check('the damaged bytes are underlined', async () => {
                await say('Control+P', 'disk.s');
                await page.locator('.tab[data-resource-name="disk.s"]').waitFor();
                await page.locator('.view-overlays .squiggly-error').first().waitFor({ state: 'attached', timeout: 60_000 });
            })) return;

            await check('directives, registers and comments have different colours', async () => {
                const colours = await page.locator('.view-lines').first().evaluate((lines) =>
                    new Set([...lines.querySelectorAll('.view-line span span')].map((span) => getComputedStyle(span).color)).size);
                if (colours < 3) throw new Error(`only ${colours} colours`);
            });

            await check('the hover over the third row names the disk', async () => {
                const { line, column } = total720(folder);
                await say('Control+G', `:${line}:${column}`);
                await page.keyboard.press('Control+K');
                await page.keyboard.press('Control+I');
                await page.locator('.monaco-hover:visible', { hasText: '80 x 2 x 9 x 512' }).first().waitFor();
                await page.waitForTimeout(500); // it fades in
                await page.screenshot({ path: shot('vscode-hover.png') });
                await page.keyboard.press('Escape');
            });

            await check('the hover over an instruction has its words and its cycles', async () => {
                const lines = readFileSync(join(folder, 'disk.s'), 'utf8').split('\n');
                const line = lines.findIndex((text) => text.includes('MULU\tD2,D4')) + 1;
                await say('Control+G', `:${line}:10`);
                await page.keyboard.press('Control+K');
                await page.keyboard.press('Control+I');
                await page.locator('.monaco-hover:visible', { hasText: '38 to 70 cycles' }).first().waitFor();
                await page.waitForTimeout(500);
                await page.screenshot({ path: shot('vscode-instruction.png') });
                await page.keyboard.press('Escape');
            });

            await check('the Problems panel names Reveille and its code', async () => {
                await page.keyboard.press('Control+Shift+M');
                const rows = page.locator('.markers-panel .monaco-list-row');
                await rows.first().waitFor();
                await page.locator('.viewpane-filter input, .markers-panel-filter input').first().fill('fat-0');
                await rows.filter({ hasText: /reveille\s*\(?\s*fat-/i }).first().waitFor();
                await page.waitForTimeout(300);
                await page.screenshot({ path: shot('vscode-problems.png') });
            });
        } finally {
            if (failed) await page?.screenshot({ path: shot('vscode-failed.png') }).catch(debug);
        }
    });
}

for (const [name, part] of Object.entries({ inside, seen })) {
    try {
        await part();
    } catch (error) {
        report(`not ok ${name}\n    ${String(error.stack ?? error).replaceAll('\n', '\n    ')}`);
    }
}
console.log(`${passed} passed, ${failed} failed`);
process.exit(failed === 0 && passed > 0 ? 0 : 1);
