// page.js - what a report's page does: sorts and filters its tables, and draws charts from the very cells of a table.
// Figures stand in the cells' data-value; a table's data-chart, -x, -y, -series, -label and -lines say what is drawn.
(function () {
    "use strict";

    function all(selector, inside) { return Array.from((inside || document).querySelectorAll(selector)); }

    function cellOf(row, column) { return row.cells[column]; }

    // A number, null where the cell is empty; a text for columns of text.
    function valueOf(cell, isNumber) {
        var value = cell.getAttribute("data-value");
        if (value === null) value = cell.textContent;
        if (!isNumber) return value;
        return value === "" ? null : Number(value);
    }

    function isNumberColumn(table, column) {
        return table.tHead.rows[0].cells[column].classList.contains("number");
    }

    // ---- Sorting ----

    function compare(a, b, isNumber) {
        if (isNumber) return a - b;
        return a < b ? -1 : a > b ? 1 : 0;
    }

    // What is empty stays at the end, whichever way the rest is sorted.
    function sortBy(table, column, direction) {
        var isNumber = isNumberColumn(table, column), body = table.tBodies[0];
        var rows = Array.from(body.rows).map(function (row, place) {
            return { row: row, place: place, value: valueOf(cellOf(row, column), isNumber) };
        });
        rows.sort(function (a, b) {
            var noA = a.value === null || a.value === "", noB = b.value === null || b.value === "";
            if (noA !== noB) return noA ? 1 : -1;
            var order = noA ? 0 : compare(a.value, b.value, isNumber) * direction;
            return order !== 0 ? order : a.place - b.place;
        });
        rows.forEach(function (entry) { body.appendChild(entry.row); });
    }

    function prepareHeader(table, header, column) {
        var button = document.createElement("button");
        button.type = "button";
        button.textContent = header.textContent;
        button.title = header.title;
        header.removeAttribute("title");
        header.textContent = "";
        header.appendChild(button);
        header.setAttribute("aria-sort", "none");
        button.addEventListener("click", function () {
            var down = header.getAttribute("aria-sort") === "ascending" ||
                (header.getAttribute("aria-sort") === "none" && header.classList.contains("number"));
            all("th", table.tHead).forEach(function (other) { other.setAttribute("aria-sort", "none"); });
            header.setAttribute("aria-sort", down ? "descending" : "ascending");
            sortBy(table, column, down ? -1 : 1);
        });
    }

    // ---- Filtering ----

    function prepareFilter(table) {
        var tools = document.getElementById("tools-" + table.dataset.section);
        if (tools === null) return;
        var input = tools.querySelector("input"), output = tools.querySelector("output");
        function filter() {
            var words = input.value.toLowerCase().split(/\s+/).filter(Boolean), shown = 0, rows = table.tBodies[0].rows;
            for (var i = 0; i < rows.length; i++) {
                var text = rows[i].textContent.toLowerCase();
                var fits = words.every(function (word) { return text.indexOf(word) >= 0; });
                rows[i].hidden = !fits;
                shown += fits ? 1 : 0;
            }
            output.textContent = shown === rows.length ? rows.length + (rows.length === 1 ? " row" : " rows")
                : shown + " of " + rows.length + " rows";
        }
        input.addEventListener("input", filter);
        tools.hidden = false;
        filter();
    }

    // ---- Charts ----

    function color(name) { return getComputedStyle(document.documentElement).getPropertyValue(name).trim(); }

    function numbers(list) { return list ? list.split(",").map(Number) : []; }

    function headingOf(table, column) { return table.tHead.rows[0].cells[column].textContent.trim(); }

    // The figures of a column at each place; those of rows at one place together.
    function addUp(rows, places, x, column) {
        var data = places.map(function () { return null; });
        rows.forEach(function (row) {
            var at = places.indexOf(valueOf(cellOf(row, x), false)), value = valueOf(cellOf(row, column), true);
            if (value !== null) data[at] = (data[at] === null ? 0 : data[at]) + value;
        });
        return data;
    }

    // One set of points for each y, or for each word of the series' column.
    function readSets(table, chart) {
        var rows = table.rowsAsGiven, places = [], words = [];
        rows.forEach(function (row) {
            var word = valueOf(cellOf(row, chart.x), false);
            if (places.indexOf(word) < 0) places.push(word);
        });
        if (chart.series === null)
            return { places: places, sets: chart.y.map(function (column) {
                return { label: headingOf(table, column), data: addUp(rows, places, chart.x, column) };
            }) };
        rows.forEach(function (row) {
            var word = valueOf(cellOf(row, chart.series), false);
            if (words.indexOf(word) < 0) words.push(word);
        });
        words.sort(); // so that a word has one color in every chart that has the same words
        return { places: places, sets: words.map(function (word) {
            var own = rows.filter(function (row) { return valueOf(cellOf(row, chart.series), false) === word; });
            return { label: word === "" ? "(none)" : word, data: addUp(own, places, chart.x, chart.y[0]) };
        }) };
    }

    var STYLES = ["circle", "rect", "triangle", "rectRot", "star", "crossRot", "cross", "dash"];
    var DASHES = [[], [6, 3], [2, 3], [8, 3, 2, 3], [12, 4], [4, 4], [1, 3], [10, 2, 2, 2]];

    function styled(set, number, kind) {
        var own = color("--c" + number % 8);
        set.borderColor = own;
        set.backgroundColor = own;
        set.borderWidth = kind === "line" ? 2 : 0;
        set.maxBarThickness = 64;
        if (kind === "line") {
            set.borderDash = DASHES[number % 8];
            set.pointStyle = STYLES[number % 8];
            set.pointRadius = set.data.length > 60 ? 0 : 3;
            set.spanGaps = true;
            set.tension = 0;
        }
        return set;
    }

    function pointSets(table, chart) {
        var rows = table.rowsAsGiven;
        function points(column, sorted) {
            var list = rows.map(function (row) {
                return { x: valueOf(cellOf(row, chart.x), true), y: valueOf(cellOf(row, column), true),
                    name: chart.label === null ? "" : valueOf(cellOf(row, chart.label), false) };
            }).filter(function (point) { return point.x !== null && point.y !== null; });
            return sorted ? list.sort(function (a, b) { return a.x - b.x; }) : list;
        }
        var sets = chart.y.map(function (column, number) {
            var own = color("--c" + number % 8);
            return { type: "scatter", label: headingOf(table, column), data: points(column, false), borderColor: own,
                backgroundColor: own, pointRadius: 4, pointStyle: STYLES[number % 8] };
        });
        return sets.concat(chart.lines.map(function (column, number) {
            var own = color("--c" + (number + chart.y.length) % 8);
            return { type: "line", label: headingOf(table, column), data: points(column, true), borderColor: own,
                backgroundColor: own, borderWidth: 1.5, borderDash: DASHES[(number + 1) % 8], pointRadius: 0,
                pointStyle: "line", tension: 0 };
        }));
    }

    function formatOf(table, column) { return table.tHead.rows[0].cells[column].dataset.format; }

    function axis(title, more, format) {
        var made = { title: { display: title !== "", text: title, color: color("--quiet") },
            ticks: { color: color("--quiet"), maxRotation: 0, autoSkip: true, autoSkipPadding: 12 },
            grid: { color: color("--line") } };
        if (format === "integer") made.ticks.precision = 0;
        if (format === "percent") made.ticks.callback = function (value) { return value + " %"; };
        return Object.assign(made, more);
    }

    // Bars whose names do not fit side by side lie; then the figure is as high as they need.
    function lies(kind, places) {
        return kind === "bar" && places.reduce(function (sum, word) { return sum + word.length + 3; }, 0) > 100;
    }

    function configure(table, chart) {
        var stacked = chart.kind === "stacked", points = chart.kind === "points";
        var read = points ? null : readSets(table, chart), kind = chart.kind === "line" ? "line" : "bar";
        var one = chart.y.length === 1 ? headingOf(table, chart.y[0]) : "", lying = !points && lies(kind, read.places);
        var sets = points ? pointSets(table, chart)
            : read.sets.map(function (set, number) { return styled(set, number, kind); });
        var names = axis(headingOf(table, chart.x), { stacked: stacked, type: points ? "linear" : "category" },
            points ? formatOf(table, chart.x) : "text");
        var amounts = axis(one, { stacked: stacked, beginAtZero: true }, formatOf(table, chart.y[0]));
        var figure = document.getElementById("chart-" + table.dataset.section).parentNode;
        names.ticks.autoSkip = !lying;
        names.title.display = !lying;
        figure.style.height = !lying ? ""
            : Math.max(16, read.places.length * (stacked ? 1.4 : 0.5 + 0.8 * sets.length) + 5) + "rem";
        return {
            type: points ? "scatter" : kind,
            data: { labels: points ? undefined : read.places, datasets: sets },
            options: {
                animation: false, responsive: true, maintainAspectRatio: false, indexAxis: lying ? "y" : "x",
                interaction: { mode: points ? "nearest" : "index", intersect: points, axis: lying ? "y" : "x" },
                scales: lying ? { x: amounts, y: names } : { x: names, y: amounts },
                plugins: {
                    legend: { display: sets.length > 1,
                        labels: { color: color("--words"), usePointStyle: kind === "line" || points, boxWidth: 10,
                            boxHeight: 7 } },
                    tooltip: { callbacks: points ? { label: function (at) {
                        return (at.raw.name ? at.raw.name + ": " : "") + at.parsed.y + " at " + at.parsed.x;
                    } } : {} }
                }
            }
        };
    }

    function chartOf(table) {
        var set = table.dataset;
        function one(word) { return word === undefined ? null : Number(word); }
        return { kind: set.chart, x: Number(set.x), y: numbers(set.y), series: one(set.series), label: one(set.label),
            lines: numbers(set.lines) };
    }

    var drawn = [];

    function draw() {
        drawn.forEach(function (chart) { chart.destroy(); });
        drawn = all("table[data-chart]").map(function (table) {
            var canvas = document.getElementById("chart-" + table.dataset.section);
            Chart.defaults.font.family = getComputedStyle(document.body).fontFamily;
            return new Chart(canvas, configure(table, chartOf(table)));
        });
    }

    // ---- All ----

    all("table").forEach(function (table) {
        table.rowsAsGiven = Array.from(table.tBodies[0].rows); // charts keep this order
        all("th", table.tHead).forEach(function (header, column) { prepareHeader(table, header, column); });
        prepareFilter(table);
    });
    if (typeof Chart !== "undefined") {
        draw();
        window.matchMedia("(prefers-color-scheme: dark)").addEventListener("change", draw);
        window.matchMedia("print").addEventListener("change", draw);
    }
}());
