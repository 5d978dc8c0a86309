// pages.js CHROMIUM WORK - looks at WORK/pages/NAME.html beside WORK/pages/NAME.csv; see tests/browser.sh.
"use strict";
const fs = require("fs"), path = require("path"), { chromium } = require("playwright-core");
const [executablePath, work] = [process.argv[2], path.resolve(process.argv[3])];
const FLAGS = ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync"];
let passed = 0, failed = 0, charts = 0, filters = 0, sorted = 0;

function check(holds, what) {
    if (holds) passed++;
    else { failed++; console.log("browser: " + what); }
}

// Tables separated by empty lines, as RFC 4180 quotes cells.
function readTables(csv) {
    const tables = [[]];
    let row = [], cell = "", quoted = false, any = false;
    for (let i = 0; i < csv.length; i++) {
        const c = csv[i];
        if (quoted) {
            if (c === '"' && csv[i + 1] === '"') { cell += '"'; i++; }
            else if (c === '"') quoted = false;
            else cell += c;
        } else if (c === '"') { quoted = any = true; }
        else if (c === ",") { row.push(cell); cell = ""; any = true; }
        else if (c === "\n") {
            if (!any && cell === "") tables.push([]);
            else { row.push(cell); tables[tables.length - 1].push(row); }
            row = []; cell = ""; any = false;
        } else cell += c;
    }
    return tables;
}

// What is on the page: figures from data-value, words as they are read.
function readPage() {
    return Array.from(document.querySelectorAll("main section")).map(section => {
        const table = section.querySelector("table");
        return table === null ? [] : Array.from(table.tBodies[0].rows).map(row => Array.from(row.cells).map(cell =>
            cell.hasAttribute("data-value") ? cell.getAttribute("data-value") : cell.textContent));
    });
}

function isDrawn(canvas) {
    const data = canvas.getContext("2d").getImageData(0, 0, canvas.width, canvas.height).data, colors = new Set();
    let inked = 0;
    for (let i = 0; i < data.length; i += 4)
        if (data[i + 3] > 200) { inked++; colors.add(data[i] << 16 | data[i + 1] << 8 | data[i + 2]); }
    return { inked: inked, colors: colors.size, width: canvas.width, height: canvas.height };
}

// The lowest contrast of words to what is behind them (WCAG 2.2, 1.4.3), with the words.
function lowestContrast() {
    function parse(color) { return (color.match(/[\d.]+/g) || []).map(Number); }
    function luminance(c) {
        const [r, g, b] = c.map(v => v / 255)
            .map(v => v <= 0.03928 ? v / 12.92 : Math.pow((v + 0.055) / 1.055, 2.4));
        return 0.2126 * r + 0.7152 * g + 0.0722 * b;
    }
    function ground(element) {
        for (; element !== null; element = element.parentElement) {
            const c = parse(getComputedStyle(element).backgroundColor);
            if (c.length === 3 || c[3] > 0) return c.slice(0, 3);
        }
        return [255, 255, 255];
    }
    let lowest = { ratio: 99, words: "" };
    document.querySelectorAll("body *").forEach(element => {
        const own = Array.from(element.childNodes).some(node => node.nodeType === 3 && node.textContent.trim() !== "");
        if (!own || element.tagName === "SCRIPT" || element.offsetParent === null) return;
        const a = luminance(parse(getComputedStyle(element).color).slice(0, 3)), b = luminance(ground(element));
        const ratio = (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05);
        if (ratio < lowest.ratio) lowest = { ratio: ratio, words: element.textContent.slice(0, 30) };
    });
    return lowest;
}

function namelessParts() {
    const faults = [];
    if (document.documentElement.lang === "" || document.title === "") faults.push("no language or title");
    document.querySelectorAll("canvas").forEach(canvas => {
        const named = canvas.getAttribute("role") === "img" && canvas.getAttribute("aria-label");
        if (!named) faults.push("a canvas has no name");
    });
    document.querySelectorAll("input").forEach(input => {
        if (input.labels.length === 0) faults.push("an input has no label");
    });
    document.querySelectorAll("table").forEach(table => {
        if (table.caption === null || table.caption.textContent === "") faults.push("a table has no caption");
        table.querySelectorAll("thead th").forEach(th => {
            if (th.scope !== "col" || !th.hasAttribute("aria-sort")) faults.push("a heading has no scope or order");
        });
    });
    const ids = Array.from(document.querySelectorAll("[id]")).map(element => element.id);
    if (new Set(ids).size !== ids.length) faults.push("an id stands twice");
    return faults;
}

function same(a, b) { return JSON.stringify(a) === JSON.stringify(b); }

async function checkSorting(page, name, number) {
    const column = await page.evaluate(n => {
        const heads = Array.from(document.querySelectorAll("table")[n].tHead.rows[0].cells);
        return heads.findIndex(head => head.classList.contains("number"));
    }, number);
    if (column < 0) return;
    const read = () => page.evaluate(([n, c]) => Array.from(document.querySelectorAll("table")[n].tBodies[0].rows)
        .map(row => row.cells[c].getAttribute("data-value")).filter(value => value !== "")
        .map(Number), [number, column]);
    sorted++;
    const button = page.locator("table").nth(number).locator("thead button").nth(column);
    await button.click();
    const down = await read();
    check(down.every((value, i) => i === 0 || down[i - 1] >= value), name + ": not sorted downwards by a click");
    await button.press("Enter");
    const up = await read();
    check(up.every((value, i) => i === 0 || up[i - 1] <= value), name + ": not sorted upwards by the keyboard");
    check(same(up.slice().sort(), down.slice().sort()), name + ": sorting lost a row");
}

async function checkFilter(page, name, number) {
    filters++;
    const section = page.locator("section:has(.tools)").nth(number), input = section.locator("input");
    const rows = section.locator("tbody tr"), all = await rows.count();
    const word = (await rows.first().textContent()).trim().split(/\s+/)[0].slice(0, 12);
    await input.fill(word);
    const shown = await rows.evaluateAll(list => list.filter(row => !row.hidden)
        .map(row => row.textContent.toLowerCase()));
    check(shown.length > 0 && shown.every(text => text.includes(word.toLowerCase())),
        name + ": the filter shows others");
    await input.fill("no such word anywhere");
    check(await rows.evaluateAll(list => list.every(row => row.hidden)), name + ": the filter hides nothing");
    check((await section.locator("output").textContent()) === "0 of " + all + " rows",
        name + ": the filter counts wrongly");
    await input.fill("");
    check(await rows.evaluateAll(list => list.every(row => !row.hidden)), name + ": the filter is not taken back");
}

async function checkPage(browser, name, scheme) {
    const context = await browser.newContext({ colorScheme: scheme, viewport: { width: 1200, height: 900 } });
    const page = await context.newPage(), title = name + " (" + scheme + ")";
    page.on("console", message => check(message.type() !== "error" && message.type() !== "warning",
        title + ": console: " + message.text().slice(0, 300)));
    page.on("pageerror", error => check(false, title + ": " + error));
    page.on("dialog", dialog => { check(false, title + ": a dialog"); dialog.dismiss(); });
    page.on("request", request => check(request.url().startsWith("file://" + work + "/pages/"),
        title + ": it asks for " + request.url().slice(0, 100)));
    await page.goto("file://" + work + "/pages/" + name + ".html");
    const csv = readTables(fs.readFileSync(work + "/pages/" + name + ".csv", "utf8")).map(table => table.slice(1));
    check(same(await page.evaluate(readPage), csv), title + ": the page and the CSV differ");
    for (const canvas of await page.locator("canvas").all()) {
        charts++;
        const drawn = await canvas.evaluate(isDrawn);
        check(drawn.inked > 500 && drawn.colors > 5, title + ": a chart is not drawn " + JSON.stringify(drawn));
    }
    check(await page.locator("canvas").count() === await page.locator("table[data-chart]").count(),
        title + ": charts and their tables differ in number");
    check(await page.evaluate(() => window.harmed === undefined), title + ": what stands in a claim was run");
    const contrast = await page.evaluate(lowestContrast);
    check(contrast.ratio >= 4.5, title + ": contrast " + contrast.ratio.toFixed(2) + " of \"" + contrast.words + "\"");
    (await page.evaluate(namelessParts)).forEach(fault => check(false, title + ": " + fault));
    await page.screenshot({ path: work + "/shots/" + name + "-" + scheme + ".png", fullPage: true });
    if (scheme === "light") {
        for (let i = 0; i < await page.locator("table").count(); i++) await checkSorting(page, title, i);
        for (let i = 0; i < await page.locator(".tools").count(); i++) await checkFilter(page, title, i);
        await page.setViewportSize({ width: 360, height: 740 });
        await page.reload();
        check(await page.evaluate(() => document.scrollingElement.scrollWidth <= window.innerWidth),
            title + ": wider than a narrow screen");
        await page.screenshot({ path: work + "/shots/" + name + "-narrow.png" });
    } else {
        await page.emulateMedia({ media: "print" });
        await page.setViewportSize({ width: 720, height: 1020 });
        await page.screenshot({ path: work + "/shots/" + name + "-print.png" });
        await page.pdf({ path: work + "/shots/" + name + ".pdf", format: "A4" });
    }
    await context.close();
}

(async () => {
    const names = fs.readFileSync(work + "/names", "utf8").split("\n").filter(Boolean);
    const browser = await chromium.launch({ executablePath: executablePath, args: FLAGS });
    for (const name of names)
        for (const scheme of ["light", "dark"]) await checkPage(browser, name, scheme);
    check(charts > 0 && filters > 0 && sorted > 0, "no page had a chart, a filter or a column to sort");
    await browser.close();
    console.log("browser: " + names.length + " reports, " + passed + " passed, " + failed + " failed");
    process.exit(failed === 0 && names.length > 0 ? 0 : 1);
})();
