// The bring-up sheet as a page in a real Chromium: nothing is asked from outside, nothing goes wrong, links lead somewhere, figures are
// there, it fits a phone and a sheet of A4, and can be read on light and dark. Prints "N passed, N failed"; exits 1 if one failed.
//
//   node sheet.mjs --tools FOLDER --sheet FILE [--shots FOLDER]     with CHROMIUM as the browser

import assert from 'node:assert/strict';
import { createRequire } from 'node:module';
import { join } from 'node:path';
import { pathToFileURL } from 'node:url';
import { parseArgs } from 'node:util';

const { values } = parseArgs({
    options: { tools: { type: 'string' }, sheet: { type: 'string' }, shots: { type: 'string' } },
});
const require = createRequire(join(values.tools, 'package.json'));
const { chromium } = require('playwright-core');

/** CSS pixels of A4 between margins of 15 mm, at 96 an inch. */
const A4 = { width: Math.floor((180 / 25.4) * 96), height: Math.floor((267 / 25.4) * 96) };

const browser = await chromium.launch({ executablePath: process.env.CHROMIUM, args: ['--no-sandbox'] });
let passed = 0;
let failed = 0;

async function test(name, options, body) {
    const context = await browser.newContext({ viewport: { width: 1100, height: 900 }, ...options });
    const page = await context.newPage();
    const troubles = [];
    page.on('console', (message) => {
        if (message.type() === 'error' || message.type() === 'warning') {
            troubles.push(message.text());
        }
    });
    page.on('pageerror', (error) => troubles.push(String(error)));
    page.on('request', (request) => {
        if (!request.url().startsWith('file:') && !request.url().startsWith('data:')) {
            troubles.push(`asks for ${request.url()}`);
        }
    });
    try {
        await page.goto(pathToFileURL(values.sheet).href);
        await body(page);
        assert.deepEqual(troubles, []);
        passed += 1;
        console.log(`ok ${name}`);
    } catch (error) {
        failed += 1;
        console.log(`FAILED ${name}: ${error.message}`);
    }
    await context.close();
}

async function shot(page, name, options = {}) {
    if (values.shots !== undefined) {
        await page.screenshot({ path: join(values.shots, `${name}.png`), ...options });
    }
}

/** Whether the page is wider than the window. */
const overflow = (page) => page.evaluate(() => document.documentElement.scrollWidth - window.innerWidth);

/** The contrast of the text of some elements with what lies behind it: WCAG 2.2, 1.4.3. */
const contrasts = (page, selector) =>
    page.evaluate((selector) => {
        const channels = (color) => (color.match(/[\d.]+/g) ?? []).map(Number);
        const light = ([red, green, blue]) => {
            const [r, g, b] = [red, green, blue].map((it) => {
                const own = it / 255;
                return own <= 0.04045 ? own / 12.92 : ((own + 0.055) / 1.055) ** 2.4;
            });
            return 0.2126 * r + 0.7152 * g + 0.0722 * b;
        };
        const behind = (element) => {
            for (let own = element; own !== null; own = own.parentElement) {
                const color = channels(getComputedStyle(own).backgroundColor);
                if (color.length === 3 || color[3] > 0) {
                    return color;
                }
            }
            return matchMedia('(prefers-color-scheme: dark)').matches ? [18, 18, 18] : [255, 255, 255];
        };
        return [...document.querySelectorAll(selector)].map((element) => {
            const [one, other] = [light(channels(getComputedStyle(element).color)), light(behind(element))];
            return (Math.max(one, other) + 0.05) / (Math.min(one, other) + 0.05);
        });
    }, selector);

await test('links lead to places of the page', {}, async (page) => {
    const broken = await page.$$eval('a[href]', (all) =>
        all.map((it) => it.getAttribute('href')).filter((it) => !it.startsWith('#') || document.getElementById(it.slice(1)) === null),
    );
    assert.deepEqual(broken, []);
    const count = await page.$$eval('a[href^="#l"]', (all) => all.length);
    assert.ok(count > 100, `${count} links to lines of the source`);
    await shot(page, 'sheet');
});

await test('a link leads to the line that it names', {}, async (page) => {
    const link = page.locator('a[href^="#l"][href*="-"]').first();
    const [text, href] = [await link.textContent(), await link.getAttribute('href')];
    await link.click();
    const line = await page.locator(`[id="${href.slice(1)}"] em`).textContent();
    assert.equal(line.trim(), text.split(':').at(-1));
});

await test('it has its parts, and figures that say what they are', {}, async (page) => {
    const titles = await page.$$eval('h2', (all) => all.map((it) => it.textContent));
    const parts = [
        'Machine',
        'Memory',
        'Exception vectors',
        'Disk formats',
        'From power-on to the prompt',
        'Files that are loaded',
        'Serial lines',
        'What the monitor can be asked',
        'What it can print',
        'What is left open',
        'Before a disk is touched',
    ];
    for (const part of parts) {
        assert.ok(titles.includes(part), `no part “${part}” among ${titles.join(', ')}`);
    }
    const figures = await page.$$eval('figure svg', (all) =>
        all.map((it) => ({ name: it.getAttribute('aria-label'), role: it.getAttribute('role'), height: it.getBoundingClientRect().height })),
    );
    assert.ok(figures.length >= 3, `${figures.length} figures`);
    for (const figure of figures) {
        assert.ok(figure.name && figure.role === 'img' && figure.height > 20, JSON.stringify(figure));
    }
    const headings = await page.$$eval('h1', (all) => all.length);
    assert.equal(headings, 1);
    assert.equal(await page.evaluate(() => document.documentElement.lang), 'en');
});

for (const scheme of ['light', 'dark']) {
    await test(`it can be read on ${scheme} paper`, { colorScheme: scheme }, async (page) => {
        const all = await contrasts(page, 'p, li, td, th, h2, h3, a, code, .lines span');
        assert.ok(Math.min(...all) >= 4.5, `the least contrast is ${Math.min(...all).toFixed(2)}`);
        await shot(page, `sheet-${scheme}`);
    });
}

await test('it fits a phone of 360 pixels', { viewport: { width: 360, height: 740 }, isMobile: true }, async (page) => {
    assert.ok((await overflow(page)) <= 0, `${await overflow(page)} pixels stand out`);
    const size = await page.evaluate(() => parseFloat(getComputedStyle(document.body).fontSize));
    assert.ok(size >= 14, `letters of ${size} pixels`);
    await page.locator('figure').last().scrollIntoViewIfNeeded();
    await shot(page, 'sheet-phone');
});

await test('it prints on A4', { viewport: A4 }, async (page) => {
    await page.emulateMedia({ media: 'print' });
    assert.ok((await overflow(page)) <= 0, `${await overflow(page)} pixels stand out`);
    const wide = await page.$$eval('table, pre, figure', (all) => all.filter((it) => it.getBoundingClientRect().right > window.innerWidth + 1).length);
    assert.equal(wide, 0, `${wide} tables or figures are cut off`);
    const pdf = await page.pdf({ format: 'A4', preferCSSPageSize: true });
    const pages = pdf.toString('latin1').match(/\/Type\s*\/Page[^s]/g)?.length ?? 0;
    assert.ok(pages > 2 && pages < 200, `${pages} pages`);
    await shot(page, 'sheet-a4');
});

await browser.close();
console.log(`${passed} passed, ${failed} failed`);
process.exit(failed === 0 ? 0 : 1);
